"""Whether the oxygen lasts from now to the handover at the bedside, and with which chance.

The time is a distribution handed in: the road, with whatever varies before it. Minutes that do not
vary (loading, the way in, handing over) shift it exactly. Where several varying times were summed
by moment matching (``travel_time.add``), the chance and the planned minutes inherit its error; the
tests measure both against a simulation.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from transport.calc.oxygen.cylinders import (
    DEFAULT_RESERVE,
    Cylinder,
    Reserve,
    litres_available,
    overfull_words,
)
from transport.calc.oxygen.pressures import refuse_negative
from transport.calc.oxygen.use import CHANGEOVER_MINUTES, Change, changes, minutes_of_all

PLANNED_PROBABILITY = 0.95  # project choice: the need that 19 journeys of 20 do not exceed
MEDIAN_NEED_FACTOR = 2.0  # twice the planned minutes: common practice, value from memory


class TimeNeeded(Protocol):
    """Minutes for which oxygen must flow, as a distribution."""

    @property
    def p50(self) -> float: ...
    def quantile(self, probability: float, /) -> float: ...
    def probability_beyond(self, minutes: float, /) -> float: ...


@dataclass(frozen=True, slots=True)
class Delayed:
    """A time with minutes added that do not vary."""

    time: TimeNeeded
    minutes: float

    @property
    def p50(self) -> float:
        """Median minutes."""
        return self.time.p50 + self.minutes

    def quantile(self, probability: float, /) -> float:
        """Minutes not exceeded with ``probability``."""
        return self.time.quantile(probability) + self.minutes

    def probability_beyond(self, minutes: float, /) -> float:
        """Chance that it takes longer than ``minutes``."""
        if minutes < self.minutes:
            return 1.0
        return self.time.probability_beyond(minutes - self.minutes)


@dataclass(frozen=True, slots=True)
class Supply:
    """Several cylinders, the oxygen that flows, and the time that they must cover."""

    cylinders: tuple[Cylinder, ...]
    flow_l_min: float
    need: TimeNeeded
    reserve: Reserve = DEFAULT_RESERVE
    changeover_minutes: float = CHANGEOVER_MINUTES

    @property
    def minutes_left(self) -> float:
        """To empty; ``math.inf`` where nothing flows."""
        return minutes_of_all(
            self.cylinders, self.flow_l_min, changeover_minutes=self.changeover_minutes
        )

    @property
    def minutes_to_reserve(self) -> float:
        """To the reserve of each cylinder; ``math.inf`` where nothing flows."""
        return minutes_of_all(
            self.cylinders,
            self.flow_l_min,
            reserve=self.reserve,
            changeover_minutes=self.changeover_minutes,
        )

    @property
    def chance_of_touching_reserve(self) -> float:
        """Before the handover at the bedside."""
        return self.need.probability_beyond(self.minutes_to_reserve)

    @property
    def chance_of_running_out(self) -> float:
        """Before the handover at the bedside."""
        return self.need.probability_beyond(self.minutes_left)

    @property
    def needed_minutes(self) -> float:
        """The planning rule; the reserve counts at most what a cylinder holds."""
        limited = self.flow_l_min > 0.0
        reserve_minutes = self.minutes_left - self.minutes_to_reserve if limited else 0.0
        planned = self.need.quantile(PLANNED_PROBABILITY) + reserve_minutes
        return max(planned, MEDIAN_NEED_FACTOR * self.need.p50)

    @property
    def shortfall_litres(self) -> float:
        """Litres missing against the rule; a millilitre is rounding, not a shortage."""
        if self.flow_l_min == 0.0:
            return 0.0
        missing = (self.needed_minutes - self.minutes_left) * self.flow_l_min
        return missing if missing > 1e-3 else 0.0

    @property
    def lasts(self) -> bool:
        """Whether it is enough by the planning rule."""
        return self.shortfall_litres == 0.0

    @property
    def lasting_flow_l_min(self) -> float:
        """The oxygen flow at which these cylinders are enough by the planning rule; 0 if none is.

        A number, never advice. Every change is counted, so it may be a little too low.
        """
        changing = self.changeover_minutes * max(len(self.cylinders) - 1, 0)
        held = math.fsum(litres_available(each) for each in self.cylinders)
        usable = math.fsum(litres_available(each, self.reserve) for each in self.cylinders)
        by_p95 = usable / max(self.need.quantile(PLANNED_PROBABILITY) + changing, 1e-9)
        by_median = held / max(MEDIAN_NEED_FACTOR * self.need.p50 + changing, 1e-9)
        return min(by_p95, by_median, self.flow_l_min)


@dataclass(frozen=True, slots=True)
class OxygenPlan:
    """Whether the oxygen lasts until the bedside; minutes are ``math.inf`` where not limited.

    - ``needed_minutes``: the larger of the P95 need plus reserve and twice the median need.
    - ``chance_of_touching_reserve``, ``chance_of_running_out``: 0 to 1, before the handover at the
      bedside.
    - ``shortfall_litres``: what is missing against ``needed_minutes``, 0 if enough.
    - ``changes``: from cylinder to cylinder, within the time that is planned for.
    - ``lasting_flow_l_min``: at which it would be enough; None where it is, or where no flow is.
    - ``chance_words``: the chance in a sentence, always.
    - ``closing_words``: which cylinder to take along or to send, empty if enough.
    - ``words``: sentences for people with that one among them, none if enough.
    - ``message_words``: the same within an SMS: no chance, no change on the way.
    - ``lower_flow_words``: that flow as arithmetic; for the desk, never for the bagger.
    - ``cautions``: gauges that cannot be quite right.
    """

    flow_l_min: float
    minutes_left: float
    minutes_to_reserve: float
    needed_minutes: float
    enough: bool
    chance_of_touching_reserve: float
    chance_of_running_out: float
    shortfall_litres: float
    changes: tuple[Change, ...]
    lasting_flow_l_min: float | None
    chance_words: str
    closing_words: str
    words: tuple[str, ...]
    message_words: tuple[str, ...]
    lower_flow_words: str
    cautions: tuple[str, ...]

    @property
    def change_words(self) -> tuple[str, ...]:
        """The changes in sentences, in their order."""
        return tuple(change.in_words() for change in self.changes)

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON types; minutes are null where the oxygen is not limited."""
        limited = math.isfinite(self.minutes_left)
        return {
            "flow_l_min": self.flow_l_min,
            "minutes_left": self.minutes_left if limited else None,
            "minutes_to_reserve": self.minutes_to_reserve if limited else None,
            "needed_minutes": self.needed_minutes,
            "enough": self.enough,
            "chance_of_touching_reserve": self.chance_of_touching_reserve,
            "chance_of_running_out": self.chance_of_running_out,
            "shortfall_litres": self.shortfall_litres,
            "changes": [
                {"after_minutes": each.after_minutes, "off": each.off.label, "on": each.on.label}
                for each in self.changes
            ],
            "lasting_flow_l_min": self.lasting_flow_l_min,
            "chance_words": self.chance_words,
            "closing_words": self.closing_words,
            "words": list(self.words),
            "change_words": list(self.change_words),
            "lower_flow_words": self.lower_flow_words,
            "cautions": list(self.cautions),
        }


@dataclass(frozen=True, slots=True)
class Swap:
    """A filled cylinder at a place on the way: the time until there, and of the whole by there."""

    cylinder: Cylinder
    place: str
    until_there: TimeNeeded
    whole: TimeNeeded


def chance_of_touching_reserve(
    *, cylinders: Sequence[Cylinder], flow_l_min: float, need: TimeNeeded, reserve: Reserve
) -> float:
    """Chance, 0 to 1, that the need outlasts what is above the reserve; 0 for a flow of 0."""
    return need.probability_beyond(minutes_of_all(cylinders, flow_l_min, reserve=reserve))


def standing_too(journey: TimeNeeded, *minutes: float) -> TimeNeeded:
    """The journey with the minutes of standing that draw on the same cylinders."""
    for each in minutes:
        refuse_negative(minutes=each)
    return Delayed(journey, math.fsum(minutes))


def cautions_of(cylinders: Sequence[Cylinder]) -> tuple[str, ...]:
    """What is doubtful about the gauges, in sentences."""
    return tuple(said for said in map(overfull_words, cylinders) if said)


def changes_within(supply: Supply) -> tuple[Change, ...]:
    """The changes that come before the time planned for is over."""
    planned = supply.need.quantile(PLANNED_PROBABILITY)
    found = changes(
        supply.cylinders,
        supply.flow_l_min,
        reserve=supply.reserve,
        changeover_minutes=supply.changeover_minutes,
    )
    return tuple(change for change in found if change.after_minutes < planned)
