"""When the people of a unit change: clock times of a day, read in the zone of the district."""

from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from referrals.calc.wording import words

DAYS_AROUND = (1, 0, -1, -2)
"""Days from the moment's own date: a clock set back over midnight shows tomorrow's times before,
and a zone can leave out a day when it moves across the date line."""


class NotAClockTime(ValueError):
    """A text that is no time of day, such as ``7 pm``."""


def clock_time_in(text: str) -> time:
    """The time of day in a text of hours and minutes, 00:00 to 23:59.

    Raises:
        NotAClockTime: for anything else.
    """
    hours, colon, minutes = text.strip().partition(":")
    digits = hours.isascii() and hours.isdigit() and minutes.isascii() and minutes.isdigit()
    if not (colon and digits and len(hours) <= 2 and len(minutes) == 2):
        raise NotAClockTime(words("%(text)r is not a time of day; write it as 07:00", text=text))
    if int(hours) > 23 or int(minutes) > 59:
        raise NotAClockTime(
            words("%(text)r is not a time of day; the last one is 23:59", text=text)
        )
    return time(int(hours), int(minutes))


def last_shift_change(changes: Sequence[time], zone: ZoneInfo, moment: datetime) -> datetime | None:
    """The newest shift change at or before a moment, in UTC; None for a unit without shifts."""
    today = moment.astimezone(zone).date()
    made = (moment_of(today + timedelta(days=days), change, zone)
            for days in DAYS_AROUND for change in changes)  # fmt: skip
    return max((change for change in made if change <= moment), default=None)


def moment_of(day: date, clock_time: time, zone: ZoneInfo) -> datetime:
    """When a clock in a zone shows a time on a day, in UTC.

    On the days when clocks move, a time that the clock leaves out is read with the offset before,
    and of a time that comes twice the first one counts: RFC 5545, section 3.3.5.
    """
    return datetime.combine(day, clock_time, tzinfo=zone).astimezone(UTC)
