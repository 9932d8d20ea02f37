"""An ending that was entered in error is taken back, and the search goes on."""

from django.db import transaction

from referrals import cots, joining, lifecycle, ports, recording, timeline
from referrals.acting import By
from referrals.calc.states import NotPossible, ReferralStage
from referrals.calc.terms import Ending
from referrals.calc.wording import words
from referrals.models import Baby


def reverse_ending(by: By, baby: Baby, *, reason: str) -> Baby:
    """An ending was entered in error: take it back with a reason, the search goes on."""
    with transaction.atomic():
        referral, went_on_as = joining.hold_with_joined(baby.referral_id)
        baby.refresh_from_db()
        if not baby.ending:
            raise NotPossible(
                words("%(code)s has no ending to reverse.", code=baby.code), code="not_ended"
            )
        was, baby.ending, baby.ended_at, baby.ended_by = baby.ending, "", None, ""
        baby.save(update_fields=["ending", "ended_at", "ended_by"])
        kept = timeline.keep_text(referral, "reversal", reason)
        timeline.append(
            referral,
            "ending_reversed",
            by,
            {"baby": baby.birth_order, "was": was, "reason": timeline.committed(kept)},
        )
        if was == Ending.HANDED_OVER.value:
            ports.journeys().handover_undone(referral, baby, by)
        if went_on_as:
            joining.part(by, referral, went_on_as)
        if referral.stage == ReferralStage.CLOSED.value:
            placed = referral.accepted_offer() is not None
            lifecycle.move(
                referral,
                ReferralStage.PLACED if placed else ReferralStage.ASKING,
                closed_at=None,
                next_look_at=by.received_at,
            )
            timeline.append(referral, "reopened", by, {})
            ports.journeys().open(referral, by)
        recording.refresh_needs(referral, by)
        cots.fit_cots(by, referral)
    return baby
