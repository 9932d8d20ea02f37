"""The baby is there: the receiver's signature, and telling the post how it went."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _

from referrals import examining, owed_after, recording
from referrals.calc.states import NotPossible
from referrals.calc.terms import Ending
from referrals.pages.undo import done
from referrals.recording import UnknownFact
from transport import handing_over
from transport.pages.cases import baby_of
from transport.pages.mending import told_done
from transport.pages.unit_forms import ExaminationForm, OutcomeForm, ReasonForm, ReceiptForm
from transport.pages.unit_question import (
    Question,
    for_question,
    form_page,
    require_journey,
    too_late,
)


@for_question
def receive(request: HttpRequest, asked: Question, birth_order: int) -> HttpResponse:
    """The receiver's signature of the handover of one baby."""
    transfer = require_journey(asked)
    baby = baby_of(asked.offer.referral, birth_order)
    form = ReceiptForm(request.POST or None, initial={"name": asked.by.name})
    problem = ""
    if request.method == "POST" and form.is_valid() and _band_or_disagreement(form, baby):
        told = form.cleaned_data
        try:
            handing_over.hand_over(
                asked.by,
                transfer,
                baby,
                handing_over.Signature(
                    side="receiver",
                    name=told["name"],
                    band_checked=baby.band_is(told["band"]),
                    condition=told["condition"],
                    temperature_c=told["temperature_c"],
                    disagreement=told["disagreement"],
                ),
            )
            return redirect(asked.base)
        except NotPossible as refusal:
            problem = refusal.sentence
    return form_page(request, asked, "transport/unit/receive.html", form, problem, {"baby": baby})


@for_question
def not_received(request: HttpRequest, asked: Question, birth_order: int) -> HttpResponse:
    """The receiver's signature was wrong: taken back with a reason."""
    require_journey(asked)
    baby = baby_of(asked.offer.referral, birth_order)
    form, problem = ReasonForm(request.POST or None), ""
    if request.method == "POST" and form.is_valid():
        reason = form.cleaned_data["reason"]
        try:
            handing_over.withdraw_signature(asked.by, baby, "receiver", reason=reason)
            done(request, _("The signature is taken back. Sign again when it is right."))
            return redirect(asked.base)
        except NotPossible as refusal:
            problem = refusal.sentence
    template = "transport/unit/not_received.html"
    return form_page(request, asked, template, form, problem, {"baby": baby})


@for_question
def outcome(request: HttpRequest, asked: Question, birth_order: int) -> HttpResponse:
    """Tell the attendant who called how it went."""
    baby = baby_of(asked.offer.referral, birth_order)
    require_journey(asked)
    if baby.ending != Ending.HANDED_OVER.value:
        raise too_late(asked, _("%s is not handed over. Both sides sign first.") % baby.code)
    form = OutcomeForm(
        request.POST or None, initial={"moment": owed_after.moment_now(baby, asked.now)}
    )
    if request.method == "POST" and form.is_valid():
        try:
            row = recording.tell_outcome(asked.by, baby, **form.cleaned_data)
            words = _("%s is told how it went.") % asked.offer.referral.origin
            told_done(request, words, asked.base, "outcome", row)
            return redirect(asked.base)
        except UnknownFact as refusal:
            form.add_error(refusal.field, str(refusal))
    return form_page(request, asked, "transport/unit/outcome.html", form, "", {"baby": baby})


@for_question
def examination(request: HttpRequest, asked: Question, birth_order: int) -> HttpResponse:
    """The first full examination, done before the journey or here."""
    require_journey(asked)
    baby = baby_of(asked.offer.referral, birth_order)
    form = ExaminationForm(
        request.POST or None, now=asked.now, initial={"examined_by": asked.by.name}
    )
    if request.method == "POST" and form.is_valid():
        try:
            row = examining.examine(asked.by, baby, **form.cleaned_data)
            told_done(request, _("Written down as told."), asked.base, "examination", row)
            return redirect(asked.base)
        except UnknownFact as refusal:
            form.add_error(refusal.field, str(refusal))
    template = "transport/unit/examination.html"
    context = {"baby": baby, "standing": examining.standing_examination(baby)}
    return form_page(request, asked, template, form, "", context)


def _band_or_disagreement(form: ReceiptForm, baby: Any) -> bool:
    """A band that does not fit is looked at again, or written down as a disagreement."""
    told = form.cleaned_data
    if not told["band"] or baby.band_is(told["band"]) or told["disagreement"]:
        return True
    form.add_error(
        "band",
        _("This page is for %s. Look at the band again, or say below what is not as it was told.")
        % baby.code,
    )
    return False
