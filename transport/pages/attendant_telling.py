"""What the attendant tells: checks, corrections, treatments, advice, endings, handover.

Every page here does four things: who, parse, call one verb, show. A form that fails is shown again
with everything that was typed.
"""

from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _

from referrals import clock, lifecycle, recording
from referrals.calc.states import NotPossible
from referrals.calc.terms import Ending
from referrals.ending_rules import FIELD_OF_REFUSAL
from referrals.models import Baby, Observation, Referral
from referrals.models.observations import BABY_FACTS, MOTHER_FACTS
from referrals.pages.doors import by_of, page, show
from transport import lifecycle as journeys
from transport import on_the_way
from transport.calc.checks_due import CheckItem, items_due
from transport.checklists import newest
from transport.models import BandReading, Transfer
from transport.pages.attendant_forms import (
    AdviceForm,
    CheckForm,
    EndingForm,
    GiverForm,
    MotherForm,
    ReadingForm,
    TreatmentForm,
)
from transport.pages.cases import baby_of, case_of
from transport.pages.form_page import form_page, shown
from transport.pages.happening import newest_transfer


@page
def check(request: HttpRequest, code: str, birth_order: int) -> HttpResponse:
    """A check in a few taps, filled in by whoever is not ventilating."""
    referral = case_of(request, code)
    baby = baby_of(referral, birth_order)
    transfer = newest_transfer(referral)
    form = CheckForm(
        request.POST or None, with_temperature=_temperature_is_due(referral, baby, transfer)
    )

    def tell() -> HttpResponse:
        told = form.cleaned_data
        facts = form.facts(BABY_FACTS)
        if not facts and told["oxygen_bar"] is None and not told["stopped_because"]:
            raise NotPossible(_("Nothing is filled in yet. One answer is enough."))
        on_the_way.check(
            by_of(request),
            _require_transfer(referral, transfer),
            baby,
            on_the_way.CheckTold(
                facts=facts,
                oxygen_bar=told["oxygen_bar"],
                stopped_because=told["stopped_because"],
            ),
        )
        messages.success(request, _("The check of %s is written down.") % baby.code)
        return redirect("attendant_case", code=referral.code)

    return form_page(
        request, referral, form, tell, "transport/attendant/check.html", {"baby": baby}
    )


@page
def correct(request: HttpRequest, code: str, observation: int) -> HttpResponse:
    """Correct a reading; the old one stays on the timeline."""
    referral = case_of(request, code)
    reading = get_object_or_404(
        Observation.objects.select_related("baby"), pk=observation, baby__referral=referral
    )
    newer = Observation.objects.filter(corrects=reading).first()
    if newer:
        return redirect("correct", code=referral.code, observation=newer.pk)
    form = ReadingForm(request.POST or None, reading.facts())

    def tell() -> HttpResponse:
        facts = form.facts(BABY_FACTS)
        recording.observe(by_of(request), reading.baby, facts, corrects=reading)
        messages.success(request, _("Corrected. The old value stays on the timeline."))
        return redirect("attendant_case", code=referral.code)

    return form_page(
        request, referral, form, tell, "transport/attendant/correct.html", {"reading": reading}
    )


@page
def treatment(request: HttpRequest, code: str) -> HttpResponse:
    """A treatment that was given, as told. Nothing is suggested."""
    referral = case_of(request, code)
    babies = list(referral.babies.all())
    form = TreatmentForm(request.POST or None, now=clock.now(), babies=babies)

    def tell() -> HttpResponse:
        told = form.cleaned_data
        recording.record_treatment(
            by_of(request),
            referral,
            recording.Told(
                words=told["words"], given_by=told["given_by"], given_at=told["given_at"]
            ),
            baby=None if told["whose"] == "mother" else baby_of(referral, int(told["whose"])),
        )
        messages.success(request, _("Written down as told."))
        return redirect("attendant_case", code=referral.code)

    return form_page(request, referral, form, tell, "transport/attendant/treatment.html", {})


@page
def mother(request: HttpRequest, code: str) -> HttpResponse:
    """How the mother is: what is told counts for the place that is looked for."""
    referral = case_of(request, code)
    form = MotherForm(request.POST or None)

    def tell() -> HttpResponse:
        facts, note = form.facts(MOTHER_FACTS), form.cleaned_data["note"]
        if not facts and not note:
            raise NotPossible(_("Nothing is filled in yet. One answer is enough."))
        recording.observe_mother(by_of(request), referral.mother, facts, note=note)
        messages.success(request, _("Written down. It counts for the place that is looked for."))
        return redirect("attendant_case", code=referral.code)

    return form_page(request, referral, form, tell, "transport/attendant/mother.html", {})


@page
def advice(request: HttpRequest, code: str) -> HttpResponse:
    """Advice by the name of who gave it: ring first, then write it down."""
    referral = case_of(request, code)
    form = AdviceForm(request.POST or None)

    def tell() -> HttpResponse:
        by, told = by_of(request), form.cleaned_data
        recording.record_advice(by, referral, asked_by=by.name, **told)
        messages.success(request, _("The advice is written down."))
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
            lifecycle.end_baby(by_of(request), baby, Ending(told.pop("ending")), **told)
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
    problem, reason = "", request.POST.get("reason", "").strip()
    if request.method == "POST" and not reason:
        problem = _("Write in a few words why.")
    elif request.method == "POST":
        try:
            lifecycle.reverse_ending(by_of(request), baby, reason=reason)
            return redirect("attendant_case", code=referral.code)
        except NotPossible as refusal:
            problem = refusal.sentence
    return show(
        request,
        "transport/attendant/reverse.html",
        {"referral": referral, "baby": baby, "problem": problem, "reason": reason},
        district=referral.district,
        status=409 if problem else 200,
    )


@page
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
        journeys.hand_over(
            by_of(request),
            _require_transfer(referral, newest_transfer(referral)),
            baby,
            journeys.Signature(
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
def before_leaving(request: HttpRequest, code: str) -> HttpResponse:
    """What to bring. Nothing here keeps the vehicle from leaving."""
    referral = case_of(request, code)
    transfer, template = newest_transfer(referral), newest("departure")
    items = template.items if template else []
    answers: dict[str, str] = {}
    if transfer and template:
        answers = dict(transfer.answers.filter(template=template).values_list("item", "answer"))
    problem, bands = "", _bands(request, referral, transfer)
    if request.method == "POST":
        by, told = by_of(request), changed_answers(request, items, answers)
        answers |= told
        try:
            with transaction.atomic():
                journey = _require_transfer(referral, transfer)
                for band in bands:
                    if band.typed:
                        on_the_way.read_band(by, journey, band.baby, band.typed)
                if told and template:
                    on_the_way.answer_checklist(by, journey, template, told)
            return redirect("attendant_case", code=referral.code)
        except NotPossible as refusal:
            problem = refusal.sentence
            answers = dict.fromkeys(request.POST.getlist("item"), "yes")
    context = {"template": template, "answers": answers, "bands": bands, "problem": problem}
    return show(
        request,
        "transport/attendant/before_leaving.html",
        {"referral": referral, **context},
        district=referral.district,
        status=409 if problem else 200,
    )


@dataclass(frozen=True)
class Band:
    """The band of one baby before leaving: when it was read last, and what is typed now."""

    baby: Baby
    reading: BandReading | None
    typed: str

    @property
    def field(self) -> str:
        """The name of its input."""
        return f"band_{self.baby.birth_order}"


def _bands(request: HttpRequest, referral: Referral, transfer: Transfer | None) -> list[Band]:
    bands = []
    for baby in referral.babies.filter(ending=""):
        baby.referral = referral
        read = transfer.band_readings.filter(baby=baby).last() if transfer else None
        typed = request.POST.get(f"band_{baby.birth_order}", "").strip()
        bands.append(Band(baby, read, typed))
    return bands


def changed_answers(
    request: HttpRequest, items: list[dict[str, Any]], before: dict[str, str]
) -> dict[str, str]:
    """What was ticked or unticked since; an item never ticked is no answer."""
    ticked = set(request.POST.getlist("item"))
    answers = {}
    for item in items:
        now = "yes" if item["code"] in ticked else "no"
        if now != before.get(item["code"], "no"):
            answers[item["code"]] = now
    return answers


def _temperature_is_due(referral: Referral, baby: Baby, transfer: Transfer | None) -> bool:
    started = transfer.left_post_at if transfer else None
    last = (
        baby.observations.filter(temperature_c__isnull=False, corrected_by=None)
        .order_by("-observed_at")
        .first()
    )
    due = items_due(
        last_at={CheckItem.TEMPERATURE: last.observed_at} if last else {},
        started_at=started or referral.raised_at,
        now=clock.now(),
        interval_minutes=referral.district.check_minutes,
    )
    return last is None or CheckItem.TEMPERATURE in due


def _require_transfer(referral: Referral, transfer: Transfer | None) -> Transfer:
    if transfer is None:
        raise NotPossible(
            _("%s has no journey yet. Ring the desk.") % referral.code, code="no_journey"
        )
    return transfer
