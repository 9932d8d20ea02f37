"""Who is on duty when: a week of shifts that repeats, read on the clock of the district."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from referrals.calc.shifts import moment_of

DAYS_AROUND = 2
"""A shift lasts a day at most and a clock moves by less than one, so more days never reach in."""


@dataclass(frozen=True, order=True)
class Span:
    """From one moment until just before another."""

    begins: datetime
    ends: datetime

    def holds(self, moment: datetime) -> bool:
        """Whether a moment lies in it."""
        return self.begins <= moment < self.ends


@dataclass(frozen=True, kw_only=True)
class Turn:
    """A shift of a week that repeats; ``weekday`` 0 is Monday.

    One that ends at or before the time it starts at ends on the next day.
    """

    weekday: int
    starts: time
    ends: time

    def spans(self, zone: ZoneInfo, since: datetime, until: datetime) -> Iterator[Span]:
        """When it is, in UTC, as far as it may touch the time between two moments.

        Where clocks move, its two ends are read as a shift change is (``calc/shifts.py``), so that
        two shifts that meet on an ordinary day meet on that day too.
        """
        day = since.astimezone(zone).date() - timedelta(days=DAYS_AROUND)
        last = until.astimezone(zone).date() + timedelta(days=DAYS_AROUND)
        overnight = timedelta(days=1 if self.ends <= self.starts else 0)
        while day <= last:
            if day.weekday() == self.weekday:
                span = Span(
                    moment_of(day, self.starts, zone), moment_of(day + overnight, self.ends, zone)
                )
                if span.begins < span.ends:
                    yield span
            day += timedelta(days=1)


def duty_at(turns: Iterable[Turn], zone: ZoneInfo, moment: datetime) -> Span | None:
    """The shift that holds a moment, of several the one that ends last; None outside all."""
    spans = (span for turn in turns for span in turn.spans(zone, moment, moment))
    held = (span for span in spans if span.holds(moment))
    return max(held, key=lambda span: span.ends, default=None)


def gaps(turns: Iterable[Turn], zone: ZoneInfo, since: datetime, until: datetime) -> list[Span]:
    """The times between two moments at which none of the shifts is."""
    spans = sorted(span for turn in turns for span in turn.spans(zone, since, until))
    found, covered = [], since
    for span in spans:
        if span.begins > covered and covered < until:
            found.append(Span(covered, min(span.begins, until)))
        covered = max(covered, span.ends)
    if covered < until:
        found.append(Span(covered, until))
    return found
