"""Sending: each queued delivery is claimed by a lease, handed to its channel, and marked.

``send_due`` is the one way out, called by the Celery task and by the plain sweep alike. One
delivery is claimed at a time, in several threads, so that one hanging gateway call holds up
nothing else. A killed sender leaves a lease that runs out, and the delivery is sent again: a
duplicate is possible, a loss is not.
"""

import random
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, timedelta

from django.conf import settings
from django.db import connection, connections, transaction

from referrals import alerting, clock, timeline
from referrals.acting import by_system
from referrals.alerting import Text
from referrals.calc.sms.reports import Reported
from referrals.channels import channel
from referrals.channels.base import Message, Refused, TryLater
from referrals.messages import by_voice, shortened
from referrals.models import Delivery
from referrals.saying import to_spell, to_tell

THREADS = 6
TRIES_BEFORE_THE_DESK_IS_TOLD = 5


def send_due(threads: int = THREADS) -> int:
    """Send everything that is due now; returns how many sendings were tried."""
    if not _due(clock.now()).exists():
        return 0
    with ThreadPoolExecutor(threads) as pool:
        return sum(pool.map(_send_until_none_is_due, range(threads)))


def send_one(delivery_id: int) -> bool:
    """Send one delivery if it is due and nobody else is sending it."""
    delivery = _claim(delivery_id)
    if delivery is None:
        return False
    _send(delivery)
    return True


def _send_until_none_is_due(_: int) -> int:
    sent = 0
    try:
        while (delivery := _claim()) is not None:
            _send(delivery)
            sent += 1
    finally:
        connections.close_all()
    return sent


def _due(now: datetime):  # type: ignore[no-untyped-def]
    free = Delivery.objects.filter(state="queued", due_at__lte=now)
    return free.exclude(lease_until__gt=now)


def _claim(delivery_id: int | None = None) -> Delivery | None:
    """Lease the oldest due delivery, or the one named; nothing when somebody has it."""
    now = clock.now()
    due = _due(now).filter(pk=delivery_id) if delivery_id else _due(now)
    with transaction.atomic():
        skip = connection.features.has_select_for_update_skip_locked
        rows = due.select_for_update(skip_locked=True) if skip else due
        delivery = rows.order_by("due_at", "id").first()
        if delivery is None:
            return None
        delivery.lease_until = now + _lease()
        delivery.tries += 1
        delivery.save(update_fields=["lease_until", "tries"])
    return Delivery.objects.select_related("alert__referral__district").get(pk=delivery.pk)


def _lease() -> timedelta:
    # Longer than the longest send, by the clock the deadlines use.
    return timedelta(seconds=(settings.SEND_TIMEOUT_SECONDS * 2 + 10) * clock.speed())


def _send(delivery: Delivery) -> None:
    try:
        provider_id = channel(delivery.channel).send(
            Message(
                to=delivery.address,
                text=words_of(delivery),
                subject=delivery.alert.sentence[:120],
                key=f"littleroad-{delivery.pk}",
            )
        )
    except TryLater as error:
        _put_off(delivery, str(error))
    except Refused as error:
        _give_up(delivery, str(error))
    else:
        _mark(delivery, state="accepted", provider_id=provider_id, accepted_at=clock.now())


def words_of(delivery: Delivery) -> str:
    """The message as it leaves: the alert's words and the reader's own link, or how to answer."""
    if delivery.channel == "screen" or delivery.alert.kind == alerting.ANSWER:
        return delivery.message
    if delivery.channel == "voice":
        return by_voice(delivery)
    return f"{delivery.message} {alerting.link_of(delivery)}"


def report(delivery: Delivery, state: Reported, now: datetime, *, error: str = "") -> bool:
    """What the gateway says later about a message it took; a report may come twice, or late.

    One that never arrives moves its alert on as a refusal does. Returns whether that happened.
    """
    rows = Delivery.objects.filter(pk=delivery.pk).exclude(state="delivered")
    if state is Reported.DELIVERED:
        rows.update(
            state="delivered", delivered_at=now, due_at=None, reported_state=state, reported_at=now
        )
        return False
    if state is Reported.FAILED:
        failed = rows.exclude(state__in=["refused", "dropped"])
        gone = failed.update(
            state="refused", error=error[:300], due_at=None, reported_state=state, reported_at=now
        )
        if gone:
            _go_on_without(delivery, error)
        return bool(gone)
    # A report of the way there never overtakes the one of its end.
    rows.exclude(state="refused").update(reported_state=state, reported_at=now)
    return False


def _put_off(delivery: Delivery, error: str) -> None:
    # Exponential back-off with full jitter, base 1 s, cap 60 s; the ladder goes on meanwhile.
    seconds = random.uniform(0.2, min(60.0, 2.0**delivery.tries))  # noqa: S311
    _mark(
        delivery,
        state="queued",
        error=error[:300],
        due_at=clock.now() + timedelta(seconds=seconds * clock.speed()),
        lease_until=None,
    )
    if delivery.tries == TRIES_BEFORE_THE_DESK_IS_TOLD and not delivery.alert.needs_answer:
        _tell_desk(delivery, error)


def _give_up(delivery: Delivery, error: str) -> None:
    _mark(delivery, state="refused", error=error[:300], due_at=None)
    _go_on_without(delivery, error)


def _go_on_without(delivery: Delivery, error: str) -> None:
    """It never arrives: on to the next contact, or the desk rings instead."""
    if delivery.alert.needs_answer:
        alerting.hurry(delivery, clock.now())
    else:
        _tell_desk(delivery, error)


def _tell_desk(delivery: Delivery, error: str) -> None:
    """A notice did not get through: the desk rings instead."""
    referral_id = delivery.alert.referral_id
    if referral_id is None:
        return
    about = {
        "name": delivery.contact_name,
        "channel": to_spell(delivery.channel),
        "address": delivery.address or to_tell("them"),
    }
    sentence = to_tell(
        "%(name)s could not be reached by %(channel)s (%(error)s). Ring %(address)s: %(sentence)s",
        error=error,
        sentence=delivery.alert.sentence,
        **about,
    )
    with transaction.atomic():
        referral = timeline.hold(referral_id)
        message = to_tell(
            "%(code)s: %(name)s could not be reached by %(channel)s. Ring %(address)s: "
            "%(sentence)s",
            code=referral.code,
            sentence=shortened(delivery.alert.sentence),
            **about,
        )
        alerting.tell_desk(
            referral,
            by_system(clock.now()),
            "not_reached",
            f"not_reached:{delivery.alert_id}:{delivery.channel}:{delivery.address}"[:160],
            Text(sentence=sentence, message=message),
        )


def _mark(delivery: Delivery, **values: object) -> None:
    """Write the result, unless the alert was answered meanwhile and the delivery dropped."""
    Delivery.objects.filter(pk=delivery.pk, state="queued").update(**values)
