"""The driver's link: a person without an account, one journey, one vehicle.

The link holds the number of the assignment, so it is void as soon as another vehicle is assigned.
It is dead two hours after the arrival or the end of the journey.
"""

from collections.abc import Callable
from contextlib import suppress
from datetime import datetime, timedelta

from django.db.models import Max
from django.utils.translation import gettext as _

from referrals import links
from referrals.acting import By
from referrals.calc.device_time import event_time
from referrals.calc.terms import EntryChannel
from referrals.links import InvalidLink
from transport.models import Meeting, Transfer

KIND = "d"
ALIVE_AFTER_END = timedelta(hours=2)


class DeadLink(InvalidLink):
    """The link was right and the journey is long over."""

    status = 410


def token_for(transfer: Transfer, meeting: Meeting | None = None) -> str:
    """The token for the driver who is assigned now, or for the one who is to meet that one."""
    return links.token(KIND, transfer.pk, (meeting or transfer).assignment)


WHOLE = Transfer.objects.select_related(
    "referral__district", "referral__origin", "vehicle__driver", "destination__site"
)
ENOUGH = """SELECT id, assignment, vehicle_id, arrived_at, finished_at
FROM transport_transfer WHERE id = %s"""

Found = Callable[[int], Transfer | None]
"""How a journey is looked up by its number."""


def whole(number: int) -> Transfer | None:
    """A journey with all that its pages show."""
    return WHOLE.filter(pk=number).first()


def bare(number: int) -> Transfer | None:
    """Enough to know that the link is good: for what a phone sends every few seconds."""
    return next(iter(Transfer.objects.raw(ENOUGH, [number])), None)


def opened_by(token: str, now: datetime, found: Found = whole) -> tuple[Transfer, Meeting | None]:
    """The journey a driver's token opens, and the meeting if it is that of the second vehicle.

    Raises:
        InvalidLink: when it is not one of ours, or another vehicle was assigned since.
        DeadLink: more than two hours after the arrival or the end.
    """
    try:
        return transfer_for(token, now, found), None
    except DeadLink:
        raise
    except InvalidLink:
        number = links.number_in(KIND, token)
        meeting = Meeting.objects.standing().filter(transfer=number).first()
        transfer = found(number)
        if meeting is None or transfer is None:
            raise
        links.require_valid(KIND, token, version=meeting.assignment)
        return transfer, meeting


def transfer_for(token: str, now: datetime, found: Found = whole) -> Transfer:
    """The one journey a driver's token opens; see ``opened_by``.

    Raises:
        InvalidLink: when it is not one of ours, or another vehicle was assigned since.
        DeadLink: more than two hours after the arrival or the end.
    """
    number = links.number_in(KIND, token)
    transfer = found(number)
    if transfer is None or transfer.vehicle_id is None:
        raise InvalidLink(_("this link is no longer valid; ask the desk for a new one"))
    links.require_valid(KIND, token, version=transfer.assignment)
    ended = [moment for moment in (transfer.arrived_at, transfer.finished_at) if moment]
    if ended and now > max(ended) + ALIVE_AFTER_END:
        raise DeadLink(
            _("this journey is over and its link is closed; ask the desk if you need it")
        )
    return transfer


def former(token: str) -> tuple[Transfer, int] | None:
    """What a link that opens no more was for: the journey and the number of its assignment.

    Nothing when it never was one of ours.
    """
    try:
        number = links.number_in(KIND, token)
    except InvalidLink:
        return None
    transfer = whole(number)
    if transfer is None:
        return None
    met = transfer.meetings.aggregate(last=Max("assignment"))["last"] or 0
    for assignment in range(max(transfer.assignment, met), -1, -1):
        with suppress(InvalidLink):
            links.require_valid(KIND, token, version=assignment)
            return transfer, assignment
    return None


def by_driver(
    transfer: Transfer,
    *,
    now: datetime,
    happened_at: datetime | None = None,
    sent_at: datetime | None = None,
    sent_before: bool = False,
    meeting: Meeting | None = None,
) -> By:
    """An event told through the link of a journey, or through one that has become void.

    ``meeting``: it is the driver of the second vehicle who tells it.
    """
    name = _("the driver sent before") if sent_before else (meeting or transfer).driver_name
    return By(
        actor=f"link:transfer:{transfer.pk}",
        name=name or _("the driver"),
        channel=EntryChannel.LINK,
        when=event_time(received_at=now, happened_at=happened_at, sent_at=sent_at),
    )
