"""Positions in: stored as facts at once, folded into the arrival window afterwards.

Storing holds no referral: thousands a minute may come. The sweep works out the windows.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import chain
from typing import Any

from django.db import connection, transaction
from django.db.models import Q

from referrals import clock
from referrals.calc.device_time import event_time
from referrals.models import Referral
from transport.calc.arrival import ArrivalWindow
from transport.calc.stages import TransferStage
from transport.estimating import live_window, projected_arrival
from transport.models import Meeting, Transfer, Vehicle

LOOKED_AT_AGAIN = timedelta(minutes=5)
"""A likely arrival that moves by so much brings the next look at the referral forward."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PositionTold:
    """One position as a phone told it; ``key`` is made on the phone and kept for ever."""

    key: str
    happened_at: datetime
    latitude: float
    longitude: float
    accuracy_m: float | None = None


def record(
    transfer: Transfer,
    told: Sequence[PositionTold],
    *,
    received_at: datetime,
    sent_at: datetime | None = None,
    meeting: Meeting | None = None,
) -> int:
    """Store positions once each, in any order; returns how many were told.

    With a ``meeting`` they are those of the second vehicle, which does not carry the baby yet.
    """
    if not told:
        return 0
    assignment = meeting.assignment if meeting else transfer.assignment
    vehicle = meeting.vehicle_id if meeting else transfer.vehicle_id
    moments = [
        event_time(
            received_at=received_at, happened_at=one.happened_at, sent_at=sent_at
        ).corrected_at
        for one in told
    ]
    stored = connection.ops.adapt_datetimefield_value
    received = stored(received_at)
    rows = [
        (transfer.pk, assignment, one.key, stored(moment), received,
         one.latitude, one.longitude, one.accuracy_m)
        for one, moment in zip(told, moments, strict=True)
    ]  # fmt: skip
    newest = moments.index(max(moments))
    at, there = stored(moments[newest]), told[newest]
    _write(
        rows,
        heard=(at, transfer.pk, assignment, at),
        seen=(there.latitude, there.longitude, at, vehicle, at),
    )
    return len(rows)


# Thousands a minute come, and the ORM takes several times as long to put these together.
KEEP = """INSERT INTO transport_position
(transfer_id, assignment, key, recorded_at, received_at, latitude, longitude, accuracy_m) VALUES """
ROW = "(%s, %s, %s, %s, %s, %s, %s, %s)"
ONCE = " ON CONFLICT DO NOTHING"
HEARD = """UPDATE transport_transfer SET last_fix_at = %s
WHERE id = %s AND assignment = %s AND (last_fix_at IS NULL OR last_fix_at < %s)"""
SEEN = """UPDATE transport_vehicle SET latitude = %s, longitude = %s, seen_at = %s
WHERE id = %s AND (seen_at IS NULL OR seen_at < %s)"""

Values = tuple[str | int | float | datetime | None, ...]


def _write(rows: Sequence[Values], *, heard: Values, seen: Values) -> None:
    """All of it or nothing; PostgreSQL takes the three as one statement, in one round trip."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            keep = KEEP + ",".join([ROW] * len(rows)) + ONCE
            sql = f"WITH kept AS ({keep}), heard AS ({HEARD}) {SEEN}"
            cursor.execute(sql, [*chain.from_iterable(rows), *heard, *seen])
            return
        with transaction.atomic():
            cursor.executemany(KEEP + ROW + ONCE, rows)
            cursor.execute(HEARD, heard)
            cursor.execute(SEEN, seen)


def seen(vehicle_id: int, at: PositionTold, moment: datetime) -> None:
    """A vehicle was somewhere; what is older than the newest place known changes nothing."""
    Vehicle.objects.filter(pk=vehicle_id).exclude(seen_at__gte=moment).update(
        latitude=at.latitude, longitude=at.longitude, seen_at=moment
    )


def forget_window(transfer: Transfer) -> None:
    """The sweep works a live window out again that has no time."""
    transfer.window = transfer.window_at = None
    transfer.save(update_fields=["window", "window_at"])


def refresh_windows(now: datetime) -> list[Transfer]:
    """Work out the arrival window of every vehicle on the road; returns the moved ones."""
    stale = Transfer.objects.filter(stage=TransferStage.ON_THE_ROAD.value).filter(
        Q(window_at__isnull=True) | Q(window_at__lt=clock.minutes_before(now, 1))
    )
    through_meetings = set(
        Meeting.objects.standing().filter(transfer__in=stale).values_list("transfer_id", flat=True)
    )
    moved = []
    for transfer in stale.select_related("referral__district", "referral__origin").select_related(
        "destination__site", "vehicle"
    ):
        before, window = _signs(transfer), live_window(transfer, now)
        transfer.window, transfer.window_at = window and _as_stored(window), now
        if transfer.window and transfer.pk in through_meetings:
            transfer.window |= _at_the_unit(transfer, now)
        transfer.save(update_fields=["window", "window_at"])
        if _signs(transfer) != before:
            Referral.objects.filter(pk=transfer.referral_id, next_look_at__gt=now).update(
                next_look_at=now
            )
        moved.append(transfer)
    return moved


def _at_the_unit(transfer: Transfer, now: datetime) -> dict[str, Any]:
    """On the way to a meeting the times are those at the unit; all else is about the meeting."""
    through = projected_arrival(transfer, now)
    return through.as_dict() if through else {}


def _signs(transfer: Transfer) -> tuple[object, ...]:
    """What may need a person, or no longer, before the next look at the referral is due."""
    window: dict[str, Any] = transfer.window or {}
    if not window:
        return ()
    standing = window["standing"]
    limit = timedelta(minutes=transfer.referral.district.standing_still_minutes)
    stood = standing and _moment(standing["until"]) - _moment(standing["since"])
    likely = _moment(window["p50"]).timestamp() // LOOKED_AT_AGAIN.total_seconds()
    return window["arrived_suggested"], bool(window["off"]), bool(stood and stood >= limit), likely


def _moment(text: str) -> datetime:
    return datetime.fromisoformat(text)


def _as_stored(window: ArrivalWindow) -> dict[str, Any]:
    """Plain JSON, as the watch and the pages read it."""
    standing, off = window.standing, window.off
    return {
        "p10": window.p10.isoformat(),
        "p50": window.p50.isoformat(),
        "p90": window.p90.isoformat(),
        "method": window.method,
        "remaining_km": window.remaining_km,
        "silent": window.silent,
        "arrived_suggested": window.suggestion_arrived,
        "standing": standing
        and {
            "since": standing.since.isoformat(),
            "until": standing.until.isoformat(),
            "latitude": standing.place.latitude,
            "longitude": standing.place.longitude,
        },
        "off": off
        and {
            "since": off.since.isoformat(),
            "km_left": off.km_left,
            "nearest_km": off.nearest_km,
        },
    }
