"""How a referral ends for each baby. With the last ending it closes.

The stage itself is moved by ``lifecycle``; what an ending needs to be known is in ``ending_rules``.
"""

from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Q

from referrals import alerting, cots, lifecycle, messages, ports, recording, timeline
from referrals.acting import By
from referrals.calc.spelled import spelled
from referrals.calc.states import NotPossible, OfferStage, ReferralStage
from referrals.calc.terms import Ending
from referrals.calc.wording import words
from referrals.ending_rules import DEATHS, EndingTold, require_known
from referrals.models import Baby, CotHold, Referral
from referrals.saying import to_tell


def end_baby(
    by: By,
    baby: Baby,
    ending: Ending,
    *,
    determined_by: str = "",
    band: str = "",
    ended_at: datetime | None = None,
    words: str = "",
) -> Baby:
    """Write how the referral ended for one baby; the referral closes with the last one.

    A death names the baby by its band, the time and who determined it; 'recovered' names a
    clinician, and after ventilation follows a time of watching.

    Raises:
        NotPossible: when the baby has another ending, or what this one needs is not known.
    """
    told = EndingTold(determined_by=determined_by, band=band, ended_at=ended_at, words=words)
    with transaction.atomic():
        referral = timeline.hold(baby.referral_id)
        baby.refresh_from_db()
        baby.referral = referral
        if baby.ending == ending.value:
            return baby
        if baby.ending:
            raise _already_ended(baby)
        ended_at = require_known(by, baby, ending, told)
        baby.ending, baby.ended_at = ending.value, ended_at
        baby.ended_by = determined_by or by.name
        baby.save(update_fields=["ending", "ended_at", "ended_by"])
        timeline.append(referral, "ended", by, _ending_body(referral, baby, ending, told))
        if not referral.babies.filter(ending="").exists():
            _close(referral, by)
        else:
            recording.refresh_needs(referral, by)
            cots.fit_cots(by, referral)
            if ending is not Ending.HANDED_OVER:
                _tell_units_of_ending(referral, baby, by)
    return baby


def take_back(by: By, referral: Referral, *, reason: str) -> Referral:
    """The referral was raised in error: every baby ends so, and the units get a second message."""
    with transaction.atomic():
        held = timeline.hold(referral.pk)
        for baby in held.babies.filter(ending=""):
            end_baby(by, baby, Ending.RAISED_IN_ERROR, words=reason)
    return lifecycle.timeline_row(referral.pk)


def _ending_body(
    referral: Referral, baby: Baby, ending: Ending, told: EndingTold
) -> dict[str, Any]:
    body: dict[str, Any] = {"baby": baby.birth_order, "ending": ending.value}
    if ending in DEATHS:
        body |= {"band": baby.code, "ended_at": baby.ended_at}
    if told.determined_by:
        body["determined_by"] = timeline.committed(
            timeline.keep_text(referral, "determined_by", told.determined_by)
        )
    if told.words:
        body["words"] = timeline.committed(timeline.keep_text(referral, "ending", told.words))
    return body


def _tell_units_of_ending(referral: Referral, baby: Baby, by: By) -> None:
    """One of several babies does not come any more; the others do."""
    for offer in referral.offers.filter(stage__in=lifecycle.LIVE_OFFERS):
        text = messages.comes_no_more(lifecycle.fresh(offer, referral), baby)
        key = f"offer:{offer.pk}:baby:{baby.birth_order}:ended:{referral.head_seq}"
        alerting.tell_unit(lifecycle.fresh(offer, referral), by, "comes_no_more", key, text)


def _already_ended(baby: Baby) -> NotPossible:
    return NotPossible(
        words(
            "%(code)s already has the ending '%(ending)s'. Reverse it with a reason first if it is "
            "wrong.",
            code=baby.code,
            ending=spelled(baby.ending),
        ),
        code="already_ended",
    )


def _close(referral: Referral, by: By) -> None:
    endings = set(referral.babies.values_list("ending", flat=True))
    why = to_tell("the referral has ended")
    for offer in referral.offers.filter(stage=OfferStage.OPEN.value).select_related("unit"):
        lifecycle.withdraw_offer(lifecycle.fresh(offer, referral), by, why)
    accepted = referral.accepted_offer()
    if accepted:
        accepted.referral = referral
        if Ending.HANDED_OVER.value in endings:
            CotHold.objects.filter(offer=accepted).update(used_at=by.received_at)
        else:
            lifecycle.withdraw_offer(accepted, by, why)
    lifecycle.move(referral, ReferralStage.CLOSED, closed_at=by.received_at)
    # Plain notices still go out: the withdrawal above must reach the unit.
    owed = referral.alerts.unsettled().filter(Q(needs_answer=True) | Q(for_desk=True))
    alerting.settle(owed, why, by)
    timeline.append(referral, "closed", by, {"endings": sorted(endings)})
    ports.journeys().closed(referral, by)
