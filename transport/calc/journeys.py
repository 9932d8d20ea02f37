"""Completed journeys as columns, and the places they joined: what an estimator learns from."""

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from referrals.calc.terms import VehicleKind

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

VEHICLES = tuple(VehicleKind)
UNKNOWN_VEHICLE = -1
EARTH_KM = 6371.0088
"""Mean radius, IUGG; the sphere is near enough for how far apart two places are as neighbours."""
ROAD_TERMS = ("by_road", "middle", "minor", "track", "unpaved")
"""1 where the prior minutes are those of the roads; then the shares of ``RoadWay``."""
PLACE_GRID = 1000
"""Places that agree to a thousandth of a degree, about 110 m, are one place."""


@dataclass(frozen=True, kw_only=True)
class Journeys:
    """Completed journeys, one a row; every column has the same length.

    ``origins`` and ``destinations``: latitude and longitude in degrees. ``prior_minutes``: the
    median that the estimator without experience gives; ``minutes``: what it took. ``rainy``,
    ``dark``: 0 to 1, 0.5 where not known. ``vehicles``: position in VEHICLES, or
    UNKNOWN_VEHICLE. ``roads``: rows x ROAD_TERMS, all 0 where the prior minutes are those of the
    straight line. ``age_days``: how long ago. Raises ValueError for minutes that are not
    positive or columns of unequal length.
    """

    origins: Floats
    destinations: Floats
    geodesic_km: Floats
    prior_minutes: Floats
    minutes: Floats
    rainy: Floats
    dark: Floats
    vehicles: Integers
    roads: Floats
    age_days: Floats

    def __post_init__(self) -> None:
        lengths = {len(getattr(self, each.name)) for each in fields(self)}
        if len(lengths) != 1 or self.roads.shape[1:] != (len(ROAD_TERMS),):
            raise ValueError(f"the columns are of unequal length: {sorted(lengths)}")
        if not (np.all(self.minutes > 0) and np.all(self.prior_minutes > 0)):
            raise ValueError("a journey takes more than 0 minutes")

    def __len__(self) -> int:
        return len(self.minutes)

    def take(self, rows: Integers | NDArray[np.bool_]) -> "Journeys":
        """Some of the rows."""
        return replace(self, **{each.name: getattr(self, each.name)[rows] for each in fields(self)})

    @property
    def log_ratios(self) -> Floats:
        """Natural log of what it took over what was expected without experience."""
        return np.log(self.minutes) - np.log(self.prior_minutes)


def no_roads(count: int) -> Floats:
    """The column ``roads`` of journeys of which only the straight line is known."""
    return np.zeros((count, len(ROAD_TERMS)))


def place_keys(places: Floats) -> Integers:
    """One whole number a place (latitude, longitude); the same place has the same number."""
    grid = np.rint(places * PLACE_GRID).astype(np.int64)
    return grid[:, 0] * (720 * PLACE_GRID) + grid[:, 1]


def on_the_sphere(places: Floats) -> Floats:
    """Kilometres from the centre of the earth along three axes, for distances by chord."""
    latitude, longitude = np.radians(places[:, 0]), np.radians(places[:, 1])
    return EARTH_KM * np.stack(
        [
            np.cos(latitude) * np.cos(longitude),
            np.cos(latitude) * np.sin(longitude),
            np.sin(latitude),
        ],
        axis=-1,
    )


def chords_km(first: Floats, second: Floats) -> Floats:
    """Distance of every point of one array to every point of another, as ``on_the_sphere``."""
    squared = (
        np.sum(first**2, axis=1)[:, None]
        + np.sum(second**2, axis=1)[None, :]
        - 2.0 * first @ second.T
    )
    chords: Floats = np.sqrt(np.maximum(squared, 0.0))
    return chords
