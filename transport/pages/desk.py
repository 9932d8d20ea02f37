"""The desk's first page: what needs a person now, then every open journey on the time ribbon."""

from typing import Any
from zoneinfo import ZoneInfo

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from referrals import alerting, clock
from referrals.access import desk_district, kept_inputs, visible_alerts, visible_units
from referrals.calc.states import NotPossible
from referrals.calc.terms import EntryChannel, Urgency
from referrals.labels import word_of
from referrals.models import District
from referrals.on_call import teams_of
from referrals.pages.doors import TooLate, by_of, page, show, staff_of
from referrals.pages.undo import done
from referrals.sweeping import last_sweep, sweep_is_alive
from transport import desk, fleet
from transport.access import visible_vehicles
from transport.models import Closure
from transport.pages import needs_person, ribbon
from transport.pages.desk_stream import signature_now
from transport.pages.ready_steps import steps_of
from transport.pages.words import (
    OTHER_CHANNELS,
    READY_STEPS_DONE,
    SEGMENTS,
    STAGES,
    VEHICLE_STATES,
    word,
)

NOT_REACHED_SHOWN = 20
LANE_PIXELS = {"fits": 1100, "fits-narrow": 320}
"""About how wide a lane is at a desk and on a phone."""
LETTER_PIXELS = 6.6


@page
@require_GET
def index(request: HttpRequest) -> HttpResponse:
    """The whole page."""
    district = district_of_desk(request)
    return show(request, "transport/desk/index.html", _everything(district, request))


@page
@require_GET
def rows(request: HttpRequest) -> HttpResponse:
    """The part of the page that changes, for the script that listens."""
    district = district_of_desk(request)
    return show(request, "transport/desk/rows.html", _everything(district, request))


@page
@require_POST
def take_alert(request: HttpRequest, alert_id: int) -> HttpResponse:
    """'I take care of it': the ladder of one alert stops."""
    district = district_of_desk(request)
    alert = get_object_or_404(visible_alerts(staff_of(request)), pk=alert_id, district=district)
    alert = alerting.acknowledge(alert.pk, by_of(request, EntryChannel.DESK))
    done(
        request,
        _("You take care of it: %s") % alert.sentence,
        reverse("desk_give_alert_back", args=[alert.pk]),
    )
    return redirect("desk")


@page
@require_POST
def give_alert_back(request: HttpRequest, alert_id: int) -> HttpResponse:
    """'I cannot after all': the others are told again, and the ladder runs on."""
    district = district_of_desk(request)
    alert = get_object_or_404(visible_alerts(staff_of(request)), pk=alert_id, district=district)
    try:
        alerting.give_back(alert.pk, by_of(request, EntryChannel.DESK))
    except NotPossible as refusal:
        raise TooLate(refusal.sentence, district=district, back=reverse("desk")) from refusal
    done(request, _("Given back: it needs a person again, and the others are told."))
    return redirect("desk")


@page
@require_POST
def vehicle_ready(request: HttpRequest, vehicle_code: str) -> HttpResponse:
    """Escort home, cylinders filled, clean: the vehicle is free again."""
    district = district_of_desk(request)
    vehicles = visible_vehicles(staff_of(request)).filter(district=district)
    vehicle = get_object_or_404(vehicles, code=vehicle_code)
    try:
        fleet.vehicle_ready(by_of(request, EntryChannel.DESK), vehicle)
    except NotPossible as refusal:
        context = _everything(district, request) | {"problem": refusal.sentence}
        return show(request, "transport/desk/index.html", context, status=409)
    undo = reverse("vehicle_not_ready", args=[vehicle.code])
    done(request, _("%s is free again.") % vehicle.name, undo)
    return redirect("desk")


@page
@require_POST
def vehicle_step(request: HttpRequest, vehicle_code: str, step: str) -> HttpResponse:
    """One step toward being ready again is done; or, with ``mistake``, was told by mistake."""
    district = district_of_desk(request)
    vehicles = visible_vehicles(staff_of(request)).filter(district=district)
    vehicle = get_object_or_404(vehicles, code=vehicle_code)
    undoes = bool(request.POST.get("mistake"))
    tell = fleet.step_undone if undoes else fleet.step_done
    try:
        vehicle = tell(by_of(request, EntryChannel.DESK), vehicle, step)
    except NotPossible as refusal:
        raise TooLate(refusal.sentence, district=district, back=reverse("desk")) from refusal
    if vehicle.state == "free":
        undo = reverse("vehicle_not_ready", args=[vehicle.code])
        done(request, _("%s is free again.") % vehicle.name, undo)
    elif undoes:
        done(request, _("Taken back."))
    else:
        undo = reverse("vehicle_step", args=[vehicle.code, step])
        said = word(READY_STEPS_DONE, step) % vehicle.name
        done(request, _("Written down: %s.") % said, undo, mistake="1")
    return redirect("desk")


@page
@require_POST
def vehicle_not_ready(request: HttpRequest, vehicle_code: str) -> HttpResponse:
    """'Ready again' was a slip."""
    district = district_of_desk(request)
    vehicles = visible_vehicles(staff_of(request)).filter(district=district)
    vehicle = get_object_or_404(vehicles, code=vehicle_code)
    try:
        fleet.vehicle_not_ready(by_of(request, EntryChannel.DESK), vehicle)
    except NotPossible as refusal:
        raise TooLate(refusal.sentence, district=district, back=reverse("desk")) from refusal
    done(request, _("%s is not ready yet.") % vehicle.name)
    return redirect("desk")


def district_of_desk(request: HttpRequest) -> District:
    """The district whose desk the person keeps.

    Raises:
        Http404: for everybody else; the desk does not exist for them.
    """
    district = desk_district(staff_of(request))
    if district is None:
        raise Http404
    return district


def _everything(district: District, request: HttpRequest) -> dict[str, Any]:
    # The signature first: a change after it is told of by the stream, none is missed between.
    signature, now = signature_now(district), clock.now()
    bodies = desk.open_rows(district, now)
    matters, callers = needs_person.matters(district, now), needs_person.without_case(district)
    return {
        "district": district,
        "now": now,
        "signature": signature,
        "matters": matters,
        "needed": len(matters) + len(callers),
        "taken": needs_person.taken_lately(district, now),
        "ribbon": (drawn := ribbon.draw(bodies, now, ZoneInfo(district.time_zone))),
        "rows": [_with_words(*pair) for pair in zip(bodies, drawn.rows, strict=True)],
        "sweep_alive": sweep_is_alive(now),
        "last_sweep": last_sweep(),
        "vehicles": [
            {
                "row": vehicle,
                "state": word(VEHICLE_STATES, vehicle.state),
                "steps": steps_of(vehicle),
            }
            for vehicle in visible_vehicles(staff_of(request))
            .filter(district=district)
            .prefetch_related("cylinders")
            .order_by("state", "code")
        ],
        "units": visible_units(staff_of(request)).filter(site__district=district).order_by("code"),
        "teams": teams_of(district, now),
        "closures": Closure.objects.standing(now).filter(district=district),
        "kept": kept_inputs(district).count(),
        "callers": callers,
        "not_reached": [
            {"row": delivery, "channel": word(OTHER_CHANNELS, delivery.channel)}
            for delivery in desk.could_not_reach(district, now)[:NOT_REACHED_SHOWN]
        ],
    }


def _with_words(body: dict[str, Any], shape: ribbon.RowShape) -> dict[str, Any]:
    """A stored row beside its places on the axis, with the words for both."""
    waiting = [offer["unit"] for offer in body["offers"] if offer["stage"] == "open"]
    taken = [offer["unit"] for offer in body["offers"] if offer["stage"] == "accepted"]
    return {
        "body": body,
        "shape": shape,
        "needs": [alert for alert in body["alerts"] if alert["for_desk"]],
        "urgency": word_of(Urgency, body["urgency"]),
        "stage": word(STAGES, body.get("transfer_stage", "wanted")),
        "unit": _unit_words(taken, waiting, body),
        "segments": [
            _segment_with_label(segment, _label(segment.kind, taken, body))
            for segment in shape.segments
        ],
    }


def _segment_with_label(segment: ribbon.Segment, label: str) -> dict[str, Any]:
    """A segment, and on which screens its label fits into it instead of being cut off."""
    needed = len(label) * LETTER_PIXELS + 8
    fits = "".join(
        f" {name}" for name, lane in LANE_PIXELS.items() if segment.width / 100 * lane >= needed
    )
    return {"shape": segment, "label": label, "fits": fits}


def _unit_words(taken: list[str], waiting: list[str], body: dict[str, Any]) -> str:
    if taken:
        return _("to %s") % taken[0]
    if body.get("without_acceptance"):
        return _("toward %s, not accepted yet") % body.get("unit")
    if waiting:
        return _("asked: %s") % ", ".join(waiting)
    return _("no unit is being asked")


def _label(kind: str, taken: list[str], body: dict[str, Any]) -> str:
    if kind == "placed" and taken:
        return _("%s takes the baby") % taken[0]
    if kind == "assigned" and body.get("vehicle"):
        return _("%s sent") % body["vehicle"]
    return word(SEGMENTS, kind)
