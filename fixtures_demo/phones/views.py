"""The gateway's two addresses, everybody's phone on one page, and the demo's first page."""

import json
import time
import uuid
from typing import Any

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_GET, require_POST

from fixtures_demo.people_shown import people_shown
from fixtures_demo.phones import exchange
from fixtures_demo.phones.models import Behaviour, PhoneMessage
from referrals import clock
from referrals.models import District, Referral, StaffRole
from referrals.pages.entrance import entrance_path

LOOPBACK = ("127.0.0.1", "::1")
_WORDS_IN = {"sms": "text", "voice": "say"}


@csrf_exempt
@login_not_required
@require_POST
def gateway(request: HttpRequest, kind: str) -> JsonResponse:
    """Take one message from the service on the same machine, as the gateway behaves now."""
    if request.META.get("REMOTE_ADDR") not in LOOPBACK:
        raise Http404
    try:
        to, words, gateway_id = _told(request, kind)
    except ValueError as error:
        return JsonResponse({"error": str(error)}, status=400)
    match exchange.behaviour():
        case Behaviour.REFUSES:
            return JsonResponse({"error": "this number is not in service"}, status=400)
        case Behaviour.DOWN:
            return JsonResponse({"error": "the gateway is down"}, status=503)
        case Behaviour.HANGS:
            # The sender has hung up long before this answer.
            time.sleep(settings.SEND_TIMEOUT_SECONDS + 2)
            return JsonResponse({"error": "the gateway hung"}, status=503)
        case Behaviour.LOSES:
            _report(request, gateway_id, "failed")
            return JsonResponse({"id": f"exchange-lost-{uuid.uuid4().hex}"})
    message = exchange.receive(kind, to, words, gateway_id, clock.now())
    _report(request, gateway_id, "delivered")
    return JsonResponse({"id": f"exchange-{message.pk}"})


@login_not_required
@require_GET
def start(request: HttpRequest) -> HttpResponse:
    """Where the demo begins: a way in for each role, and what to try."""
    shown = people_shown(clock.now())
    ways_in = [
        {"role": role, "person": staff, "path": entrance_path(staff)}
        for role, staff in shown.items()
    ]
    others = [
        {"role": role, "path": entrance_path(role.staff)}
        for role in StaffRole.objects.select_related("staff", "site", "unit", "district")
        .filter(staff__is_active=True)
        .exclude(staff__in=shown.values())
        .order_by("role", "staff__display_name")
    ]
    context = {
        "ways_in": ways_in,
        "others": others,
        "under_way": Referral.objects.open().exists(),
    }
    return render(request, "demo_phones/start.html", context)


@login_not_required
@require_GET
def phone(request: HttpRequest) -> HttpResponse:
    """Everybody's phone on one page; ``?number=`` chooses whose."""
    number = request.GET.get("number", "").strip()
    # A plus sign that was not escaped arrives as a space.
    number = f"+{number}" if number[:1].isdigit() else number
    received = exchange.inbox(number, clock.now()) if number else []
    found = exchange.phones()
    chosen = next((one for one in found if one.number == number), None)
    if number and chosen is None:
        raise Http404
    return render(
        request,
        "demo_phones/phone.html",
        {
            "phones": found,
            "chosen": chosen,
            "received": received,
            "behaviour": exchange.behaviour(),
            "newest": _newest(),
            "zone": _zone(),
        },
    )


@login_not_required
@require_POST
def write(request: HttpRequest) -> HttpResponse:
    """The owner of a phone writes an SMS to the service."""
    number, text = request.POST.get("number", "")[:40], request.POST.get("text", "")[:1000]
    if number and text.strip():
        address = request.build_absolute_uri(reverse("api:inbound_sms"))
        exchange.hand_in("wrote", number, text, address, clock.now())
    return _back_to(number)


@login_not_required
@require_POST
def ring(request: HttpRequest) -> HttpResponse:
    """The owner of a phone rings the service and hangs up."""
    number = request.POST.get("number", "")[:40]
    if number:
        address = request.build_absolute_uri(reverse("api:inbound_missed_calls"))
        exchange.hand_in("rang", number, "", address, clock.now())
    return _back_to(number)


@login_not_required
@require_GET
def newest(request: HttpRequest) -> JsonResponse:
    """The number of the newest message, so that the open page knows when to look again."""
    return JsonResponse({"newest": _newest()})


@login_not_required
@require_POST
def open_message(request: HttpRequest, message_id: int) -> HttpResponse:
    """The person taps the link of a message."""
    message = get_object_or_404(PhoneMessage, pk=message_id)
    path = exchange.open_link(message, clock.now())
    if not path:
        raise Http404
    return redirect(path)


@login_not_required
@require_POST
def set_gateway(request: HttpRequest) -> HttpResponse:
    """Let the gateway work, refuse, hang or be down."""
    how = request.POST.get("behaviour", "")
    if how not in Behaviour.values:
        raise Http404
    exchange.behave(Behaviour(how))
    return _back_to(request.POST.get("number", ""))


def _back_to(number: str) -> HttpResponse:
    query = f"?{urlencode({'number': number})}" if number else ""
    return redirect(reverse("demo_phone") + query)


def _report(request: HttpRequest, gateway_id: str, state: str) -> None:
    if gateway_id:
        exchange.report(
            gateway_id, state, request.build_absolute_uri(reverse("api:inbound_reports"))
        )


def _told(request: HttpRequest, kind: str) -> tuple[str, str, str]:
    """Number, words and id of a message; ValueError says what is wrong with the body."""
    try:
        body: Any = json.loads(request.body)
    except ValueError as error:
        raise ValueError("the body is not JSON") from error
    if not isinstance(body, dict):
        raise ValueError("the body is not a JSON object")
    to, words = body.get("to"), body.get(_WORDS_IN[kind])
    if not isinstance(to, str) or not to or len(to) > 40:
        raise ValueError("'to' must be a telephone number")
    if not isinstance(words, str) or not words:
        raise ValueError(f"'{_WORDS_IN[kind]}' must be the words of the message")
    return to, words, str(body.get("id") or "")[:200]


def _newest() -> int:
    message = PhoneMessage.objects.order_by("-pk").first()
    return message.pk if message else 0


def _zone() -> str:
    district = District.objects.order_by("pk").first()
    return district.time_zone if district else "UTC"
