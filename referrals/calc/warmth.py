"""How a baby's temperature changes an hour, and where it would be if that went on.

A line through the readings of the last hours, with the error that a thermometer has. It is a
projection, not a forecast: warming a baby or opening a door changes it at once.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from statistics import NormalDist

from referrals.calc.quantities import QUANTITIES, Verdict, check_quantity
from referrals.calc.thermal import NORMAL_FROM_C
from referrals.calc.wording import marked

REWARMING_SOURCE = marked("WHO, Managing newborn problems, 2003, F-71 and F-73")
REWARMING_C_PER_HOUR = 0.5
REWARMING_HOURS = 3.0
"""A cold baby is rewarmed when it gains at least 0.5 °C an hour over 3 hours."""


@dataclass(frozen=True, kw_only=True)
class TrendSettings:
    """Limits of a trend; all common practice, no source.

    - ``look_back_hours``: older readings say nothing of now.
    - ``least_readings``, ``least_minutes``: fewer, or closer together, are no trend.
    - ``reading_error_c``: standard deviation of one reading in the axilla.
    - ``farthest_hours``: nothing is projected farther ahead than this, nor farther than
      ``farthest_ratio`` times the time that the readings span.
    """

    look_back_hours: float = 4.0
    least_readings: int = 2
    least_minutes: float = 30.0
    reading_error_c: float = 0.1
    farthest_hours: float = 3.0
    farthest_ratio: float = 3.0


SETTINGS = TrendSettings()


@dataclass(frozen=True)
class Reading:
    """One temperature, °C, and when it was true."""

    at: datetime
    celsius: float


@dataclass(frozen=True, kw_only=True)
class Trend:
    """A line through readings. ``per_hour`` and ``per_hour_error`` (one standard deviation) are
    in °C an hour; ``middle`` is the mean time, at which the line is at ``celsius``.
    """

    per_hour: float
    per_hour_error: float
    middle: datetime
    celsius: float
    celsius_error: float
    first: Reading
    last: Reading
    count: int

    @property
    def span_hours(self) -> float:
        """From the first reading to the last, hours."""
        return (self.last.at - self.first.at).total_seconds() / 3600

    @property
    def is_too_slow(self) -> bool:
        """A cold baby that gained less than 0.5 °C an hour over 3 hours (``REWARMING_SOURCE``).

        Cold at the beginning and still cold: a baby that is warm needs no rewarming.
        """
        is_cold = self.first.celsius < NORMAL_FROM_C and self.last.celsius < NORMAL_FROM_C
        gained = (self.last.celsius - self.first.celsius) / self.span_hours
        enough = gained >= REWARMING_C_PER_HOUR - 1e-9
        return is_cold and self.span_hours >= REWARMING_HOURS - 1e-9 and not enough


@dataclass(frozen=True, kw_only=True)
class Projected:
    """What the temperature would be at ``at`` if the trend went on: likely, and 8 of 10 between."""

    at: datetime
    low: float
    likely: float
    high: float


def usable(readings: Iterable[Reading]) -> list[Reading]:
    """Return the readings that a thermometer can give, oldest first."""
    kept = [
        each
        for each in readings
        if check_quantity("temperature_c", each.celsius) is not Verdict.IMPOSSIBLE
    ]
    return sorted(kept, key=lambda each: (each.at, each.celsius))


def trend_of(readings: Iterable[Reading], *, settings: TrendSettings = SETTINGS) -> Trend | None:
    """Return the trend of the last hours, or ``None`` when there are too few readings for one.

    Ordinary least squares; the error of the slope is the larger of what the thermometer alone
    gives and what the readings scatter.
    """
    rows = usable(readings)
    if not rows:
        return None
    begins = rows[-1].at - timedelta(hours=settings.look_back_hours)
    rows = [each for each in rows if each.at >= begins]
    span = rows[-1].at - rows[0].at
    if len(rows) < settings.least_readings or span < timedelta(minutes=settings.least_minutes):
        return None
    return _line(rows, settings)


def _line(rows: Sequence[Reading], settings: TrendSettings) -> Trend:
    hours = [(each.at - rows[0].at).total_seconds() / 3600 for each in rows]
    middle, mean = _mean(hours), _mean([each.celsius for each in rows])
    spread = sum((hour - middle) ** 2 for hour in hours)
    slope = (
        sum((h - middle) * (each.celsius - mean) for h, each in zip(hours, rows, strict=True))
        / spread
    )
    scatter = settings.reading_error_c
    if len(rows) > 2:
        left = sum(
            (each.celsius - mean - slope * (h - middle)) ** 2
            for h, each in zip(hours, rows, strict=True)
        )
        scatter = max(scatter, math.sqrt(left / (len(rows) - 2)))
    return Trend(
        per_hour=slope,
        per_hour_error=scatter / math.sqrt(spread),
        middle=rows[0].at + timedelta(hours=middle),
        celsius=mean,
        celsius_error=scatter / math.sqrt(len(rows)),
        first=rows[0],
        last=rows[-1],
        count=len(rows),
    )


def _mean(values: Sequence[float]) -> float:
    return sum(values) / len(values)


def projected(
    trend: Trend, at: datetime, *, settings: TrendSettings = SETTINGS
) -> Projected | None:
    """Return the temperature at a later time if the trend went on; ``None`` if that is too far.

    The range holds 8 of 10 such lines (P10 to P90), from the error of the readings alone. It is
    kept within what a thermometer can read. A time before the last reading gives ``None``.
    """
    ahead = (at - trend.last.at).total_seconds() / 3600
    farthest = min(settings.farthest_hours, settings.farthest_ratio * trend.span_hours)
    if not 0 <= ahead <= farthest:
        return None
    hours = (at - trend.middle).total_seconds() / 3600
    likely = trend.celsius + trend.per_hour * hours
    error = math.hypot(trend.celsius_error, trend.per_hour_error * hours)
    apart = NormalDist().inv_cdf(0.9) * error
    bounds = QUANTITIES["temperature_c"]

    def kept(celsius: float) -> float:
        return min(max(celsius, bounds.possible_low), bounds.possible_high)

    return Projected(
        at=at, low=kept(likely - apart), likely=kept(likely), high=kept(likely + apart)
    )
