"""How far it is by road and how long that takes, as a distribution.

``estimate_travel`` is the first estimator: fixed numbers with their sources, over the ways of a
RoadBase where it knows one, else over the straight line with a detour. Anything with the
signature of ``TravelEstimator`` can stand in its place and be handed to the ranking.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache, partial
from types import MappingProxyType
from typing import Any, Protocol, Required, TypedDict, Unpack

from geopy.distance import geodesic

from referrals.calc.terms import VehicleKind
from referrals.calc.wording import marked, words
from transport.calc.places import (
    SPHERE_SLACK,
    SPHERE_SLACK_RADIANS,
    InvalidPlace,
    Place,
    PlaceIndex,
    haversine_km,
    parse_place,
)
from transport.calc.road_base import ROAD_TABLE, NoRoad, RoadAnswer, RoadBase, RoadWay
from transport.calc.travel_time import TravelTime, add, certain, zero

__all__ = [
    "How",
    "InvalidPlace",
    "InvalidTravelSettings",
    "Place",
    "PlaceIndex",
    "TravelEstimate",
    "TravelEstimator",
    "TravelSettings",
    "TravelTime",
    "add",
    "certain",
    "estimate_travel",
    "fixed_estimator",
    "geodesic_km",
    "haversine_km",
    "median_road_minutes",
    "nearest",
    "parse_place",
    "road_mix_km_h",
    "unreachable",
    "zero",
]

METHOD = "geodesic_detour"

# One object keeps the ellipsoid's series; a new one for every pair costs a third more time.
_WGS84 = geodesic(ellipsoid="WGS-84")


def _measured_km(first: Place, second: Place) -> float:
    return float(
        _WGS84.measure((first.latitude, first.longitude), (second.latitude, second.longitude))
    )


# Posts, units and parked vehicles stay where they are: the same pairs are asked again and again.
@lru_cache(maxsize=8192)
def geodesic_km(first: Place, second: Place) -> float:
    """Shortest distance on the WGS84 ellipsoid, km.

    Source: Karney CFF, Algorithms for geodesics, J Geodesy 2013;87:43, through geopy.
    """
    return _measured_km(first, second)


def nearest(origin: Place, places: Sequence[Place] | PlaceIndex, count: int) -> list[int]:
    """Positions of the ``count`` nearest places, in the exact order of their geodesics.

    Equally far places keep their order in ``places``. Hand in a PlaceIndex where the same places
    are asked again. The sphere finds who can be among the nearest; a geodesic is computed only
    where the sphere cannot tell two of them apart (within a factor of 1.012).
    """
    index = places if isinstance(places, PlaceIndex) else PlaceIndex(places)
    ordered: list[int] = []
    for run in _runs(index.near(origin, count)):
        if len(run) > 1:
            run.sort(key=lambda i: (_measured_km(origin, index.places[i]), i))
        ordered += run
        if len(ordered) >= count:
            break
    return ordered[:count]


def _runs(near: list[tuple[float, int]]) -> list[list[int]]:
    """Cut the list, nearest first, wherever the sphere alone settles who is nearer."""
    runs: list[list[int]] = []
    farthest = -math.inf
    for angle, position in near:
        if angle > farthest * SPHERE_SLACK + SPHERE_SLACK_RADIANS:
            runs.append([])
        runs[-1].append(position)
        farthest = angle
    return runs


# Road classes A/B and C/D. Source: western Kenya access model, Malaria Journal 2017;16:367,
# Table 1.
MAIN_ROAD_KM_H = 50.0
MINOR_ROAD_KM_H = 30.0


def road_mix_km_h(main_road_share: float) -> float:
    """Speed over a road of which ``main_road_share`` (0 to 1, by length) is main road, km/h."""
    if not 0.0 <= main_road_share <= 1.0:
        raise InvalidTravelSettings(
            words("a share of road is 0 to 1, not %(found)s", found=main_road_share)
        )
    return 1 / (main_road_share / MAIN_ROAD_KM_H + (1 - main_road_share) / MINOR_ROAD_KM_H)


class InvalidTravelSettings(ValueError):
    """A travel setting is outside what can be true of a road."""


def _default_speeds() -> Mapping[VehicleKind, float]:
    road = road_mix_km_h(0.5)
    # One road speed for all motor vehicles until a district's own journeys tell them apart.
    # Boat: 15 km/h, 8 knots, open boat with outboard engine; common practice, no source.
    return MappingProxyType(
        {kind: 15.0 if kind is VehicleKind.BOAT else road for kind in VehicleKind}
    )


@dataclass(frozen=True)
class TravelSettings:
    """Fixed numbers for a district with no journeys of its own yet; raises InvalidTravelSettings.

    - ``detour_factor``: road km / geodesic km. 1.4: England 1.40, Japan 1.41, Thailand 1.42,
      Indonesia 1.43 in Ballou RH et al., Transportation Research A 2002;36:843 (values from
      memory; the table runs from 1.12 to 2.10).
    - ``free_flow_km_h`` by kind of vehicle: half main, half minor road (see ``road_mix_km_h``).
    - ``getting_going_minutes``: cruise speed / acceleration of ``median_road_minutes``. 0.65 from
      Kolesar P, Walker W, Hausner J, Operations Research 1975;23:614 (urban engines: refit).
    - ``rainy_factor``: 1.2, common practice, no source. The only published hint is a loss of 5 to
      18 % of the population within reach at the wet-season peak, southern Mozambique (Makanga PT
      et al., Int J Health Geographics 2017), which is 1.05 to 1.22 if people live along roads.
    - ``boat_rainy_factor``: the same for a boat; common practice, no source.
    - ``darkness_factor``: 1.0, since no published figure was found: a local setting.
    - ``sigma``: 0.5, common practice, no source: P90 is 1.9 times the median. Wide on purpose:
      modelled times within 60 min were driven within 60 min in only 57 % of journeys (Lagos,
      Banke-Thomas A et al., BMJ Global Health 2021).
    - ``boat_detour_factor``: 1.2, common practice, no source.
    - ``paved_factor``, ``unpaved_factor``: minutes / those of ``road_tags`` where the way is known.
    """

    detour_factor: float = 1.4
    free_flow_km_h: Mapping[VehicleKind, float] = field(default_factory=_default_speeds)
    getting_going_minutes: float = 0.65
    rainy_factor: float = 1.2
    boat_rainy_factor: float = 1.2
    darkness_factor: float = 1.0
    sigma: float = 0.5
    boat_detour_factor: float = 1.2
    paved_factor: float = 1.0
    unpaved_factor: float = 1.0
    model_version: str = "fixed-1"

    def __post_init__(self) -> None:
        factors = ("detour_factor", "boat_detour_factor", "rainy_factor", "boat_rainy_factor",
                   "darkness_factor")  # fmt: skip
        for name in factors:
            _refuse_outside(name, getattr(self, name), 1.0, 5.0)
        _refuse_outside("getting_going_minutes", self.getting_going_minutes, 0.0, 60.0)
        for name in ("paved_factor", "unpaved_factor"):
            _refuse_outside(name, getattr(self, name), 0.1, 150.0)
        # Above 1 the moment matching of sums is no longer good enough.
        _refuse_outside("sigma", self.sigma, 0.01, 1.0)
        missing = set(VehicleKind) - set(self.free_flow_km_h)
        if missing:
            raise InvalidTravelSettings(
                words("no speed for %(kinds)s", kinds=", ".join(sorted(missing)))
            )
        for kind, speed in self.free_flow_km_h.items():
            _refuse_outside(words("speed of a %(kind)s, km/h,", kind=kind), speed, 1.0, 150.0)

    def detour_for(self, vehicle: VehicleKind) -> float:
        """Way travelled / geodesic for this kind of vehicle."""
        return self.boat_detour_factor if vehicle is VehicleKind.BOAT else self.detour_factor

    def rainy_for(self, vehicle: VehicleKind) -> float:
        """Minutes in the rainy season / minutes when dry for this kind of vehicle."""
        return self.boat_rainy_factor if vehicle is VehicleKind.BOAT else self.rainy_factor


def _refuse_outside(name: str, value: float, low: float, high: float) -> None:
    if not low <= value <= high:
        raise InvalidTravelSettings(
            words(
                "%(name)s must be %(low)s to %(high)s, not %(found)s",
                name=name,
                low=f"{low:g}",
                high=f"{high:g}",
                found=value,
            )
        )


@dataclass(frozen=True)
class TravelEstimate:
    """A travel time with the method and inputs it came from; no minutes where there is no way."""

    geodesic_km: float
    road_km: float | None
    method: str
    reachable: bool
    inputs: Mapping[str, Any]
    model_version: str
    distribution: TravelTime | None

    def __post_init__(self) -> None:
        if self.reachable != (self.distribution is not None):
            raise ValueError("a reachable place has a travel time, an unreachable one has none")

    @property
    def p10_minutes(self) -> float | None:
        """Minutes not exceeded in one journey of ten; None if unreachable."""
        return None if self.distribution is None else self.distribution.p10

    @property
    def p50_minutes(self) -> float | None:
        """Median minutes; None if unreachable."""
        return None if self.distribution is None else self.distribution.p50

    @property
    def p90_minutes(self) -> float | None:
        """Minutes not exceeded in nine journeys of ten; None if unreachable."""
        return None if self.distribution is None else self.distribution.p90

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON types: minutes, km, method, inputs."""
        return {
            "p10_minutes": self.p10_minutes,
            "p50_minutes": self.p50_minutes,
            "p90_minutes": self.p90_minutes,
            "geodesic_km": self.geodesic_km,
            "road_km": self.road_km,
            "method": self.method,
            "reachable": self.reachable,
            "inputs": dict(self.inputs),
            "model_version": self.model_version,
        }


class How(TypedDict, total=False):
    """What else a journey depends on.

    ``dark`` None means not known. ``extra_minutes`` are certain and part of the journey;
    ``after_minutes`` pass before it sets off and are no part of it: only what runs by the hour
    looks at them.
    """

    vehicle: Required[VehicleKind]
    rainy: Required[bool]
    dark: Required[bool | None]
    extra_minutes: float
    after_minutes: float


class TravelEstimator(Protocol):
    """What the ranking asks; ``fixed_estimator`` is one, an estimator that learns another."""

    def __call__(self, origin: Place, destination: Place, **how: Unpack[How]) -> TravelEstimate:
        """Estimate one journey."""


def unreachable(
    *, geodesic_km: float, method: str, inputs: Mapping[str, Any], model_version: str
) -> TravelEstimate:
    """An estimate that says: no way is known from here to there."""
    return TravelEstimate(geodesic_km, None, method, False, inputs, model_version, None)


def median_road_minutes(
    road_km: float, *, cruise_km_h: float, getting_going_minutes: float
) -> float:
    """Median minutes for a road distance: square root of it when short, linear when long.

    The two branches meet with equal slope at the distance in which cruise speed is reached.
    Source: Kolesar P, Walker W, Hausner J, Determining the relation between fire engine travel
    times and travel distances, Operations Research 1975;23:614.
    """
    return going_minutes(road_km * 60 / cruise_km_h, getting_going_minutes)


def going_minutes(cruising_minutes: float, getting_going_minutes: float) -> float:
    """``median_road_minutes`` from the minutes that the way takes at cruise speed."""
    if cruising_minutes <= getting_going_minutes:
        return 2 * math.sqrt(cruising_minutes * getting_going_minutes)
    return getting_going_minutes + cruising_minutes


def _darkness(dark: bool | None, settings: TravelSettings) -> tuple[float, float]:
    """Factor on the median, and what not knowing adds to the variance of the log.

    Day and night are taken as equally likely where it is not known: half the factor in logs,
    spread by the other half.
    """
    half_log = math.log(settings.darkness_factor) / 2
    if dark is None:
        return math.exp(half_log), half_log**2
    return (settings.darkness_factor if dark else 1.0), 0.0


def estimate_travel(
    origin: Place,
    destination: Place,
    *,
    vehicle: VehicleKind,
    rainy: bool,
    dark: bool | None,
    settings: TravelSettings,
    roads: RoadBase | None = None,
    extra_minutes: float = 0.0,
    after_minutes: float = 0.0,
) -> TravelEstimate:
    """The way by road, else geodesic x detour -> median minutes by vehicle, rain and darkness.

    ``extra_minutes`` (a known wait, not negative) are certain and come on top. ``dark`` None
    means not known. A place is unreachable only where ``roads`` say so; a boat asks no roads. The
    method is the same whenever the journey sets off.
    """
    line_km = geodesic_km(origin, destination)
    line = StraightLine(settings.detour_for(vehicle), settings.free_flow_km_h[vehicle])
    said = _said_by(roads, origin, destination, vehicle)
    darkness_factor, darkness_variance = _darkness(dark, settings)
    rainy_factor = settings.rainy_for(vehicle) if rainy else 1.0
    asked = {
        "origin": [origin.latitude, origin.longitude],
        "destination": [destination.latitude, destination.longitude],
        "vehicle": str(vehicle),
        "rainy": rainy,
        "dark": dark,
        "rainy_factor": rainy_factor,
        "darkness_factor": darkness_factor,
        "extra_minutes": extra_minutes,
    }
    if said is NoRoad.UNREACHABLE:
        return unreachable(
            geodesic_km=line_km,
            method=ROAD_TABLE,
            inputs={**asked, "no_way": marked("no road of the road table joins the two")},
            model_version=settings.model_version,
        )
    if isinstance(said, RoadWay):
        way, by = said, ROAD_TABLE
        minutes = way.minutes * (
            way.unpaved * settings.unpaved_factor + (1 - way.unpaved) * settings.paved_factor
        )
        asked |= {"road_minutes": way.minutes, "road_shares": list(way.shares)}
    else:
        way, by = line.way(line_km), METHOD
        minutes = way.minutes
        asked |= {"detour_factor": line.detour_factor, "free_flow_km_h": line.km_h}
        if said is not None:
            asked["roads"] = said.value
    median = going_minutes(minutes * rainy_factor * darkness_factor, settings.getting_going_minutes)
    sigma = math.sqrt(settings.sigma**2 + darkness_variance)
    inputs = {**asked, "sigma": sigma}
    time = TravelTime(median + extra_minutes, sigma, extra_minutes)
    return TravelEstimate(line_km, way.km, by, True, inputs, settings.model_version, time)


def _said_by(
    roads: RoadBase | None, origin: Place, destination: Place, vehicle: VehicleKind
) -> RoadAnswer | None:
    if roads is None or vehicle is VehicleKind.BOAT or origin == destination:
        return None
    return roads.ways_from(origin, [destination])[0]


@dataclass(frozen=True, slots=True)
class StraightLine:
    """The RoadBase that always answers: geodesic x detour, at one speed."""

    detour_factor: float
    km_h: float

    def ways_from(self, origin: Place, destinations: Sequence[Place]) -> list[RoadAnswer]:
        """One way for each destination."""
        return [self.way(geodesic_km(origin, each)) for each in destinations]

    def way(self, line_km: float) -> RoadWay:
        """The way over a straight line."""
        km = line_km * self.detour_factor
        return RoadWay(km, km * 60 / self.km_h)


def fixed_estimator(settings: TravelSettings, roads: RoadBase | None = None) -> TravelEstimator:
    """``estimate_travel`` with its settings filled in."""
    return partial(estimate_travel, settings=settings, roads=roads)
