"""What came in by telephone: kept first, then acted on through the verbs that pages call too.

1. ``receive`` stores the row, once for each id of the gateway, and commits it.
2. ``act_on`` holds the row, works out whose number it is and what it may do, calls the verbs and
   writes down what became of it, all in one transaction; a repeat finds it finished.
3. What a died process left unfinished is found by the sweep (``act_on_waiting``).

A sender can be forged. So a number alone calls for help, adds facts and reports milestones; it
accepts only with the one-time code of the question; and it never ends, cancels or diverts
anything: such words are kept, and the desk rings.
"""

import logging
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import OperationalError, transaction
from django.utils.translation import gettext as _

from referrals import alerting, clock, lifecycle, sms_answers, timeline
from referrals.acting import By, by_system
from referrals.alerting import Text
from referrals.answered_by_sms import answer_of_unit
from referrals.calc.escalation import Reach
from referrals.calc.sms.answering import read_answer
from referrals.calc.sms.reading import read
from referrals.calc.terms import Became
from referrals.came_in import Done, Ring
from referrals.models import Delivery, InboundMessage, KeptInput, Referral
from referrals.senders import Sender, international, sender_of
from referrals.written_by_sms import missed_call, written

log = logging.getLogger(__name__)
LEFT_BEHIND = timedelta(seconds=30)
BATCH = 50
MOST_ANSWERS, ANSWERS_WITHIN = 4, timedelta(minutes=10)
"""Answers to one number within so long; two machines that answer each other stop there."""
LONGEST_TEXT = 4000
CAME_IN_PATH = "/desk/came-in/"


@dataclass(frozen=True, kw_only=True)
class Arrived:
    """An SMS or a missed call as the gateway handed it over."""

    kind: str
    gateway_id: str
    sender: str
    text: str = ""
    sent_at: datetime | None = None


def receive(arrived: Arrived, now: datetime) -> InboundMessage:
    """Keep what came in, then act on it; the same id of the gateway again changes nothing."""
    message, _made = InboundMessage.objects.get_or_create(
        kind=arrived.kind,
        gateway_id=arrived.gateway_id,
        defaults={
            "sender": international(arrived.sender) or arrived.sender.strip()[:40],
            "text": arrived.text[:LONGEST_TEXT],
            "sent_at": arrived.sent_at,
            "received_at": now,
        },
    )
    return message if message.finished_at else act_on(message.pk)


def act_on(message_id: int) -> InboundMessage:
    """Do what one message asks for, once; a fault hands it to the desk instead of losing it."""
    try:
        with transaction.atomic():
            message = InboundMessage.objects.select_for_update(of=("self",)).get(pk=message_id)
            if message.finished_at:
                return message
            sender = sender_of(message.sender)
            done = _deed(message, sender)
            _write_down(message, sender, done)
    except OperationalError:
        raise  # the gateway sends it again, or the sweep finds it
    except Exception:
        log.exception("message %s could not be acted on", message_id)
        return _hand_to_desk(message_id)
    if done.became is Became.RAISED and done.referral:
        _ask_units(done.referral)
    return message


def act_on_waiting(now: datetime) -> None:
    """What was kept and never acted on, because its process died in between."""
    waiting = InboundMessage.objects.filter(
        finished_at=None, received_at__lt=now - LEFT_BEHIND * clock.speed()
    )
    for message_id in waiting.order_by("received_at").values_list("pk", flat=True)[:BATCH]:
        act_on(message_id)


def _deed(message: InboundMessage, sender: Sender) -> Done:
    by = sender.by(message.received_at, message.sent_at) if sender.is_known else None
    if by is None:
        return _from_nobody_known(message, sender)
    if message.kind == "missed_call":
        return missed_call(by, sender)
    answer = read_answer(message.text) if sender.scope.units else None
    if answer:
        return answer_of_unit(by, sender, answer)
    return written(by, sender, read(message.text))


def _from_nobody_known(message: InboundMessage, sender: Sender) -> Done:
    """Kept, shown and told; never acted on. A plain advertisement wakes nobody again and again."""
    reading = read(message.text)
    calls = message.kind == "missed_call" or reading.calls or reading.has_facts
    districts = sender.districts()
    only = districts[0] if len(districts) == 1 else None
    return Done(
        became=Became.KEPT,
        answer=sms_answers.unknown_number(only) if calls else "",
        problem=_("from a number we do not know"),
        ring=Ring.UNKNOWN,
        urgent=calls,
    )


def _write_down(message: InboundMessage, sender: Sender, done: Done) -> None:
    now = message.received_at
    by = by_system(now)
    if done.problem:
        message.kept = KeptInput.objects.create(
            received_at=now,
            channel="sms" if message.kind == "sms" else "call",
            caller=sender.number,
            body=message.text,
            problem=done.problem[:400],
        )
    message.referral, message.became, message.finished_at = done.referral, done.became, clock.now()
    message.save(update_fields=["kept", "referral", "became", "finished_at"])
    if done.ring:
        _tell_desk(message, sender, done, by)
    if done.answer and _may_answer(sender, now):
        _answer(message, sender, done, by)


def _tell_desk(message: InboundMessage, sender: Sender, done: Done, by: By) -> None:
    """One open alert a number is enough: whoever rings hears the rest."""
    text = _about(message, sender, done)
    open_ones = alerting.open_of("call_back", sender.number)
    if done.referral:
        if not open_ones.filter(referral=done.referral).exists():
            key = f"inbound:{message.pk}:{sender.number}"
            alerting.tell_desk(timeline.hold(done.referral.pk), by, "call_back", key, text)
        return
    tell = alerting.tell_desk_of if done.urgent else alerting.note_for_desk_of
    for district in sender.districts():
        if not open_ones.filter(district=district, referral=None).exists():
            key = f"inbound:{message.pk}:{district.code}:{sender.number}"
            tell(district, by, "call_back", key, text)


def _about(message: InboundMessage, sender: Sender, done: Done) -> Text:
    """What the desk is told: whose number, what it is about, whom to ring; never the text."""
    name = sender.name if sender.is_known else _("A number we do not know")
    words = done.ring.words(missed=message.kind == "missed_call") % {
        "name": name,
        "number": sender.number,
        "words": ", ".join(done.grave),
    }
    if done.referral:
        words = f"{done.referral.code}: {words}"
    path = f"/desk/{done.referral.code}/" if done.referral else CAME_IN_PATH
    return Text(sentence=words, message=words, path=path)


def _may_answer(sender: Sender, now: datetime) -> bool:
    """Never to a short code or a name, nor again and again to one number."""
    if not sender.can_be_rung:
        return False
    lately = Delivery.objects.filter(
        alert__kind=alerting.ANSWER, address=sender.number, created_at__gt=now - ANSWERS_WITHIN
    )
    return lately.count() < MOST_ANSWERS


def _answer(message: InboundMessage, sender: Sender, done: Done, by: By) -> None:
    districts = sender.districts()
    if not districts:
        return
    person = sender.person
    reach = Reach(
        name=sender.name if sender.is_known else sender.number,
        username=person.username if person else "",
        channel="sms",
        address=sender.number,
    )
    referral = timeline.hold(done.referral.pk) if done.referral else None
    district = referral.district if referral else districts[0]
    key = f"inbound:{message.pk}:answer"
    alerting.answer_phone(district, referral, reach, by, key, done.answer)


def _ask_units(referral: Referral) -> None:
    """In a transaction of its own: a fault there never undoes the call; the sweep asks on."""
    try:
        lifecycle.ask_best(referral.pk, clock.now())
    except Exception:
        log.exception("%s was raised by telephone, and no unit could be asked", referral.code)


def _hand_to_desk(message_id: int) -> InboundMessage:
    with transaction.atomic():
        message = InboundMessage.objects.select_for_update(of=("self",)).get(pk=message_id)
        if message.finished_at is None:
            problem = _("the service made a mistake with it; read it and ring")
            done = Done(became=Became.KEPT, problem=problem, ring=Ring.UNUSED)
            _write_down(message, sender_of(message.sender), done)
    return message
