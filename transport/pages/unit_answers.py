"""What a unit says to a question: yes or no, still ready, what is prepared, its advice."""

from typing import Any

from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from referrals import lifecycle, reconfirming, recording
from referrals.calc.states import NotPossible, OfferStage
from referrals.calc.terms import DeclineReason
from referrals.pages.doors import show, unless_the_same
from transport import ticking
from transport.pages.attendant_forms import UnitAdviceForm
from transport.pages.attendant_lists import changed_answers, template_answered
from transport.pages.mending import Door, mend, told_done
from transport.pages.unit_forms import AcceptForm, DeclineForm, StillReadyForm
from transport.pages.unit_question import (
    MENDS,
    Question,
    for_question,
    form_page,
    items_of,
    question_page,
    receiver_and_entrance,
    require_forms,
    require_journey,
    standing,
    ticked_of,
)
from transport.told_rows import rows_of

CAN_SAY_YES = {OfferStage.OPEN.value, OfferStage.LAPSED.value, OfferStage.DECLINED.value}
CAN_SAY_NO = {OfferStage.OPEN.value, OfferStage.LAPSED.value, OfferStage.ACCEPTED.value}
"""The stages of an offer in which its page holds the one form or the other."""


@for_question
@require_safe
def question(request: HttpRequest, asked: Question) -> HttpResponse:
    """Can you take this baby? Afterwards: preparing, arrival, handover."""
    return question_page(request, asked)


@for_question
@require_safe
def question_now(request: HttpRequest, asked: Question) -> HttpResponse:
    """How the question stands and when the baby comes; 304 while it is the same."""
    context = standing(asked)
    district = asked.offer.referral.district
    response = show(request, "transport/unit/standing.html", context, district=district)
    return unless_the_same(request, response)


@for_question
@require_POST
def accept(request: HttpRequest, asked: Question) -> HttpResponse:
    """Yes."""
    form = AcceptForm(request.POST, initial=receiver_and_entrance(asked))
    if not form.is_valid():
        return question_page(request, asked, accept_form=form, status=422)
    try:
        lifecycle.accept(asked.by, asked.offer, **form.cleaned_data)
    except NotPossible as refusal:
        if refusal.code == "entrance_needed":
            form.add_error("entrance", refusal.sentence)
        require_forms(asked, refusal, CAN_SAY_YES, keep=form.has_changed())
        return question_page(request, asked, problem=refusal.sentence, accept_form=form, status=409)
    return redirect(asked.base)


@for_question
@require_POST
def reconfirm(request: HttpRequest, asked: Question) -> HttpResponse:
    """After a change of shift: still ready, and who receives now."""
    form = StillReadyForm(request.POST)
    if not form.is_valid():
        return question_page(request, asked, ready_form=form, status=422)
    try:
        reconfirming.reconfirm(asked.by, asked.offer, **form.cleaned_data)
    except NotPossible as refusal:
        return question_page(request, asked, problem=refusal.sentence, ready_form=form, status=409)
    return redirect(asked.base)


@for_question
@require_POST
def decline(request: HttpRequest, asked: Question) -> HttpResponse:
    """No, with a reason."""
    form = DeclineForm(request.POST)
    if not form.is_valid():
        return question_page(request, asked, decline_form=form, status=422)
    told = form.cleaned_data
    try:
        lifecycle.decline(
            asked.by, asked.offer, reason=DeclineReason(told["reason"]), words=told["words"]
        )
    except NotPossible as refusal:
        require_forms(asked, refusal, CAN_SAY_NO, keep=bool(told["words"]))
        return question_page(
            request, asked, problem=refusal.sentence, decline_form=form, status=409
        )
    return redirect(asked.base)


@for_question
@require_POST
def prepare(request: HttpRequest, asked: Question) -> HttpResponse:
    """Tick what is ready."""
    transfer = require_journey(asked)
    template = template_answered(request, "preparation", asked.offer.referral.district)
    if template is None:
        raise Http404
    told = changed_answers(request, items_of(asked, template), ticked_of(transfer))
    try:
        if told:
            ticking.answer_checklist(asked.by, transfer, template, told)
    except NotPossible as refusal:
        require_forms(asked, refusal, {OfferStage.ACCEPTED.value})
        pressed = set(request.POST.getlist("item"))
        return question_page(request, asked, problem=refusal.sentence, ticked=pressed, status=409)
    return redirect(asked.base)


@for_question
def advice(request: HttpRequest, asked: Question) -> HttpResponse:
    """Advice this unit gave on the phone, by the name of who gave it."""
    form = UnitAdviceForm(request.POST or None, initial={"given_by": asked.by.name})
    if request.method == "POST" and form.is_valid():
        row = recording.record_advice(asked.by, asked.offer.referral, **form.cleaned_data)
        told_done(request, _("The advice is written down."), asked.base, "advice", row)
        return redirect(asked.base)
    return form_page(request, asked, "transport/unit/advice.html", form, "", {})


@for_question
def put_right(request: HttpRequest, asked: Question, kind: str, number: int) -> HttpResponse:
    """Correct or take back what this unit tells: its advice, and how it went."""
    referral = asked.offer.referral
    rows = _mendable(asked, kind)
    return mend(request, Door(referral, asked.by, asked.base), kind, number, rows)


def _mendable(asked: Question, kind: str) -> QuerySet[Any]:
    """A unit that was only asked mends its own advice; the one that accepted, what it reads."""
    if kind not in MENDS:
        raise Http404
    rows = rows_of(asked.offer.referral, kind)
    if asked.transfer:
        return rows
    return rows.filter(recorded_by=asked.by.name) if kind == "advice" else rows.none()
