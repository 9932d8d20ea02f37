"""When something happened, as far as it can be known from a phone whose clock may be wrong.

An emergency is never refused for its clock: what the phone said is kept, a corrected time is
worked out beside it, and a large difference is flagged for people to see.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

NOTICEABLE_SKEW = timedelta(minutes=5)
"""Difference from the server's clock that people are shown (common practice, no source)."""

OLDEST_EVENT = timedelta(days=36_525)
"""A device whose clock tells of more than a hundred years is not believed further than that."""


@dataclass(frozen=True, kw_only=True)
class EventTime:
    """The times of one event.

    ``happened_at`` is the device's own clock, untouched; ``received_at`` the server's clock on
    arrival; ``corrected_at`` the best estimate of when it really was, never after its arrival.
    ``skew`` is device clock minus server clock where the device told when it sent, else nothing.
    """

    happened_at: datetime
    received_at: datetime
    corrected_at: datetime
    skew: timedelta | None = None

    @property
    def clock_is_off(self) -> bool:
        """Whether the device's clock differs enough to be shown."""
        ahead = self.happened_at - self.received_at
        return ahead > NOTICEABLE_SKEW or (
            self.skew is not None and abs(self.skew) > NOTICEABLE_SKEW
        )


def event_time(
    *, received_at: datetime, happened_at: datetime | None = None, sent_at: datetime | None = None
) -> EventTime:
    """The times of an event told as ``happened_at`` in a message its device sent at ``sent_at``.

    With ``sent_at`` the device's offset is known and taken out: the age of the event by the
    device's own clock is subtracted from the arrival. Without it a past time is believed and a
    future one becomes the arrival.
    """
    if happened_at is None:
        return EventTime(happened_at=received_at, received_at=received_at, corrected_at=received_at)
    if sent_at is None:
        corrected = min(happened_at, received_at)
        return EventTime(happened_at=happened_at, received_at=received_at, corrected_at=corrected)
    age = min(max(sent_at - happened_at, timedelta(0)), OLDEST_EVENT)
    return EventTime(
        happened_at=happened_at,
        received_at=received_at,
        corrected_at=received_at - age,
        skew=sent_at - received_at,
    )
