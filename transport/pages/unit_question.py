"""One question to a unit, by either of its addresses, and the page that shows how it stands.

Each page of a question stands under two addresses: the unit's own, for who is signed in, and the
link in a message, for a contact without a session. Both lead to the same functions.
"""

from collections.abc import Callable, Set
from dataclasses import dataclass
from datetime import datetime
from functools import wraps
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils.translation import gettext as _

from referrals import clock
from referrals.access import answerable_offers, scope_of, stands
from referrals.acting import By
from referrals.calc.no_heartbeat import POSITIONS
from referrals.calc.states import NotPossible, OfferStage
from referrals.links import LinkOver
from referrals.models import Offer, Staff
from referrals.pages.answering import may_answer, reader_of
from referrals.pages.doors import TooLate, by_of, open_page, page, show, staff_of
from transport.checklists import because, newest, newest_answers, preparation_items
from transport.models import ChecklistAnswer, ChecklistTemplate, Handover, Transfer
from transport.pages.attendant_lists import item_lines
from transport.pages.breaths import breaths_of
from transport.pages.happening import (
    arrival_shown,
    babies_now,
    missing_words,
    need_lines,
    needs_of,
    newest_transfer,
)
from transport.pages.told_too import told_of, told_too
from transport.pages.unit_forms import AcceptForm, DeclineForm, StillReadyForm

MENDS = ("advice", "outcome", "score", "examination")
"""What a unit tells about a referral, besides its answers; it mends nothing that others told."""


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
        row = get_object_or_404(offers_of(staff), pk=offer)
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


def question_page(
    request: HttpRequest,
    asked: Question,
    *,
    problem: str = "",
    status: int = 200,
    accept_form: AcceptForm | None = None,
    decline_form: DeclineForm | None = None,
    ticked: set[str] | None = None,
    ready_form: StillReadyForm | None = None,
) -> HttpResponse:
    """The question's page as it stands, with the form that was refused, if any."""
    offer = Offer.objects.select_related("referral__district", "referral__origin").get(
        pk=asked.offer.pk
    )
    asked = Question(offer, asked.base, asked.by, asked.now, asked.by_link)
    referral, transfer = offer.referral, asked.transfer
    context = {
        **standing(asked),
        "record_is_shown": stands(offer),
        "problem": problem,
        "accept_form": accept_form or AcceptForm(initial=receiver_and_entrance(asked)),
        "decline_form": decline_form or DeclineForm(),
        "ready_form": ready_form or StillReadyForm(initial=_ready_now(asked)),
        "babies": babies_now(referral, transfer, asked.now),
        **told_of(referral),
        "mend": asked.base,
        "mends": MENDS if transfer else (),
        "mends_own": asked.by.name,
        "told_too": told_too(referral, asked.now),
        "needs": (needs := needs_of(referral, asked.now)),
        "need_lines": need_lines(referral, needs, asked.now),
        "missing_words": missing_words(needs),
        "ventilation": breaths_of(referral, asked.now),
        "positions": POSITIONS,
    }
    if transfer:
        context |= {
            **_preparing(asked, transfer, ticked),
            "handovers": _handovers(transfer),
        }
    return show(
        request, "transport/unit/question.html", context, district=referral.district, status=status
    )


def form_page(
    request: HttpRequest,
    asked: Question,
    template: str,
    form: Any,
    problem: str,
    context: dict[str, Any],
) -> HttpResponse:
    """A page with one form about the question; its status says what came of it."""
    status = 409 if problem else 422 if form.is_bound and form.errors else 200
    return show(
        request,
        template,
        {"asked": asked, "referral": asked.offer.referral, "form": form, "problem": problem}
        | context,
        district=asked.offer.referral.district,
        status=status,
    )


def require_journey(asked: Question) -> Transfer:
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
    raise too_late(asked, sentence)


def require_forms(
    asked: Question, refusal: NotPossible, stages: Set[str], *, keep: bool = True
) -> None:
    """Show a refused form again only where the page still has it, in these stages of an offer.

    Raises:
        TooLate: when the question has ended, so that its page has no form to put the words into.
    """
    offer = Offer.objects.select_related("referral").get(pk=asked.offer.pk)
    if not offer.referral.is_open or offer.stage not in stages or _taken_by_other(offer):
        raise too_late(asked, refusal.sentence, keep=keep) from refusal


def too_late(asked: Question, sentence: str, *, keep: bool = True) -> TooLate:
    """What to raise when the question has moved on while somebody wrote."""
    district = asked.offer.referral.district
    return TooLate(sentence, district=district, back=asked.base, keep=keep)


def offers_of(staff: Staff) -> Any:
    """The questions to one's own unit; the desk answers by voice on pages of its own."""
    scope = scope_of(staff)
    rows = answerable_offers(staff)
    return rows if scope.everything or scope.is_desk else rows.filter(unit__in=scope.units)


def standing(asked: Question) -> dict[str, Any]:
    """How the question stands, and when the baby comes."""
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


def receiver_and_entrance(asked: Question) -> dict[str, str]:
    """What a yes begins with: whoever presses, and the unit's usual entrance."""
    offer = asked.offer
    return {"receiver": asked.by.name, "entrance": offer.entrance or offer.unit.entrance}


def _ready_now(asked: Question) -> dict[str, str]:
    """Of a new shift, whoever presses receives; in the same shift it stays as it was told."""
    new_shift = asked.offer.shift_to_confirm(asked.now)
    return {
        "receiver": asked.by.name if new_shift else asked.offer.receiver,
        "entrance": asked.offer.entrance,
    }


def items_of(asked: Question, template: ChecklistTemplate) -> list[dict[str, Any]]:
    """What this unit prepares for what these babies need."""
    needs = needs_of(asked.offer.referral, asked.now)
    return preparation_items(template, needs.capabilities | needs.preferred_capabilities)


def ticked_of(transfer: Transfer) -> dict[str, ChecklistAnswer]:
    """What was answered by now, by item."""
    return newest_answers(transfer, "preparation")


def _preparing(asked: Question, transfer: Transfer, ticked: set[str] | None) -> dict[str, Any]:
    """The list as it stands, and which need puts an item on it."""
    template = newest("preparation", asked.offer.referral.district)
    items = items_of(asked, template) if template else []
    needs = needs_of(asked.offer.referral, asked.now).needs
    reasons = [(item["words"], because(item, needs)) for item in items if item.get("needs")]
    return {
        "template": template,
        "lines": item_lines(items, ticked_of(transfer), ticked),
        "reasons": reasons,
    }


def _handovers(transfer: Transfer) -> dict[int, Handover]:
    return {row.baby_id: row for row in transfer.handovers.select_related("disagreement")}


def _taken_by_other(offer: Offer) -> Offer | None:
    standing = offer.referral.accepted_offer()
    return standing if standing and standing.pk != offer.pk else None
