"""A simulated driver: follows the district's roads and tells positions as a phone in a car does.

Pure but for reading the roads once: all chance comes from a seed, all times are arguments.
"""

import csv
import heapq
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from pathlib import Path
from random import Random

DISTRICT = Path(__file__).resolve().parent / "district"
SPEED_KM_H = {"paved": 50.0, "gravel": 30.0, "track": 20.0}
NOISE_M = 8.0  # one standard deviation north and east of a phone's fix; common practice, no source
GAP_SHARE = 0.15  # share of the way without coverage
GAPS = 2
METRES_PER_DEGREE = 111_195.0  # mean Earth radius x pi / 180; good enough for noise and sharing out

Point = tuple[float, float]
"""Latitude and longitude in degrees, WGS84."""


@dataclass(frozen=True)
class Fix:
    """One position as the phone recorded it."""

    recorded_at: datetime
    latitude: float
    longitude: float
    accuracy_m: float


@dataclass(frozen=True)
class _Road:
    to: str
    minutes: float
    line: tuple[Point, ...]


class SimulatedDriver:
    """Knows the roads between the sites of the district, and drives them."""

    def __init__(self, folder: Path = DISTRICT) -> None:
        self._sites = _read_sites(folder / "sites.csv")
        self._roads: dict[str, list[_Road]] = {code: [] for code in self._sites}
        features = json.loads((folder / "roads.geojson").read_text())["features"]
        for feature in features:
            self._add(feature["properties"], feature["geometry"]["coordinates"])

    def route(self, from_site: str, to_site: str) -> list[Point]:
        """The quickest way by road between two sites; the straight line where no road leads.

        Raises:
            KeyError: for a site that the district does not have.
        """
        start, end = self._sites[from_site], self._sites[to_site]
        came_by = self._quickest(from_site, to_site)
        if to_site not in came_by:
            return [start, end]
        way: list[Point] = [end]
        at = to_site
        while at != from_site:
            at, road = came_by[at]
            way += reversed(road.line[:-1])
        return way[::-1]

    def positions(
        self,
        route: Sequence[Point],
        start: datetime,
        end: datetime,
        every_seconds: float,
        seed: str,
    ) -> list[Fix]:
        """Fixes along a route from ``start`` to ``end``, with noise and stretches of silence.

        The first and the last fix are always there; the same seed gives the same drive.
        """
        random = Random(seed)
        seconds = (end - start).total_seconds()
        if seconds <= 0 or every_seconds <= 0:
            raise ValueError("a drive takes time, and so does the wait between two positions")
        steps = math.ceil(seconds / every_seconds)
        shares = [min(step * every_seconds / seconds, 1.0) for step in range(steps)] + [1.0]
        silent = _silent_stretches(random)
        pace = random.uniform(-0.1, 0.1)
        return [
            _fix(
                along(route, _at_pace(share, pace)),
                start + timedelta(seconds=share * seconds),
                random,
            )
            for share in shares
            if share in (0.0, 1.0) or not any(low <= share < high for low, high in silent)
        ]

    def _add(
        self, properties: Mapping[str, object], coordinates: Sequence[Sequence[float]]
    ) -> None:
        line = tuple((latitude, longitude) for longitude, latitude in coordinates)
        a, b = str(properties["from"]), str(properties["to"])
        speed = SPEED_KM_H[str(properties["surface"])]
        minutes = float(str(properties["road_km"])) / speed * 60
        self._roads[a].append(_Road(b, minutes, line))
        self._roads[b].append(_Road(a, minutes, line[::-1]))

    def _quickest(self, from_site: str, to_site: str) -> dict[str, tuple[str, _Road]]:
        """By which road each site is reached soonest (Dijkstra 1959)."""
        came_by: dict[str, tuple[str, _Road]] = {}
        best = {from_site: 0.0}
        waiting = [(0.0, from_site)]
        while waiting:
            minutes, at = heapq.heappop(waiting)
            if at == to_site:
                break
            for road in self._roads[at] if minutes <= best[at] else ():
                arrives = minutes + road.minutes
                if arrives < best.get(road.to, math.inf):
                    best[road.to], came_by[road.to] = arrives, (at, road)
                    heapq.heappush(waiting, (arrives, road.to))
        return came_by


def along(route: Sequence[Point], share: float) -> Point:
    """The point at a share (0 to 1) of the length of a route."""
    lengths = [_metres(a, b) for a, b in pairwise(route)]
    left = share * math.fsum(lengths)
    for (a, b), length in zip(pairwise(route), lengths, strict=True):
        if left <= length and length > 0:
            part = left / length
            return a[0] + part * (b[0] - a[0]), a[1] + part * (b[1] - a[1])
        left -= length
    return route[-1]


def _read_sites(path: Path) -> dict[str, Point]:
    with path.open(newline="") as file:
        return {
            row["code"]: (float(row["latitude"]), float(row["longitude"]))
            for row in csv.DictReader(file)
        }


def _metres(a: Point, b: Point) -> float:
    east = (b[1] - a[1]) * math.cos(math.radians((a[0] + b[0]) / 2))
    return math.hypot(b[0] - a[0], east) * METRES_PER_DEGREE


def _at_pace(share: float, pace: float) -> float:
    """A little faster first and slower later, or the other way; 0 and 1 stay where they are."""
    return share + pace * math.sin(math.pi * share) / math.pi


def _silent_stretches(random: Random) -> list[tuple[float, float]]:
    each = GAP_SHARE / GAPS
    starts = [random.uniform(0.05, 0.95 - each) for _ in range(GAPS)]
    return [(start, start + each) for start in starts]


def _fix(point: Point, at: datetime, random: Random) -> Fix:
    north, east = random.gauss(0, NOISE_M), random.gauss(0, NOISE_M)
    latitude = point[0] + north / METRES_PER_DEGREE
    longitude = point[1] + east / (METRES_PER_DEGREE * math.cos(math.radians(point[0])))
    return Fix(at, round(latitude, 6), round(longitude, 6), round(random.uniform(5, 25), 1))
