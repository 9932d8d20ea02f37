"""What ``manage.py demo`` runs: the district, its links, a journey under way or played whole."""

import logging
import threading
import time
from collections.abc import Callable
from datetime import datetime
from typing import Any

import httpx
from django.conf import settings
from django.db import connections
from rest_framework.authtoken.models import Token

from fixtures_demo.load import load_district
from fixtures_demo.past import load_past
from fixtures_demo.people_shown import people_shown
from fixtures_demo.players import Unexpected
from fixtures_demo.story import Story
from referrals import clock, timeline
from referrals.heads import read_heads
from referrals.models import Alert, Referral
from referrals.pages.entrance import entrance_path
from transport.models import Estimate

log = logging.getLogger(__name__)


def prepare(now: datetime, *, with_past: bool) -> None:
    """Load the invented district, and its two months of history, into the demo's own database."""
    district = load_district(now)
    if with_past:
        load_past(district, now)


def links(port: int) -> dict[str, Any]:
    """The address, and for each role a ready sign-in link and an API token."""
    url = f"http://127.0.0.1:{port}"
    people = people_shown(clock.now())
    return {
        "url": url,
        "links": {role: f"{url}{entrance_path(staff)}" for role, staff in people.items()},
        "tokens": {
            role: Token.objects.get_or_create(user=staff)[0].key for role, staff in people.items()
        },
    }


def begin(port: int) -> None:
    """Put one journey on the road beside whatever people do, unless one is open already.

    Returns when its vehicle is sent, so that each role has something to see; the driving goes on.
    """
    if Referral.objects.open().exists():
        return
    story = Story(f"http://127.0.0.1:{port}", lambda words: log.info("%s", words))
    if _played(story.call_for_help, story.find_a_place, story.send_a_vehicle):
        threading.Thread(target=_drive, args=(story,), daemon=True).start()


def play_one_journey(port: int, *, say: Callable[[str], None]) -> dict[str, Any]:
    """Play one referral from raise to handover and give its record as one document.

    When it does not come to the handover, what went wrong is said and the document holds what
    there is.
    """
    story = Story(f"http://127.0.0.1:{port}", say)
    try:
        _play_whole(story)
    except Exception as error:
        say(f"The journey did not end as it should: {type(error).__name__}: {error}")
    return record_of(Referral.objects.filter(code=story.code).first())


def _play_whole(story: Story) -> None:
    story.call_for_help()
    story.find_a_place()
    story.send_a_vehicle()
    story.drive_to_the_post()
    story.load()
    story.drive_to_the_unit()
    story.hand_over()
    time.sleep(1.5)  # one more sweep, which also keeps the head outside the database


def record_of(referral: Referral | None) -> dict[str, Any]:
    """One referral as a document: endings, alerts, estimates, and the whole timeline."""
    if referral is None:
        nothing: dict[str, Any] = {"babies": [], "alerts": [], "estimates": [], "entries": []}
        return {"referral": None, "transfer_stage": None, "chain_verified": False, **nothing}
    kept = read_heads(settings.HEADS_FILE).get(referral.code)
    transfer = referral.transfers.order_by("-pk").first()
    return {
        "referral": referral.code,
        "transfer_stage": transfer.stage if transfer else None,
        "chain_verified": not timeline.faults_of(referral, kept),
        "babies": [{"code": baby.code, "ending": baby.ending} for baby in referral.babies.all()],
        "alerts": [_alert(alert) for alert in referral.alerts.order_by("pk")],
        "estimates": [_estimate(row) for row in Estimate.objects.filter(referral=referral)],
        "entries": [
            {
                "seq": entry.seq,
                "kind": entry.kind,
                "actor": entry.actor,
                "channel": entry.channel,
                "happened_at": entry.happened_at.isoformat(),
                "received_at": entry.received_at.isoformat(),
                "hash": entry.hash,
            }
            for entry in referral.entries.order_by("seq")
        ],
    }


def _alert(alert: Alert) -> dict[str, Any]:
    return {
        "kind": alert.kind,
        "sentence": alert.sentence,
        "raised_at": alert.raised_at.isoformat(),
        "step": alert.step,
        "acknowledged_by": alert.acknowledged_by,
        "closed_reason": alert.closed_reason,
        "deliveries": [
            {
                "channel": delivery.channel,
                "to": delivery.contact_name,
                "state": delivery.state,
                "tries": delivery.tries,
            }
            for delivery in alert.deliveries.order_by("pk")
        ],
    }


def _estimate(row: Estimate) -> dict[str, Any]:
    return {
        "purpose": row.purpose,
        "made_at": row.made_at.isoformat(),
        "method": row.method,
        "model_version": row.model_version,
        "p10_minutes": row.p10_minutes,
        "p50_minutes": row.p50_minutes,
        "p90_minutes": row.p90_minutes,
        "road_km": row.road_km,
    }


def _drive(story: Story) -> None:
    """To the post and on toward the unit; the rest is for whoever looks."""
    try:
        _played(story.drive_to_the_post, story.load, story.drive_to_the_unit)
    finally:
        connections.close_all()


def _played(*parts: Callable[[], None]) -> bool:
    """Play some parts of the demo's own journey; whether all of them went well."""
    try:
        for part in parts:
            part()
    except httpx.TransportError:
        log.info("the demo's own journey ends with the service, at %s", clock.now())
    except Unexpected as stopped:
        log.warning("the demo's own journey goes on without its players: %s", stopped)
    except Exception:
        log.exception("the demo's own journey stopped at %s", clock.now())
    else:
        return True
    return False
