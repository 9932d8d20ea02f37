"""The telephone exchange: takes what the service sends, and shows whose phone has what."""

import re
import threading
import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from urllib.parse import urlsplit

import httpx
from django.conf import settings
from django.db.models import Count, Max, Q

from fixtures_demo.phones.models import Behaviour, Gateway, PhoneMessage
from referrals.models import Staff
from transport.models import Vehicle

_LINK = re.compile(r"https?://\S+")
_ONLY_ROW = 1
SECONDS = 10.0
REPORT_AFTER_SECONDS, REPORT_TRIES = 0.5, 5
LOST = "the handset could not be reached"


@dataclass(frozen=True)
class Phone:
    """One phone: whose it is, how many messages are unread, when the newest came."""

    number: str
    name: str
    unread: int = 0
    messages: int = 0
    newest_at: datetime | None = None


@dataclass(frozen=True)
class Received:
    """A message as a phone shows it: the words, and the link that stood in them."""

    row: PhoneMessage
    words: str
    path: str


def receive(kind: str, to: str, text: str, gateway_id: str, now: datetime) -> PhoneMessage:
    """Keep one message; the same id again is the same message."""
    message, _ = PhoneMessage.objects.get_or_create(
        gateway_id=gateway_id or f"exchange-{uuid.uuid4().hex}",
        defaults={"kind": kind, "to": to, "text": text, "received_at": now},
    )
    return message


def tell_service(address: str, body: dict[str, str]) -> str:
    """Hand something over at the service's own door, as a gateway does; returns its refusal."""
    token = settings.INBOUND_TOKENS[0]
    try:
        answer = httpx.post(
            address, json=body, headers={"Authorization": f"Bearer {token}"}, timeout=SECONDS
        )
    except httpx.HTTPError as error:
        return f"the service did not answer ({type(error).__name__})"
    return "" if answer.is_success else f"the service answered {answer.status_code}"


def hand_in(kind: str, number: str, text: str, address: str, now: datetime) -> PhoneMessage:
    """Somebody writes an SMS, or rings and hangs up: it stands on the phone, and goes in."""
    key = f"exchange-in-{uuid.uuid4().hex}"
    row = PhoneMessage.objects.create(
        gateway_id=key, kind=kind, to=number, text=text, received_at=now, read_at=now
    )
    body = {"id": key, "sender": number, "at": now.isoformat()}
    row.answer = tell_service(address, body | ({"text": text} if kind == "wrote" else {}))
    row.save(update_fields=["answer"])
    return row


def report(gateway_id: str, state: str, address: str) -> None:
    """Report what became of a message, a moment after it was taken, as gateways do."""
    body = {"message": gateway_id, "state": state, "error": "" if state == "delivered" else LOST}
    # A thread of its own: the answer to the service must be out before the report.
    threading.Thread(target=_tell_until_taken, args=(address, body), daemon=True).start()


def _tell_until_taken(address: str, body: dict[str, str]) -> None:
    """As gateways do: what was not taken is sent again, not for ever."""
    pause = threading.Event()
    for tries in range(1, REPORT_TRIES + 1):
        pause.wait(REPORT_AFTER_SECONDS * tries)
        if not tell_service(address, body):
            return


def behaviour() -> Behaviour:
    """How the gateway behaves now; it works until somebody says otherwise."""
    row = Gateway.objects.filter(pk=_ONLY_ROW).first()
    return Behaviour(row.behaviour) if row else Behaviour.WORKS


def behave(how: Behaviour) -> None:
    """Let the gateway behave in this way from now on."""
    Gateway.objects.update_or_create(pk=_ONLY_ROW, defaults={"behaviour": how.value})


def phones() -> list[Phone]:
    """Every phone that belongs to somebody or has received something, the newest message first."""
    names = _names()
    counted: dict[str, Any] = {
        row["to"]: row
        for row in PhoneMessage.objects.order_by()
        .values("to")
        .annotate(
            unread=Count("pk", filter=Q(read_at=None)),
            messages=Count("pk"),
            newest_at=Max("received_at"),
        )
    }
    found = [
        Phone(
            number=number,
            name=names.get(number, ""),
            unread=counted.get(number, {}).get("unread", 0),
            messages=counted.get(number, {}).get("messages", 0),
            newest_at=counted.get(number, {}).get("newest_at"),
        )
        for number in names.keys() | counted.keys()
    ]
    return sorted(found, key=_newest_first)


def inbox(number: str, now: datetime) -> list[Received]:
    """What a phone has received, newest first; looking at it marks it read."""
    rows = list(PhoneMessage.objects.filter(to=number))
    PhoneMessage.objects.filter(to=number, read_at=None).update(read_at=now)
    return [_as_shown(row) for row in rows]


def open_link(message: PhoneMessage, now: datetime) -> str:
    """The person taps the link: remembered as the answer; returns the path to go to."""
    path = _as_shown(message).path
    if path:
        message.answer = "link opened"
        message.read_at = message.read_at or now
        message.save(update_fields=["answer", "read_at"])
    return path


def _as_shown(row: PhoneMessage) -> Received:
    match = _LINK.search(row.text)
    if match is None:
        return Received(row, row.text, "")
    parts = urlsplit(match[0])
    words = " ".join((row.text[: match.start()] + row.text[match.end() :]).split())
    # Only the path: a demo reached under another name still opens its own page.
    return Received(row, words, parts.path + (f"?{parts.query}" if parts.query else ""))


def _names() -> dict[str, str]:
    names: dict[str, list[str]] = {}
    for staff in Staff.objects.exclude(phone="").prefetch_related("roles__unit", "roles__site"):
        names.setdefault(staff.phone.as_e164, []).append(f"{staff}{_work_of(staff)}")
    for vehicle in Vehicle.objects.exclude(driver_phone=""):
        known = names.setdefault(vehicle.driver_phone.as_e164, [])
        known.append(f"{vehicle.driver_name}, {vehicle.name}")
    return {number: "; ".join(dict.fromkeys(owners)) for number, owners in names.items()}


def _work_of(staff: Staff) -> str:
    works: Iterable[str] = (
        f"{role.role}, {role.unit or role.site}" if role.unit or role.site else role.role
        for role in staff.roles.all()
    )
    joined = "; ".join(works)
    return f" ({joined})" if joined else ""


def _newest_first(phone: Phone) -> tuple[float, str, str]:
    at = phone.newest_at.timestamp() if phone.newest_at else 0.0
    return (-at, phone.name or "~", phone.number)
