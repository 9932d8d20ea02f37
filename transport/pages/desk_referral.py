"""The desk's page of one referral: everything about it, and every verb the desk has."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from referrals import clock, timeline
from referrals.access import desk_district, scope_of, visible_referrals
from referrals.calc.codes import InvalidCode, normalise_code
from referrals.calc.quantities import ImpossibleQuantity
from referrals.calc.states import NotPossible, OfferStage, ReferralStage
from referrals.calc.status import summary_in_words
from referrals.calc.terms import Capability, DeclineReason, Ending, EntryChannel, Urgency
from referrals.labels import word_of
from referrals.models import Offer, Referral, Staff, Unit
from referrals.pages.doors import by_of, page, show, staff_of
from referrals.reading import baby_status
from referrals.recording import UnknownFact
from transport import choosing
from transport.calc.stages import WITH_VEHICLE
from transport.estimating import oxygen_plan, projected_arrival
from transport.models import Transfer
from transport.pages import entry_words, needs_person
from transport.pages.desk_forms import DeskForm
from transport.pages.desk_verbs import VERBS, Press, verb_named
from transport.pages.told_too import told_of, told_too
from transport.pages.words import MILESTONES_TOLD, STAGES, word

FORMS_OF_ONE = (
    "ask_next", "divert", "found", "take_back", "toward", "milestone", "mistake", "check", "sign",
    "outcome", "end", "join", "reverse", "mother", "treatment", "advice",
)  # fmt: skip
"""Verbs whose form stands once on the page; the others stand once for each row they are about."""
FORMS_OF_OFFER = ("accept", "reconfirm", "decline", "withdraw")


@dataclass(frozen=True)
class Failed:
    """A form that could not be taken, with everything that was typed."""

    verb: str
    form: DeskForm

    @property
    def part(self) -> str:
        """Where on the page the form stands."""
        return VERBS[self.verb].part

    @property
    def subject(self) -> str:
        """The row the form was about."""
        return str(self.form.data.get(self.form.subject_field, ""))


@page
@require_GET
def referral(request: HttpRequest, code: str) -> HttpResponse:
    """The page."""
    found = _referral_of(staff_of(request), code)
    if found.code != code:
        return redirect("desk_referral", code=found.code)
    context = _everything(staff_of(request), found, clock.now())
    return show(request, "transport/desk/referral.html", context, district=found.district)


@page
@require_POST
def act(request: HttpRequest, code: str, verb: str) -> HttpResponse:
    """Do one verb; what cannot be taken comes back with what was typed and why."""
    staff, known = staff_of(request), verb_named(verb)
    found = _referral_of(staff, code)
    form = known.form(found, request.POST, auto_id=_ids(verb, request.POST, known.form))
    status = 400
    if form.is_valid():
        press = Press(staff, by_of(request, EntryChannel.DESK), found, form.cleaned_data)
        try:
            with transaction.atomic():
                messages.success(request, known.do(press))
        except NotPossible as refusal:
            form.add_error(None, refusal.sentence)
            status = 409
        except (ImpossibleQuantity, UnknownFact) as refusal:
            form.add_error(refusal.field if refusal.field in form.fields else None, str(refusal))
        else:
            return redirect(f"{reverse('desk_referral', args=[found.code])}#{known.part}")
    context = _everything(staff, _referral_of(staff, code), clock.now(), Failed(verb, form))
    return show(
        request, "transport/desk/referral.html", context, district=found.district, status=status
    )


def _referral_of(staff: Staff, code: str) -> Referral:
    """The referral, if the person keeps its district's desk; else there is none."""
    scope = scope_of(staff)
    if desk_district(staff) is None:
        raise Http404
    rows = visible_referrals(staff)
    if not scope.everything:
        rows = rows.filter(district__in=scope.districts)
    try:
        return get_object_or_404(rows, code=normalise_code(code))
    except InvalidCode as error:
        raise Http404 from error


def _ids(verb: str, data: Any, form: type[DeskForm]) -> str:
    subject = data.get(form.subject_field, "") if form.subject_field else ""
    return f"{verb}{subject}-%s"


def _everything(
    staff: Staff, found: Referral, now: datetime, failed: Failed | None = None
) -> dict[str, Any]:
    transfer = (
        found.transfers.select_related("vehicle__base", "destination__site").order_by("pk").last()
    )
    if transfer:
        transfer.referral = found
    offers = list(found.offers.select_related("unit__site").order_by("asked_at"))
    return {
        "referral": found,
        "now": now,
        "failed": failed,
        "failed_form": failed.form if failed else None,
        "stage": word_of(ReferralStage, found.stage),
        "urgency": word_of(Urgency, found.urgency),
        "alerts": needs_person.alerts_about(found),
        "babies": [_baby(baby, now) for baby in found.babies.all()],
        "mother": getattr(found, "mother", None),
        "needs": [_need(n) for n in found.needs.filter(superseded_at=None)],
        **told_of(found),
        "offers": [_offer(found, offer, now, failed) for offer in offers],
        "accepted": next((o for o in offers if o.stage == OfferStage.ACCEPTED.value), None),
        "forms": {name: _form(found, name, failed) for name in FORMS_OF_ONE},
        "told_too": told_too(found, now),
        "timeline": entry_words.lines_of(found),
        "faults": timeline.faults_of(found),
        **_search(found, offers, now, failed),
        **_journey(found, transfer, now),
        **_calls(found, transfer),
    }


def _form(found: Referral, verb: str, failed: Failed | None, **initial: Any) -> DeskForm:
    """The form as it was typed if it is the one that failed, else a new one."""
    form_class = VERBS[verb].form
    subject = str(initial.get(form_class.subject_field, ""))
    if failed and failed.verb == verb and failed.subject == subject:
        return failed.form
    return form_class(found, initial=initial, auto_id=f"{verb}{subject}-%s")


def _baby(baby: Any, now: datetime) -> dict[str, Any]:
    return {
        "row": baby,
        "summary": summary_in_words(baby_status(baby, now)),
        "ending": word_of(Ending, baby.ending) if baby.ending else "",
        "handover": getattr(baby, "handover", None),
        "band": baby.band_readings.last(),
        "outcomes": baby.outcomes.select_related("words"),
    }


def _need(need: Any) -> dict[str, Any]:
    return {
        "row": need,
        "capabilities": [word_of(Capability, code) for code in need.capabilities],
        "preferred": [word_of(Capability, code) for code in need.preferred_capabilities],
    }


def _offer(found: Referral, offer: Offer, now: datetime, failed: Failed | None) -> dict[str, Any]:
    offer.referral = found
    return {
        "row": offer,
        "stage": word_of(OfferStage, offer.stage),
        "reason": word_of(DeclineReason, offer.decline_reason) if offer.decline_reason else "",
        "can_answer": found.is_open and offer.stage in ("open", "lapsed", "declined"),
        "can_reconfirm": found.is_open and offer.stage == "accepted",
        "shift_changed": offer.shift_to_confirm(now) if found.is_open else None,
        "can_decline": found.is_open and offer.stage in ("open", "lapsed", "accepted"),
        "is_live": found.is_open and offer.stage in ("open", "accepted"),
        "forms": {
            verb: _form(
                found, verb, failed, offer=offer.pk, entrance=offer.entrance or offer.unit.entrance
            )
            for verb in FORMS_OF_OFFER
        },
    }


def _search(
    found: Referral, offers: list[Offer], now: datetime, failed: Failed | None
) -> dict[str, Any]:
    """The candidates as ranked now, kept as they are shown; nothing once the referral is closed."""
    if not found.is_open:
        return {"candidates": [], "plans": [], "choices": []}
    ranking = choosing.ranking_for(found, now)
    kept = choosing.keep(found, ranking, now)
    live = {offer.unit_id for offer in offers if offer.stage in ("open", "accepted")}
    units = Unit.objects.select_related("site").in_bulk(
        [each.key for each in ranking.candidates], field_name="code"
    )
    return {
        "ordering_rule": ranking.ordering_rule,
        "not_shown": ranking.possible_not_shown + ranking.impossible_not_shown,
        "candidates": [
            {
                "candidate": each,
                "unit": units[each.key],
                "live": units[each.key].pk in live,
                "form": _form(found, "ask", failed, unit=each.key, ranking=kept.pk),
            }
            for each in ranking.candidates
        ],
        "plans": [
            {
                "plan": plan,
                "live": plan.kind == "stop" and units[plan.key].pk in live,
                "form": _form(found, "ask_stop", failed, unit=plan.key, ranking=kept.pk)
                if plan.kind == "stop"
                else None,
            }
            for plan in ranking.plans
        ],
        "choices": [
            {
                "choice": choice,
                "form": _form(found, "assign", failed, vehicle=choice.vehicle.code),
            }
            for choice in choosing.vehicle_choices(found, now)
        ],
    }


def _journey(found: Referral, transfer: Transfer | None, now: datetime) -> dict[str, Any]:
    if transfer is None:
        return {}
    live, last = transfer.is_live, transfer.last_milestone()
    return {
        "transfer": transfer,
        "transfer_stage": word(STAGES, transfer.stage),
        "has_vehicle": transfer.stage in WITH_VEHICLE,
        "window": projected_arrival(transfer, now) if live else None,
        "oxygen": oxygen_plan(transfer, now) if live else None,
        "last_milestone": last and word(MILESTONES_TOLD, last.kind),
        "checks": transfer.checks.select_related("observation", "stopped_because", "baby"),
        "milestones": [
            (row, word(STAGES, row.kind)) for row in transfer.milestones.order_by("reached_at")
        ],
    }


def _calls(found: Referral, transfer: Transfer | None) -> dict[str, Any]:
    """Every number of this journey, and every unit's, for the day when nobody can take."""
    units: QuerySet[Unit] = Unit.objects.filter(site__district=found.district)
    standing = found.district.standing_unit_id
    return {
        "post_phone": found.origin.phone.as_e164 if found.origin.phone else "",
        "caller": found.raised_by,
        "driver": (transfer.driver_name, transfer.driver_phone) if transfer else ("", ""),
        "call_units": sorted(
            units.select_related("site").order_by("code"), key=lambda unit: unit.pk != standing
        ),
        "call_vehicles": found.district.vehicles.select_related("driver").order_by("code"),
    }
