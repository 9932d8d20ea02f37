"""What was measured over time as a small drawing: points, steps, the normal band, ticks.

Numbers in, numbers out, in the units of a drawing ``WIDTH`` by ``HEIGHT``; the words and the SVG
stand in the template. A point outside the normal band has another shape, so that no meaning is
carried by colour alone.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

WIDTH, HEIGHT = 320.0, 130.0
LEFT, RIGHT, TOP, BOTTOM = 36.0, 14.0, 20.0, 22.0
LABELLED = 6
"""Up to so many points each has its number; of more the first, last, lowest and highest."""
LABEL_APART = 26.0
"""Numbers nearer than this, across, would be written over each other."""
LEAST_SPAN = timedelta(minutes=20)
LEAST_APART = 12.0
"""Ticks nearer than this are left out, in units of the drawing."""
STEPS_MINUTES = (5, 10, 15, 30, 60, 120, 180, 360, 720, 1440)
MOST_TICKS = 5


@dataclass(frozen=True)
class Measured:
    """A number that was read, in the unit of its chart."""

    at: datetime
    value: float


@dataclass(frozen=True)
class Between:
    """A range that was felt or heard instead of a number; ``high`` open means to the top."""

    at: datetime
    low: float
    high: float | None


@dataclass(frozen=True)
class Normal:
    """The normal band from a time on (``None``: from the beginning)."""

    low: float
    high: float
    since: datetime | None = None


@dataclass(frozen=True)
class Point:
    """One number on the drawing; ``label`` says whether its number is written."""

    x: float
    y: float
    at: datetime
    value: float
    is_normal: bool
    label: bool
    anchor: str


@dataclass(frozen=True)
class Box:
    """A rectangle: a step of a range, or a piece of the normal band."""

    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True)
class Tick:
    """A line of an axis with its value or time."""

    place: float
    value: float
    at: datetime | None = None


@dataclass(frozen=True)
class Chart:
    """Everything that is drawn."""

    points: tuple[Point, ...]
    line: str
    steps: tuple[Box, ...]
    band: tuple[Box, ...]
    y_ticks: tuple[Tick, ...]
    x_ticks: tuple[Tick, ...]


@dataclass(frozen=True)
class _Scale:
    begins: datetime
    ends: datetime
    low: float
    high: float

    def x(self, at: datetime) -> float:
        share = (at - self.begins) / (self.ends - self.begins)
        return LEFT + min(max(share, 0.0), 1.0) * (WIDTH - LEFT - RIGHT)

    def y(self, value: float) -> float:
        share = (min(max(value, self.low), self.high) - self.low) / (self.high - self.low)
        return HEIGHT - BOTTOM - share * (HEIGHT - TOP - BOTTOM)

    def box(self, since: datetime, until: datetime, low: float, high: float) -> Box:
        left, right, top = self.x(since), self.x(until), self.y(high)
        return Box(x=left, y=top, width=right - left, height=self.y(low) - top)


def draw(
    measured: Sequence[Measured],
    *,
    axis: tuple[float, float],
    felt: Sequence[Between] = (),
    normal: Sequence[Normal] = (),
) -> Chart | None:
    """Return the drawing of the readings, or ``None`` when there are fewer than two.

    ``axis`` is the least range of the vertical axis; readings outside widen it. Times are aware
    and in the zone in which the ticks fall on full hours. ``normal`` is in order of time.
    """
    numbers = sorted(measured, key=lambda each: each.at)
    ranges = sorted(felt, key=lambda each: each.at)
    times = [*(each.at for each in numbers), *(each.at for each in ranges)]
    if len(times) < 2:
        return None
    begins = min(times)
    values = [each.value for each in numbers]
    scale = _Scale(
        begins=begins,
        ends=max(max(times), begins + LEAST_SPAN),
        low=min([axis[0], *values]),
        high=max([axis[1], *values]),
    )
    points = _points(numbers, scale, normal)
    return Chart(
        points=points,
        line=" ".join(f"{point.x:.1f},{point.y:.1f}" for point in points),
        steps=tuple(_steps(ranges, times, scale)),
        band=tuple(_band(normal, scale)),
        y_ticks=tuple(_y_ticks(scale, normal)),
        x_ticks=tuple(_x_ticks(scale)),
    )


def normal_at(normal: Sequence[Normal], at: datetime) -> Normal | None:
    """Return the band that holds at a time: the last that has begun."""
    begun = [each for each in normal if each.since is None or each.since <= at]
    return begun[-1] if begun else None


def _points(
    numbers: Sequence[Measured], scale: _Scale, normal: Sequence[Normal]
) -> tuple[Point, ...]:
    written = _apart(_written(numbers), [scale.x(each.at) for each in numbers])
    points = []
    for number, each in enumerate(numbers):
        band = normal_at(normal, each.at)
        x = scale.x(each.at)
        points.append(
            Point(
                x=x,
                y=scale.y(each.value),
                at=each.at,
                value=each.value,
                is_normal=band is None or band.low <= each.value <= band.high,
                label=number in written,
                anchor="end" if x > WIDTH - 40 else "start" if x < LEFT + 20 else "middle",
            )
        )
    return tuple(points)


def _written(numbers: Sequence[Measured]) -> set[int]:
    places = range(len(numbers))
    if len(numbers) <= LABELLED:
        return set(places)
    lowest = min(places, key=lambda place: numbers[place].value)
    highest = max(places, key=lambda place: numbers[place].value)
    return {0, len(numbers) - 1, lowest, highest}


def _apart(places: set[int], across: Sequence[float]) -> set[int]:
    """Of numbers that would be written over each other, the later one."""
    kept: list[int] = []
    for place in sorted(places, reverse=True):
        if not kept or across[kept[-1]] - across[place] >= LABEL_APART:
            kept.append(place)
    return set(kept)


def _steps(ranges: Sequence[Between], times: Sequence[datetime], scale: _Scale) -> list[Box]:
    """Each range holds until the next reading, of whichever kind."""
    boxes = []
    for each in ranges:
        until = min((at for at in times if at > each.at), default=scale.ends)
        high = scale.high if each.high is None else each.high
        boxes.append(scale.box(each.at, until, each.low, high))
    return boxes


def _band(normal: Sequence[Normal], scale: _Scale) -> list[Box]:
    boxes = []
    for number, each in enumerate(normal):
        since = each.since or scale.begins
        following = normal[number + 1].since if number + 1 < len(normal) else None
        until = following or scale.ends
        if until > scale.begins and since < scale.ends:
            boxes.append(scale.box(max(since, scale.begins), until, each.low, each.high))
    return boxes


def _y_ticks(scale: _Scale, normal: Sequence[Normal]) -> list[Tick]:
    """The ends of the axis, and between them the edges of the last normal band."""
    wanted = [*([normal[-1].low, normal[-1].high] if normal else []), scale.low, scale.high]
    ticks: list[Tick] = []
    for value in wanted:
        place = scale.y(value)
        if all(abs(place - each.place) >= LEAST_APART for each in ticks):
            ticks.append(Tick(place=place, value=value))
    return ticks


def _x_ticks(scale: _Scale) -> list[Tick]:
    span = (scale.ends - scale.begins) / timedelta(minutes=1)
    step = next((each for each in STEPS_MINUTES if span / each <= MOST_TICKS), STEPS_MINUTES[-1])
    midnight = scale.begins.replace(hour=0, minute=0, second=0, microsecond=0)
    ticks: list[Tick] = []
    at = midnight
    while at <= scale.ends and len(ticks) <= MOST_TICKS:
        if at >= scale.begins:
            ticks.append(Tick(place=scale.x(at), value=0.0, at=at))
        at += timedelta(minutes=step)
    return ticks
