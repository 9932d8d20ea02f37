"""How long breaths have been given while no heartbeat is found, and what is published about it.

The published positions differ. Nothing here says what to do: the minutes are shown to the desk and
to the clinician on call at 10, 15 and 20, and a named person decides. The one who ventilates is
never told or asked.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from referrals.calc.terms import HeartRateBand
from referrals.calc.wording import marked

MARKS_MINUTES = (10, 15, 20)
"""The minutes at which published positions speak of it; see ``POSITIONS``."""


@dataclass(frozen=True, kw_only=True)
class Position:
    """What one publication says, in our words."""

    code: str
    words: str
    source: str


POSITIONS = (
    Position(
        code="ilcor_2010",
        words=marked("No detectable heart rate at 10 min: may be considered to end it"),
        source="AHA and ILCOR 2010 (Kattwinkel)",
    ),
    Position(
        code="who_2012",
        words=marked(
            "No detectable heart rate after 10 min of effective breaths: to end it; under 60 and "
            "not breathing at 20 min: to end it"
        ),
        source="WHO, Guidelines on basic newborn resuscitation, 2012, value from memory",
    ),
    Position(
        code="community_15",
        words=marked("A community trial went on for 15 min"),
        source="field trial in Gadchiroli",
    ),
    Position(
        code="ilcor_2020",
        words=marked("No heart rate by about 20 min despite every step: to be talked over"),
        source="ILCOR 2020; 2020 AHA guidelines, Part 5",
    ),
    Position(
        code="who_2003",
        words=marked(
            "A baby who had been breathing: no gasp or breath at 20 min, or only gasps at 30 min: "
            "to end it; not regular at 20 min: to refer"
        ),
        source="WHO, Managing newborn problems, 2003, P-4",
    ),
)


@dataclass(frozen=True)
class HeartTold:
    """One reading: the heart band, whether breaths were given, whether the chest moved.

    ``None`` is what the reading did not say: then the reading before still holds.
    """

    at: datetime
    sequence: int
    band: HeartRateBand | None = None
    ventilated: bool | None = None
    chest_moves: bool | None = None


@dataclass(frozen=True)
class NoHeartbeat:
    """Since when no heartbeat is found, and what of that time was effective ventilation."""

    since: datetime
    last_told_at: datetime
    first_sequence: int
    periods: tuple[tuple[datetime, datetime | None], ...]
    chest_told: bool

    def minutes_at(self, now: datetime) -> float:
        """Minutes of breaths until ``now`` that are not known to have left the chest still."""
        spans = ((start, min(end or now, now)) for start, end in self.periods if start < now)
        return sum(max(0.0, (end - start) / timedelta(minutes=1)) for start, end in spans)

    def reached_at(self, mark: float) -> datetime | None:
        """When so many minutes are full, if it goes on as told last; ``None`` if it does not."""
        left = timedelta(minutes=mark)
        for start, end in self.periods:
            if end is None or end - start >= left:
                return start + left
            left -= end - start
        return None


def no_heartbeat(readings: Iterable[HeartTold]) -> NoHeartbeat | None:
    """The unbroken run of readings without a heartbeat up to now; ``None`` if there is none.

    Counted is the time in which breaths were given: that they are, and that the chest moves, is
    assumed while nobody has said otherwise, so that a person is told too early rather than late.
    Where the chest is told not to move, or the baby to breathe regularly, the clock stands.
    """
    since: datetime | None = None
    last, first = None, 0
    ventilated = chest = None
    periods: list[tuple[datetime, datetime | None]] = []
    for row in sorted(readings, key=lambda one: (one.at, one.sequence)):
        ventilated = row.ventilated if row.ventilated is not None else ventilated
        chest = row.chest_moves if row.chest_moves is not None else chest
        if row.band is HeartRateBand.NONE_DETECTED:
            since, last = since or row.at, row.at
            first = first or row.sequence
        elif row.band is not None:
            since, last, first, periods = None, None, 0, []
        runs = since is not None and ventilated is not False and chest is not False
        if runs and not (periods and periods[-1][1] is None):
            periods.append((row.at, None))
        elif not runs and periods and periods[-1][1] is None:
            periods[-1] = (periods[-1][0], row.at)
    if since is None or last is None:
        return None
    return NoHeartbeat(since, last, first, tuple(periods), chest is not None)
