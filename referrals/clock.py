"""The one clock of the service. Pages, API, tasks and commands ask it; nothing else does.

The demo may run its clock faster than real time; then every process of it reads the same anchors
from the environment and shows the same time.
"""

import time
from datetime import UTC, datetime, timedelta

from django.conf import settings


def now() -> datetime:
    """The server's time, in UTC."""
    if not settings.DEMO_CLOCK:
        return datetime.now(UTC)
    real_anchor, shown_anchor, factor = (float(part) for part in settings.DEMO_CLOCK.split(","))
    return datetime.fromtimestamp(shown_anchor + (time.time() - real_anchor) * factor, UTC)


def speed() -> float:
    """How many times faster than real time the clock runs; 1 outside the demo."""
    return float(settings.DEMO_CLOCK.split(",")[2]) if settings.DEMO_CLOCK else 1.0


def minutes_before(moment: datetime, minutes: float) -> datetime:
    """A moment some minutes earlier."""
    return moment - timedelta(minutes=minutes)
