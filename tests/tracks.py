"""Invented roads, drives along them, and what a cheap phone tells of a drive. All from seeds.

A drive has a pace of its own, good and bad stretches, and stops. The phone is off by 10 to 30 m,
now and then by kilometres; it loses coverage for many minutes, sends what it kept afterwards, some
of it twice and out of order, and loses the rest.
"""

import itertools
import math
import random
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from transport.calc.places import Place, haversine_km
from transport.calc.track import Fix

KM_PER_DEGREE = 111.195
KM_H = 37.5
LEFT_AT = datetime(2031, 3, 4, 22, 0, tzinfo=UTC)


@dataclass(frozen=True)
class Road:
    """A line with the km from its beginning at each of its points."""

    points: Sequence[Place]
    km_at: Sequence[float]

    @classmethod
    def through(cls, points: Sequence[Place]) -> "Road":
        """The road through these points."""
        steps = [haversine_km(a, b) for a, b in itertools.pairwise(points)]
        return cls(points, list(itertools.accumulate(steps, initial=0.0)))

    @property
    def km(self) -> float:
        """Its whole length."""
        return self.km_at[-1]

    @property
    def line_km(self) -> float:
        """From end to end as the crow flies."""
        return haversine_km(self.points[0], self.points[-1])

    def at(self, km: float) -> Place:
        """The place so far along it."""
        i = min(max(bisect_left(self.km_at, km), 1), len(self.points) - 1)
        a, b = self.points[i - 1], self.points[i]
        length = self.km_at[i] - self.km_at[i - 1]
        part = min(max((km - self.km_at[i - 1]) / length, 0.0), 1.0) if length else 0.0
        return Place(
            a.latitude + part * (b.latitude - a.latitude),
            a.longitude + part * (b.longitude - a.longitude),
        )

    def km_left(self, places: Sequence[Place]) -> list[float | None]:
        """What is left of it from its point nearest to each place; nothing 1 km off the road."""
        return [self._km_left(place) for place in places]

    def _km_left(self, place: Place) -> float | None:
        away = [haversine_km(place, point) for point in self.points]
        nearest = min(range(len(away)), key=away.__getitem__)
        return self.km - self.km_at[nearest] if away[nearest] <= 1.0 else None


def winding_road(rng: random.Random, km: float) -> Road:
    """About so long, in the hills: it turns away and comes back to its direction, 250 m a step."""
    place, points = Place(-1.0, -30.0), [Place(-1.0, -30.0)]
    heading, turning, bend = rng.uniform(0, 2 * math.pi), 0.0, rng.uniform(0.10, 0.26)
    for _ in range(round(km / 0.25)):
        turning = 0.97 * turning + rng.gauss(0, bend)
        angle = heading + turning
        place = Place(
            place.latitude + 0.25 / KM_PER_DEGREE * math.cos(angle),
            place.longitude + 0.25 / KM_PER_DEGREE * math.sin(angle),
        )
        points.append(place)
    return Road.through(points)


@dataclass(frozen=True)
class Drive:
    """One journey: minutes after departure and km along the road, from first to last."""

    road: Road
    minutes: Sequence[float]
    km: Sequence[float]

    @property
    def whole_minutes(self) -> float:
        """Until it arrives."""
        return self.minutes[-1]

    def km_at(self, minutes: float) -> float:
        """How far along the road it is."""
        i = min(max(bisect_left(self.minutes, minutes), 1), len(self.minutes) - 1)
        span = self.minutes[i] - self.minutes[i - 1]
        part = min(max((minutes - self.minutes[i - 1]) / span, 0.0), 1.0) if span else 0.0
        return self.km[i - 1] + part * (self.km[i] - self.km[i - 1])

    def minutes_at(self, km: float) -> float:
        """When it is so far along the road."""
        i = min(max(bisect_left(self.km, km), 1), len(self.km) - 1)
        span = self.km[i] - self.km[i - 1]
        part = (km - self.km[i - 1]) / span if span else 0.0
        return self.minutes[i - 1] + part * (self.minutes[i] - self.minutes[i - 1])


def drive(
    road: Road,
    rng: random.Random,
    *,
    pace_sigma: float = 0.25,
    stretch_sigma: float = 0.35,
    stretch_km: float = 4.0,
    stops_an_hour: float = 0.5,
    stop_minutes: float = 4.0,
    standstill: tuple[float, float] | None = None,
) -> Drive:
    """Drive along a road.

    The pace of the whole journey and that of its stretches are log-normal, stops exponential.
    ``standstill`` is one more stop: at which km, and for how many minutes.
    """
    pace = math.exp(rng.gauss(0, pace_sigma))
    minutes, km, at_minute = [0.0], [0.0], 0.0
    stretch, step = rng.gauss(0, stretch_sigma), road.km / max(round(road.km / 0.25), 1)
    kept = math.exp(-step / stretch_km)
    for number in range(1, round(road.km / step) + 1):
        stretch = kept * stretch + rng.gauss(0, stretch_sigma * math.sqrt(1 - kept**2))
        taken = step / KM_H * 60 * pace * math.exp(stretch)
        at_minute += taken
        minutes.append(at_minute)
        km.append(number * step)
        stands = 0.0
        if rng.random() < stops_an_hour * taken / 60:
            stands += rng.expovariate(1 / stop_minutes)
        if standstill and km[-2] < standstill[0] <= km[-1]:
            stands += standstill[1]
        if stands:
            at_minute += stands
            minutes.append(at_minute)
            km.append(number * step)
    return Drive(road, minutes, km)


@dataclass(frozen=True)
class Told:
    """A position and when it came in."""

    fix: Fix
    received_at: datetime


def after(minutes: float) -> datetime:
    """So many minutes after departure."""
    return LEFT_AT + timedelta(minutes=minutes)


def told_by_phone(
    made: Drive,
    rng: random.Random,
    *,
    every_minutes: float = 1.0,
    noise_m: float | None = None,
    gaps: int = 2,
    gap_minutes: float = 12.0,
    wrong: float = 0.01,
) -> list[Told]:
    """What comes in of a drive, in the order of its coming.

    ``wrong`` of the positions are off by 1 to 20 km and say they are good. In each of the ``gaps``
    nothing comes; half of what was kept comes when the gap is over, the other half is lost.
    """
    sigma = noise_m or rng.uniform(10, 30)
    ends = made.whole_minutes
    silent = [
        (start, start + rng.expovariate(1 / gap_minutes))
        for start in (rng.uniform(0, ends) for _ in range(gaps))
    ]
    came: list[Told] = []
    for number in range(1, int(ends / every_minutes) + 1):
        minute = number * every_minutes + rng.uniform(-0.2, 0.2)
        place = made.road.at(made.km_at(minute))
        off_m = rng.uniform(1_000, 20_000) if rng.random() < wrong else abs(rng.gauss(0, sigma))
        fix = Fix(after(minute), _shifted(place, off_m, rng.uniform(0, 2 * math.pi)), sigma)
        gap = max((end for start, end in silent if start <= minute < end), default=None)
        if gap is not None and rng.random() < 0.5:
            continue
        received = after((gap or minute) + rng.uniform(0.0, 1.5))
        came += [Told(fix, received)] * (2 if rng.random() < 0.1 else 1)
    return sorted(came, key=lambda told: told.received_at)


def known_at(came: Sequence[Told], minutes: float) -> list[Fix]:
    """The positions that had come in by then, in the order of their coming."""
    return [told.fix for told in came if told.received_at <= after(minutes)]


def _shifted(place: Place, metres: float, angle: float) -> Place:
    degrees = metres / 1000 / KM_PER_DEGREE
    east = degrees / math.cos(math.radians(place.latitude))
    return Place(
        place.latitude + degrees * math.cos(angle), place.longitude + east * math.sin(angle)
    )
