"""Alerts: raised with their cause, escalated until a person answers, closed when settled.

An alert is a row in the same transaction as the event that caused it; its first deliveries are
rows too. The broker only nudges. A step of the ladder is a transaction that makes the next
deliveries; sending (``referrals/sending.py``) is separate, so that a slow gateway never holds a
row of the record.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial

from django.conf import settings
from django.db import transaction
from django.db.models import QuerySet
from django.utils.functional import lazy
from django.utils.translation import gettext as _

from referrals import links, timeline
from referrals.acting import By, by_system
from referrals.calc.escalation import (
    Reach,
    Step,
    desk_plan,
    minutes_to_next_step,
    notice_plan,
    question_plan,
    still_ready_plan,
    waits_for,
)
from referrals.calc.states import NotPossible
from referrals.calc.terms import Urgency
from referrals.charge import TAKES_CHARGE, put_in_charge
from referrals.contacts import ladder_of_desk, ladder_of_unit, reach_person
from referrals.models import Alert, Delivery, District, Offer, Referral, Staff, Unit
from referrals.nudging import nudge
from referrals.ports import Concern
from referrals.saying import Words, cut, for_the_record, in_other_languages, to_spell, to_tell

ANSWER = "answer"
"""The kind of an answer to an SMS that came in."""
TO_UNITS = ("question", "still_ready")
"""Kinds that a unit must answer; a concern of its own tells the desk when it does not."""
DRILL = "drill"
"""The kind of an alert about no baby, by which a ladder is tried."""


@dataclass(frozen=True, kw_only=True)
class Text:
    """The words of an alert: a sentence for the desk, a message that may leave by SMS, a page.

    ``message`` holds the case code and no name; the link is added for each delivery. Both are
    best made with ``saying.to_tell``, so that each reader gets the message in a language of theirs.
    """

    sentence: Words
    message: Words
    path: str = ""


def ask_unit(offer: Offer, by: By, text: Text) -> Alert:
    """Put the question of an offer to its unit, with the unit's whole ladder behind it."""
    referral = offer.referral
    urgency = Urgency(referral.urgency)
    plan = question_plan(
        unit=ladder_of_unit(offer.unit, by.received_at),
        desk=ladder_of_desk(referral.district, by.received_at),
        waits=_waits(referral.district, urgency),
        urgency=urgency,
    )
    key = f"offer:{offer.pk}:question"
    return _raise(key, "question", by, text, plan, referral=referral, offer=offer)


def ask_new_shift(offer: Offer, by: By, change: datetime, text: Text) -> Alert:
    """Ask the new shift of the accepting unit whether it stands; behind it the unit's ladder."""
    referral = offer.referral
    plan = still_ready_plan(
        unit=ladder_of_unit(offer.unit, by.received_at),
        desk=ladder_of_desk(referral.district, by.received_at),
        waits=_waits(referral.district, Urgency(referral.urgency)),
    )
    key = f"offer:{offer.pk}:shift:{change.isoformat()}"
    return _raise(key, "still_ready", by, text, plan, referral=referral, offer=offer)


def tell_desk(referral: Referral, by: By, kind: str, key: str, text: Text) -> Alert:
    """Tell the desk about something it must deal with."""
    plan = desk_plan(
        desk=ladder_of_desk(referral.district, by.received_at),
        waits=_waits(referral.district, Urgency(referral.urgency)),
    )
    return _raise(key, kind, by, text, plan, referral=referral)


def tell_desk_quietly(referral: Referral, by: By, kind: str, key: str, text: Text) -> Alert:
    """Tell the desk something it only has to know."""
    plan = notice_plan(ladder_of_desk(referral.district, by.received_at).rung(0, 0))
    return _raise(key, kind, by, text, plan, referral=referral)


def ask_desk_quietly(referral: Referral, by: By, kind: str, key: str, text: Text) -> Alert:
    """Tell the desk once about something it must look at; it stands there, and never climbs."""
    plan = notice_plan(ladder_of_desk(referral.district, by.received_at).rung(0, 0))
    return _raise(key, kind, by, text, plan, referral=referral, for_desk=True)


def tell_unit(offer: Offer, by: By, kind: str, key: str, text: Text) -> Alert:
    """Tell the first contacts of a unit, those on duty, something that needs no answer."""
    plan = notice_plan(ladder_of_unit(offer.unit, by.received_at).rung(0, 0))
    return _raise(key, kind, by, text, plan, referral=offer.referral, offer=offer)


def tell_person(referral: Referral, staff: Staff, by: By, kind: str, key: str, text: Text) -> Alert:
    """Tell one person something that needs no answer."""
    plan = notice_plan(reach_person(staff))
    return _raise(key, kind, by, text, plan, referral=referral)


def tell_caller(referral: Referral, by: By, kind: str, key: str, text: Text) -> Alert | None:
    """Tell whoever called for help: the person with an account, else the number they gave."""
    if referral.raised_by:
        return tell_person(referral, referral.raised_by, by, kind, key, text)
    name, phone = referral.who_called()
    if not phone:
        return None
    plan = notice_plan([Reach(name=name, username="", channel="sms", address=phone)])
    return _raise(key, kind, by, text, plan, referral=referral)


def tell_phone(referral: Referral, name: str, phone: str, by: By, key: str, text: Text) -> Alert:
    """Tell a person without an account (a driver found by phone) something by SMS."""
    plan = notice_plan([Reach(name=name, username="", channel="sms", address=phone)])
    return _raise(key, "link", by, text, plan, referral=referral)


def tell_desk_of(district: District, by: By, kind: str, key: str, text: Text) -> Alert:
    """Tell a desk about something that belongs to no referral, and that it must deal with."""
    plan = desk_plan(
        desk=ladder_of_desk(district, by.received_at), waits=_waits(district, Urgency.URGENT)
    )
    return _raise(key, kind, by, text, plan, district=district)


def note_for_desk_of(district: District, by: By, kind: str, key: str, text: Text) -> Alert:
    """Tell a desk once about something that belongs to no referral; it stands, never climbs."""
    plan = notice_plan(ladder_of_desk(district, by.received_at).rung(0, 0))
    return _raise(key, kind, by, text, plan, district=district, for_desk=True)


def try_ladder(owner: Unit | District, by: By, key: str, text: Text) -> Alert:
    """Try the ladder of a unit, with its desk behind it, or of a desk; it is about no baby."""
    district = owner if isinstance(owner, District) else owner.site.district
    waits, desk = _waits(district, Urgency.URGENT), ladder_of_desk(district, by.received_at)
    if isinstance(owner, Unit):
        unit = ladder_of_unit(owner, by.received_at)
        plan = still_ready_plan(unit=unit, desk=desk, waits=waits)
        return _raise(key, DRILL, by, text, plan, district=district)
    plan = desk_plan(desk=desk, waits=waits)
    return _raise(key, DRILL, by, text, plan, district=district, for_desk=True)


def answer_phone(
    district: District, referral: Referral | None, reach: Reach, by: By, key: str, words: str
) -> Alert:
    """Answer an SMS to the number it came from. It holds no link: its reader may have no browser.

    With a referral the caller holds its row.
    """
    text = Text(sentence=words, message=words)
    plan = notice_plan([reach])
    return _raise(key, ANSWER, by, text, plan, referral=referral, district=district)


def raise_concern(referral: Referral, concern: Concern, by: By) -> Alert:
    """Raise a concern of the watch with the desk."""
    text = Text(
        sentence=concern.sentence,
        message=_with_code(referral, concern.sms),
        path=concern.path,
    )
    return tell_desk(referral, by, concern.kind, concern.key, text)


def _with_code(referral: Referral, sentence: Words) -> Words:
    """A sentence that goes by SMS, with the case code said once; its alphabet has no degree."""
    sentence = _without_degrees(sentence)
    if referral.code in sentence:
        return sentence
    return to_tell("%(code)s: %(sentence)s", code=referral.code, sentence=sentence)


_without_degrees = lazy(lambda words: str(words).replace("°C", "C"), str)


def acknowledge(alert_id: int, by: By) -> Alert:
    """Somebody has taken it: the ladder stops. A second press changes nothing.

    Where nobody can take the baby or no vehicle is found, that person is responsible from now on.
    """
    with transaction.atomic():
        alert = _hold_alert(alert_id)
        if not alert.is_open:
            return alert
        alert.acknowledged_at = by.received_at
        alert.acknowledged_by = by.name
        alert.acknowledged_channel = by.channel.value
        alert.due_at = None
        alert.save(
            update_fields=[
                "acknowledged_at",
                "acknowledged_by",
                "acknowledged_channel",
                "due_at",
            ]
        )
        _drop_queued(alert)
        if alert.referral:
            timeline.append(
                alert.referral, "alert_acknowledged", by, {"alert": alert.key, "kind": alert.kind}
            )
            staff = Staff.objects.filter(username=by.actor).first()
            if staff and alert.kind in TAKES_CHARGE:
                put_in_charge(by, alert.referral, staff)
    return alert


def give_back(alert_id: int, by: By) -> Alert:
    """Whoever took it cannot after all: the next step is taken at once, and the ladder runs on.

    One that nobody has taken stays as it is, so a second press changes nothing.

    Raises:
        NotPossible: ``alert_settled``, when there is nothing left to take care of.
    """
    with transaction.atomic():
        alert = _hold_alert(alert_id)
        if alert.closed_at is not None:
            raise NotPossible(
                _("This is settled already: %s. Nobody has to take care of it.")
                % alert.closed_reason,
                code="alert_settled",
            )
        if alert.acknowledged_at is None:
            return alert
        body = {"alert": alert.key, "kind": alert.kind, "taken_at": alert.acknowledged_at}
        alert.acknowledged_at = None
        alert.acknowledged_by = alert.acknowledged_channel = ""
        alert.save(update_fields=["acknowledged_at", "acknowledged_by", "acknowledged_channel"])
        if alert.referral:
            timeline.append(alert.referral, "alert_given_back", by, body)
        if alert.needs_answer:
            _take_next_step(alert, by.received_at)
    return alert


def settle(alerts: Iterable[Alert], reason: Words, by: By) -> int:
    """Close alerts whose cause is gone, also those that somebody has taken, so that none of them
    is given back for nothing; their referral's row is held by the caller.
    """
    count, kept = 0, for_the_record(reason)[:120]
    for alert in alerts:
        if alert.closed_at is not None:
            continue
        alert.closed_at, alert.closed_reason, alert.due_at = by.received_at, kept, None
        alert.save(update_fields=["closed_at", "closed_reason", "due_at"])
        _drop_queued(alert)
        count += 1
    return count


def escalate(alert_id: int, now: datetime) -> bool:
    """Take the next step of a ladder whose time has come; true when the next unit is to be asked.

    A late duplicate of the same nudge finds the step taken and does nothing.
    """
    with transaction.atomic():
        alert = _hold_alert(alert_id)
        if not alert.is_open or alert.due_at is None or alert.due_at > now:
            return False
        return _take_next_step(alert, now)


def open_of(kind: str, number: str) -> QuerySet[Alert]:
    """The open alerts of a kind that lead to a telephone number."""
    return Alert.objects.open().filter(kind=kind, key__endswith=f":{number}")


def hurry(delivery: Delivery, now: datetime) -> None:
    """A delivery can never work: take the next step now instead of at its time.

    One of an earlier step hurries nothing: others have been told since.
    """
    here = Alert.objects.open().filter(step=delivery.step, round=delivery.round)
    here.filter(pk=delivery.alert_id, needs_answer=True).update(due_at=now)


def _raise(
    key: str,
    kind: str,
    by: By,
    text: Text,
    plan: Sequence[Step],
    *,
    referral: Referral | None = None,
    district: District | None = None,
    offer: Offer | None = None,
    for_desk: bool = False,
) -> Alert:
    """Raise an alert about a referral that the caller holds, or about none in a district."""
    needs_answer = len(plan) > 1
    where = referral.district if referral else district
    assert where is not None  # noqa: S101 - one of the two is always told
    alert, made = Alert.objects.get_or_create(
        key=key,
        defaults={
            "kind": kind,
            "district": where,
            "referral": referral,
            "unit": offer.unit if offer else None,
            "offer": offer,
            "sentence": for_the_record(text.sentence)[:400],
            "message": for_the_record(text.message)[:400],
            "other_languages": in_other_languages(cut(text.message, 400)),
            "path": text.path,
            "urgency": referral.urgency if referral else Urgency.URGENT.value,
            "needs_answer": needs_answer,
            "for_desk": for_desk or (kind not in (*TO_UNITS, DRILL) and needs_answer),
            "plan": [step.as_dict() for step in plan],
            "raised_at": by.received_at,
        },
    )
    if not made:
        return alert
    if needs_answer:
        _book_next(alert, by.received_at)
        alert.save(update_fields=["due_at"])
    _make_deliveries(alert, alert.plan[0]["reach"], by.received_at)
    if referral is None:
        return alert
    told = [
        for_the_record(
            to_tell("%(name)s by %(channel)s", name=one["name"], channel=to_spell(one["channel"]))
        )
        for one in alert.plan[0]["reach"]
    ]
    timeline.append(referral, "alert_raised", by, {"alert": key, "kind": kind, "told": told})
    return alert


def _take_next_step(alert: Alert, now: datetime) -> bool:
    """The next rung, or the last one again; true when the next unit is to be asked."""
    if alert.step < len(alert.plan) - 1:
        alert.step += 1
    else:
        alert.round += 1
    step = alert.plan[alert.step]
    _book_next(alert, now)
    alert.save(update_fields=["step", "round", "due_at"])
    _make_deliveries(alert, step["reach"], now)
    if alert.referral:
        timeline.append(
            alert.referral,
            "alert_escalated",
            by_system(now),
            {"alert": alert.key, "kind": alert.kind, "step": alert.step, "round": alert.round},
        )
    return bool(step["ask_next"])


def _book_next(alert: Alert, now: datetime) -> None:
    waits = [step["after_minutes"] for step in alert.plan]
    alert.due_at = now + timedelta(minutes=minutes_to_next_step(waits, alert.step))


def _make_deliveries(alert: Alert, reach: list[dict[str, str]], now: datetime) -> None:
    for one in reach:
        delivery, made = Delivery.objects.get_or_create(
            alert=alert,
            step=alert.step,
            round=alert.round,
            channel=one["channel"],
            address=one["address"],
            defaults={
                "contact_name": one["name"],
                "username": one["username"],
                "message": alert.message_in(one.get("language", "")),
                "created_at": now,
                "due_at": now,
            },
        )
        if made:
            _replace_unsent(delivery)
            transaction.on_commit(
                partial(nudge, "referrals.tasks.deliver", delivery.pk), robust=True
            )


def _replace_unsent(delivery: Delivery) -> None:
    """An older message of the same alert that has not left this way yet is not sent as well."""
    same_way = delivery.alert.deliveries.filter(
        state="queued", channel=delivery.channel, address=delivery.address
    )
    same_way.exclude(pk=delivery.pk).filter(tries__gt=0).update(state="dropped", due_at=None)


def link_of(delivery: Delivery) -> str:
    """The address under which this delivery's reader answers."""
    return f"{settings.BASE_URL}/a/{links.token('a', delivery.pk)}/"


def _hold_alert(alert_id: int) -> Alert:
    referral_id = Alert.objects.values_list("referral_id", flat=True).get(pk=alert_id)
    referral = timeline.hold(referral_id) if referral_id else None
    alert = Alert.objects.select_for_update(of=("self",)).get(pk=alert_id)
    if referral:
        alert.referral = referral
    return alert


def _drop_queued(alert: Alert) -> None:
    alert.deliveries.filter(state="queued").update(state="dropped", due_at=None)


def _waits(district: District, urgency: Urgency) -> Sequence[float]:
    return waits_for(urgency, ventilated=district.ventilated_waits, stable=district.stable_waits)
