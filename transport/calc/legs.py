"""Ferry and boat legs in the travel estimate: what a district states joins two road parts.

A leg goes one way, from one landing to another. Which places no road joins is known from the land
of each site: two places on different lands are reached over a leg or not at all. At most one leg
is taken in a journey.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Unpack

from referrals.calc.terms import VehicleKind
from referrals.calc.wording import marked, words
from transport.calc.closures import ClosedPlace, closures_of
from transport.calc.places import Place, haversine_from
from transport.calc.travel import (
    How,
    TravelEstimate,
    TravelEstimator,
    geodesic_km,
    unreachable,
)
from transport.calc.travel_time import TravelTime, add, certain

MINUTES_A_DAY = 24 * 60.0
KNOWN_WITHIN_KM = 30.0
"""A place farther than this from every site is taken as on the mainland; a project choice."""

# Standard normal score of the P90.
_P90_SCORE = 1.2815515655446004


@dataclass(frozen=True, slots=True)
class Landing:
    """Where a leg begins or ends."""

    name: str
    place: Place
    land: str = ""


@dataclass(frozen=True, slots=True)
class Hours:
    """From when until when a leg leaves, minutes after local midnight; may go over midnight."""

    opens: float
    closes: float

    def __post_init__(self) -> None:
        if not (0 <= self.opens < MINUTES_A_DAY and 0 <= self.closes < MINUTES_A_DAY):
            raise ValueError("hours are minutes after midnight, from 0 to below 1440")

    def minutes_until_running(self, minute: float) -> float:
        """From a minute after midnight until it runs: 0 while it does."""
        since = (minute - self.opens) % MINUTES_A_DAY
        return 0.0 if since <= self._span else MINUTES_A_DAY - since

    def minutes_left(self, minute: float) -> float:
        """How long it still runs from a minute after midnight; 0 while it does not."""
        return max(self._span - (minute - self.opens) % MINUTES_A_DAY, 0.0)

    @property
    def _span(self) -> float:
        return (self.closes - self.opens) % MINUTES_A_DAY


@dataclass(frozen=True)
class Leg:
    """A crossing as a district states it; raises ValueError for minutes that cannot be.

    ``kinds`` are the vehicles whose journey can include it: those it takes aboard, or ``boat``
    for one that takes people alone. ``waiting_minutes`` is what the district plans with from
    reaching the landing to leaving it, and is taken as certain. Rain and darkness are in the
    stated minutes, not added to them.
    """

    name: str
    start: Landing
    end: Landing
    crossing: TravelTime
    waiting_minutes: float
    kinds: frozenset[VehicleKind]
    hours: Hours | None = None

    def __post_init__(self) -> None:
        if not 0.0 <= self.waiting_minutes < MINUTES_A_DAY:
            raise ValueError(f"a wait is 0 to below a day, not {self.waiting_minutes} min")

    def wait_from(self, minute: float) -> float:
        """Minutes from reaching the landing until it leaves, whatever the clock shows."""
        ready = minute + self.waiting_minutes
        until = self.hours.minutes_until_running(ready % MINUTES_A_DAY) if self.hours else 0.0
        return self.waiting_minutes + until


def crossing_time(median_minutes: float, p90_minutes: float) -> TravelTime:
    """Minutes of a crossing from its median and the time not exceeded in nine of ten.

    Raises:
        ValueError: for a P90 below the median, or more than 20 times it.
    """
    if not 0.0 < median_minutes <= p90_minutes <= 20 * median_minutes:
        raise ValueError(
            "the median of a crossing is above 0, and nine of ten take at least that long and at "
            f"most 20 times: not {median_minutes} and {p90_minutes} min"
        )
    return TravelTime(median_minutes, math.log(p90_minutes / median_minutes) / _P90_SCORE)


class Ground:
    """Which places a road can join: those on one land. The mainland has no name."""

    def __init__(self, sites: Iterable[tuple[Place, str]]) -> None:
        self._land = dict(sites)
        self.is_one = not any(self._land.values())
        self._nearest = lru_cache(maxsize=1024)(self._land_of_nearest)

    def is_site(self, place: Place) -> bool:
        """Whether a site stands exactly here."""
        return place in self._land

    def land_of(self, place: Place) -> str:
        """The land of the site that is here, or of the nearest one."""
        return self._land[place] if place in self._land else self._nearest(place)

    def _land_of_nearest(self, place: Place) -> str:
        far = haversine_from(place)
        km, land = min(
            ((far(at.latitude, at.longitude), land) for at, land in self._land.items()),
            default=(math.inf, ""),
        )
        return land if km <= KNOWN_WITHIN_KM else ""


def open_legs(legs: Iterable[Leg], closures: Sequence[ClosedPlace]) -> list[Leg]:
    """Those of which no landing is reported closed."""
    return [
        leg
        for leg in legs
        if not any(each.shuts(end.place) for each in closures for end in (leg.start, leg.end))
    ]


def across_legs(
    estimate: TravelEstimator, ground: Ground, legs: Sequence[Leg], *, minute_of_day: float
) -> TravelEstimator:
    """An estimator that goes over a leg where no road is, or where that is sooner.

    ``minute_of_day`` is when the journey sets off, minutes after local midnight.
    """
    if not legs and ground.is_one:
        return estimate

    def estimated(origin: Place, destination: Place, **how: Unpack[How]) -> TravelEstimate:
        lands = ground.land_of(origin), ground.land_of(destination)
        made = estimate(origin, destination, **how)
        ways = [
            over_leg(estimate, leg, origin, destination, minute_of_day=minute_of_day, **how)
            for leg in legs
            if how["vehicle"] in leg.kinds and lands == (leg.start.land, leg.end.land)
        ]
        ways = [way for way in ways if way.reachable]
        if how["vehicle"] is VehicleKind.BOAT:
            # From site to site a boat goes as its legs do; from the open sea the straight way.
            ashore = ground.is_site(origin) and ground.is_site(destination)
            ways = ways if ashore else []
            road = None if ways else made
        else:
            road = made if lands[0] == lands[1] else None
        found = [each for each in (road, *ways) if each is not None]
        return min(found, key=_expected) if found else _no_way(made)

    return estimated


def _expected(estimate: TravelEstimate) -> float:
    return estimate.distribution.mean if estimate.distribution else math.inf


def _no_way(made: TravelEstimate) -> TravelEstimate:
    why = {"no_way": marked("no road joins the two, and no leg that runs takes this vehicle")}
    return unreachable(
        geodesic_km=made.geodesic_km,
        method=f"{made.method}+leg",
        inputs={**made.inputs, **why},
        model_version=made.model_version,
    )


def over_leg(
    estimate: TravelEstimator,
    leg: Leg,
    origin: Place,
    destination: Place,
    *,
    minute_of_day: float,
    **how: Unpack[How],
) -> TravelEstimate:
    """Road to the landing, wait, crossing and road from the other landing as one distribution.

    A boat does not drive: the ways to and from its landings are estimated as for an ambulance.
    The wait follows from the median of the way to the landing.
    """
    vehicle = how["vehicle"]
    drives = VehicleKind.AMBULANCE if vehicle is VehicleKind.BOAT else vehicle
    rainy, dark, extra = how["rainy"], how["dark"], how.get("extra_minutes", 0.0)
    there = estimate(origin, leg.start.place, vehicle=drives, rainy=rainy, dark=dark,
                     extra_minutes=extra)  # fmt: skip
    on = estimate(leg.end.place, destination, vehicle=drives, rainy=rainy, dark=dark)
    if there.distribution is None or on.distribution is None:
        return there if there.distribution is None else on
    leaves = minute_of_day + how.get("after_minutes", 0.0)
    wait = leg.wait_from(leaves + there.distribution.p50)
    time = add((there.distribution, certain(wait), leg.crossing, on.distribution))
    across_km = haversine_from(leg.start.place)(leg.end.place.latitude, leg.end.place.longitude)
    method = max(there.method, on.method, key=len)
    inputs: dict[str, Any] = {
        "origin": [origin.latitude, origin.longitude],
        "destination": [destination.latitude, destination.longitude],
        "vehicle": str(vehicle),
        "rainy": rainy,
        "dark": dark,
        "extra_minutes": extra,
        "sigma": time.sigma,
        "leg": leg.name,
        "steps": [
            _step("road", there.distribution, origin, leg.start.place, to=leg.start.name),
            {"what": "waiting", "p50_minutes": wait, "p90_minutes": wait, "at": leg.start.name},
            _step("crossing", leg.crossing, leg.start.place, leg.end.place, to=leg.end.name),
            _step("road", on.distribution, leg.end.place, destination, to=""),
        ],
        "chance_missed": _chance_missed(leg, there.distribution, leaves),
    }
    met = dict.fromkeys([*closures_of(there), *closures_of(on)])
    if met:
        minutes = sum(each.inputs.get("closure_minutes", 0.0) for each in (there, on))
        inputs |= {"closures": list(met), "closure_minutes": minutes}
    return TravelEstimate(
        geodesic_km=geodesic_km(origin, destination),
        road_km=(there.road_km or 0.0) + across_km + (on.road_km or 0.0),
        method=f"{method}+leg",
        reachable=True,
        inputs=inputs,
        model_version=there.model_version,
        distribution=time,
    )


def _step(what: str, time: TravelTime, start: Place, end: Place, *, to: str) -> dict[str, Any]:
    return {
        "what": what,
        "p50_minutes": time.p50,
        "p90_minutes": time.p90,
        "from": [start.latitude, start.longitude],
        "to": [end.latitude, end.longitude],
        "to_name": to,
    }


def _chance_missed(leg: Leg, there: TravelTime, leaves: float) -> float:
    """That the last one of the day leaves before the landing is reached; 0 if waited out."""
    if leg.hours is None:
        return 0.0
    left = leg.hours.minutes_left(leaves % MINUTES_A_DAY)
    in_time = left - leg.waiting_minutes
    return there.probability_beyond(in_time) if there.p50 <= in_time else 0.0


def leg_of(estimate: TravelEstimate) -> str | None:
    """The name of the leg that an estimate goes over."""
    return estimate.inputs.get("leg")


def ways_of(
    estimate: TravelEstimate, origin: Place, destination: Place, vehicle: VehicleKind
) -> list[tuple[Place, Place, VehicleKind]]:
    """The ways an estimate is made of: the crossing as a boat's, the others as what drives."""
    steps = [each for each in estimate.inputs.get("steps", ()) if "from" in each]
    if not steps:
        return [(origin, destination, vehicle)]
    drives = VehicleKind.AMBULANCE if vehicle is VehicleKind.BOAT else vehicle
    return [
        (
            Place(*each["from"]),
            Place(*each["to"]),
            VehicleKind.BOAT if each["what"] == "crossing" else drives,
        )
        for each in steps
    ]


def leg_words(inputs: Mapping[str, Any]) -> str:
    """The steps of an estimate over a leg in words; empty where it goes by road alone."""
    if not inputs.get("leg"):
        return ""
    there, waiting, crossing, on = inputs["steps"]
    missed = inputs.get("chance_missed", 0.0)
    sentence = (
        marked(
            "over %(leg)s: road to %(landing)s about %(there).0f min, waiting %(waiting).0f min, "
            "crossing about %(crossing).0f min, road from %(other)s about %(on).0f min; chance to "
            "miss the last one of the day: %(missed).0f %%"
        )
        if missed >= 0.05
        else marked(
            "over %(leg)s: road to %(landing)s about %(there).0f min, waiting %(waiting).0f min, "
            "crossing about %(crossing).0f min, road from %(other)s about %(on).0f min"
        )
    )
    return words(
        sentence,
        leg=inputs["leg"],
        landing=there["to_name"],
        there=there["p50_minutes"],
        waiting=waiting["p50_minutes"],
        crossing=crossing["p50_minutes"],
        other=crossing["to_name"],
        on=on["p50_minutes"],
        missed=missed * 100,
    )
