"""The geometry of the time ribbon: stored rows and the time in, places on the axis out.

Every place is a per cent of the width, so that one drawing serves every screen. Nothing here knows
words, colours or Django: a segment says which stage it is, the template gives it shape and label.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from typing import Any

# The axis stays readable when one journey was forgotten open, or one arrival is far away.
MOST_BACK = timedelta(hours=6)
MOST_AHEAD = timedelta(hours=6)
LEAST_AHEAD = timedelta(minutes=40)
LEAST_BACK = timedelta(minutes=20)
STEPS_MINUTES = (10, 15, 30, 60, 120)
MOST_TICKS = 13
OXYGEN_IN_SIGHT = timedelta(minutes=45)
"""Oxygen that lasts longer than this past the latest arrival does not stretch the axis for it."""

VEHICLE_STAGES = ("wanted", "assigned", "collecting", "at_origin", "on_the_road", "arrived")


@dataclass(frozen=True, slots=True)
class Tick:
    """One line of the axis. ``second`` ones are left out where the screen is narrow."""

    at: datetime
    x: float
    second: bool


@dataclass(frozen=True, slots=True)
class Segment:
    """A stage of one lane (``unit`` or ``vehicle``) from ``x`` over ``width``.

    ``ended`` is empty while the stage lasts; it is then drawn up to now.
    """

    kind: str
    lane: str
    x: float
    width: float
    begun: datetime
    ended: datetime | None


@dataclass(frozen=True, slots=True)
class Mark:
    """One moment. ``outside`` is true when it lies beyond the axis and is drawn at its edge."""

    at: datetime
    x: float
    outside: bool


@dataclass(frozen=True, slots=True)
class Whisker:
    """The projected arrival: a dot at P50 between P10 and P90."""

    p10: Mark
    p50: Mark
    p90: Mark


@dataclass(frozen=True, slots=True)
class RowShape:
    """One journey on the axis."""

    code: str
    begins: Mark
    segments: tuple[Segment, ...]
    checks: tuple[Mark, ...]
    arrival: Whisker | None
    oxygen_ends: Mark | None


@dataclass(frozen=True, slots=True)
class Ribbon:
    """The axis and every journey on it."""

    begin: datetime
    end: datetime
    now_x: float
    ticks: tuple[Tick, ...]
    rows: tuple[RowShape, ...]


@dataclass(frozen=True, slots=True)
class _Axis:
    begin: datetime
    end: datetime

    def x(self, at: datetime) -> float:
        """The place of a moment in per cent, kept on the axis."""
        share = (at - self.begin) / (self.end - self.begin)
        return round(min(max(share, 0.0), 1.0) * 100, 3)

    def mark(self, at: datetime) -> Mark:
        return Mark(at, self.x(at), not self.begin <= at <= self.end)


def draw(rows: Sequence[Mapping[str, Any]], now: datetime, zone: tzinfo = UTC) -> Ribbon:
    """Place every row on one shared axis whose ticks fall on round clock times of ``zone``."""
    begin, end = _span(rows, now)
    step = _step(end - begin)
    axis = _Axis(_rounded(begin, step, zone, math.floor), _rounded(end, step, zone, math.ceil))
    return Ribbon(
        begin=axis.begin,
        end=axis.end,
        now_x=axis.x(now),
        ticks=_ticks(axis, step),
        rows=tuple(_row(row, axis, now) for row in rows),
    )


def _span(rows: Sequence[Mapping[str, Any]], now: datetime) -> tuple[datetime, datetime]:
    begins = [_begin(row) for row in rows]
    ends = [at for row in rows for at in (_p(row, "p90"), _oxygen_in_sight(row, now)) if at]
    begin = min([now - LEAST_BACK, *begins])
    end = max([now + LEAST_AHEAD, *ends])
    return max(begin, now - MOST_BACK), min(end, now + MOST_AHEAD)


def _oxygen_in_sight(row: Mapping[str, Any], now: datetime) -> datetime | None:
    ends = _time(row.get("oxygen_ends_at"))
    latest = _p(row, "p90") or now
    return ends if ends and ends <= latest + OXYGEN_IN_SIGHT else None


def _begin(row: Mapping[str, Any]) -> datetime:
    raised = _time(row["raised_at"])
    born = _time(row.get("born_at"))
    assert raised is not None  # noqa: S101 - every row has it
    return min(raised, born) if born else raised


def _step(span: timedelta) -> timedelta:
    for minutes in STEPS_MINUTES:
        step = timedelta(minutes=minutes)
        if span / step <= MOST_TICKS - 2:
            return step
    return timedelta(minutes=STEPS_MINUTES[-1])


def _rounded(at: datetime, step: timedelta, zone: tzinfo, towards: Any) -> datetime:
    """The round clock time of the zone at or next to a moment, as UTC."""
    offset = at.astimezone(zone).utcoffset() or timedelta(0)
    local_seconds = at.timestamp() + offset.total_seconds()
    whole = towards(local_seconds / step.total_seconds()) * step.total_seconds()
    return datetime.fromtimestamp(whole - offset.total_seconds(), UTC)


def _ticks(axis: _Axis, step: timedelta) -> tuple[Tick, ...]:
    count = round((axis.end - axis.begin) / step)
    return tuple(
        Tick(axis.begin + i * step, axis.x(axis.begin + i * step), i % 2 == 1)
        for i in range(count + 1)
    )


def _row(row: Mapping[str, Any], axis: _Axis, now: datetime) -> RowShape:
    oxygen = _time(row.get("oxygen_ends_at"))
    arrived = (row.get("times") or {}).get("arrived")
    return RowShape(
        code=row["code"],
        begins=axis.mark(_begin(row)),
        segments=(*_unit_lane(row, axis, now), *_vehicle_lane(row, axis, now)),
        checks=tuple(axis.mark(at) for at in sorted(_times(row.get("checks") or ()))),
        arrival=None if arrived else _whisker(row, axis),
        oxygen_ends=axis.mark(oxygen) if oxygen else None,
    )


def _unit_lane(row: Mapping[str, Any], axis: _Axis, now: datetime) -> list[Segment]:
    """Before the raise, then asking until a unit said yes, then placed."""
    raised = _time(row["raised_at"]) or now
    answers = [
        answered
        for offer in row.get("offers") or ()
        if offer["stage"] == "accepted" and (answered := _time(offer["answered_at"]))
    ]
    changes = [("before", _begin(row)), ("asking", raised)]
    changes += [("placed", min(answers))] if answers else []
    return _segments(changes, "unit", _last(row, now), axis)


def _vehicle_lane(row: Mapping[str, Any], axis: _Axis, now: datetime) -> list[Segment]:
    times = row.get("times") or {}
    changes = [(stage, at) for stage in VEHICLE_STAGES if (at := _time(times.get(stage)))]
    return _segments(changes, "vehicle", _last(row, now), axis)


def _last(row: Mapping[str, Any], now: datetime) -> datetime:
    """Up to when stages last: now, or the end of the journey."""
    ended = _time((row.get("times") or {}).get("finished")) or _time(row.get("closed_at"))
    return min(ended, now) if ended else now


def _segments(
    changes: Iterable[tuple[str, datetime]], lane: str, last: datetime, axis: _Axis
) -> list[Segment]:
    """One segment from each change to the next.

    A stage told by a phone whose clock is off never begins before the one it follows, nor after
    the last moment shown, so that the lane always reads from left to right.
    """
    told: list[tuple[str, datetime]] = []
    for kind, at in changes:
        earliest = told[-1][1] if told else at
        told.append((kind, min(max(at, earliest), max(last, earliest))))
    made = []
    for i, (kind, begun) in enumerate(told):
        ended = told[i + 1][1] if i + 1 < len(told) else None
        x, until = axis.x(begun), axis.x(ended or max(last, begun))
        if until > x:
            made.append(Segment(kind, lane, x, round(until - x, 3), begun, ended))
    return made


def _whisker(row: Mapping[str, Any], axis: _Axis) -> Whisker | None:
    p10, p50, p90 = (_p(row, name) for name in ("p10", "p50", "p90"))
    if p10 is None or p50 is None or p90 is None:
        return None
    return Whisker(axis.mark(p10), axis.mark(p50), axis.mark(p90))


def _p(row: Mapping[str, Any], name: str) -> datetime | None:
    return _time((row.get("window") or {}).get(name))


def _times(texts: Iterable[str]) -> list[datetime]:
    return [datetime.fromisoformat(text) for text in texts]


def _time(text: str | None) -> datetime | None:
    return datetime.fromisoformat(text) if text else None
