"""The desk's page of one referral: everything about it, and every verb the desk has."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from referrals import clock, ringing, timeline
from referrals.access import desk_district, scope_of, visible_referrals
from referrals.calc.codes import InvalidCode, normalise_code
from referrals.calc.no_heartbeat import POSITIONS
from referrals.calc.quantities import ImpossibleQuantity
from referrals.calc.states import NotPossible, OfferStage, ReferralStage
from referrals.calc.status import summary_in_words
from referrals.calc.terms import CameOf, Capability, DeclineReason, Ending, EntryChannel, Urgency
from referrals.charge import in_charge
from referrals.labels import word_of
from referrals.models import Offer, Referral, Staff, Unit
from referrals.pages.doors import by_of, page, show, staff_of
from referrals.pages.undo import done
from referrals.reading import assess, baby_status
from referrals.recording import UnknownFact
from transport import choosing, proposing, road_table, told_rows
from transport.arrival_told import arrival_told
from transport.calc.stages import WITH_VEHICLE, TransferStage
from transport.checklists import leaving
from transport.estimating import meeting_ahead, projected_arrival
from transport.models import Transfer
from transport.oxygen_ahead import oxygen_plans
from transport.pages import entry_words, needs_person
from transport.pages.attendant_lists import list_lines
from transport.pages.breaths import breaths_of
from transport.pages.desk_forms import DeskForm
from transport.pages.desk_verbs import VERBS, Done, Press, verb_named
from transport.pages.happening import missing_words
from transport.pages.mending import Door, mend
from transport.pages.told_too import told_of, told_too
from transport.pages.words import (
    MEETING_STEPS_ASKED,
    MEETING_TOLD,
    MILESTONES_TOLD,
    STAGES,
    word,
)

FORMS_OF_ONE = (
    "ask_next", "divert", "found", "take_back", "toward", "not_toward", "escort", "go_on",
    "milestone", "mistake", "check", "sign", "unsign", "outcome", "examined", "end", "join",
    "reverse", "hands", "mother", "treatment", "advice", "tell_arrival", "meet", "let_go",
    "chest", "tick", "leave",
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
    found = referral_of(staff_of(request), code)
    if found.code != code:
        return redirect("desk_referral", code=found.code)
    context = _everything(staff_of(request), found, clock.now())
    return show(request, "transport/desk/referral.html", context, district=found.district)


@page
@require_POST
def act(request: HttpRequest, code: str, verb: str) -> HttpResponse:
    """Do one verb; what cannot be taken comes back with what was typed and why."""
    staff, known = staff_of(request), verb_named(verb)
    found = referral_of(staff, code)
    form = known.form(found, request.POST, auto_id=_ids(verb, request.POST, known.form))
    status = 400
    if form.is_valid():
        said_by = form.cleaned_data.pop("said_by", "")
        by = by_of(request, EntryChannel.DESK, said_by=said_by)
        press = Press(staff, by, found, form.cleaned_data)
        try:
            with transaction.atomic():
                said = known.do(press)
        except NotPossible as refusal:
            form.add_error(None, refusal.sentence)
            status = 409
        except (ImpossibleQuantity, UnknownFact) as refusal:
            form.add_error(refusal.field if refusal.field in form.fields else None, str(refusal))
        else:
            after = said if isinstance(said, Done) else Done(said)
            done(request, after.words, after.undo, **after.fields)
            return redirect(f"{reverse('desk_referral', args=[found.code])}#{known.part}")
    context = _everything(staff, referral_of(staff, code), clock.now(), Failed(verb, form))
    return show(
        request, "transport/desk/referral.html", context, district=found.district, status=status
    )


@page
def put_right(request: HttpRequest, code: str, kind: str, number: int) -> HttpResponse:
    """Correct or take back anything that was told."""
    found = referral_of(staff_of(request), code)
    base = reverse("desk_referral", args=[found.code])
    return mend(request, Door(found, by_of(request, EntryChannel.DESK), base), kind, number)


def referral_of(staff: Staff, code: str) -> Referral:
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
        "ventilation": breaths_of(found, now),
        "positions": POSITIONS,
        "missing": missing_words(assess(found, now)),
        "needs": [
            _need(found, need, failed)
            for need in found.needs.filter(superseded_at=None).order_by("pk")
        ],
        **told_of(found),
        "mend": reverse("desk_referral", args=[found.code]),
        "mends": told_rows.KINDS,
        "offers": [_offer(found, offer, now, failed) for offer in offers],
        "accepted": next((o for o in offers if o.stage == OfferStage.ACCEPTED.value), None),
        "forms": {name: _form(found, name, failed) for name in FORMS_OF_ONE},
        "told_too": told_too(found, now),
        "timeline": entry_words.lines_of(found),
        "faults": timeline.faults_of(found),
        **_search(found, offers, now, failed),
        **_journey(found, transfer, now, failed),
        **_calls(found, transfer, now),
    }


def _ring_now(found: Referral, transfer: Transfer | None) -> list[tuple[str, str]]:
    """Who can say how the baby is: the vehicle once it has left, whoever called, the post."""
    who: list[tuple[str, Any]] = []
    if transfer and transfer.left_post_at and transfer.vehicle:
        who.append((transfer.driver_name, transfer.driver_phone))
    who += [found.who_called(), (found.origin.name, found.origin.phone)]
    numbers = {getattr(phone, "as_e164", phone): name for name, phone in reversed(who) if phone}
    return [(name, number) for number, name in reversed(numbers.items())]


def calls_made(found: Referral) -> list[dict[str, Any]]:
    """Every call with the words for what came of it, the newest first."""
    return [
        {"call": call, "came_of": word_of(CameOf, call.came_of.value)}
        for call in ringing.calls_of(found)
    ]


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
        "band": baby.band_readings.standing().last(),
        "outcomes": baby.outcomes.newest().select_related(
            "words", "learn", "withdrawn_why", "corrects__words"
        ),
        "examinations": baby.examinations.select_related("findings", "withdrawn_why"),
        "readings": baby.observations.newest().select_related("note", "withdrawn_why"),
    }


def _need(found: Referral, need: Any, failed: Failed | None) -> dict[str, Any]:
    return {
        "row": need,
        "line_at": need.derived_at + timedelta(minutes=need.limit_minutes)
        if need.limit_minutes
        else None,
        "form": _form(found, "restore" if need.overridden_by else "override", failed, need=need.pk),
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
        "road_source": road_table.source_of(
            found.district, (each.road for each in ranking.candidates)
        ),
        "looked_within_km": ranking.looked_within_km,
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
                "meet": _form(found, "plan_meet", failed, site=plan.key, vehicle=plan.helper_key)
                if plan.kind == "meeting"
                else None,
            }
            for plan in ranking.plans
        ],
        **_proposed(found, now, failed),
        "choices": [
            {
                "choice": choice,
                "form": _form(found, "assign", failed, vehicle=choice.vehicle.code),
                "keep": _form(found, "keep", failed, vehicle=choice.vehicle.code),
                "place": _form(found, "place", failed, vehicle=choice.vehicle.code),
            }
            for choice in choosing.vehicle_choices(found, now)
        ],
    }


def _proposed(found: Referral, now: datetime, failed: Failed | None) -> dict[str, Any]:
    """The vehicle that is proposed, with the forms that send it, keep it or let it go."""
    transfer = found.transfers.live().first()
    row = proposing.proposal_for(transfer, now) if transfer else None
    if row is None:
        return {}
    code = row.vehicle.code if row.vehicle else ""
    return {
        "proposal": row,
        "proposal_cell": row.cell(),
        "proposal_send": _form(found, "assign", failed, vehicle=code),
        "proposal_keep": _form(found, "keep", failed, vehicle=code),
    }


def _meeting(
    found: Referral, transfer: Transfer, now: datetime, failed: Failed | None
) -> dict[str, Any]:
    """The meeting that is agreed on, or at which they have changed over, with its buttons."""
    standing = transfer.standing_meeting()
    meeting = standing or transfer.moved_at_meeting()
    if meeting is None:
        return {}
    ahead = meeting_ahead(transfer, meeting, now) if standing else None
    marks = [(name, getattr(meeting, f"{name}_at")) for name in MEETING_TOLD]
    steps = [name for name, at in marks if at is None] if standing else []
    if standing:
        steps += ["moved_over", "drive_on", *(["not_there"] if meeting.first_there_at else [])]
    elif transfer.is_live and transfer.stage == TransferStage.AT_ORIGIN.value:
        steps.append("not_moved")
    return {
        "meeting": meeting,
        "meeting_stands": standing is not None,
        "meeting_marks": [(word(MEETING_TOLD, name), at) for name, at in marks if at],
        "both_there": now + timedelta(minutes=ahead.both.p50) if ahead else None,
        "meeting_steps": [
            (name, word(MEETING_STEPS_ASKED, name), _form(found, "meeting_step", failed, step=name))
            for name in steps
        ],
    }


def _journey(
    found: Referral, transfer: Transfer | None, now: datetime, failed: Failed | None
) -> dict[str, Any]:
    if transfer is None:
        return {}
    live, last = transfer.is_live, transfer.last_milestone()
    return {
        "transfer": transfer,
        "transfer_stage": word(STAGES, transfer.stage),
        "has_vehicle": transfer.stage in WITH_VEHICLE,
        "window": projected_arrival(transfer, now) if live else None,
        "told": arrival_told(transfer) if live else None,
        "oxygen": oxygen_plans(transfer, now) if live else [],
        "stands_at_a_door": live and transfer.stage == TransferStage.ARRIVED.value,
        "place": _form(found, "place", failed, vehicle=transfer.vehicle.code)
        if transfer.vehicle
        else None,
        **_meeting(found, transfer, now, failed),
        "leaving": leaving(transfer),
        "list_answers": list_lines(transfer),
        "last_milestone": last and word(MILESTONES_TOLD, last.kind),
        "checks": transfer.checks.newest().select_related(
            "observation", "stopped_because", "baby", "withdrawn_why", "corrects"
        ),
        "milestones": [
            (row, word(STAGES, row.kind)) for row in transfer.milestones.order_by("reached_at")
        ],
    }


def _calls(found: Referral, transfer: Transfer | None, now: datetime) -> dict[str, Any]:
    """Who can be rung about this journey, who is responsible, and the calls made so far."""
    return {
        "caller": found.who_called(),
        "ring_now": _ring_now(found, transfer),
        "in_charge": in_charge(found, now),
        "calls": calls_made(found),
    }
