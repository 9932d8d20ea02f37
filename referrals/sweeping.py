"""The sweep: finds everything due from the database alone.

Called by Celery's beat, by a worker, and by a plain process beside them (``manage.py sweep``).
Any number may run at once: rows are claimed, steps are taken only once. That a sweep finished is
written down, and read by code that is not the sweep.
"""

import logging
import os
import socket
import time
from datetime import datetime, timedelta

from django.conf import settings
from django.db import DatabaseError

from referrals import alerting, clock, heads, inbound, lifecycle, ports, sending, watching
from referrals.models import Alert, Referral, SweepRun

log = logging.getLogger(__name__)
BATCH = 200
DEAD_AFTER = timedelta(seconds=60)


def sweep(name: str, *, send: bool = True) -> None:
    """One whole pass: look at referrals, take ladder steps, send, keep heads, say it is done.

    A fault with one referral is logged and shown, and never keeps the others waiting.
    """
    begun, problem = time.monotonic(), ""
    ports.journeys().refresh(clock.now())
    inbound.act_on_waiting(clock.now())
    looked = list(Referral.objects.to_look_at(clock.now()).values_list("pk", flat=True)[:BATCH])
    for referral_id in looked:
        try:
            watching.look_at(referral_id, clock.now())
        except Exception as error:
            problem = f"referral {referral_id}: {error}"[:300]
            log.exception("the sweep could not look at referral %s", referral_id)
    for alert_id in Alert.objects.due(clock.now()).values_list("pk", flat=True)[:BATCH]:
        try:
            take_step(alert_id, clock.now())
        except Exception as error:
            problem = f"alert {alert_id}: {error}"[:300]
            log.exception("the sweep could not escalate alert %s", alert_id)
    if send:
        sending.send_due()
    heads.keep_heads(settings.HEADS_FILE, Referral.objects.filter(pk__in=looked), clock.now())
    _finished(name, time.monotonic() - begun, problem)


def take_step(alert_id: int, now: datetime) -> None:
    """The next step of one ladder; where the step says so, the next unit is asked."""
    if alerting.escalate(alert_id, now):
        referral_id = Alert.objects.values_list("referral_id", flat=True).get(pk=alert_id)
        if referral_id:
            lifecycle.ask_best(referral_id, now)


def sweep_seconds() -> float:
    """Real seconds between two sweeps; a faster clock sweeps more often."""
    return max(settings.SWEEP_SECONDS / clock.speed(), 0.2)


def sweeper_name(kind: str) -> str:
    """A name that tells which process sweeps, for the health page."""
    return f"{kind}@{socket.gethostname()}:{os.getpid()}"[:60]


def last_sweep() -> datetime | None:
    """When any sweeper last finished, by the wall clock of the server."""
    newest = SweepRun.objects.order_by("-finished_at").first()
    return newest.finished_at if newest else None


def sweep_is_alive(now: datetime) -> bool:
    """Whether some sweep finished in the last minute of real time."""
    last = last_sweep()
    return last is not None and now - last <= DEAD_AFTER * clock.speed()


def _finished(name: str, seconds: float, problem: str) -> None:
    now = clock.now()
    try:
        SweepRun.objects.update_or_create(
            name=name, defaults={"finished_at": now, "seconds": seconds, "problem": problem}
        )
        SweepRun.objects.filter(finished_at__lt=now - timedelta(days=2)).delete()
    except DatabaseError:
        log.exception("the sweep finished and could not say so")
