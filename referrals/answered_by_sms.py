"""A unit's yes or no by SMS: written down only with the one-time code of that question."""

from django.utils.translation import gettext as _

from referrals import lifecycle, sms_answers
from referrals.acting import By
from referrals.calc.sms.answering import Answer
from referrals.calc.states import NotPossible, OfferStage
from referrals.calc.terms import Became, DeclineReason
from referrals.came_in import Done, Ring
from referrals.models import Delivery, Offer
from referrals.senders import Sender


def answer_of_unit(by: By, sender: Sender, answer: Answer) -> Done:
    """Write the answer down where code, unit and person fit; else the desk rings."""
    offer = _question_with(sender, answer)
    if offer is None:
        return _without_code(sender)
    if sender.person is None:
        problem = _("an answer from a phone that several people share; an acceptance has one name")
        return _not_written(offer, problem)
    if answer.yes:
        return _yes(by, sender, offer, answer)
    return _no(by, offer, answer)


def _yes(by: By, sender: Sender, offer: Offer, answer: Answer) -> Done:
    again = offer.stage == OfferStage.ACCEPTED.value
    try:
        offer = lifecycle.accept(by, offer, entrance=answer.door)
    except NotPossible as refusal:
        return _not_written(offer, refusal.sentence)
    # The unit's first contacts hear of the acceptance anyway; who is one of them hears it once.
    confirmed = Delivery.objects.filter(
        alert__offer=offer, alert__kind="confirmed", channel="sms", address=sender.number
    ).exists()
    words = _("yes by SMS, with words beside it: %(words)s") % {"words": answer.not_read}
    return Done(
        became=Became.ACCEPTED,
        referral=offer.referral,
        answer="" if confirmed and not again else sms_answers.yes_written(offer),
        # A yes with a condition is a yes; a person reads the condition at once.
        problem=words if answer.not_read else "",
        ring=Ring.UNUSED if answer.not_read else Ring.NONE,
    )


def _no(by: By, offer: Offer, answer: Answer) -> Done:
    if offer.stage == OfferStage.ACCEPTED.value:
        return Done(
            became=Became.KEPT,
            referral=offer.referral,
            answer=sms_answers.desk_rings(offer.referral, offer.referral.district),
            problem=_("a yes was to be taken back by SMS; an SMS alone never does that"),
            ring=Ring.GRAVE,
            grave=("no",),
        )
    try:
        reason = answer.reason or DeclineReason.OTHER
        offer = lifecycle.decline(by, offer, reason=reason, words=answer.not_read)
    except NotPossible as refusal:
        return _not_written(offer, refusal.sentence)
    return Done(
        became=Became.DECLINED, referral=offer.referral, answer=sms_answers.no_written(offer)
    )


def _question_with(sender: Sender, answer: Answer) -> Offer | None:
    """The question to a unit of the sender that has one of these codes."""
    rows = Offer.objects.filter(unit__in=sender.scope.units, one_time_code__in=answer.codes)
    found = rows.exclude(one_time_code="").select_related("referral__district", "unit__site")
    return found.order_by("-pk").first()


def _without_code(sender: Sender) -> Done:
    """Perhaps the unit is ready and only the code is missing: the desk rings, nothing is done."""
    asked = Offer.objects.filter(unit__in=sender.scope.units, stage=OfferStage.OPEN.value)
    offers = list(asked.select_related("referral__district")[:2])
    referral = offers[0].referral if len(offers) == 1 else None
    districts = sender.districts()
    return Done(
        became=Became.KEPT,
        referral=referral,
        answer=sms_answers.code_needed(districts[0] if districts else None),
        problem=_("a yes or no without the one-time code of a question to this unit"),
        ring=Ring.ANSWER,
        urgent=bool(offers),
    )


def _not_written(offer: Offer, sentence: str) -> Done:
    return Done(
        became=Became.KEPT,
        referral=offer.referral,
        answer=sms_answers.not_possible(sentence, offer.referral.district),
        problem=sentence,
        ring=Ring.ANSWER,
    )
