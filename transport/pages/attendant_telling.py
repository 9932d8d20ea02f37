"""What the attendant tells: corrections, treatments, advice, endings, handover.

Every page here does four things: who, parse, call one verb, show. A form that fails is shown again
with everything that was typed.
"""

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _

from referrals import clock, endings, examining, recording, reopening
from referrals.calc.states import NotPossible
from referrals.calc.terms import Ending
from referrals.ending_rules import FIELD_OF_REFUSAL
from referrals.models import Referral
from referrals.pages.doors import by_of, page, show
from referrals.pages.from_phone import phone_page
from referrals.pages.undo import done
from transport import handing_over, where_to
from transport.pages.attendant_check import require_transfer
from transport.pages.attendant_forms import (
    AdviceForm,
    EndingForm,
    GiverForm,
    TreatmentForm,
)
from transport.pages.cases import baby_of, case_of
from transport.pages.form_page import form_page, shown
from transport.pages.happening import newest_transfer
from transport.pages.mending import Door, mend, told_done
from transport.pages.unit_forms import ExaminationForm


@page
def put_right(request: HttpRequest, code: str, kind: str, number: int) -> HttpResponse:
    """Correct or take back anything that was told."""
    referral = case_of(request, code)
    return mend(request, Door(referral, by_of(request), f"/r/{referral.code}/"), kind, number)


@phone_page
def treatment(request: HttpRequest, code: str) -> HttpResponse:
    """A treatment that was given, as told. Nothing is suggested."""
    referral = case_of(request, code)
    babies = list(referral.babies.all())
    form = TreatmentForm(request.POST or None, now=clock.now(), babies=babies)

    def tell() -> HttpResponse:
        told = form.cleaned_data
        given = recording.record_treatment(
            by_of(request),
            referral,
            recording.Told(
                words=told["words"], given_by=told["given_by"], given_at=told["given_at"]
            ),
            baby=None if told["whose"] == "mother" else baby_of(referral, int(told["whose"])),
        )
        words = _("Written down as told.")
        told_done(request, words, f"/r/{referral.code}/", "treatment", given)
        return redirect("attendant_case", code=referral.code)

    return form_page(request, referral, form, tell, "transport/attendant/treatment.html", {})


@phone_page
def examination(request: HttpRequest, code: str, birth_order: int) -> HttpResponse:
    """The first full examination, if it is done before the journey. It waits for nothing."""
    referral = case_of(request, code)
    baby = baby_of(referral, birth_order)
    by = by_of(request)
    form = ExaminationForm(request.POST or None, now=clock.now(), initial={"examined_by": by.name})

    def tell() -> HttpResponse:
        row = examining.examine(by, baby, **form.cleaned_data)
        words = _("Written down as told.")
        told_done(request, words, f"/r/{referral.code}/", "examination", row)
        return redirect("attendant_case", code=referral.code)

    context = {"baby": baby, "standing": examining.standing_examination(baby)}
    template = "transport/attendant/examination.html"
    return form_page(request, referral, form, tell, template, context)


@phone_page
def advice(request: HttpRequest, code: str) -> HttpResponse:
    """Advice by the name of who gave it: ring first, then write it down."""
    referral = case_of(request, code)
    form = AdviceForm(request.POST or None)

    def tell() -> HttpResponse:
        by, told = by_of(request), form.cleaned_data
        row = recording.record_advice(by, referral, asked_by=by.name, **told)
        words = _("The advice is written down.")
        told_done(request, words, f"/r/{referral.code}/", "advice", row)
        return redirect("attendant_case", code=referral.code)

    context = {"accepted": referral.accepted_offer()}
    return form_page(request, referral, form, tell, "transport/attendant/advice.html", context)


@page
def ending(request: HttpRequest, code: str, birth_order: int) -> HttpResponse:
    """How it ended for one baby: plain and quiet, and it can be taken back."""
    referral = case_of(request, code)
    baby = baby_of(referral, birth_order)
    form = EndingForm(request.POST or None, now=clock.now(), raised_at=referral.raised_at)

    def tell() -> HttpResponse:
        told = dict(form.cleaned_data)
        try:
            endings.end_baby(by_of(request), baby, Ending(told.pop("ending")), **told)
        except NotPossible as refusal:
            if refusal.code not in FIELD_OF_REFUSAL:
                raise
            form.add_error(FIELD_OF_REFUSAL[refusal.code], refusal.sentence)
            return shown(request, referral, form, "transport/attendant/ending.html", context)
        return redirect("attendant_case", code=referral.code)

    context = {"baby": baby}
    return form_page(request, referral, form, tell, "transport/attendant/ending.html", context)


@page
def reverse_ending(request: HttpRequest, code: str, birth_order: int) -> HttpResponse:
    """An ending was wrong: take it back with a reason."""
    referral = case_of(request, code)
    baby = baby_of(referral, birth_order)

    def take_back(reason: str) -> None:
        reopening.reverse_ending(by_of(request), baby, reason=reason)

    template = "transport/attendant/reverse.html"
    return _with_reason(request, referral, template, {"baby": baby}, take_back)


@phone_page
def give(request: HttpRequest, code: str, birth_order: int) -> HttpResponse:
    """The giver's signature of the handover of one baby."""
    referral = case_of(request, code)
    baby = baby_of(referral, birth_order)
    form = GiverForm(request.POST or None, initial={"name": by_of(request).name})

    def tell() -> HttpResponse:
        told = form.cleaned_data
        if told["band"] and not baby.band_is(told["band"]) and not told["disagreement"]:
            form.add_error(
                "band",
                _("This page is for %s. Look at the band again, or say below what is not right.")
                % baby.code,
            )
            return shown(request, referral, form, "transport/attendant/give.html", context)
        handing_over.hand_over(
            by_of(request),
            require_transfer(referral, newest_transfer(referral)),
            baby,
            handing_over.Signature(
                side="giver",
                name=told["name"],
                band_checked=baby.band_is(told["band"]),
                disagreement=told["disagreement"],
            ),
        )
        messages.success(request, _("Signed. Thank you."))
        return redirect("attendant_case", code=referral.code)

    context = {"baby": baby, "accepted": referral.accepted_offer()}
    return form_page(request, referral, form, tell, "transport/attendant/give.html", context)


@page
def not_given(request: HttpRequest, code: str, birth_order: int) -> HttpResponse:
    """The giver's signature was wrong: taken back with a reason."""
    referral = case_of(request, code)
    baby = baby_of(referral, birth_order)

    def take_back(reason: str) -> None:
        handing_over.withdraw_signature(by_of(request), baby, "giver", reason=reason)
        done(request, _("The signature is taken back. Sign again when it is right."))

    template = "transport/attendant/not_given.html"
    return _with_reason(request, referral, template, {"baby": baby}, take_back)


@page
def go_on(request: HttpRequest, code: str) -> HttpResponse:
    """The unit does not take the baby at its door: the escort says that they drive on."""
    referral = case_of(request, code)

    def drive_on(reason: str) -> None:
        transfer = require_transfer(referral, newest_transfer(referral))
        where_to.go_on(by_of(request), transfer, why=reason)
        done(request, _("On the road again. The desk knows, and other units are asked."))

    return _with_reason(request, referral, "transport/attendant/go_on.html", {}, drive_on)


def _with_reason(
    request: HttpRequest,
    referral: Referral,
    template: str,
    context: dict[str, Any],
    press: Callable[[str], None],
) -> HttpResponse:
    """A page with one question, why, and one press."""
    problem, reason = "", request.POST.get("reason", "").strip()
    if request.method == "POST" and not reason:
        problem = _("Write in a few words why.")
    elif request.method == "POST":
        try:
            press(reason)
            return redirect("attendant_case", code=referral.code)
        except NotPossible as refusal:
            problem = refusal.sentence
    return show(
        request,
        template,
        {"referral": referral, "problem": problem, "reason": reason, **context},
        district=referral.district,
        status=409 if problem else 200,
    )
