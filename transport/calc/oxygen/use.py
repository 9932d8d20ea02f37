"""How oxygen is drawn: flows and mixtures, one cylinder after the other, and what is left."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from referrals.calc.wording import words
from transport.calc.oxygen.cylinders import (
    NO_RESERVE,
    Cylinder,
    Reserve,
    litres_available,
)
from transport.calc.oxygen.pressures import (
    GaugeUnit,
    InvalidOxygen,
    in_unit,
    refuse_negative,
    unit_words,
)

OXYGEN_IN_AIR = 0.21

TOTAL_FLOW_L_MIN = 10.0
"""Gas in all where only the fraction is known: self-inflating bags, T-pieces and CPAP circuits
take 5 to 10 L/min (value from memory), and the larger empties a cylinder sooner."""

CHANGEOVER_MINUTES = 2.0
"""Without oxygen while the regulator goes to the next cylinder, with the gas that is blown off;
common practice, no source."""


def fraction_of_oxygen(*, oxygen_l_min: float, air_l_min: float) -> float:
    """Inhaled fraction of oxygen, 0.21 to 1, from two flows: (O2 + 0.21 air) / (O2 + air)."""
    refuse_negative(oxygen_l_min=oxygen_l_min, air_l_min=air_l_min)
    total = oxygen_l_min + air_l_min
    if total == 0.0:
        raise InvalidOxygen(words("without any flow there is no fraction"))
    return (oxygen_l_min + OXYGEN_IN_AIR * air_l_min) / total


def oxygen_for_fraction(fraction: float, *, total_l_min: float = TOTAL_FLOW_L_MIN) -> float:
    """Oxygen flow, L/min, that gives ``fraction`` in a total flow (mixing law, inverted)."""
    refuse_negative(total_l_min=total_l_min)
    if not OXYGEN_IN_AIR <= fraction <= 1.0:
        raise InvalidOxygen(
            words(
                "a fraction of oxygen is %(least)s to 1, not %(found)s",
                least=OXYGEN_IN_AIR,
                found=fraction,
            )
        )
    return total_l_min * (fraction - OXYGEN_IN_AIR) / (1.0 - OXYGEN_IN_AIR)


def air_to_oxygen_ratio(fraction: float) -> float:
    """Parts of air to one part of oxygen; ``math.inf`` for plain air."""
    oxygen = oxygen_for_fraction(fraction, total_l_min=1.0)
    return math.inf if oxygen == 0.0 else (1.0 - oxygen) / oxygen


def together(flows_l_min: Iterable[float]) -> float:
    """The oxygen, L/min, of babies who breathe from one set: their flows add up."""
    flows = tuple(flows_l_min)
    for flow in flows:
        refuse_negative(flow_l_min=flow)
    return math.fsum(flows)


def minutes_of(litres: float, flow_l_min: float) -> float:
    """Minutes that ``litres`` last; ``math.inf`` (not limited) for a flow of 0."""
    refuse_negative(flow_l_min=flow_l_min)
    return math.inf if flow_l_min == 0.0 else litres / flow_l_min


def minutes_left(cylinder: Cylinder, flow_l_min: float, *, reserve: Reserve = NO_RESERVE) -> float:
    """Minutes until this cylinder is at its reserve (empty, if none is named); 0 if below it."""
    return minutes_of(litres_available(cylinder, reserve), flow_l_min)


def minutes_of_all(
    cylinders: Sequence[Cylinder],
    flow_l_min: float,
    *,
    reserve: Reserve = NO_RESERVE,
    changeover_minutes: float = CHANGEOVER_MINUTES,
) -> float:
    """Minutes of oxygen from several cylinders, one after the other; the order does not matter.

    Each change from one to the next costs ``changeover_minutes`` of oxygen. A cylinder that holds
    less than its own change costs is not changed to, so one more never makes it less.
    """
    refuse_negative(flow_l_min=flow_l_min, changeover_minutes=changeover_minutes)
    if flow_l_min == 0.0:
        return math.inf
    each = [litres_available(one, reserve) / flow_l_min for one in cylinders]
    after_changes = math.fsum(max(0.0, minutes - changeover_minutes) for minutes in each)
    return after_changes + min(changeover_minutes, max(each, default=0.0))


@dataclass(frozen=True, slots=True)
class Change:
    """From one cylinder to the next: after how many minutes, and what the first one then shows."""

    after_minutes: float
    off: Cylinder
    off_shows: float
    on: Cylinder

    def in_words(self) -> str:
        """What is done, for whoever is beside the cylinders."""
        return words(
            "After about %(minutes)d min, when %(off)s shows %(shows)g %(unit)s: change to "
            "%(on)s, and ventilate with air meanwhile.",
            minutes=self.after_minutes,
            off=self.off.label,
            shows=self.off_shows,
            unit=unit_words(self.off.unit),
            on=self.on.label,
        )


def changes(
    cylinders: Sequence[Cylinder],
    flow_l_min: float,
    *,
    reserve: Reserve = NO_RESERVE,
    changeover_minutes: float = CHANGEOVER_MINUTES,
) -> list[Change]:
    """The changes from cylinder to cylinder in the order given, each at the reserve of the first.

    Those that hold no more above the reserve than a change costs are passed over.
    """
    if flow_l_min == 0.0:
        return []
    held = [(one, minutes_left(one, flow_l_min, reserve=reserve)) for one in cylinders]
    worth = [(one, minutes) for one, minutes in held if minutes > changeover_minutes]
    found: list[Change] = []
    after = 0.0
    for (off, minutes), (on, _) in pairwise(worth):
        after += minutes - (changeover_minutes if found else 0.0)
        found.append(Change(after, off, _shows_at_reserve(off, reserve), on))
    return found


def _shows_at_reserve(cylinder: Cylinder, reserve: Reserve) -> float:
    """The gauge when what may be used is used; a share kept is of what is above the pressure."""
    kept = reserve.bar if cylinder.unit is GaugeUnit.BAR else reserve.psi
    above = max(cylinder.pressure - kept, 0.0) * reserve.share_kept
    return round(min(cylinder.pressure, kept + above))


def after_use(cylinders: Sequence[Cylinder], litres: float) -> list[Cylinder]:
    """The same cylinders after so many litres were drawn, the first emptied first.

    Raises InvalidOxygen for a negative amount.
    """
    refuse_negative(litres=litres)
    left: list[Cylinder] = []
    for cylinder in cylinders:
        held = litres_available(cylinder)
        share = 0.0 if held <= 0.0 else max(held - litres, 0.0) / held
        litres = max(litres - held, 0.0)
        # More than full was never counted, so it is not there to be drawn either.
        shown = held * share / cylinder.litres_per_unit
        if cylinder.unit is GaugeUnit.BAR:
            left.append(replace(cylinder, bar=shown))
        else:
            left.append(replace(cylinder, psi=shown))
    return left


SLACK_BAR, SLACK_PSI = 5.0, 75.0
"""By how much two readings of one gauge differ when nothing was drawn; common practice, no
source."""


def in_use(cylinders: Sequence[Cylinder], reading: float, unit: GaugeUnit) -> int | None:
    """Which of the cylinders a gauge reading is of, by its place; None where there is none.

    Those with a gauge in that unit come first; where there is none, the reading was converted by
    whoever told it, and is compared with the others. They are emptied one after the other, and in
    use a gauge only falls: it is the first one not empty that showed at least so much before. If
    none did, one was filled or changed: the first.
    """
    same = [i for i, each in enumerate(cylinders) if each.unit is unit]
    held = same or list(range(len(cylinders)))
    fits = [i for i in held if _may_show(cylinders[i], reading, unit)]
    return next(iter([*fits, *held]), None)


def _may_show(cylinder: Cylinder, reading: float, unit: GaugeUnit) -> bool:
    slack = SLACK_BAR if cylinder.unit is GaugeUnit.BAR else SLACK_PSI
    shown = in_unit(reading, unit, cylinder.unit)
    return cylinder.pressure > 0.0 and cylinder.pressure + slack >= shown
