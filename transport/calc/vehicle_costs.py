"""What it costs when one vehicle goes for one journey: expected weighted minutes to care.

A vehicle that *cannot* go is not proposed, and the reason is said. One that *lacks* something
costs minutes more and is proposed all the same where nothing better is left: a shortage of oxygen
orders and warns, it never leaves a baby without a vehicle. People may send any of them.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass
from enum import StrEnum
from typing import Any, Self

from referrals.calc.terms import Urgency, VehicleKind
from referrals.calc.wording import marked, words
from transport.calc.travel import TravelEstimate
from transport.calc.travel_time import TravelTime, add, certain

DAY_MINUTES = 24 * 60.0
"""Longer than this is no way to care (common practice, no source)."""
SPARE_FUEL = 1.1
"""Way that the fuel must reach, for each km of it: roads turn out longer than they were taken for
(common practice, no source)."""


FREE_NOW = certain(0.0)


class Fixing(StrEnum):
    """What is built into a vehicle for those who lie in it."""

    MOTHER_LIES = "mother_lies"
    COT_FIXED = "cot_fixed"


@dataclass(frozen=True)
class Weight:
    """How much a minute counts, beside one of a baby that is ventilated by hand; and why."""

    weight: float
    why: str


# All weights: common practice, no source.
WEIGHTS = {
    Urgency.VENTILATED: Weight(
        1.0, marked("ventilated by hand: somebody's two hands keep the baby breathing")
    ),
    Urgency.URGENT: Weight(0.5, marked("cannot wait, but breathes")),
    Urgency.STABLE: Weight(0.2, marked("stable: worse only if it waits long")),
}
"""A minute of each baby, by its state."""
MOTHER_UNWELL = Weight(0.5, marked("the mother herself needs care"))
ON_THE_ROADSIDE = Weight(0.25, marked("they wait where their vehicle failed, not at a post"))


@dataclass(frozen=True)
class Lack:
    """Something a vehicle should have: by how many minutes it counts as later; and in words."""

    minutes: float
    says: str


# All minutes: common practice, no source.
LACKS = {
    "oxygen": Lack(60.0, marked("%(vehicle)s has no oxygen")),
    "lying_place": Lack(30.0, marked("%(vehicle)s has no place where the mother can lie")),
    "warmth": Lack(15.0, marked("%(vehicle)s has nothing to keep the baby warm")),
    "cot_fixing": Lack(5.0, marked("%(vehicle)s has no fixing for the cot")),
    "crew_ends": Lack(20.0, marked("the crew of %(vehicle)s may be off duty before the handover")),
}
MOST_LACKING_MINUTES = sum(lack.minutes for lack in LACKS.values())


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """A journey that wants a vehicle: what counts for the choice, without any place.

    ``at_water``: both ends of the way are landings or on an island.
    """

    key: str
    urgency: Urgency
    babies: int = 1
    oxygen: bool = True
    mother_unwell: bool = False
    on_the_roadside: bool = False
    at_water: bool = False

    @property
    def weights(self) -> tuple[Weight, ...]:
        """The rows of the table that apply; that of the state once for each baby."""
        more = {MOTHER_UNWELL: self.mother_unwell, ON_THE_ROADSIDE: self.on_the_roadside}
        told = (WEIGHTS[self.urgency],) * max(self.babies, 1)
        return told + tuple(weight for weight, applies in more.items() if applies)

    @property
    def weight(self) -> float:
        """How much a minute of this journey counts."""
        return sum(weight.weight for weight in self.weights)

    @property
    def without(self) -> float:
        """What it costs to get none: more than any vehicle that can go."""
        return self.weight * (DAY_MINUTES + MOST_LACKING_MINUTES)


@dataclass(frozen=True, kw_only=True)
class Going:
    """A vehicle that could go.

    ``until_free``: 0 for one that is free now. ``busy_with``: the journey it is on, empty when it
    is on none; when that ends nobody knows, so it is not proposed. ``crew_minutes``: how long the
    crew is on duty from now on, 0 when it is off duty, None where no hours are written down.
    ``range_km``: how far the fuel reaches. ``fixings`` and ``range_km`` None: nobody has said, and
    nothing is held against it.
    """

    key: str
    name: str
    kind: VehicleKind
    until_free: TravelTime = FREE_NOW
    busy_with: str = ""
    oxygen: bool = False
    warmth: bool = False
    fixings: frozenset[Fixing] | None = None
    crew_minutes: float | None = None
    range_km: float | None = None


@dataclass(frozen=True, kw_only=True)
class Ways:
    """The two parts of the way, None where they are not known; and the minutes of loading.

    Without ``road`` (no unit is in sight yet) the time to care ends beside the baby.
    """

    to_baby: TravelEstimate | None
    road: TravelEstimate | None
    loading_minutes: float


@dataclass(frozen=True, kw_only=True)
class Cell:
    """One vehicle for one journey, in minutes from now; plain numbers, so that it can be kept.

    ``cannot``: why it cannot go, in words. ``lacks``: codes of ``LACKS``.
    """

    baby_p50: float | None = None
    baby_p90: float | None = None
    baby_expected: float | None = None
    care_expected: float | None = None
    care_p90: float | None = None
    cannot: tuple[str, ...] = ()
    lacks: tuple[str, ...] = ()

    @property
    def minutes(self) -> float | None:
        """Expected minutes to care, with those for what it lacks; None where it cannot go."""
        if self.cannot or self.care_expected is None:
            return None
        return self.care_expected + sum(LACKS[code].minutes for code in self.lacks)

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON."""
        return {name: list(v) if isinstance(v, tuple) else v for name, v in asdict(self).items()}

    @classmethod
    def from_dict(cls, body: dict[str, Any]) -> Self:
        """The same cell again."""
        lists = {name: tuple(body[name]) for name in ("cannot", "lacks")}
        return cls(**{**body, **lists})


def cell_of(wanted: Wanted, going: Going, ways: Ways) -> Cell:
    """Work out one vehicle for one journey.

    The expected time is the mean of the whole as a distribution (sums as in ``travel_time.add``),
    so that an uncertain way costs more than a sure one of the same median.
    """
    near = ways.to_baby.distribution if ways.to_baby else None
    far = ways.road.distribution if ways.road else None
    if near is None or (ways.road is not None and far is None):
        return Cell(cannot=(_no_way(going, ways),))
    to_baby = add([going.until_free, near])
    to_care = add([to_baby, certain(ways.loading_minutes), *([far] if far else [])])
    return Cell(
        baby_p50=to_baby.p50,
        baby_p90=to_baby.p90,
        baby_expected=to_baby.mean,
        care_expected=to_care.mean,
        care_p90=to_care.p90,
        cannot=tuple(_cannot(wanted, going, ways, to_care)),
        lacks=tuple(_lacks(wanted, going, to_care)),
    )


def weight_words(wanted: Wanted) -> list[str]:
    """Why a minute of this journey counts as much as it does."""
    return list(dict.fromkeys(words(weight.why) for weight in wanted.weights))


def lack_words(codes: Iterable[str], vehicle: str) -> list[str]:
    """What a vehicle lacks, in words."""
    return [words(LACKS[code].says, vehicle=vehicle) for code in codes]


def _no_way(going: Going, ways: Ways) -> str:
    if ways.to_baby is None:
        return words("where %(vehicle)s is now is not known", vehicle=going.name)
    return words("no way for %(vehicle)s is known", vehicle=going.name)


def _cannot(wanted: Wanted, going: Going, ways: Ways, to_care: TravelTime) -> Iterator[str]:
    if going.busy_with:
        yield words(
            "%(vehicle)s is on the journey of %(code)s",
            vehicle=going.name,
            code=going.busy_with,
        )
    if going.kind is VehicleKind.MOTORCYCLE and wanted.urgency is Urgency.VENTILATED:
        yield words("nobody can ventilate by hand on %(vehicle)s", vehicle=going.name)
    if going.kind is VehicleKind.BOAT and not wanted.at_water:
        yield words("%(vehicle)s needs a landing at both ends", vehicle=going.name)
    if going.crew_minutes == 0.0:
        yield words("the crew of %(vehicle)s is off duty", vehicle=going.name)
    km = sum(_km(way) for way in (ways.to_baby, ways.road) if way)
    if going.range_km is not None and going.range_km < km * SPARE_FUEL:
        yield words(
            "%(vehicle)s has fuel for %(range)d km, and the way is about %(km)d km",
            vehicle=going.name,
            range=going.range_km,
            km=km,
        )
    if to_care.p90 > DAY_MINUTES:
        yield words("%(vehicle)s may take longer than a day", vehicle=going.name)


def _km(way: TravelEstimate) -> float:
    return way.road_km if way.road_km is not None else way.geodesic_km


def _lacks(wanted: Wanted, going: Going, to_care: TravelTime) -> Iterator[str]:
    if wanted.oxygen and not going.oxygen:
        yield "oxygen"
    fixings = frozenset(Fixing) if going.fixings is None else going.fixings
    if wanted.mother_unwell and Fixing.MOTHER_LIES not in fixings:
        yield "lying_place"
    if not going.warmth:
        yield "warmth"
    if Fixing.COT_FIXED not in fixings:
        yield "cot_fixing"
    if going.crew_minutes and going.crew_minutes < to_care.p90:
        yield "crew_ends"


def costs_in(cells: Sequence[Sequence[Cell]], wanted: Sequence[Wanted]) -> list[list[float]]:
    """Weighted minutes, a row a journey; infinite where a vehicle cannot go."""
    return [
        [each.weight * _finite(cell.minutes) for cell in row]
        for each, row in zip(wanted, cells, strict=True)
    ]


def _finite(minutes: float | None) -> float:
    return float("inf") if minutes is None else minutes
