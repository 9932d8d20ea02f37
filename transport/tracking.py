"""Positions in: stored as facts at once, folded into the arrival window afterwards.

Storing holds no referral: thousands a minute may come. The sweep works out the windows.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.db.models import Q

from referrals import clock
from referrals.calc.device_time import event_time
from transport.calc.stages import TransferStage
from transport.estimating import live_window
from transport.models import Position, Transfer, Vehicle


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
) -> int:
    """Store positions once each, in any order; returns how many were told."""
    rows = [
        Position(
            transfer_id=transfer.pk,
            key=one.key,
            recorded_at=event_time(
                received_at=received_at, happened_at=one.happened_at, sent_at=sent_at
            ).corrected_at,
            received_at=received_at,
            latitude=one.latitude,
            longitude=one.longitude,
            accuracy_m=one.accuracy_m,
        )
        for one in told
    ]
    if not rows:
        return 0
    newest = max(rows, key=lambda row: row.recorded_at)
    with transaction.atomic():
        Position.objects.bulk_create(rows, ignore_conflicts=True)
        Transfer.objects.filter(pk=transfer.pk).exclude(last_fix_at__gte=newest.recorded_at).update(
            last_fix_at=newest.recorded_at
        )
        if transfer.vehicle_id:
            Vehicle.objects.filter(pk=transfer.vehicle_id).exclude(
                seen_at__gte=newest.recorded_at
            ).update(
                latitude=newest.latitude, longitude=newest.longitude, seen_at=newest.recorded_at
            )
    return len(rows)


def refresh_windows(now: datetime) -> list[Transfer]:
    """Work out the arrival window of every vehicle on the road; returns the moved ones."""
    stale = Transfer.objects.filter(stage=TransferStage.ON_THE_ROAD.value).filter(
        Q(window_at__isnull=True) | Q(window_at__lt=clock.minutes_before(now, 1))
    )
    moved = []
    for transfer in stale.select_related("referral__district", "referral__origin").select_related(
        "destination__site", "vehicle"
    ):
        window = live_window(transfer, now)
        if window is None:
            continue
        transfer.window = {
            "p10": window.p10.isoformat(),
            "p50": window.p50.isoformat(),
            "p90": window.p90.isoformat(),
            "method": window.method,
            "remaining_km": window.remaining_km,
            "silent": window.silent,
            "arrived_suggested": window.suggestion_arrived,
            "standing_still_minutes": window.standing_still_minutes,
            "off_corridor": window.off_corridor,
        }
        transfer.window_at = now
        transfer.save(update_fields=["window", "window_at"])
        moved.append(transfer)
    return moved
