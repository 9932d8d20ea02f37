"""How long the oxygen lasts, and the words for when it may not.

A shortage is said, never acted on: ventilation goes on with air whatever the gauge shows.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

from transport.calc.travel_time import TravelTime, add, certain

# Litres of gas for each psi on the gauge. Source: emergency medical services sheet, Virginia,
# 2010, and reference pages. Where books differ the smaller stands: E is 0.28 here, 0.35 (660 L at
# 1900 psi) in an anaesthesia text.
US_FACTOR_LITRES_PER_PSI: Mapping[str, float] = MappingProxyType(
    {"D": 0.16, "E": 0.28, "M": 1.56, "G": 2.41, "H": 3.14, "K": 3.14}
)

# Water capacity (litres) and full gauge pressure (bar) by UK letter, which is not the US letter:
# UK G is 3400 L, US G 5300 L. Values from memory; E's content is in Anesth Analg 2004;99:307.
UK_CYLINDERS: Mapping[str, tuple[float, float]] = MappingProxyType(
    {
        "C": (1.2, 137.0),
        "D": (2.3, 137.0),
        "E": (4.7, 137.0),
        "F": (9.4, 137.0),
        "G": (23.6, 137.0),
        "J": (47.2, 137.0),
        "CD": (2.0, 230.0),
        "HX": (10.0, 230.0),
        "ZX": (10.0, 300.0),
    }
)

BAR_PER_MPA = 10.0
OXYGEN_IN_AIR = 0.21
PLANNED_PROBABILITY = 0.95  # project choice: the need that 19 journeys of 20 do not exceed
MEDIAN_NEED_FACTOR = 2.0  # twice the planned minutes: common practice, value from memory

AIR_WORDS = "If oxygen runs low or ends, keep ventilating with air."


class InvalidOxygen(ValueError):
    """A cylinder, flow or fraction that cannot be."""


def _refuse_negative(**values: float) -> None:
    for name, value in values.items():
        if not 0.0 <= value < math.inf:
            raise InvalidOxygen(f"{name} must be a number from 0 up, not {value}")


@dataclass(frozen=True, slots=True)
class Reserve:
    """What is left in each cylinder on purpose: gauge pressure, a share of the content, or both.

    200 psi: emergency medical services sheet, Virginia, 2010. 30 bar: common practice, no source.
    """

    bar: float = 30.0
    psi: float = 200.0
    share_kept: float = 0.0

    def __post_init__(self) -> None:
        _refuse_negative(reserve_bar=self.bar, reserve_psi=self.psi)
        if not 0.0 <= self.share_kept < 1.0:
            raise InvalidOxygen(f"a share kept is from 0 to below 1, not {self.share_kept}")


NO_RESERVE = Reserve(bar=0.0, psi=0.0)
DEFAULT_RESERVE = Reserve()


@dataclass(frozen=True, slots=True)
class Cylinder:
    """One cylinder as its gauge stands: metric (water litres, bar) or US (factor L/psi, psi)."""

    label: str
    water_litres: float | None = None
    bar: float | None = None
    psi_factor: float | None = None
    psi: float | None = None

    def __post_init__(self) -> None:
        readings = (self.water_litres, self.bar, self.psi_factor, self.psi)
        given = tuple(value for value in readings if value is not None)
        if len(given) != 2 or given not in (readings[:2], readings[2:]):
            raise InvalidOxygen("a cylinder has litres and bar, or a factor and psi, never both")
        size, pressure = given
        _refuse_negative(cylinder_size=size, gauge_pressure=pressure)
        if size == 0.0:
            raise InvalidOxygen("a cylinder has a size above 0")


def metric_cylinder(water_litres: float, bar: float, label: str = "") -> Cylinder:
    """A cylinder by its water capacity in litres and gauge pressure in bar (MPa x 10)."""
    return Cylinder(label or f"{water_litres:g} L", water_litres=water_litres, bar=bar)


def uk_cylinder(letter: str, bar: float | None = None) -> Cylinder:
    """A cylinder by its UK letter; full where no gauge pressure is given."""
    if letter.upper() not in UK_CYLINDERS:
        raise InvalidOxygen(f"no UK size {letter!r}; known: {', '.join(UK_CYLINDERS)}")
    water_litres, full_bar = UK_CYLINDERS[letter.upper()]
    return metric_cylinder(water_litres, full_bar if bar is None else bar, f"UK {letter.upper()}")


def us_cylinder(size: str, psi: float) -> Cylinder:
    """A cylinder by its US letter and gauge pressure in psi."""
    if size.upper() not in US_FACTOR_LITRES_PER_PSI:
        raise InvalidOxygen(f"no US size {size!r}; known: {', '.join(US_FACTOR_LITRES_PER_PSI)}")
    factor = US_FACTOR_LITRES_PER_PSI[size.upper()]
    return Cylinder(f"US {size.upper()}", psi_factor=factor, psi=psi)


def litres_available(cylinder: Cylinder, reserve: Reserve = NO_RESERVE) -> float:
    """Litres of gas above the reserve, never negative.

    Metric: water capacity x (bar - reserve) (Boyle's law); about 5 % below the printed content of
    a 137 bar cylinder, the safe side. US: factor x (psi - reserve), as on the sheet named above.
    """
    if cylinder.water_litres is not None and cylinder.bar is not None:
        litres = cylinder.water_litres * (cylinder.bar - reserve.bar)
    elif cylinder.psi_factor is not None and cylinder.psi is not None:
        litres = cylinder.psi_factor * (cylinder.psi - reserve.psi)
    else:  # __post_init__ has refused it
        raise InvalidOxygen("a cylinder without a gauge reading")
    return max(0.0, litres) * (1.0 - reserve.share_kept)


def minutes_of(litres: float, flow_l_min: float) -> float:
    """Minutes that ``litres`` last; ``math.inf`` (not limited) for a flow of 0."""
    _refuse_negative(flow_l_min=flow_l_min)
    return math.inf if flow_l_min == 0.0 else litres / flow_l_min


def minutes_left(cylinder: Cylinder, flow_l_min: float, *, reserve: Reserve = NO_RESERVE) -> float:
    """Minutes until this cylinder is at its reserve (empty, if none is named); 0 if below it."""
    return minutes_of(litres_available(cylinder, reserve), flow_l_min)


def fraction_of_oxygen(*, oxygen_l_min: float, air_l_min: float) -> float:
    """Inhaled fraction of oxygen, 0.21 to 1, from two flows: (O2 + 0.21 air) / (O2 + air)."""
    _refuse_negative(oxygen_l_min=oxygen_l_min, air_l_min=air_l_min)
    total = oxygen_l_min + air_l_min
    if total == 0.0:
        raise InvalidOxygen("without any flow there is no fraction")
    return (oxygen_l_min + OXYGEN_IN_AIR * air_l_min) / total


def oxygen_for_fraction(fraction: float, *, total_l_min: float) -> float:
    """Oxygen flow, L/min, that gives ``fraction`` in a total flow (mixing law, inverted)."""
    _refuse_negative(total_l_min=total_l_min)
    if not OXYGEN_IN_AIR <= fraction <= 1.0:
        raise InvalidOxygen(f"a fraction of oxygen is {OXYGEN_IN_AIR} to 1, not {fraction}")
    return total_l_min * (fraction - OXYGEN_IN_AIR) / (1.0 - OXYGEN_IN_AIR)


def air_to_oxygen_ratio(fraction: float) -> float:
    """Parts of air to one part of oxygen; ``math.inf`` for plain air."""
    oxygen = oxygen_for_fraction(fraction, total_l_min=1.0)
    return math.inf if oxygen == 0.0 else (1.0 - oxygen) / oxygen


@dataclass(frozen=True, slots=True)
class OxygenPlan:
    """Whether the oxygen lasts until the bedside; minutes are ``math.inf`` where not limited.

    - ``needed_minutes``: the larger of the P95 need plus reserve and twice the median need.
    - ``chance_of_touching_reserve``: 0 to 1, before the handover at the bedside.
    - ``shortfall_litres``: what is missing against ``needed_minutes``, 0 if enough.
    - ``words``: sentences for people, empty if enough.
    """

    minutes_left: float
    minutes_to_reserve: float
    needed_minutes: float
    enough: bool
    chance_of_touching_reserve: float
    shortfall_litres: float
    words: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON types; minutes are null where the oxygen is not limited."""
        limited = math.isfinite(self.minutes_left)
        return {
            "minutes_left": self.minutes_left if limited else None,
            "minutes_to_reserve": self.minutes_to_reserve if limited else None,
            "needed_minutes": self.needed_minutes,
            "enough": self.enough,
            "chance_of_touching_reserve": self.chance_of_touching_reserve,
            "shortfall_litres": self.shortfall_litres,
            "words": list(self.words),
        }


@dataclass(frozen=True, slots=True)
class _Supply:
    """The litres of several cylinders, to empty and to reserve, and what they must cover."""

    litres: float
    usable_litres: float
    flow_l_min: float
    need: TravelTime

    @classmethod
    def of(
        cls, cylinders: Sequence[Cylinder], flow_l_min: float, need: TravelTime, reserve: Reserve
    ) -> "_Supply":
        litres = math.fsum(litres_available(cylinder) for cylinder in cylinders)
        usable = math.fsum(litres_available(cylinder, reserve) for cylinder in cylinders)
        return cls(litres, usable, flow_l_min, need)

    @property
    def needed_minutes(self) -> float:
        """The planning rule; the reserve counts at most what a cylinder holds."""
        reserve_minutes = 0.0
        if self.flow_l_min > 0.0:
            reserve_minutes = (self.litres - self.usable_litres) / self.flow_l_min
        planned = self.need.quantile(PLANNED_PROBABILITY) + reserve_minutes
        return max(planned, MEDIAN_NEED_FACTOR * self.need.p50)

    @property
    def shortfall_litres(self) -> float:
        """Litres missing against the rule; a millilitre is rounding, not a shortage."""
        missing = self.needed_minutes * self.flow_l_min - self.litres
        return missing if missing > 1e-3 else 0.0


def plan_oxygen(
    *,
    cylinders: Sequence[Cylinder],
    flow_l_min: float,
    journey: TravelTime,
    waiting_minutes: float,
    loading_minutes: float,
    bedside_minutes: float,
    reserve: Reserve = DEFAULT_RESERVE,
    spares: Sequence[Cylinder] = (),
    under_way: bool = False,
) -> OxygenPlan:
    """Plan the oxygen from now to the handover at the bedside.

    ``waiting_minutes`` before loading, ``loading_minutes`` and ``bedside_minutes`` (walking in and
    handing over) draw on the same cylinders as the journey. ``spares`` are cylinders at hand of
    which the smallest that closes a gap is named. ``under_way``: the words say how a cylinder can
    still be met. Always a second cylinder: WHO, Managing newborn
    problems, 2003, page C-29. Raises InvalidOxygen for negative values.
    """
    _refuse_negative(flow_l_min=flow_l_min)
    standing_minutes = (waiting_minutes, loading_minutes, bedside_minutes)
    need = add((*map(certain, standing_minutes), journey))
    supply = _Supply.of(cylinders, flow_l_min, need, reserve)
    if supply.shortfall_litres == 0.0:
        return _plan(supply, words=())
    closing = closing_cylinder(
        cylinders=cylinders, flow_l_min=flow_l_min, need=need, reserve=reserve, spares=spares
    )
    words = _shortage_words(supply, closing, carried=bool(cylinders), under_way=under_way)
    return _plan(supply, words=words)


def _plan(supply: _Supply, *, words: tuple[str, ...]) -> OxygenPlan:
    to_reserve = minutes_of(supply.usable_litres, supply.flow_l_min)
    return OxygenPlan(
        minutes_left=minutes_of(supply.litres, supply.flow_l_min),
        minutes_to_reserve=to_reserve,
        needed_minutes=supply.needed_minutes,
        enough=supply.shortfall_litres == 0.0,
        chance_of_touching_reserve=supply.need.probability_beyond(to_reserve),
        shortfall_litres=supply.shortfall_litres,
        words=words,
    )


def after_use(cylinders: Sequence[Cylinder], litres: float) -> list[Cylinder]:
    """The same cylinders after so many litres were drawn, the first emptied first.

    Raises InvalidOxygen for a negative amount.
    """
    _refuse_negative(litres=litres)
    left: list[Cylinder] = []
    for cylinder in cylinders:
        held = litres_available(cylinder)
        share = 0.0 if held <= 0.0 else max(held - litres, 0.0) / held
        litres = max(litres - held, 0.0)
        if cylinder.bar is not None:
            left.append(replace(cylinder, bar=cylinder.bar * share))
        else:
            left.append(replace(cylinder, psi=(cylinder.psi or 0.0) * share))
    return left


def chance_of_touching_reserve(
    *, cylinders: Sequence[Cylinder], flow_l_min: float, need: TravelTime, reserve: Reserve
) -> float:
    """Chance, 0 to 1, that the need outlasts what is above the reserve; 0 for a flow of 0."""
    usable = math.fsum(litres_available(cylinder, reserve) for cylinder in cylinders)
    return need.probability_beyond(minutes_of(usable, flow_l_min))


def closing_cylinder(
    *,
    cylinders: Sequence[Cylinder],
    flow_l_min: float,
    need: TravelTime,
    reserve: Reserve,
    spares: Sequence[Cylinder] = (),
) -> Cylinder | None:
    """The smallest cylinder that makes the oxygen enough if taken along; None if none does.

    Looked for among the ``spares``, or among full metric sizes where there are none.
    """
    offered = spares or [uk_cylinder(letter) for letter in UK_CYLINDERS]
    for spare in sorted(offered, key=litres_available):
        supply = _Supply.of((*cylinders, spare), flow_l_min, need, reserve)
        if supply.shortfall_litres == 0.0:
            return spare
    return None


def _shortage_words(
    supply: _Supply, closing: Cylinder | None, *, carried: bool, under_way: bool
) -> tuple[str, ...]:
    planned = f"{math.ceil(supply.needed_minutes)} min planned with reserve"
    if carried:
        left = math.floor(minutes_of(supply.litres, supply.flow_l_min))
        short = f"Oxygen may not last: about {left} min in the cylinders, {planned}."
    else:
        short = f"No oxygen cylinder is written down for the vehicle; {planned}."
    more = f"cylinders: {math.ceil(supply.shortfall_litres)} L more are needed."
    if closing is not None:
        more = f"one more cylinder: {_gauge_words(closing)} closes the gap."
    return (short, f"{'Send to meet them' if under_way else 'Take along'} {more}", AIR_WORDS)


def _gauge_words(cylinder: Cylinder) -> str:
    if cylinder.bar is not None:
        return f"{cylinder.label} ({cylinder.water_litres:g} L water) at {cylinder.bar:g} bar"
    return f"{cylinder.label} at {cylinder.psi:g} psi"
