"""When the unit was told that the baby comes, and telling it anew.

The unit hears it with the question and again when the vehicle leaves. The page shows the live
window always; whether anybody looks is not known, so what counts is what was sent.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction

from referrals import alerting, timeline
from referrals.acting import By
from referrals.calc.states import NotPossible
from referrals.models import Offer, Referral
from transport import messages
from transport.estimating import Window, projected_arrival
from transport.models import Transfer


@dataclass(frozen=True)
class Told:
    """The likely arrival as the accepting unit was told it, and when that was."""

    told_at: datetime
    likely: datetime


def arrival_told(transfer: Transfer) -> Told | None:
    """What the unit to which the journey goes was told last; nothing while none has accepted."""
    offer = _accepted(transfer.referral, transfer)
    if offer is None:
        return None
    since = transfer.referral.entries.filter(kind="arrival_told").order_by("-seq").first()
    if since and since.body["offer"] == offer.pk:
        return Told(since.received_at, datetime.fromisoformat(since.body["p50"]))
    minutes = (offer.shown.get("arrival") or {}).get("p50_minutes")
    if minutes is None:
        return None
    return Told(offer.asked_at, offer.asked_at + timedelta(minutes=minutes))


def tell_arrival(by: By, transfer: Transfer) -> Window:
    """The desk lets the unit know when the baby is expected now; a notice that needs no answer.

    Raises:
        NotPossible: when no unit has accepted, or no arrival can be worked out.
    """
    with transaction.atomic():
        transfer.referral = timeline.hold(transfer.referral_id)
        window = tell_unit(transfer.referral, transfer, by)
        if window is None:
            raise NotPossible(
                messages.no_arrival_to_tell(transfer.referral), code="no_arrival_known"
            )
    return window


def tell_unit(referral: Referral, transfer: Transfer, by: By) -> Window | None:
    """Send the accepting unit the arrival window as it is now. The caller holds the referral."""
    offer = _accepted(referral, transfer)
    window = projected_arrival(transfer, by.received_at) if offer else None
    if offer is None or window is None or transfer.arrived_at:
        return None
    offer.referral = referral
    body = {"offer": offer.pk, "unit": offer.unit.code, **window.as_dict()}
    timeline.append(referral, "arrival_told", by, body)
    alerting.tell_unit(
        offer,
        by,
        "arrival_told",
        f"offer:{offer.pk}:arrival:{referral.head_seq}",
        messages.arrival_expected(transfer, offer, window.p10, window.p50, window.p90),
    )
    return window


def _accepted(referral: Referral, transfer: Transfer) -> Offer | None:
    offer = referral.accepted_offer()
    return offer if offer and offer.unit_id == transfer.destination_id else None
