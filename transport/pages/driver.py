"""The driver's pages: where to collect, whom to bring to, one button for the next milestone.

The link is the account: whoever holds it may tell about this one journey and nothing else. So the
forms below need no cookie, and a press kept on the phone while it was offline is taken hours later.
Opening a page changes nothing, because the programs that show messages open links by themselves.
"""

from collections.abc import Callable
from datetime import datetime
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
from referrals.pages.doors import open_page, page, show, staff_of
from referrals.reading import babies_on_the_way
from transport import closures, lifecycle, on_the_way
from transport.access import visible_transfers
from transport.calc.stages import (
    FINISHED,
    MILESTONES,
    WITH_VEHICLE,
    TransferStage,
    next_milestone,
    require_milestone,
)
from transport.driver_links import by_driver, former, token_for, transfer_for
from transport.models import Transfer
from transport.pages.words import MILESTONE_BUTTONS, STOP_REASONS, word


@open_page
@require_safe
def link(request: HttpRequest, token: str) -> HttpResponse:
    """The page behind the link in the driver's message."""
    try:
        return _page(request, transfer_for(token, clock.now()), token)
    except InvalidLink as over:
        return _link_over(request, token, over)


@page
@require_safe
def drive(request: HttpRequest) -> HttpResponse:
    """The same page for a driver who is signed in, or that there is no journey now."""
    staff = staff_of(request)
    if not scope_of(staff).drives:
        raise Http404
    mine = visible_transfers(staff).filter(
        vehicle__driver=staff, stage__in=[stage.value for stage in WITH_VEHICLE]
    )
    transfer = mine.order_by("-pk").first()
    if transfer is None:
        return show(request, "transport/driver/nothing.html")
    return _page(request, transfer, token_for(transfer))


@open_page
@require_safe
def state(request: HttpRequest, token: str) -> JsonResponse:
    """What the page was made from, in a few bytes: another destination makes another page."""
    answer = JsonResponse({"state": _state(transfer_for(token, clock.now()))})
    answer["Cache-Control"] = "no-store"
    return answer


@csrf_exempt
@open_page
@require_POST
def reached(request: HttpRequest, token: str) -> HttpResponse:
    """A milestone, pressed now or while the phone was offline."""

    def tell(by: By, transfer: Transfer) -> None:
        lifecycle.reach(by, transfer, require_milestone(request.POST.get("milestone", "")))

    return _told(request, token, tell)


@csrf_exempt
@open_page
@require_POST
def mistake(request: HttpRequest, token: str) -> HttpResponse:
    """The last milestone was pressed by mistake. Its field is not called like that of a press,
    so that a link which has ended never takes it for one."""

    def tell(by: By, transfer: Transfer) -> None:
        pressed = require_milestone(request.POST.get("mistake", ""))
        lifecycle.withdraw_milestone(by, transfer, pressed)

    return _told(request, token, tell)


@csrf_exempt
@open_page
@require_POST
def stopped(request: HttpRequest, token: str) -> HttpResponse:
    """The vehicle has stopped on purpose; the desk is told at once."""
    reason = request.POST.get("reason", "")

    def tell(by: By, transfer: Transfer) -> None:
        if reason not in STOP_REASONS:
            raise NotPossible(_("Press one of the reasons."), code="unknown_reason")
        babies = babies_on_the_way(transfer.referral)
        if not babies:
            raise NotPossible(_("This journey has ended. Ring the desk."), code="closed")
        told = on_the_way.CheckTold(facts={}, stopped_because=word(STOP_REASONS, reason))
        on_the_way.check(by, transfer, babies[0], told)

    return _told(request, token, tell, and_say="?told=stopped")


@csrf_exempt
@open_page
@require_POST
def closed(request: HttpRequest, token: str) -> HttpResponse:
    """The road is closed where the vehicle is; other journeys are warned at once."""

    def tell(by: By, transfer: Transfer) -> None:
        closures.report_from_vehicle(by, transfer, request.POST.get("words", ""))

    return _told(request, token, tell, and_say="?told=closed")


@csrf_exempt
@open_page
@require_POST
def broken(request: HttpRequest, token: str) -> HttpResponse:
    """The vehicle cannot go on: the desk sends another one, and this link ends."""

    def tell(by: By, transfer: Transfer) -> None:
        lifecycle.unassign(by, transfer, why=_("it has broken down"), broken=True)

    return _told(request, token, tell, then="driver_told")


@open_page
@require_safe
def told(request: HttpRequest, token: str) -> HttpResponse:
    """After 'broken down': the desk knows, and here is its number. The old link opens only this."""
    found = former(token)
    if found is None:
        raise InvalidLink(_("this link is no longer valid; ask the desk for a new one"))
    return _desk_knows(request, found[0], broken=True)


def _told(
    request: HttpRequest,
    token: str,
    tell: Callable[[By, Transfer], None],
    *,
    then: str = "driver_link",
    and_say: str = "",
) -> HttpResponse:
    """Who, parse, one verb, show. The times are the phone's own; the server corrects them."""
    now = clock.now()
    try:
        transfer = transfer_for(token, now)
    except InvalidLink as over:
        return _keep_late(request, token, over)
    by = _by(request, transfer)
    try:
        tell(by, transfer)
    except NotPossible as refusal:
        return _refused(request, transfer_for(token, now), token, refusal)
    return redirect(reverse(then, args=[token]) + and_say)


def _by(request: HttpRequest, transfer: Transfer, *, sent_before: bool = False) -> By:
    return by_driver(
        transfer,
        now=clock.now(),
        happened_at=_moment(request.POST.get("happened_at", "")),
        # In a header, so that sending the same press again is the same form.
        sent_at=_moment(request.headers.get("Sent-At", "")),
        sent_before=sent_before,
    )


def _keep_late(request: HttpRequest, token: str, over: InvalidLink) -> HttpResponse:
    """A press through a link that opens no more: nothing of it is lost, and the desk sees it."""
    found, pressed = former(token), request.POST.get("milestone", "")
    if found and pressed in {stage.value for stage in MILESTONES}:
        transfer, assignment = found
        by = _by(request, transfer, sent_before=assignment != transfer.assignment)
        lifecycle.reach(by, transfer, TransferStage(pressed), assignment=assignment)
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
    return _desk_knows(request, found[0], sentence=str(over), status=over.status)


def _desk_knows(
    request: HttpRequest,
    transfer: Transfer,
    *,
    broken: bool = False,
    sentence: str = "",
    status: int = 200,
) -> HttpResponse:
    referral = transfer.referral
    context = {
        "code": referral.code,
        "desk_phone": _phone(referral.district),
        "broken": broken,
        "sentence": sentence,
    }
    template = "transport/driver/told.html"
    return show(request, template, context, district=referral.district, status=status)


def _refused(
    request: HttpRequest, transfer: Transfer, token: str, refusal: NotPossible
) -> HttpResponse:
    return _page(request, transfer, token, problem=refusal.sentence, status=409)


def _page(
    request: HttpRequest, transfer: Transfer, token: str, *, problem: str = "", status: int = 200
) -> HttpResponse:
    referral = transfer.referral
    stage = TransferStage(transfer.stage)
    following = next_milestone(stage)
    reached = MILESTONES.index(following) if following else len(MILESTONES)
    buttons = [(each.value, _button(each, transfer)) for each in MILESTONES]
    context: dict[str, Any] = {
        "transfer": transfer,
        "token": token,
        "code": referral.code,
        "post": referral.origin,
        "post_phone": referral.origin.phone.as_e164 if referral.origin.phone else "",
        "caller": referral.raised_by,
        "unit": transfer.destination,
        "unit_phone": _phone_of_unit(transfer),
        "entrance": transfer.entrance(),
        "waits_on_the_road": transfer.waits_on_the_road,
        "with_baby": stage in (TransferStage.ON_THE_ROAD, TransferStage.ARRIVED),
        "is_over": stage in FINISHED,
        "reached": reached,
        "milestones": buttons[reached:],
        "passed": buttons[:reached],
        "mistakes": buttons,
        "last": MILESTONES[reached - 1].value if reached else "",
        "reasons": list(STOP_REASONS.items()),
        "desk_phone": _phone(referral.district),
        "state": _state(transfer),
        "problem": problem,
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


def _button(milestone: TransferStage, transfer: Transfer) -> str:
    if milestone is TransferStage.AT_ORIGIN and transfer.waits_on_the_road:
        return _("I am with mother and baby")
    return word(MILESTONE_BUTTONS, milestone.value)


def _state(transfer: Transfer) -> str:
    where_to = f"{transfer.destination_id or 0}:{transfer.without_acceptance:d}"
    return f"{transfer.stage}:{where_to}:{transfer.waits_on_the_road:d}:{transfer.entrance()}"


def _phone_of_unit(transfer: Transfer) -> str:
    unit = transfer.destination
    return unit.phone.as_e164 if unit and unit.phone else ""


def _phone(district: Any) -> str:
    return district.desk_phone.as_e164 if district.desk_phone else ""


def _moment(text: str) -> datetime | None:
    """A phone's time; one that cannot be read is left out, since the press itself counts."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return None
    return moment if moment.tzinfo else None
