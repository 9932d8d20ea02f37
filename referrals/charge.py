"""Who is responsible for a referral that no unit and no vehicle can be found for: always a person.

Nobody is asked who it shall be: until somebody takes it, it is who is on duty at the desk by its
rota, else the first on its list; from then on whoever took it, or to whom it was given.
"""

from dataclasses import dataclass
from datetime import datetime

from referrals import timeline
from referrals.acting import By
from referrals.models import Referral, Staff
from referrals.on_call import first_at_desk

TAKES_CHARGE = ("nobody_can_take", "no_vehicle")
"""Kinds of alert whose taking makes a person responsible for finding a way."""


@dataclass(frozen=True)
class InCharge:
    """The person; ``since`` is empty while nobody has taken it and the desk's rota decides."""

    name: str
    since: datetime | None
    on_duty: bool = False


def in_charge(referral: Referral, now: datetime) -> InCharge | None:
    """Who is responsible now; nobody only where the desk has no contact at all."""
    if referral.responsible:
        return InCharge(str(referral.responsible), referral.responsible_since)
    staff, on_duty = first_at_desk(referral.district, now)
    return InCharge(str(staff), None, on_duty) if staff else None


def put_in_charge(by: By, referral: Referral, staff: Staff) -> bool:
    """Make a person responsible, with its Entry; the caller holds the referral's row.

    Returns whether that changed anything.
    """
    was = referral.responsible
    if was == staff:
        return False
    referral.responsible, referral.responsible_since = staff, by.received_at
    referral.save(update_fields=["responsible", "responsible_since"])
    body = {"staff": staff.username, "was": was.username if was else None}
    timeline.append(referral, "in_charge", by, body)
    return True
