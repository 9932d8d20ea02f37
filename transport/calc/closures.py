"""Reported closures in the travel estimate: a way that passes one is longer and less certain.

No road network is known here. A way is taken as the great circle between its ends, and a closure
as a point with a radius, or as the road between two places. So this tells which journeys may be
touched and makes their estimates later and wider; it never finds the way round, and never says
that a place cannot be reached.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any, Unpack

from referrals.calc.terms import VehicleKind
from transport.calc.places import EARTH_RADIUS_KM, Place, haversine_km, unit_vector
from transport.calc.travel import How, TravelEstimate, TravelEstimator
from transport.calc.travel_time import TravelTime


class ClosureKind(StrEnum):
    """What is closed; a landing touches boats, the others touch what drives."""

    ROAD = "road"
    BRIDGE = "bridge"
    LANDING = "landing"


@dataclass(frozen=True, slots=True)
class ClosedPlace:
    """Something reported closed: at ``place`` within ``radius_km``, or the road to ``other``.

    Raises ValueError for a radius that is not above 0.
    """

    name: str
    kind: ClosureKind
    place: Place
    radius_km: float
    other: Place | None = None

    def __post_init__(self) -> None:
        if not 0.0 < self.radius_km < math.inf:
            raise ValueError(f"the radius of a closure is above 0 km, not {self.radius_km}")

    def touches(self, origin: Place, destination: Place, vehicle: VehicleKind) -> bool:
        """Whether the straight way comes within the radius.

        A landing counts only at the ends of a boat's way. Of the road between two places it is
        not known where it is closed: a way is touched that passes the middle of it, or both ends.
        """
        if (vehicle is VehicleKind.BOAT) != (self.kind is ClosureKind.LANDING):
            return False
        if self.kind is ClosureKind.LANDING:
            return self.shuts(origin) or self.shuts(destination)

        def passes(point: Place) -> bool:
            return km_from_way(point, origin, destination) <= self.radius_km

        if self.other is None:
            return passes(self.place)
        return passes(middle(self.place, self.other)) or (passes(self.place) and passes(self.other))

    def shuts(self, landing: Place) -> bool:
        """Whether nothing leaves or lands here."""
        if self.kind is not ClosureKind.LANDING:
            return False
        return any(
            haversine_km(landing, at) <= self.radius_km for at in (self.place, self.other) if at
        )


@dataclass(frozen=True, slots=True)
class ClosureSettings:
    """How much a closure on the way costs; project choices, no source, for a district to set.

    - ``factor``: each closure on the way adds this less 1 to the median of what varies.
    - ``sigma``: how unsure the way round is, beside the spread of the way itself.

    Raises ValueError for a factor below 1 or a sigma outside 0 to 1.
    """

    factor: float = 1.5
    sigma: float = 0.3

    def __post_init__(self) -> None:
        if not (1.0 <= self.factor <= 5.0 and 0.0 <= self.sigma <= 1.0):
            raise ValueError(f"no closure costs factor {self.factor}, sigma {self.sigma}")


# The earliest journey in a thousand. A wider spread alone would make the luckiest journeys
# earlier, which no closure does; so the median rises until not even this one is earlier.
_EARLIEST_SCORE = 3.0903


def around_closures(
    estimate: TravelEstimator, closures: Sequence[ClosedPlace], settings: ClosureSettings
) -> TravelEstimator:
    """An estimator that makes every way later and wider which passes a closure."""
    if not closures:
        return estimate

    def estimated(origin: Place, destination: Place, **how: Unpack[How]) -> TravelEstimate:
        made, vehicle = estimate(origin, destination, **how), how["vehicle"]
        met = [each for each in closures if each.touches(origin, destination, vehicle)]
        return past(made, met, settings)

    return estimated


def past(
    made: TravelEstimate, met: Sequence[ClosedPlace], settings: ClosureSettings
) -> TravelEstimate:
    """The estimate past the closures that were met; as it was where none was, or no way is."""
    time = made.distribution
    if time is None or not met:
        return made
    slower = slowed(time, len(met), settings)
    inputs: dict[str, Any] = {
        **made.inputs,
        "closures": [each.name for each in met],
        "closure_factor": settings.factor,
        "closure_minutes": slower.p50 - time.p50,
        "sigma": slower.sigma,
    }
    return replace(made, method=f"{made.method}+closures", inputs=inputs, distribution=slower)


def slowed(time: TravelTime, count: int, settings: ClosureSettings) -> TravelTime:
    """The time past ``count`` closures: every quantile from P0.1 to P99.9 later, none earlier."""
    sigma = math.hypot(time.sigma, settings.sigma)
    at_least = math.exp(_EARLIEST_SCORE * (sigma - time.sigma))
    factor = max(1.0 + count * (settings.factor - 1.0), at_least)
    return TravelTime(time.certain_minutes + time.varying_minutes * factor, sigma,
                      time.certain_minutes)  # fmt: skip


def closures_of(estimate: TravelEstimate) -> tuple[str, ...]:
    """The names of the closures that an estimate went past."""
    return tuple(estimate.inputs.get("closures", ()))


_Vector = tuple[float, float, float]


def km_from_way(point: Place, origin: Place, destination: Place) -> float:
    """Distance of a point from the great-circle way between two places, km, on the mean sphere.

    Cross-track distance where the foot lies between the ends, else the distance to the nearer end
    (Williams E, Aviation Formulary, "cross track error"; value from memory). Within 0.6 % of the
    ellipsoid, far below what a radius in km means here.
    """
    p, a, b = map(unit_vector, (point, origin, destination))
    normal = _cross(a, b)
    length = math.sqrt(_dot(normal, normal))
    nearer_end = min(haversine_km(point, origin), haversine_km(point, destination))
    if length < 1e-12:
        return nearer_end
    foot_is_between = _dot(_cross(normal, a), p) >= 0 and _dot(_cross(b, normal), p) >= 0
    if not foot_is_between:
        return nearer_end
    sine = max(-1.0, min(1.0, _dot(normal, p) / length))
    return abs(math.asin(sine)) * EARTH_RADIUS_KM


def middle(first: Place, second: Place) -> Place:
    """The middle of the great circle between two places that are not opposite on the Earth."""
    x, y, z = (f + s for f, s in zip(unit_vector(first), unit_vector(second), strict=True))
    return Place(math.degrees(math.atan2(z, math.hypot(x, y))), math.degrees(math.atan2(y, x)))


def _cross(a: _Vector, b: _Vector) -> _Vector:
    return (a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0])


def _dot(a: _Vector, b: _Vector) -> float:
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
