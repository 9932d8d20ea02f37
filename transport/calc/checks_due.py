"""When the next check on the way is due, and when the temperature is to be taken with it.

A missed check is the business of the desk; nobody who is ventilating is asked about it.
Source of the intervals: WHO, Managing newborn problems, 2003, pages C-65 and C-66: every 15 minutes
on the road, temperature every hour.
"""

import math
from collections.abc import Iterable
from datetime import datetime, timedelta

CHECK_INTERVAL_MINUTES = 15
TEMPERATURE_INTERVAL_MINUTES = 60


def next_check_due(
    *,
    last_check_at: datetime | None,
    started_at: datetime,
    interval_minutes: float = CHECK_INTERVAL_MINUTES,
) -> datetime:
    """When the next check is due: an interval after the last one, or after the start if none.

    ``started_at`` is the departure; a check made before it counts, and if that one is too old the
    next is due at departure. Raises ValueError for an interval that is not above 0.
    """
    if interval_minutes <= 0:
        raise ValueError(f"an interval between checks is above 0 minutes, not {interval_minutes}")
    interval = timedelta(minutes=interval_minutes)
    if last_check_at is None:
        return started_at + interval
    return max(last_check_at + interval, started_at)


def overdue_minutes(
    *,
    last_check_at: datetime | None,
    started_at: datetime,
    now: datetime,
    interval_minutes: float = CHECK_INTERVAL_MINUTES,
) -> float:
    """Minutes by which the next check is late; 0 while it is not."""
    due = next_check_due(
        last_check_at=last_check_at, started_at=started_at, interval_minutes=interval_minutes
    )
    return max(0.0, (now - due) / timedelta(minutes=1))


def checks_missed(
    *,
    check_times: Iterable[datetime],
    started_at: datetime,
    until: datetime,
    interval_minutes: float = CHECK_INTERVAL_MINUTES,
) -> int:
    """How many due checks were not made from the start until ``until`` (now, or the handover).

    Each check sets the clock anew. A late check is late, not missed: 31 minutes between two are one
    missed, 16 are none. Since the last one, every due time that has passed counts: after 16
    minutes one is overdue. The order and repetition of ``check_times`` do not matter.
    """
    if interval_minutes <= 0:
        raise ValueError(f"an interval between checks is above 0 minutes, not {interval_minutes}")
    interval = timedelta(minutes=interval_minutes)
    made = sorted(at for at in set(check_times) if started_at < at <= until)
    missed = 0
    previous = started_at
    for at in made:
        missed += max(0, (at - previous) // interval - 1)
        previous = at
    return missed + max(0, math.ceil((until - previous) / interval) - 1)


def temperature_due(
    *,
    last_taken_at: datetime | None,
    started_at: datetime,
    interval_minutes: float = CHECK_INTERVAL_MINUTES,
    temperature_minutes: float = TEMPERATURE_INTERVAL_MINUTES,
) -> datetime:
    """When the temperature is due: by its own interval, one never taken with the first check.

    It is never due more often than a check.
    """
    own = interval_minutes if last_taken_at is None else max(temperature_minutes, interval_minutes)
    return next_check_due(last_check_at=last_taken_at, started_at=started_at, interval_minutes=own)
