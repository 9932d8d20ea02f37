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
from referrals.calc.terms import Urgency
from referrals.contacts import reach_person, rungs_of_desk, rungs_of_unit
from referrals.models import Alert, Delivery, District, Offer, Referral, Staff
from referrals.nudging import nudge
from referrals.ports import Concern

TO_UNITS = ("question", "still_ready")
"""Kinds that a unit must answer; a concern of its own tells the desk when it does not."""


@dataclass(frozen=True, kw_only=True)
class Text:
    """The words of an alert: a sentence for the desk, a message that may leave by SMS, a page.

    ``message`` holds the case code and no name; the link is added for each delivery.
    """

    sentence: str
    message: str
    path: str = ""


def ask_unit(offer: Offer, by: By, text: Text) -> Alert:
    """Put the question of an offer to its unit, with the unit's whole ladder behind it."""
    referral = offer.referral
    urgency = Urgency(referral.urgency)
    rungs = rungs_of_unit(offer.unit)
    plan = question_plan(
        rungs=rungs,
        desk=rungs_of_desk(referral.district)[0],
        waits=_waits(referral.district, urgency),
        urgency=urgency,
    )
    return _raise(
        f"offer:{offer.pk}:question", "question", by, text, plan, referral=referral, offer=offer
    )


def ask_new_shift(offer: Offer, by: By, change: datetime, text: Text) -> Alert:
    """Ask the new shift of the accepting unit whether it stands; behind it the unit's ladder."""
    referral = offer.referral
    plan = still_ready_plan(
        rungs=rungs_of_unit(offer.unit),
        desk=rungs_of_desk(referral.district)[0],
        waits=_waits(referral.district, Urgency(referral.urgency)),
    )
    key = f"offer:{offer.pk}:shift:{change.isoformat()}"
    return _raise(key, "still_ready", by, text, plan, referral=referral, offer=offer)


def tell_desk(referral: Referral, by: By, kind: str, key: str, text: Text) -> Alert:
    """Tell the desk about something it must deal with."""
    return _raise(
        key, kind, by, text, desk_ladder(referral.district, referral.urgency), referral=referral
    )


def tell_desk_quietly(referral: Referral, by: By, kind: str, key: str, text: Text) -> Alert:
    """Tell the desk something it only has to know."""
    plan = notice_plan(rungs_of_desk(referral.district)[0])
    return _raise(key, kind, by, text, plan, referral=referral)


def ask_desk_quietly(referral: Referral, by: By, kind: str, key: str, text: Text) -> Alert:
    """Tell the desk once about something it must look at; it stands there, and never climbs."""
    plan = notice_plan(rungs_of_desk(referral.district)[0])
    return _raise(key, kind, by, text, plan, referral=referral, for_desk=True)


def tell_unit(offer: Offer, by: By, kind: str, key: str, text: Text) -> Alert:
    """Tell every first contact of a unit something that needs no answer."""
    rungs = rungs_of_unit(offer.unit)
    plan = notice_plan(rungs[0] if rungs else [])
    return _raise(key, kind, by, text, plan, referral=offer.referral, offer=offer)


def tell_person(referral: Referral, staff: Staff, by: By, kind: str, key: str, text: Text) -> Alert:
    """Tell one person something that needs no answer."""
    plan = notice_plan(reach_person(staff))
    return _raise(key, kind, by, text, plan, referral=referral)


def tell_phone(referral: Referral, name: str, phone: str, by: By, key: str, text: Text) -> Alert:
    """Tell a person without an account (a driver found by phone) something by SMS."""
    plan = notice_plan([Reach(name=name, username="", channel="sms", address=phone)])
    return _raise(key, "link", by, text, plan, referral=referral)


def desk_ladder(district: District, urgency: str) -> tuple[Step, ...]:
    """The desk's ladder for an urgency."""
    return desk_plan(rungs=rungs_of_desk(district), waits=_waits(district, Urgency(urgency)))


def raise_concern(referral: Referral, concern: Concern, by: By) -> Alert:
    """Raise a concern of the watch with the desk."""
    text = Text(
        sentence=concern.sentence,
        message=_with_code(referral, concern.sentence),
        path=concern.path,
    )
    return tell_desk(referral, by, concern.kind, concern.key, text)


def _with_code(referral: Referral, sentence: str) -> str:
    """A sentence that goes by SMS, with the case code said once."""
    return sentence if referral.code in sentence else f"{referral.code}: {sentence}"


def acknowledge(alert_id: int, by: By) -> Alert:
    """Somebody has taken it: the ladder stops. A second press changes nothing."""
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
    return alert


def settle(alerts: Iterable[Alert], reason: str, by: By) -> int:
    """Close alerts whose cause is gone; their referral's row is held by the caller."""
    count = 0
    for alert in alerts:
        if not alert.is_open:
            continue
        alert.closed_at, alert.closed_reason, alert.due_at = by.received_at, reason[:120], None
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
        last = len(alert.plan) - 1
        if alert.step < last:
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


def hurry(alert: Alert, now: datetime) -> None:
    """A delivery can never work: take the next step now instead of at its time."""
    Alert.objects.open().filter(pk=alert.pk, step=alert.step, round=alert.round).update(due_at=now)


def _raise(
    key: str,
    kind: str,
    by: By,
    text: Text,
    plan: Sequence[Step],
    *,
    referral: Referral,
    offer: Offer | None = None,
    for_desk: bool = False,
) -> Alert:
    needs_answer = len(plan) > 1
    alert, made = Alert.objects.get_or_create(
        key=key,
        defaults={
            "kind": kind,
            "district": referral.district,
            "referral": referral,
            "unit": offer.unit if offer else None,
            "offer": offer,
            "sentence": text.sentence[:400],
            "message": text.message[:400],
            "path": text.path,
            "urgency": referral.urgency,
            "needs_answer": needs_answer,
            "for_desk": for_desk or (kind not in TO_UNITS and needs_answer),
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
    told = [f"{one['name']} by {one['channel']}" for one in alert.plan[0]["reach"]]
    timeline.append(referral, "alert_raised", by, {"alert": key, "kind": kind, "told": told})
    return alert


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
                "message": alert.message,
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
