"""Whom to tell at which step, and after how many minutes: the ladder of an alert.

The plan is made once, when the alert is raised, and then stands: later edits of contacts, hours
or waits never change a ladder that is running.
"""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from referrals.calc.rota import Turn, duty_at
from referrals.calc.terms import Urgency


@dataclass(frozen=True, kw_only=True)
class Reach:
    """One way to one person. ``channel`` is sms, voice, email or screen.

    ``language`` is the person's own; empty for that of the deployment.
    """

    name: str
    username: str
    channel: str
    address: str
    language: str = ""


@dataclass(frozen=True, kw_only=True)
class Ladder:
    """Whom to reach of a unit or a desk, rung by rung, and who of them is on duty when.

    ``turns`` are the shifts by user name; without any, everybody is always on duty. ``begins`` is
    when the alert is raised: a step goes to those on duty at its own time.
    """

    rungs: Sequence[Sequence[Reach]]
    begins: datetime
    zone: ZoneInfo
    turns: Mapping[str, Sequence[Turn]] = field(default_factory=dict)

    def rung(self, number: int, after_minutes: float) -> tuple[Reach, ...]:
        """Those of a rung who are on duty then; where nobody of it is, all of it: never silence.

        A screen that is nobody's own is told beside them, and never instead of them.
        """
        rung = self.rungs[number] if number < len(self.rungs) else ()
        moment = self.begins + timedelta(minutes=after_minutes)
        names = {one.username for one in rung if one.username}
        on_duty = {name for name in names if self._is_on_duty(name, moment)} or names
        return tuple(one for one in rung if not one.username or one.username in on_duty)

    def everybody(self) -> tuple[Reach, ...]:
        """All of all rungs, whatever the hour."""
        return tuple(dict.fromkeys(one for rung in self.rungs for one in rung))

    def _is_on_duty(self, username: str, moment: datetime) -> bool:
        return duty_at(self.turns.get(username, ()), self.zone, moment) is not None


@dataclass(frozen=True, kw_only=True)
class Step:
    """What happens ``after_minutes`` from the raise: whom to reach, and whether to ask on."""

    after_minutes: float
    reach: tuple[Reach, ...]
    ask_next: bool = False

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON, for the frozen plan on the alert."""
        return {
            "after_minutes": self.after_minutes,
            "reach": [asdict(one) for one in self.reach],
            "ask_next": self.ask_next,
        }


def waits_for(
    urgency: Urgency, *, ventilated: Sequence[float], stable: Sequence[float]
) -> Sequence[float]:
    """The waits that apply; all but a stable baby get the shorter ones."""
    return stable if urgency is Urgency.STABLE else ventilated


def question_plan(
    *, unit: Ladder, desk: Ladder, waits: Sequence[float], urgency: Urgency
) -> tuple[Step, ...]:
    """The ladder of a question to a unit.

    First the first rung; then the first again with the second; then the desk; then everybody,
    on duty or not, again and again. The next unit is asked at the second step for a baby being
    ventilated, at the third for a stable one. A unit without contacts goes to the desk at once.
    """

    def first(minutes: float) -> tuple[Reach, ...]:
        return unit.rung(0, minutes) or desk.rung(0, minutes)

    def both(minutes: float) -> tuple[Reach, ...]:
        return first(minutes) + unit.rung(1, minutes)

    second, third, last = waits[:3]
    whole_desk = tuple(desk.rungs[0]) if desk.rungs else ()
    early = urgency is not Urgency.STABLE
    steps = (
        Step(after_minutes=0, reach=first(0)),
        Step(after_minutes=second, reach=both(second), ask_next=early),
        Step(after_minutes=third, reach=both(third) + desk.rung(0, third), ask_next=True),
        Step(after_minutes=last, reach=unit.everybody() + whole_desk, ask_next=True),
    )
    return tuple(replace(step, reach=tuple(dict.fromkeys(step.reach))) for step in steps)


def still_ready_plan(*, unit: Ladder, desk: Ladder, waits: Sequence[float]) -> tuple[Step, ...]:
    """The ladder of the question to a new shift: that of a question, but no other unit is asked."""
    steps = question_plan(unit=unit, desk=desk, waits=waits, urgency=Urgency.STABLE)
    return tuple(replace(step, ask_next=False) for step in steps)


def desk_plan(*, desk: Ladder, waits: Sequence[float]) -> tuple[Step, ...]:
    """The ladder of something the desk must deal with: each rung in turn, then all, repeating."""
    steps = [Step(after_minutes=0, reach=desk.rung(0, 0))]
    last = len(desk.rungs)
    for number, wait in zip(range(1, last + 1), waits, strict=False):
        reach = desk.rung(number, wait) if number < last else desk.everybody()
        steps.append(Step(after_minutes=wait, reach=reach))
    return tuple(steps)


def notice_plan(reach: Sequence[Reach]) -> tuple[Step, ...]:
    """One step: a plain notice that nobody has to answer."""
    return (Step(after_minutes=0, reach=tuple(reach)),)


def minutes_to_next_step(after_minutes: Sequence[float], step: int) -> float:
    """Minutes from one step to the next; the last one repeats at the distance it came at."""
    if step + 1 < len(after_minutes):
        return max(after_minutes[step + 1] - after_minutes[step], 0.0)
    if len(after_minutes) < 2:
        return 5.0  # a single step repeats every five minutes until somebody answers
    return max(after_minutes[-1] - after_minutes[-2], 1.0)
