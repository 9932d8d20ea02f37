"""Which of many units are worth working out: the near ones of each sort, and those people named."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from transport.calc.places import EARTH_RADIUS_KM, SPHERE_SLACK, Place


def haversines_km(origin: Place, latitudes: Sequence[float], longitudes: Sequence[float]) -> Any:
    """``places.haversine_km`` from one place to many at once, degrees to km, as an array."""
    here = math.radians(origin.latitude)
    at = np.radians(np.asarray(latitudes, dtype=float))
    half_longitude = np.radians(np.asarray(longitudes, dtype=float) - origin.longitude) / 2
    half_chord_squared = (
        np.sin((at - here) / 2) ** 2 + math.cos(here) * np.cos(at) * np.sin(half_longitude) ** 2
    )
    return 2 * EARTH_RADIUS_KM * np.arcsin(np.minimum(1.0, np.sqrt(half_chord_squared)))


@dataclass(frozen=True, slots=True)
class Box:
    """Degrees that a circle on the sphere does not leave."""

    south: float
    north: float
    west: float
    east: float


def box_around(origin: Place, radius_km: float) -> Box | None:
    """The box around a circle; None where it would pass a pole or the 180th meridian.

    East and west the circle is widest where its tangents are meridians: sin(half width) =
    sin(radius) / cos(latitude), both as angles (spherical trigonometry, the right triangle).
    """
    angle = radius_km / EARTH_RADIUS_KM
    here = math.radians(origin.latitude)
    if angle + abs(here) >= math.pi / 2:
        return None
    half_height = math.degrees(angle)
    half_width = math.degrees(math.asin(math.sin(angle) / math.cos(here)))
    west, east = origin.longitude - half_width, origin.longitude + half_width
    if west < -180.0 or east > 180.0:
        return None
    return Box(origin.latitude - half_height, origin.latitude + half_height, west, east)


def finalists(
    lacks: Sequence[int], distances_km: Any, named: Iterable[int], limit: int
) -> Sequence[int]:
    """Positions of the units worth working out: near on the sphere, or ``named`` by people already.

    ``lacks`` is how much of the preferred care each unit lacks, ``distances_km`` how far it is on
    the sphere. The limit is shared among the units with all, all but one, ... of that care: among
    equals in that only distance decides, so the best of all is never cut away. Whatever the sphere
    cannot tell from the last one taken is taken too.
    """
    if len(lacks) <= limit:
        return range(len(lacks))
    lacking, far = np.asarray(lacks), np.asarray(distances_km)
    sorts = np.unique(lacking)
    share = math.ceil(limit / len(sorts))
    chosen = set(named)
    if share > 0:
        for sort in sorts:
            rows = np.flatnonzero(lacking == sort)
            of_these = far[rows]
            last = np.partition(of_these, share - 1)[share - 1] if len(rows) > share else math.inf
            chosen.update(rows[of_these <= last * SPHERE_SLACK].tolist())
    return sorted(chosen)
