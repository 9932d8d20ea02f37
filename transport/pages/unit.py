"""The receiving unit's pages: the question, yes or no, preparing, receiving, telling back.

Each page of a question stands under two addresses: the unit's own, for who is signed in, and the
link in a message, for a contact without a session. Both lead to the same functions.
"""

from collections.abc import Callable, Set
from dataclasses import dataclass
from datetime import datetime
from functools import wraps
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from referrals import clock, lifecycle, recording
from referrals.access import answerable_offers, scope_of, stands, visible_units
from referrals.acting import By
from referrals.calc.states import NotPossible, OfferStage
from referrals.calc.terms import Capability, DeclineReason, Ending
from referrals.cots import report_cots
from referrals.links import LinkOver
from referrals.models import Offer, Staff
from referrals.pages.answering import may_answer, reader_of
from referrals.pages.doors import (
    TooLate,
    by_of,
    open_page,
    page,
    show,
    staff_of,
    unless_the_same,
)
from transport import lifecycle as journeys
from transport import on_the_way
from transport.checklists import newest, preparation_items
from transport.models import Handover, Transfer
from transport.pages.attendant_forms import AdviceForm
from transport.pages.attendant_telling import changed_answers
from transport.pages.cases import baby_of
from transport.pages.happening import arrival_shown, babies_now, needs_of, newest_transfer
from transport.pages.told_too import told_of, told_too
from transport.pages.unit_forms import (
    AcceptForm,
    CotsForm,
    DeclineForm,
    OutcomeForm,
    ReceiptForm,
    StillReadyForm,
)

HISTORY = 20
CAN_SAY_YES = {OfferStage.OPEN.value, OfferStage.LAPSED.value, OfferStage.DECLINED.value}
CAN_SAY_NO = {OfferStage.OPEN.value, OfferStage.LAPSED.value, OfferStage.ACCEPTED.value}
"""The stages of an offer in which its page holds the one form or the other."""


@dataclass(frozen=True)
class Question:
    """One question to one unit, whoever reads it by whichever way."""

    offer: Offer
    base: str
    by: By
    now: datetime
    by_link: bool

    @property
    def transfer(self) -> Transfer | None:
        """The journey, once this unit has accepted it."""
        if self.offer.stage != OfferStage.ACCEPTED.value:
            return None
        return newest_transfer(self.offer.referral)


View = Callable[..., HttpResponse]


def for_question(view: View) -> View:
    """Find the question by its number for the signed-in unit, or by the link of a message."""

    @wraps(view)
    def by_number(request: HttpRequest, offer: int, **rest: Any) -> HttpResponse:
        staff, now = staff_of(request), clock.now()
        row = get_object_or_404(_offers_of(staff), pk=offer)
        return view(request, Question(row, f"/unit/{row.pk}/", by_of(request), now, False), **rest)

    @wraps(view)
    def by_token(request: HttpRequest, token: str, **rest: Any) -> HttpResponse:
        now = clock.now()
        reader = reader_of(token, now)
        row = reader.alert.offer
        if row is None or not may_answer(reader):
            raise LinkOver(_("This link is no longer valid; ask the desk for a new one."))
        return view(request, Question(row, f"/u/{token}/", reader.by(now), now, True), **rest)

    signed_in, linked = page(by_number), open_page(by_token)

    @wraps(view)
    def either(request: HttpRequest, **found: Any) -> HttpResponse:
        return linked(request, **found) if "token" in found else signed_in(request, **found)

    either.login_required = False  # type: ignore[attr-defined]
    return either


@page
@require_safe
def units(request: HttpRequest) -> HttpResponse:
    """The unit's first page: questions first, then babies on the way, then its cots."""
    return show(request, "transport/unit/units.html", _of_units(staff_of(request)))


@page
@require_safe
def units_now(request: HttpRequest) -> HttpResponse:
    """The part of the first page that changes; 304 while it is the same."""
    context = _of_units(staff_of(request))
    return unless_the_same(request, show(request, "transport/unit/units_now.html", context))


@page
def cots(request: HttpRequest, unit: int) -> HttpResponse:
    """Report the free cots of one's own unit."""
    staff = staff_of(request)
    row = get_object_or_404(visible_units(staff).filter(pk__in=scope_of(staff).units), pk=unit)
    told = {"cots_free": row.cots_free, "is_open": row.is_open}
    form = CotsForm(request.POST or None, initial=told)
    if request.method == "POST" and form.is_valid():
        report_cots(by_of(request), row, **form.cleaned_data)
        messages.success(request, _("Thank you. The desk and the search know it now."))
        return redirect("units")
    status = 422 if form.is_bound else 200
    return show(request, "transport/unit/cots.html", {"unit": row, "form": form}, status=status)


@for_question
@require_safe
def question(request: HttpRequest, asked: Question) -> HttpResponse:
    """Can you take this baby? Afterwards: preparing, arrival, handover."""
    return _question_page(request, asked)


@for_question
@require_safe
def question_now(request: HttpRequest, asked: Question) -> HttpResponse:
    """How the question stands and when the baby comes; 304 while it is the same."""
    context = _standing(asked)
    district = asked.offer.referral.district
    response = show(request, "transport/unit/standing.html", context, district=district)
    return unless_the_same(request, response)


@for_question
@require_POST
def accept(request: HttpRequest, asked: Question) -> HttpResponse:
    """Yes."""
    form = AcceptForm(request.POST, initial=_receiver_and_entrance(asked))
    if not form.is_valid():
        return _question_page(request, asked, accept_form=form, status=422)
    try:
        lifecycle.accept(asked.by, asked.offer, **form.cleaned_data)
    except NotPossible as refusal:
        if refusal.code == "entrance_needed":
            form.add_error("entrance", refusal.sentence)
        _require_forms(asked, refusal, CAN_SAY_YES, keep=form.has_changed())
        return _question_page(
            request, asked, problem=refusal.sentence, accept_form=form, status=409
        )
    return redirect(asked.base)


@for_question
@require_POST
def reconfirm(request: HttpRequest, asked: Question) -> HttpResponse:
    """After a change of shift: still ready, and who receives now."""
    form = StillReadyForm(request.POST)
    if not form.is_valid():
        return _question_page(request, asked, ready_form=form, status=422)
    try:
        lifecycle.reconfirm(asked.by, asked.offer, **form.cleaned_data)
    except NotPossible as refusal:
        return _question_page(request, asked, problem=refusal.sentence, ready_form=form, status=409)
    return redirect(asked.base)


@for_question
@require_POST
def decline(request: HttpRequest, asked: Question) -> HttpResponse:
    """No, with a reason."""
    form = DeclineForm(request.POST)
    if not form.is_valid():
        return _question_page(request, asked, decline_form=form, status=422)
    told = form.cleaned_data
    try:
        lifecycle.decline(
            asked.by, asked.offer, reason=DeclineReason(told["reason"]), words=told["words"]
        )
    except NotPossible as refusal:
        _require_forms(asked, refusal, CAN_SAY_NO, keep=bool(told["words"]))
        return _question_page(
            request, asked, problem=refusal.sentence, decline_form=form, status=409
        )
    return redirect(asked.base)


@for_question
@require_POST
def prepare(request: HttpRequest, asked: Question) -> HttpResponse:
    """Tick what is ready."""
    transfer, template = _require_journey(asked), newest("preparation")
    if template is None:
        raise Http404
    told = changed_answers(request, _items(asked), _ticked(transfer))
    try:
        if told:
            on_the_way.answer_checklist(asked.by, transfer, template, told)
    except NotPossible as refusal:
        _require_forms(asked, refusal, {OfferStage.ACCEPTED.value})
        pressed = dict.fromkeys(request.POST.getlist("item"), "yes")
        return _question_page(request, asked, problem=refusal.sentence, ticked=pressed, status=409)
    return redirect(asked.base)


@for_question
def advice(request: HttpRequest, asked: Question) -> HttpResponse:
    """Advice this unit gave on the phone, by the name of who gave it."""
    form = AdviceForm(request.POST or None, initial={"given_by": asked.by.name})
    if request.method == "POST" and form.is_valid():
        recording.record_advice(asked.by, asked.offer.referral, **form.cleaned_data)
        return redirect(asked.base)
    return _form_page(request, asked, "transport/unit/advice.html", form, "", {})


@for_question
def receive(request: HttpRequest, asked: Question, birth_order: int) -> HttpResponse:
    """The receiver's signature of the handover of one baby."""
    transfer = _require_journey(asked)
    baby = baby_of(asked.offer.referral, birth_order)
    form = ReceiptForm(request.POST or None, initial={"name": asked.by.name})
    problem = ""
    if request.method == "POST" and form.is_valid() and _band_or_disagreement(form, baby):
        told = form.cleaned_data
        try:
            journeys.hand_over(
                asked.by,
                transfer,
                baby,
                journeys.Signature(
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
    return _form_page(request, asked, "transport/unit/receive.html", form, problem, {"baby": baby})


@for_question
def outcome(request: HttpRequest, asked: Question, birth_order: int) -> HttpResponse:
    """Tell the attendant who called how it went."""
    baby = baby_of(asked.offer.referral, birth_order)
    _require_journey(asked)
    if baby.ending != Ending.HANDED_OVER.value:
        raise _too_late(asked, _("%s is not handed over. Both sides sign first.") % baby.code)
    form = OutcomeForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        recording.tell_outcome(asked.by, baby, **form.cleaned_data)
        return redirect(asked.base)
    return _form_page(request, asked, "transport/unit/outcome.html", form, "", {"baby": baby})


def _question_page(
    request: HttpRequest,
    asked: Question,
    *,
    problem: str = "",
    status: int = 200,
    accept_form: AcceptForm | None = None,
    decline_form: DeclineForm | None = None,
    ticked: dict[str, str] | None = None,
    ready_form: StillReadyForm | None = None,
) -> HttpResponse:
    offer = Offer.objects.select_related("referral__district", "referral__origin").get(
        pk=asked.offer.pk
    )
    asked = Question(offer, asked.base, asked.by, asked.now, asked.by_link)
    referral, transfer = offer.referral, asked.transfer
    context = {
        **_standing(asked),
        "record_is_shown": stands(offer),
        "problem": problem,
        "accept_form": accept_form or AcceptForm(initial=_receiver_and_entrance(asked)),
        "decline_form": decline_form or DeclineForm(),
        "ready_form": ready_form or StillReadyForm(initial=_ready_now(asked)),
        "babies": babies_now(referral, transfer, asked.now),
        **told_of(referral),
        "told_too": told_too(referral, asked.now),
        "needs": needs_of(referral, asked.now),
    }
    if transfer:
        context |= {
            "items": _items(asked),
            "ticked": _ticked(transfer) if ticked is None else ticked,
            "handovers": _handovers(transfer),
        }
    return show(
        request, "transport/unit/question.html", context, district=referral.district, status=status
    )


def _receiver_and_entrance(asked: Question) -> dict[str, str]:
    offer = asked.offer
    return {"receiver": asked.by.name, "entrance": offer.entrance or offer.unit.entrance}


def _require_journey(asked: Question) -> Transfer:
    """The journey to this unit.

    Raises:
        TooLate: when the baby does not come to this unit (any more); what was typed is kept.
    """
    if transfer := asked.transfer:
        return transfer
    offer = asked.offer
    code = offer.referral.code
    if offer.stage == OfferStage.ACCEPTED.value:
        sentence = _("%s has no journey yet. Ring the desk.") % code
    elif offer.stage == OfferStage.OPEN.value:
        sentence = _("Your unit has not said yet that it takes %s. Answer the question first.")
        sentence %= code
    else:
        sentence = _(
            "%s is not expected at your unit any more. If the baby is with you, care first, "
            "and ring the desk: it asks you again."
        )
        sentence %= code
    raise _too_late(asked, sentence)


def _require_forms(
    asked: Question, refusal: NotPossible, stages: Set[str], *, keep: bool = True
) -> None:
    """Show a refused form again only where the page still has it, in these stages of an offer.

    Raises:
        TooLate: when the question has ended, so that its page has no form to put the words into.
    """
    offer = Offer.objects.select_related("referral").get(pk=asked.offer.pk)
    if not offer.referral.is_open or offer.stage not in stages or _taken_by_other(offer):
        raise _too_late(asked, refusal.sentence, keep=keep) from refusal


def _too_late(asked: Question, sentence: str, *, keep: bool = True) -> TooLate:
    district = asked.offer.referral.district
    return TooLate(sentence, district=district, back=asked.base, keep=keep)


def _form_page(
    request: HttpRequest,
    asked: Question,
    template: str,
    form: Any,
    problem: str,
    context: dict[str, Any],
) -> HttpResponse:
    status = 409 if problem else 422 if form.is_bound and form.errors else 200
    return show(
        request,
        template,
        {"asked": asked, "referral": asked.offer.referral, "form": form, "problem": problem}
        | context,
        district=asked.offer.referral.district,
        status=status,
    )


def _offers_of(staff: Staff) -> Any:
    """The questions to one's own unit; the desk answers by voice on pages of its own."""
    scope = scope_of(staff)
    rows = answerable_offers(staff)
    return rows if scope.everything or scope.is_desk else rows.filter(unit__in=scope.units)


def _of_units(staff: Staff) -> dict[str, Any]:
    now, offers = clock.now(), _offers_of(staff)
    open_word, accepted = OfferStage.OPEN.value, OfferStage.ACCEPTED.value
    coming = offers.filter(stage=accepted, referral__closed_at=None)
    earlier = offers.exclude(stage=open_word).exclude(pk__in=coming)
    return {
        "units": visible_units(staff).filter(pk__in=scope_of(staff).units).order_by("name"),
        "questions": offers.filter(stage=open_word).order_by("asked_at"),
        "coming": [
            (offer, arrival_shown(offer, newest_transfer(offer.referral), now)) for offer in coming
        ],
        "shift_changed": [offer.pk for offer in coming if offer.shift_to_confirm(now)],
        "history": earlier.order_by("-asked_at")[:HISTORY],
    }


def _standing(asked: Question) -> dict[str, Any]:
    offer, transfer = asked.offer, asked.transfer
    return {
        "asked": asked,
        "offer": offer,
        "referral": offer.referral,
        "transfer": transfer,
        "between": arrival_shown(offer, transfer, asked.now),
        "taken_by_other": _taken_by_other(offer),
        "shift_changed": offer.shift_to_confirm(asked.now) if offer.referral.is_open else None,
    }


def _ready_now(asked: Question) -> dict[str, str]:
    """Of a new shift, whoever presses receives; in the same shift it stays as it was told."""
    new_shift = asked.offer.shift_to_confirm(asked.now)
    return {
        "receiver": asked.by.name if new_shift else asked.offer.receiver,
        "entrance": asked.offer.entrance,
    }


def _items(asked: Question) -> list[dict[str, Any]]:
    template = newest("preparation")
    if template is None:
        return []
    needs = needs_of(asked.offer.referral, asked.now)
    needed = {Capability(each) for each in needs.capabilities | needs.preferred_capabilities}
    return preparation_items(template, needed)


def _ticked(transfer: Transfer) -> dict[str, str]:
    rows = transfer.answers.filter(template__when="preparation")
    return dict(rows.values_list("item", "answer"))


def _handovers(transfer: Transfer) -> dict[int, Handover]:
    return {row.baby_id: row for row in transfer.handovers.select_related("disagreement")}


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


def _taken_by_other(offer: Offer) -> Offer | None:
    standing = offer.referral.accepted_offer()
    return standing if standing and standing.pk != offer.pk else None
