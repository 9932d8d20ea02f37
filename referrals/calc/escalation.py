"""Whom to tell at which step, and after how many minutes: the ladder of an alert.

The plan is made once, when the alert is raised, and then stands: later edits of contacts or
waits never change a ladder that is running.
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from referrals.calc.terms import Urgency


@dataclass(frozen=True, kw_only=True)
class Reach:
    """One way to one person. ``channel`` is sms, voice, email or screen."""

    name: str
    username: str
    channel: str
    address: str


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
    *,
    rungs: Sequence[Sequence[Reach]],
    desk: Sequence[Reach],
    waits: Sequence[float],
    urgency: Urgency,
) -> tuple[Step, ...]:
    """The ladder of a question to a unit.

    First the first contact; then the first again with the second; then the desk; then everybody,
    again and again. The next unit is asked at the second step for a baby being ventilated, at the
    third for a stable one. A unit without contacts goes to the desk at once.
    """
    first = tuple(rungs[0]) if rungs and rungs[0] else tuple(desk)
    second = first + (tuple(rungs[1]) if len(rungs) > 1 else ())
    everybody = tuple(dict.fromkeys([*(one for rung in rungs for one in rung), *desk]))
    early = urgency is not Urgency.STABLE
    return (
        Step(after_minutes=0, reach=first),
        Step(after_minutes=waits[0], reach=second, ask_next=early),
        Step(after_minutes=waits[1], reach=second + tuple(desk), ask_next=True),
        Step(after_minutes=waits[2], reach=everybody, ask_next=True),
    )


def still_ready_plan(
    *, rungs: Sequence[Sequence[Reach]], desk: Sequence[Reach], waits: Sequence[float]
) -> tuple[Step, ...]:
    """The ladder of the question to a new shift: that of a question, but no other unit is asked."""
    steps = question_plan(rungs=rungs, desk=desk, waits=waits, urgency=Urgency.STABLE)
    return tuple(replace(step, ask_next=False) for step in steps)


def desk_plan(*, rungs: Sequence[Sequence[Reach]], waits: Sequence[float]) -> tuple[Step, ...]:
    """The ladder of something the desk must deal with: each rung in turn, then all, repeating."""
    everybody = tuple(dict.fromkeys(one for rung in rungs for one in rung))
    steps = [Step(after_minutes=0, reach=tuple(rungs[0]) if rungs else ())]
    for wait, rung in zip(waits, [*list(rungs[1:]), everybody], strict=False):
        steps.append(Step(after_minutes=wait, reach=tuple(rung)))
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
