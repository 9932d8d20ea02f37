"""Places on the Earth, and a fast first look at which of them are near.

The sphere is only ever a prefilter here: ``travel.nearest`` decides on the ellipsoid.
"""

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from heapq import heappush, heapreplace
from typing import Any

from referrals.calc.wording import words

# Mean Earth radius R1 = (2a + b) / 3 of the WGS84 ellipsoid, km (Moritz 1980, GRS80 tables).
EARTH_RADIUS_KM = 6371.0088

# Sphere and WGS84 geodesic differ by at most 0.56 % (worst along a meridian near the equator,
# 111195 m against 110574 m a degree), so two places whose distances on the sphere differ by
# more than 1.0056 squared cannot be in the wrong order. Rounded up.
SPHERE_SLACK = 1.012
# Below this angle (6 mm) rounding of the unit vectors outweighs the relative slack.
SPHERE_SLACK_RADIANS = 1e-9

_LEAF_SIZE = 12
_NUMBER = r"([+-]?\d{1,3}(?:\.\d+)?)"
_LATITUDE_LONGITUDE = re.compile(rf"\s*{_NUMBER}\s*,\s*{_NUMBER}\s*", re.ASCII)


class InvalidPlace(ValueError):
    """The coordinates cannot be a place on the Earth."""


@dataclass(frozen=True, slots=True)
class Place:
    """A place: latitude (-90 to 90) and longitude (-180 to 180) in degrees, WGS84.

    Raises InvalidPlace for anything outside, including not-a-number.
    """

    latitude: float
    longitude: float

    def __post_init__(self) -> None:
        # Written so that not-a-number, for which every comparison is false, is refused too.
        if not -90.0 <= self.latitude <= 90.0:
            raise InvalidPlace(
                words("latitude must be -90 to 90 degrees, not %(found)s", found=self.latitude)
            )
        if not -180.0 <= self.longitude <= 180.0:
            raise InvalidPlace(
                words("longitude must be -180 to 180 degrees, not %(found)s", found=self.longitude)
            )


def parse_place(text: str) -> Place:
    """Read ``"lat,lon"`` in decimal degrees; raises InvalidPlace with the text it refused."""
    match = _LATITUDE_LONGITUDE.fullmatch(text)
    if match is None:
        raise InvalidPlace(
            words("a place is written as latitude,longitude in degrees, not %(text)r", text=text)
        )
    return Place(float(match[1]), float(match[2]))


def haversine_km(first: Place, second: Place) -> float:
    """Great-circle distance on the mean sphere, km; within 0.56 % of the WGS84 geodesic.

    Source: haversine formula, Sinnott RW, "Virtues of the haversine", Sky and Telescope
    1984;68(2):159.
    """
    return haversine_from(first)(second.latitude, second.longitude)


def haversine_from(origin: Place) -> Callable[[float, float], float]:
    """``haversine_km`` from one place to many: asked by latitude and longitude, in degrees."""
    origin_latitude = math.radians(origin.latitude)
    origin_across = math.cos(origin_latitude)

    def kilometres(latitude: float, longitude: float) -> float:
        at = math.radians(latitude)
        half_longitude = math.radians(longitude - origin.longitude) / 2
        half_chord_squared = (
            math.sin((at - origin_latitude) / 2) ** 2
            + origin_across * math.cos(at) * math.sin(half_longitude) ** 2
        )
        return 2 * EARTH_RADIUS_KM * math.asin(min(1.0, math.sqrt(half_chord_squared)))

    return kilometres


_Point = tuple[float, float, float, int]
# A leaf is a list of points, a branch is (axis, split, low side, high side).
_Node = Any


def unit_vector(place: Place) -> tuple[float, float, float]:
    """The place as a point on the unit sphere."""
    latitude, longitude = math.radians(place.latitude), math.radians(place.longitude)
    across = math.cos(latitude)
    return across * math.cos(longitude), across * math.sin(longitude), math.sin(latitude)


def _build(points: list[_Point]) -> _Node:
    """Split by the median of the widest axis until a leaf is small (Bentley 1975, k-d tree)."""
    if len(points) <= _LEAF_SIZE:
        return points
    axis = max(range(3), key=lambda a: max(p[a] for p in points) - min(p[a] for p in points))
    points.sort(key=lambda point: point[axis])
    middle = len(points) // 2
    return axis, points[middle][axis], _build(points[:middle]), _build(points[middle:])


class PlaceIndex:
    """Places kept so that the near ones are found without looking at all of them.

    A k-d tree over unit vectors: the antimeridian and the poles need no special case.
    Build it once for a set of sites (about n log n) and ask it many times.
    """

    def __init__(self, places: Sequence[Place]) -> None:
        self.places = tuple(places)
        self._root = _build([(*unit_vector(p), i) for i, p in enumerate(self.places)])

    def near(self, origin: Place, count: int) -> list[tuple[float, int]]:
        """Every place that could be among the ``count`` nearest on the ellipsoid.

        Returns (angle on the sphere in radians, position in ``places``), nearest first:
        all within 1.012 of the ``count``-th on the sphere.
        """
        if count <= 0:
            return []
        found, limit = self._collect(unit_vector(origin), count)
        return sorted(
            (2 * math.asin(min(1.0, math.sqrt(squared) / 2)), position)
            for squared, position in found
            if squared <= limit
        )

    def _collect(
        self, at: tuple[float, float, float], count: int
    ) -> tuple[list[tuple[float, int]], float]:
        """Squared chords met on the way, and the limit that was final when all were seen."""
        x, y, z = at
        limit = math.inf
        nearest: list[float] = []  # the best squared chords so far, negated: a max-heap
        found: list[tuple[float, int]] = []
        waiting: list[tuple[float, _Node]] = [(0.0, self._root)]
        while waiting:
            at_least, node = waiting.pop()
            if at_least > limit:
                continue
            if isinstance(node, tuple):
                axis, split, low, high = node
                beyond = at[axis] - split
                far, close = (low, high) if beyond > 0 else (high, low)
                waiting.append((beyond * beyond, far))
                waiting.append((0.0, close))
                continue
            for px, py, pz, position in node:
                squared = (px - x) ** 2 + (py - y) ** 2 + (pz - z) ** 2
                if squared <= limit:
                    found.append((squared, position))
                    limit = _tighter(nearest, squared, count, limit)
        return found, limit


def _tighter(nearest: list[float], squared: float, count: int, limit: float) -> float:
    """Take one more squared chord into the heap of the best and return the new limit."""
    if len(nearest) < count:
        heappush(nearest, -squared)
    elif squared < -nearest[0]:
        heapreplace(nearest, -squared)
    else:
        return limit
    if len(nearest) < count:
        return math.inf
    # A chord grows more slowly than its angle, so the slack on angles covers chords.
    return (math.sqrt(-nearest[0]) * SPHERE_SLACK + SPHERE_SLACK_RADIANS) ** 2
