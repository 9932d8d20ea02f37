"""The driver's pages: where to collect, whom to bring to, one button for the next milestone.

The link is the account: whoever holds it may tell about this one journey and nothing else. So the
forms below need no cookie, and a press kept on the phone while it was offline is taken hours later.
Opening a page changes nothing, because the programs that show messages open links by themselves.
"""

from collections.abc import Callable, Sequence
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_POST, require_safe

from referrals import clock
from referrals.access import scope_of
from referrals.acting import By
from referrals.calc.states import NotPossible
from referrals.links import InvalidLink
from referrals.pages import kept
from referrals.pages.doors import moment_in, open_page, page, show, staff_of
from referrals.reading import babies_on_the_way
from referrals.saying import for_the_record, in_record_language, to_tell
from transport import closures, fleet, lifecycle, meetings, milestones, on_the_way, where_to
from transport.access import visible_transfers
from transport.calc.stages import (
    FINISHED,
    MILESTONES,
    WITH_VEHICLE,
    TransferStage,
    next_milestone,
    require_milestone,
)
from transport.driver_links import by_driver, former, opened_by, token_for
from transport.meeting_steps import MEETING_STEPS
from transport.models import Meeting, Transfer, Vehicle
from transport.oxygen_ahead import oxygen_plan
from transport.pages.ready_steps import Step, steps_of
from transport.pages.words import MEETING_BUTTONS, MILESTONE_BUTTONS, STOP_REASONS, word


@open_page
@require_safe
def link(request: HttpRequest, token: str) -> HttpResponse:
    """The page behind the link in the driver's message."""
    try:
        return _page(request, *opened_by(token, clock.now()), token)
    except InvalidLink as over:
        return _link_over(request, token, over)


@page
@require_safe
def drive(request: HttpRequest) -> HttpResponse:
    """The same page for a driver who is signed in, or that there is no journey now."""
    staff = staff_of(request)
    if not scope_of(staff).drives:
        raise Http404
    seen = visible_transfers(staff)
    running = [stage.value for stage in WITH_VEHICLE]
    transfer = seen.filter(vehicle__driver=staff, stage__in=running).order_by("-pk").first()
    if transfer:
        return _page(request, transfer, None, token_for(transfer))
    meeting = Meeting.objects.standing().filter(vehicle__driver=staff).first()
    if meeting:
        transfer = seen.get(pk=meeting.transfer_id)
        return _page(request, transfer, meeting, token_for(transfer, meeting))
    return show(request, "transport/driver/nothing.html")


@open_page
@require_safe
def state(request: HttpRequest, token: str) -> JsonResponse:
    """What the page was made from, in a few bytes: another destination makes another page."""
    answer = JsonResponse({"state": _state(*opened_by(token, clock.now()))})
    answer["Cache-Control"] = "no-store"
    return answer


@csrf_exempt
@open_page
@require_POST
def reached(request: HttpRequest, token: str) -> HttpResponse:
    """A milestone, pressed now or while the phone was offline."""

    def tell(by: By, transfer: Transfer, meeting: Meeting | None) -> None:
        milestone = require_milestone(request.POST.get("milestone", ""))
        number = meeting.assignment if meeting else None
        milestones.reach(by, transfer, milestone, assignment=number)

    return _told(request, token, tell)


@csrf_exempt
@open_page
@require_POST
def mistake(request: HttpRequest, token: str) -> HttpResponse:
    """The last milestone was pressed by mistake. Its field is not called like that of a press,
    so that a link which has ended never takes it for one."""

    def tell(by: By, transfer: Transfer, meeting: Meeting | None) -> None:
        pressed = require_milestone(request.POST.get("mistake", ""))
        number = meeting.assignment if meeting else None
        milestones.withdraw_milestone(by, transfer, pressed, assignment=number)

    return _told(request, token, tell)


@csrf_exempt
@open_page
@require_POST
def met(request: HttpRequest, token: str) -> HttpResponse:
    """What happens where two vehicles meet: there, moved over, or the other one does not come."""
    step = MEETING_STEPS.get(request.POST.get("step", ""))

    def tell(by: By, transfer: Transfer, meeting: Meeting | None) -> None:
        if step is None:
            raise NotPossible(_("Press one of the buttons."), code="unknown_step")
        step(by, transfer, request.POST.get("witness", "").strip())

    return _told(request, token, tell)


@csrf_exempt
@open_page
@require_POST
def stopped(request: HttpRequest, token: str) -> HttpResponse:
    """The vehicle has stopped on purpose; the desk is told at once."""
    reason = request.POST.get("reason", "")

    def tell(by: By, transfer: Transfer, meeting: Meeting | None) -> None:
        if reason not in STOP_REASONS:
            raise NotPossible(_("Press one of the reasons."), code="unknown_reason")
        babies = babies_on_the_way(transfer.referral)
        if not babies:
            raise NotPossible(_("This journey has ended. Ring the desk."), code="closed")
        with in_record_language():
            why = word(STOP_REASONS, reason)
        told = on_the_way.CheckTold(facts={}, stopped_because=why)
        on_the_way.check(by, transfer, babies[0], told)

    return _told(request, token, tell, and_say="?told=stopped")


@csrf_exempt
@open_page
@require_POST
def closed(request: HttpRequest, token: str) -> HttpResponse:
    """The road is closed where the vehicle is; other journeys are warned at once."""

    def tell(by: By, transfer: Transfer, meeting: Meeting | None) -> None:
        closures.report_from_vehicle(by, transfer, request.POST.get("words", ""))

    return _told(request, token, tell, and_say="?told=closed")


@csrf_exempt
@open_page
@require_POST
def go_on(request: HttpRequest, token: str) -> HttpResponse:
    """The unit does not take the baby at its door: back on the road to another one."""

    def tell(by: By, transfer: Transfer, meeting: Meeting | None) -> None:
        where_to.go_on(
            by, transfer, why=for_the_record(to_tell("the unit does not take the baby at its door"))
        )

    return _told(request, token, tell)


@csrf_exempt
@open_page
@require_POST
def undo(request: HttpRequest, token: str) -> HttpResponse:
    """The stop or the closed road was a slip: the last one told through this link is taken back."""

    def tell(by: By, transfer: Transfer, meeting: Meeting | None) -> None:
        if request.POST.get("what") == "stopped":
            stops = transfer.checks.standing().exclude(stopped_because=None)
            last = stops.filter(checked_by=by.name).last()
            if last:
                on_the_way.withdraw(by, last, reason=_("pressed by mistake"))
        else:
            standing = transfer.referral.district.closures.standing(by.received_at)
            reported = standing.filter(reported_by=by.name).first()
            if reported:
                closures.lift(by, reported)

    return _told(request, token, tell)


@csrf_exempt
@open_page
@require_POST
def broken(request: HttpRequest, token: str) -> HttpResponse:
    """The vehicle cannot go on: the desk sends another one, and this link ends."""

    def tell(by: By, transfer: Transfer, meeting: Meeting | None) -> None:
        why = for_the_record(to_tell("it has broken down"))
        if meeting:
            meetings.drive_on(by, transfer, why=why, broken=True)
        else:
            lifecycle.unassign(by, transfer, why=why, broken=True)

    return _told(request, token, tell, then="driver_told")


@csrf_exempt
@open_page
@require_POST
def step(request: HttpRequest, token: str) -> HttpResponse:
    """The escort is home, the cylinders are filled or the vehicle is clean; also after hours.

    The way back is often longer than the link lives: it opens nothing else then.
    """
    found = former(token)
    vehicle = _comes_back(*found) if found else None
    if found is None or vehicle is None:
        raise InvalidLink(_("this link is no longer valid; ask the desk for a new one"))
    tell = fleet.step_undone if request.POST.get("mistake") else fleet.step_done
    try:
        tell(_by(request, found[0]), vehicle, request.POST.get("step", ""))
    except NotPossible as refusal:
        return _desk_knows(request, found[0], sentence=refusal.sentence, status=409)
    return redirect("driver_link", token)


@open_page
@require_safe
def told(request: HttpRequest, token: str) -> HttpResponse:
    """After 'broken down': the desk knows, and here is its number. The old link opens only this."""
    found = former(token)
    if found is None:
        raise InvalidLink(_("this link is no longer valid; ask the desk for a new one"))
    return _desk_knows(request, found[0], broken=True)


def _comes_back(transfer: Transfer, assignment: int) -> Vehicle | None:
    """The vehicle of a link whose journey has ended, as long as it is on its way back from it."""
    vehicle = transfer.vehicle if assignment == transfer.assignment else None
    if vehicle is None or transfer.is_live or vehicle.state != "returning":
        return None
    newest = vehicle.transfers.exclude(finished_at=None).order_by("-finished_at").first()
    return vehicle if newest == transfer else None


def _told(
    request: HttpRequest,
    token: str,
    tell: Callable[[By, Transfer, Meeting | None], None],
    *,
    then: str = "driver_link",
    and_say: str = "",
) -> HttpResponse:
    """Who, parse, one verb, show. The times are the phone's own; the server corrects them."""
    now = clock.now()
    try:
        transfer, meeting = opened_by(token, now)
    except InvalidLink as over:
        return _keep_late(request, token, over)
    by = _by(request, transfer, meeting=meeting)
    try:
        tell(by, transfer, meeting)
    except NotPossible as refusal:
        return _refused(request, *opened_by(token, now), token, refusal)
    return redirect(reverse(then, args=[token]) + and_say)


def _by(
    request: HttpRequest,
    transfer: Transfer,
    *,
    sent_before: bool = False,
    meeting: Meeting | None = None,
) -> By:
    return by_driver(
        transfer,
        meeting=meeting,
        now=clock.now(),
        happened_at=moment_in(request.POST.get("happened_at", "")),
        # In a header, so that sending the same press again is the same form.
        sent_at=moment_in(request.headers.get("Sent-At", "")),
        sent_before=sent_before,
    )


def _keep_late(request: HttpRequest, token: str, over: InvalidLink) -> HttpResponse:
    """A press through a link that opens no more: nothing of it is lost, and the desk sees it."""
    found, pressed = former(token), request.POST.get("milestone", "")
    if found and pressed in {stage.value for stage in MILESTONES}:
        transfer, assignment = found
        by = _by(request, transfer, sent_before=assignment != transfer.assignment)
        milestones.reach(by, transfer, TransferStage(pressed), assignment=assignment)
    elif found:
        kept.keep(request, clock.now(), problem=_("pressed by a driver whose link had ended"))
    else:
        raise over
    # An answer that is not a redirect would undo what was just kept (``referrals/pages/once.py``).
    return redirect("driver_link", token)


def _link_over(request: HttpRequest, token: str, over: InvalidLink) -> HttpResponse:
    found = former(token)
    if found is None:
        raise over
    transfer, assignment = found
    gone_on = transfer.meetings.filter(first_assignment=assignment, moved_at__isnull=False).first()
    if gone_on:
        return _desk_knows(request, transfer, gone_on=gone_on)
    return _desk_knows(
        request,
        transfer,
        sentence=str(over),
        status=over.status,
        token=token,
        steps=steps_of(_comes_back(transfer, assignment)),
    )


def _desk_knows(
    request: HttpRequest,
    transfer: Transfer,
    *,
    broken: bool = False,
    gone_on: Meeting | None = None,
    sentence: str = "",
    status: int = 200,
    token: str = "",
    steps: Sequence[Step] = (),
) -> HttpResponse:
    referral = transfer.referral
    context = {
        "code": referral.code,
        "desk_phone": _phone(referral.district),
        "broken": broken,
        "gone_on": gone_on,
        "sentence": sentence,
        "token": token,
        "steps": steps,
    }
    template = "transport/driver/told.html"
    return show(request, template, context, district=referral.district, status=status)


def _refused(
    request: HttpRequest,
    transfer: Transfer,
    meeting: Meeting | None,
    token: str,
    refusal: NotPossible,
) -> HttpResponse:
    return _page(request, transfer, meeting, token, problem=refusal.sentence, status=409)


def _page(
    request: HttpRequest,
    transfer: Transfer,
    second: Meeting | None,
    token: str,
    *,
    problem: str = "",
    status: int = 200,
) -> HttpResponse:
    """``second``: the driver is to meet the vehicle with the baby, and has none yet."""
    referral = transfer.referral
    stage = second.reached() if second else TransferStage(transfer.stage)
    meeting = second or transfer.standing_meeting()
    aboard = stage in (TransferStage.ON_THE_ROAD, TransferStage.ARRIVED)
    vehicle = second.vehicle if second else transfer.vehicle
    following = next_milestone(stage)
    reached = MILESTONES.index(following) if following else len(MILESTONES)
    buttons = [(each.value, _button(each, transfer, meeting, second)) for each in MILESTONES]
    context: dict[str, Any] = {
        "transfer": transfer,
        "token": token,
        "code": referral.code,
        "post": referral.origin,
        "post_phone": referral.origin.phone.as_e164 if referral.origin.phone else "",
        "caller": referral.who_called()[0],
        "unit": transfer.destination,
        "unit_phone": _phone_of_unit(transfer),
        "entrance": transfer.entrance(),
        "waits_on_the_road": transfer.waits_on_the_road,
        "with_baby": aboard or (not second and transfer.moved_at_meeting() is not None),
        "meeting": meeting,
        "is_second": second is not None,
        "agreed": vehicle if vehicle and not vehicle.registered else None,
        "take_along": _take_along(transfer) if not second else "",
        "is_over": stage in FINISHED,
        "steps": steps_of(_comes_back(transfer, transfer.assignment)),
        "reached": reached,
        "milestones": buttons[reached:],
        "passed": buttons[:reached],
        "mistakes": buttons,
        "last": MILESTONES[reached - 1].value if reached else "",
        "reasons": list(STOP_REASONS.items()),
        "desk_phone": _phone(referral.district),
        "state": _state(transfer, second),
        "problem": problem,
        "stands_at_a_door": stage is TransferStage.ARRIVED,
        "closed_told": request.GET.get("told") == "closed",
        "stop_told": request.GET.get("told") == "stopped",
    }
    return show(
        request,
        "transport/driver/page.html",
        context,
        district=referral.district,
        status=status,
    )


def _take_along(transfer: Transfer) -> str:
    """Which cylinder goes along where the oxygen may not last; nothing once the vehicle moves."""
    if transfer.stage != TransferStage.ASSIGNED.value:
        return ""
    plan = oxygen_plan(transfer, clock.now())
    return plan.closing_words if plan else ""


def _button(
    milestone: TransferStage,
    transfer: Transfer,
    meeting: Meeting | None,
    second: Meeting | None,
) -> str:
    if second and milestone in MEETING_BUTTONS:
        return word(MEETING_BUTTONS, milestone)
    if meeting and milestone is TransferStage.ARRIVED:
        return _("We have arrived at the unit itself")
    if milestone is TransferStage.AT_ORIGIN and transfer.waits_on_the_road:
        return _("I am with mother and baby")
    return word(MILESTONE_BUTTONS, milestone.value)


def _state(transfer: Transfer, second: Meeting | None) -> str:
    going_to = f"{transfer.destination_id or 0}:{transfer.without_acceptance:d}"
    meeting = second or transfer.standing_meeting()
    marks = ("second_left_at", "first_there_at", "second_there_at") if meeting else ()
    met = "".join(str(int(getattr(meeting, name) is not None)) for name in marks)
    road = f"{transfer.stage}:{going_to}:{transfer.waits_on_the_road:d}:{transfer.entrance()}"
    return f"{road}:{meeting.pk if meeting else 0}:{met}:{second is not None:d}"


def _phone_of_unit(transfer: Transfer) -> str:
    unit = transfer.destination
    return unit.phone.as_e164 if unit and unit.phone else ""


def _phone(district: Any) -> str:
    return district.desk_phone.as_e164 if district.desk_phone else ""
