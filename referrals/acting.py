"""Who does something, by which way it reached us, and when: what every verb is told."""

from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import gettext as _

from referrals.calc.device_time import EventTime, event_time
from referrals.calc.terms import EntryChannel
from referrals.models import Staff

SYSTEM = "system"
LONGEST_NAME = 150
"""Characters of an author's name that a row can hold."""


@dataclass(frozen=True, kw_only=True)
class By:
    """The author of one event.

    ``actor`` is a stable code that stands in the timeline (a user name, ``link:...`` for a person
    without an account, ``system``); ``name`` is how people call the author. ``said_by`` is who told
    it by voice, where the author only wrote it down.
    """

    actor: str
    name: str
    channel: EntryChannel
    when: EventTime
    said_by: str = ""

    @property
    def at(self) -> datetime:
        """When it most likely happened."""
        return self.when.corrected_at

    @property
    def received_at(self) -> datetime:
        """When it reached the server; commitments and deadlines go by this."""
        return self.when.received_at

    @property
    def is_person(self) -> bool:
        """Whether a person stands behind it."""
        return self.actor != SYSTEM


def by_staff(
    staff: Staff,
    *,
    channel: EntryChannel,
    now: datetime,
    happened_at: datetime | None = None,
    sent_at: datetime | None = None,
    said_by: str = "",
) -> By:
    """An event told by a person who is signed in, or told to them by voice (``said_by``)."""
    name = str(staff)
    if said_by:
        name = _("%(said_by)s, to %(name)s") % {"said_by": said_by, "name": name}
    return By(
        actor=staff.username,
        name=name[:LONGEST_NAME],
        channel=channel,
        when=event_time(received_at=now, happened_at=happened_at, sent_at=sent_at),
        said_by=said_by,
    )


def by_system(now: datetime) -> By:
    """Something the service itself does: a sweep, a derived fact."""
    return By(
        actor=SYSTEM,
        name="Littleroad",
        channel=EntryChannel.SYSTEM,
        when=event_time(received_at=now),
    )
