"""A twin that is told of after the raise."""

from django.db import transaction

from referrals import alerting, cots, describing, lifecycle, messages, recording, timeline
from referrals.acting import By
from referrals.calc.states import OfferStage
from referrals.models import Baby, Referral


def add_baby(by: By, referral: Referral, told: describing.BabyTold) -> Baby:
    """A twin that was not told of before. Units asked or accepting are told; so is the desk.

    The accepting unit keeps one more cot if one is free; if not, the baby is added all the same and
    the watch tells the desk for as long as a cot is missing.
    """
    recording.require_facts(told.facts, recording.BABY_FACTS)
    with transaction.atomic():
        held = timeline.hold(referral.pk)
        lifecycle.require_open(held)
        order = max(held.babies.values_list("birth_order", flat=True)) + 1
        baby = Baby.objects.create(referral=held, birth_order=order)
        timeline.append(held, "baby_added", by, {"baby": order})
        describing.tell_of(by, baby, told)
        held = timeline.hold(held.pk)
        recording.refresh_needs(held, by)
        missing = cots.fit_cots(by, held)
        for offer in held.offers.filter(stage__in=lifecycle.LIVE_OFFERS):
            offer = lifecycle.fresh(offer, held)
            is_placed = offer.stage == OfferStage.ACCEPTED.value
            text = messages.another_baby(offer, baby, missing if is_placed else None)
            alerting.tell_unit(offer, by, "another_baby", f"offer:{offer.pk}:baby:{order}", text)
        alerting.tell_desk_quietly(
            held, by, "another_baby", f"baby:{baby.pk}:desk", messages.baby_added(baby)
        )
    return baby
