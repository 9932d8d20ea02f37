"""Which units could take the baby, in which order, and why.

The rules are in ``ranking_rules``, the facts in ``ranking_facts``; here they are put together.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from heapq import nsmallest

from referrals.calc.terms import VehicleKind
from referrals.calc.wording import words
from transport.calc.finalists import finalists, haversines_km
from transport.calc.legs import leg_of
from transport.calc.oxygen import Cylinder, OxygenPlan, chance_of_touching_reserve, plan_oxygen
from transport.calc.oxygen.plan import standing_too
from transport.calc.places import Place, haversine_km
from transport.calc.ranking_facts import (
    Asking,
    Candidate,
    Needs,
    Ranking,
    RankingSettings,
    UnitFacts,
    VehicleFacts,
)
from transport.calc.ranking_rules import (
    Case,
    Trip,
    can_take,
    gate_reasons,
    missing_preferences,
    order_minutes,
    ordering_rule,
    reasons_of,
)
from transport.calc.road_base import ROAD_TABLE
from transport.calc.sums import Duration, sum_of, work_out_windows
from transport.calc.travel import TravelEstimate, TravelEstimator
from transport.calc.travel_time import TravelTime, certain, zero

__all__ = [
    "Asking",
    "Candidate",
    "Needs",
    "Ranking",
    "RankingSettings",
    "UnitFacts",
    "VehicleFacts",
    "rank",
]

# Only for the first look at which vehicles are near enough to be worked out: about 38 km/h on a
# road 1.4 times as long as the line, with the mean above the median.
_ROUGH_MINUTES_PER_KM = 2.5


@dataclass(frozen=True, slots=True)
class _Collection:
    """A vehicle and the time until it is with the baby."""

    vehicle: VehicleFacts
    to_baby: TravelEstimate
    time: TravelTime


def rank(
    asking: Asking,
    units: Sequence[UnitFacts],
    vehicles: Sequence[VehicleFacts],
    settings: RankingSettings,
    *,
    estimate: TravelEstimator,
) -> Ranking:
    """Order the units for one referral by ``ORDERING_RULE``, each with its reasons.

    Of many units only the nearest that can take the baby, the nearest that cannot, those already
    asked and the standing default are worked out; the others are counted. Unit keys are unique.
    Without a vehicle whose place is known the minutes begin at the post, and the reasons say so.
    """
    able = [unit for unit in units if can_take(asking, unit)]
    able_keys = {unit.key for unit in able}
    unable = [unit for unit in units if unit.key not in able_keys]
    shown_able = _finalists(asking, able, settings.possible_limit)
    shown_unable = _finalists(asking, unable, settings.impossible_limit)
    judge = _Judge(asking, settings, estimate, _collections(asking, vehicles, settings, estimate))
    judged = sorted(
        [judge.candidate(unit, takes=True) for unit in shown_able]
        + [judge.candidate(unit, takes=False) for unit in shown_unable],
        key=lambda pair: pair[0],
    )
    work_out_windows(each.arrival for _, each in judged if each.arrival is not None)
    ordered = _with_ties([each for _, each in judged], settings.near_tie_minutes)
    return Ranking(
        candidates=_with_one_it_lasts_to(ordered),
        ordering_rule=ordering_rule(settings),
        method=settings.as_method(),
        possible_not_shown=len(able) - len(shown_able),
        impossible_not_shown=len(unable) - len(shown_unable),
    )


def _with_one_it_lasts_to(candidates: Sequence[Candidate]) -> tuple[Candidate, ...]:
    """Where the oxygen may not last, the first unit it does last to is named beside the warning."""
    lasting = next((c for c in candidates if c.possible and c.oxygen and c.oxygen.enough), None)
    if lasting is None:
        return tuple(candidates)
    said = words("The oxygen is planned to last to %(unit)s.", unit=lasting.name)
    return tuple(
        replace(each, reasons_against=(*each.reasons_against, said))
        if each.possible and each.oxygen and not each.oxygen.enough
        else each
        for each in candidates
    )


def _with_ties(ordered: Sequence[Candidate], near_minutes: float) -> tuple[Candidate, ...]:
    """The candidates with their places, each with those that are as good.

    Only of those that can take the baby. Each names the other, but not whoever is as good as the
    other: the first and the third of three may be too far apart.
    """
    able = [(each.key, each.name, each.order_minutes or 0.0) for each in ordered if each.possible]
    numbered = []
    for place, each in enumerate(ordered, start=1):
        at = each.order_minutes
        alike = [
            (key, name)
            for key, name, minutes in able
            if each.possible and at is not None and key != each.key
            if abs(minutes - at) <= near_minutes
        ]
        keys = tuple(key for key, _ in alike)
        said = _as_good([name for _, name in alike], near_minutes)
        numbered.append(
            replace(each, order=place, as_good_as=keys, reasons_for=(*said, *each.reasons_for))
        )
    return tuple(numbered)


_NAMED_TIES = 3


def _as_good(names: Sequence[str], near_minutes: float) -> tuple[str, ...]:
    if not names:
        return ()
    named, more = "; ".join(names[:_NAMED_TIES]), len(names) - _NAMED_TIES
    if more <= 0:
        return (
            words(
                "as good as %(units)s: no more than %(minutes).0f min apart in the order",
                units=named,
                minutes=near_minutes,
            ),
        )
    return (
        words(
            "as good as %(units)s and %(more)d more: no more than %(minutes).0f min apart in the "
            "order",
            units=named,
            more=more,
            minutes=near_minutes,
        ),
    )


def _finalists(asking: Asking, units: Sequence[UnitFacts], limit: int) -> list[UnitFacts]:
    """The units worth working out; see ``finalists``."""
    far = haversines_km(
        asking.origin,
        [unit.place.latitude for unit in units],
        [unit.place.longitude for unit in units],
    )
    chosen = finalists(
        [missing_preferences(asking, unit) for unit in units],
        far,
        [i for i, unit in enumerate(units) if unit.already is not None or unit.is_default],
        limit,
    )
    return [units[i] for i in chosen]


def _collections(
    asking: Asking,
    vehicles: Iterable[VehicleFacts],
    settings: RankingSettings,
    estimate: TravelEstimator,
) -> list[_Collection]:
    """The earliest vehicles of each sort, the earliest of all first."""
    collections = []
    for vehicle, place in _earliest_of_each_sort(asking.origin, vehicles, settings.vehicle_limit):
        to_baby = estimate(
            place,
            asking.origin,
            vehicle=vehicle.kind,
            rainy=asking.rainy,
            dark=asking.now_dark,
            extra_minutes=vehicle.minutes_until_free,
        )
        if to_baby.distribution is not None:
            collections.append(_Collection(vehicle, to_baby, to_baby.distribution))
    return sorted(collections, key=lambda each: (each.time.mean, each.vehicle.key))


def _no_way(road: TravelEstimate) -> str:
    if road.method.startswith(ROAD_TABLE):
        return words("no road of the road table goes there, and no ferry or boat")
    return words("no way there is known")


def _sails_for_nothing(kind: VehicleKind, roads: Mapping[VehicleKind, TravelEstimate]) -> bool:
    """A boat without a known leg counts only where nothing gets there by road."""
    if kind is not VehicleKind.BOAT or leg_of(roads[kind]):
        return False
    return any(road.reachable for each, road in roads.items() if each is not VehicleKind.BOAT)


def _earliest_of_each_sort(
    origin: Place, vehicles: Iterable[VehicleFacts], limit: int
) -> list[tuple[VehicleFacts, Place]]:
    sorts: dict[tuple[VehicleKind, bool], list[tuple[float, str, VehicleFacts, Place]]] = {}
    for vehicle in vehicles:
        if vehicle.place is None:
            continue
        distance_km = haversine_km(vehicle.place, origin)
        rough = vehicle.minutes_until_free + distance_km * _ROUGH_MINUTES_PER_KM
        sort = (vehicle.kind, bool(vehicle.cylinders))
        sorts.setdefault(sort, []).append((rough, vehicle.key, vehicle, vehicle.place))
    return [
        (vehicle, place)
        for same in sorts.values()
        for _, _, vehicle, place in nsmallest(limit, same, key=lambda row: row[:2])
    ]


_SortKey = tuple[bool, float, bool, str, str]


@dataclass(frozen=True)
class _Judge:
    """Works out one unit after the other for the same question."""

    asking: Asking
    settings: RankingSettings
    estimate: TravelEstimator
    collections: Sequence[_Collection]

    def candidate(self, unit: UnitFacts, *, takes: bool) -> tuple[_SortKey, Candidate]:
        """The candidate, its order still 0, and the key that places it."""
        roads = self._roads(unit)
        case = self._best_case(unit, roads)
        if case is None:
            return self._without_road(unit, next(iter(roads.values())))
        trip = replace(case.trip, oxygen=self._oxygen(case.trip))
        reasons, minutes = reasons_of(replace(case, trip=trip)), order_minutes(case)
        limit = self.asking.needs.limit_minutes
        candidate = Candidate(
            key=unit.key,
            name=unit.name,
            possible=takes,
            order=0,
            road=trip.road,
            to_baby=trip.to_baby,
            arrival=trip.arrival,
            vehicle_key=trip.vehicle.key if trip.vehicle else None,
            reasons_for=reasons.on_its_side,
            reasons_against=reasons.against,
            oxygen=trip.oxygen,
            limit_probability=None if limit is None else trip.arrival.probability_within(limit),
            order_minutes=minutes,
        )
        return (not takes, minutes, not unit.is_default, unit.name, unit.key), candidate

    def _roads(self, unit: UnitFacts) -> dict[VehicleKind, TravelEstimate]:
        """The way from the post to the unit, by each kind of vehicle at hand."""
        return {
            kind: self.estimate(
                self.asking.origin,
                unit.place,
                vehicle=kind,
                rainy=self.asking.rainy,
                dark=self.asking.now_dark,
                after_minutes=minutes,
            )
            for kind, minutes in sorted(self._minutes_until_leaving.items())
        }

    @cached_property
    def _minutes_until_leaving(self) -> dict[VehicleKind, float]:
        """By kind of vehicle at hand, when its first one likely leaves with the baby."""
        minutes: dict[VehicleKind, float] = {}
        for each in self.collections:
            minutes.setdefault(each.vehicle.kind, each.time.p50 + self.asking.loading_minutes)
        return minutes or {self.settings.assumed_vehicle: self.asking.loading_minutes}

    def _best_case(self, unit: UnitFacts, roads: dict[VehicleKind, TravelEstimate]) -> Case | None:
        """The vehicle with which this unit stands best; None where none finds a way."""
        best: Case | None = None
        best_minutes = math.inf
        for collection in self.collections or (None,):
            kind = collection.vehicle.kind if collection else self.settings.assumed_vehicle
            if _sails_for_nothing(kind, roads):
                continue
            if self._at_least_minutes(collection, roads[kind]) >= best_minutes:
                continue
            trip = self._trip(collection, roads[kind])
            case = Case(self.asking, unit, trip, self.settings)
            minutes = order_minutes(case)
            if minutes < best_minutes:
                best, best_minutes = case, minutes
        return best

    def _at_least_minutes(self, collection: _Collection | None, road: TravelEstimate) -> float:
        """What the order cannot be below: means add, and no weight is negative."""
        if road.distribution is None:
            return math.inf
        to_baby = collection.time.mean if collection else 0.0
        return to_baby + self.asking.loading_minutes + road.distribution.mean

    def _trip(self, collection: _Collection | None, road: TravelEstimate) -> Trip:
        to_baby = collection.time if collection else zero()
        road_time = road.distribution or zero()
        trip = Trip(
            vehicle=collection.vehicle if collection else None,
            to_baby=collection.to_baby if collection else None,
            road=road,
            arrival=sum_of(
                (to_baby, certain(self.asking.loading_minutes), road_time),
                correlation=self.settings.same_day,
            ),
            chance_of_touching_reserve=0.0,
        )
        _, _, chance = self._oxygen_draw(trip, road_time)
        return replace(trip, chance_of_touching_reserve=chance)

    def _oxygen_draw(
        self, trip: Trip, road_time: TravelTime
    ) -> tuple[tuple[Cylinder, ...], Duration, float]:
        """Cylinders, the time they are drawn on beside loading and bedside, and the chance.

        The cylinders of the vehicle begin when it is there. Those at the post begin now, and may as
        well stay behind: whichever leaves the smaller chance of touching the reserve.
        """
        of_vehicle = trip.vehicle.cylinders if trip.vehicle else ()
        draws: list[tuple[tuple[Cylinder, ...], Duration]] = [(of_vehicle, road_time)]
        if self.asking.cylinders:
            coming = trip.to_baby.distribution if trip.to_baby else None
            from_now = sum_of((coming or zero(), road_time), correlation=self.settings.same_day)
            draws.append(((*self.asking.cylinders, *of_vehicle), from_now))
        return min(
            ((cylinders, time, self._chance(cylinders, time)) for cylinders, time in draws),
            # A thousandth is no gain.
            key=lambda draw: round(draw[2], 3),
        )

    def _chance(self, cylinders: tuple[Cylinder, ...], time: Duration) -> float:
        standing = (self.asking.loading_minutes, self.settings.bedside_minutes)
        return chance_of_touching_reserve(
            cylinders=cylinders,
            flow_l_min=self.asking.flow_l_min or 0.0,
            need=standing_too(time, *standing),
            reserve=self.settings.reserve,
        )

    def _oxygen(self, trip: Trip) -> OxygenPlan | None:
        """The whole plan with its words; None where no flow is known."""
        road_time = trip.road.distribution
        if self.asking.flow_l_min is None or road_time is None:
            return None
        cylinders, journey, _ = self._oxygen_draw(trip, road_time)
        return plan_oxygen(
            cylinders=cylinders,
            flow_l_min=self.asking.flow_l_min,
            journey=journey,
            waiting_minutes=0.0,
            loading_minutes=self.asking.loading_minutes,
            bedside_minutes=self.settings.bedside_minutes,
            reserve=self.settings.reserve,
        )

    def _without_road(self, unit: UnitFacts, road: TravelEstimate) -> tuple[_SortKey, Candidate]:
        """A unit to which no way is known: kept, last of all, with the reason."""
        reasons = gate_reasons(self.asking, unit)
        candidate = Candidate(
            key=unit.key,
            name=unit.name,
            possible=False,
            order=0,
            road=road,
            to_baby=None,
            arrival=None,
            vehicle_key=None,
            reasons_for=reasons.on_its_side,
            reasons_against=(_no_way(road), *reasons.against),
            oxygen=None,
            limit_probability=None,
        )
        return (True, math.inf, not unit.is_default, unit.name, unit.key), candidate
