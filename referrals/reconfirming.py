"""The accepting unit says again that it is ready: who receives the baby, and at which entrance."""

from django.db import transaction

from referrals import alerting, lifecycle, messages, ports, timeline
from referrals.acting import By
from referrals.calc.states import NotPossible, OfferStage
from referrals.calc.wording import words
from referrals.models import Offer, Referral
from referrals.saying import to_tell


def reconfirm(by: By, offer: Offer, *, receiver: str = "", entrance: str = "") -> Offer:
    """The unit's new shift is still ready. What is not told of receiver and entrance stays.

    The attendant and the driver hear of it only when one of the two has changed; pressed again
    with nothing new it changes nothing.

    Raises:
        NotPossible: when this unit does not take the babies, or the referral is over.
    """
    with transaction.atomic():
        referral = timeline.hold(offer.referral_id)
        offer = lifecycle.fresh(offer, referral)
        lifecycle.require_open(referral)
        if offer.stage != OfferStage.ACCEPTED.value:
            raise NotPossible(
                words(
                    "%(unit)s does not take %(code)s now, so there is nothing to confirm. Answer "
                    "the question itself, yes or no.",
                    unit=offer.unit,
                    code=referral.code,
                ),
                code="not_accepted",
            )
        told = {"receiver": receiver or offer.receiver, "entrance": entrance or offer.entrance}
        was = {"receiver": offer.receiver, "entrance": offer.entrance}
        if told == was and offer.shift_to_confirm(by.received_at) is None:
            return offer
        offer.receiver, offer.entrance = told["receiver"], told["entrance"]
        offer.reconfirmed_at, offer.reconfirmed_by = by.received_at, by.name
        offer.save(update_fields=["receiver", "entrance", "reconfirmed_at", "reconfirmed_by"])
        timeline.append(
            referral,
            "reconfirmed",
            by,
            {
                "offer": offer.pk,
                "unit": offer.unit.code,
                "receiver": timeline.committed(
                    timeline.keep_text(referral, "receiver", offer.receiver)
                ),
                "entrance": offer.entrance,
                "changed": sorted(name for name in told if told[name] != was[name]),
            },
        )
        alerting.settle(
            referral.alerts.unsettled().filter(kind__in=["still_ready", "not_reconfirmed"]),
            to_tell("%(unit)s is still ready", unit=offer.unit),
            by,
        )
        if told != was:
            _tell_reception(referral, offer, by)
    return offer


def _tell_reception(referral: Referral, offer: Offer, by: By) -> None:
    alerting.tell_caller(
        referral,
        by,
        "reception_changed",
        f"offer:{offer.pk}:reception:attendant:{referral.head_seq}",
        messages.reception_changed(offer),
    )
    ports.journeys().reception_changed(referral, offer, by)
