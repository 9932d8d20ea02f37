"""Telling the drivers of a journey where it goes, and what changes on the way."""

from referrals import alerting
from referrals.acting import By
from referrals.models import Referral
from transport import messages
from transport.models import Meeting, Transfer


def tell_driver(referral: Referral, transfer: Transfer, by: By, *, changed: bool = False) -> None:
    """Tell the driver of the journey where it goes; ``changed``: it goes elsewhere than before."""
    subject = f"transfer:{transfer.pk}:driver:{transfer.assignment}"
    if changed:
        subject += f":{referral.head_seq}"
    alerting.tell_phone(
        referral,
        transfer.driver_name,
        transfer.driver_phone,
        by,
        subject,
        messages.for_driver(transfer, changed=changed),
    )


def tell_of_meeting(
    referral: Referral, transfer: Transfer, meeting: Meeting, by: By, side: str
) -> None:
    """Tell the ``first`` or the ``second`` driver where they meet, and whom."""
    first = side == "first"
    number = meeting.first_assignment if first else meeting.assignment
    alerting.tell_phone(
        referral,
        meeting.first_driver if first else meeting.driver_name,
        meeting.first_phone if first else meeting.driver_phone,
        by,
        f"transfer:{transfer.pk}:driver:{number}:{referral.head_seq}",
        messages.meeting_for(transfer, meeting, first=first),
    )
