"""The driver's link: a person without an account, one journey, one vehicle.

The link holds the number of the assignment, so it is void as soon as another vehicle is assigned.
It is dead two hours after the arrival or the end of the journey.
"""

from contextlib import suppress
from datetime import datetime, timedelta

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from referrals import links
from referrals.acting import By
from referrals.calc.device_time import event_time
from referrals.calc.terms import EntryChannel
from referrals.links import InvalidLink
from transport.models import Transfer

KIND = "d"
ALIVE_AFTER_END = timedelta(hours=2)


class DeadLink(InvalidLink):
    """The link was right and the journey is long over."""

    status = 410


def token_for(transfer: Transfer) -> str:
    """The token for the driver who is assigned now."""
    return links.token(KIND, transfer.pk, transfer.assignment)


WHOLE = Transfer.objects.select_related(
    "referral__district", "referral__origin", "vehicle__driver", "destination__site"
)
BARE = Transfer.objects.only("assignment", "vehicle_id", "arrived_at", "finished_at")
"""Enough to know that the link is good: for what a phone sends every few seconds."""


def transfer_for(token: str, now: datetime, rows: QuerySet[Transfer] = WHOLE) -> Transfer:
    """The one journey a driver's token opens.

    Raises:
        InvalidLink: when it is not one of ours, or another vehicle was assigned since.
        DeadLink: more than two hours after the arrival or the end.
    """
    number = links.number_in(KIND, token)
    transfer = next(iter(rows.filter(pk=number)), None)
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
    transfer = WHOLE.filter(pk=number).first()
    if transfer is None:
        return None
    for assignment in range(transfer.assignment, -1, -1):
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
) -> By:
    """An event told through the link of a journey, or through one that has become void."""
    name = _("the driver sent before") if sent_before else transfer.driver_name
    return By(
        actor=f"link:transfer:{transfer.pk}",
        name=name or _("the driver"),
        channel=EntryChannel.LINK,
        when=event_time(received_at=now, happened_at=happened_at, sent_at=sent_at),
    )
