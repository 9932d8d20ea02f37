"""The desk's rows: one a journey, worked out when it changed and stored whole.

Reading the desk is reading stored rows. A row that is behind its referral's timeline is made anew
by whoever looks first, so nothing depends on a message having arrived. What needs a person is
read fresh beside them, from the open alerts.
"""

import hashlib
from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Count, F, Q, QuerySet

from referrals.calc.status import summary_in_words
from referrals.models import (
    Alert,
    Baby,
    Delivery,
    District,
    KeptInput,
    Offer,
    Referral,
    Unit,
)
from referrals.reading import baby_status
from referrals.saying import in_record_language
from transport.calc.oxygen import OxygenPlan
from transport.calc.stages import TransferStage
from transport.estimating import collection_estimate, projected_arrival
from transport.models import Closure, DeskRow, Transfer, Vehicle
from transport.oxygen_ahead import oxygen_plan

AGED = timedelta(minutes=1)
"""What a row projects moves with the clock, so an open one is made anew after this long."""
AGED_AT_ONCE = 50
NOT_REACHED_FOR = timedelta(hours=24)


def open_row(referral: Referral, now: datetime) -> None:
    """A referral begins, or is open again: it has a row from then on."""
    DeskRow.objects.update_or_create(
        referral=referral,
        defaults={
            "district": referral.district,
            "sort_at": referral.raised_at,
            "is_open": True,
            "made_at": now,
            "head_seq": 0,
        },
    )


def refresh_stale(now: datetime, district: District | None = None) -> int:
    """Make every row anew whose referral's timeline has grown; returns how many.

    Without a district (the sweep), the oldest open rows too, since their projections have aged.
    """
    behind = DeskRow.objects.filter(head_seq__lt=F("referral__head_seq"))
    if district:
        behind = behind.filter(district=district)
    rows = list(behind.select_related("referral__district", "referral__origin")[:500])
    if district is None:
        aged = DeskRow.objects.filter(
            is_open=True, made_at__lt=now - AGED, head_seq=F("referral__head_seq")
        )
        whole = aged.select_related("referral__district", "referral__origin")
        rows += whole.order_by("made_at")[:AGED_AT_ONCE]
    for row in rows:
        make_row(row.referral, now)
    return len(rows)


def make_row(referral: Referral, now: datetime) -> None:
    """Work out the row of one referral and store it, in the language of the record."""
    with in_record_language():
        body = row_body(referral, now)
    DeskRow.objects.filter(referral=referral).update(
        body=body,
        head_seq=referral.head_seq,
        version=F("version") + 1,
        is_open=referral.is_open,
        sort_at=referral.raised_at,
        made_at=now,
    )


def row_body(referral: Referral, now: datetime) -> dict[str, Any]:
    """What the ribbon shows of one referral: plain JSON, times as ISO text in UTC."""
    transfer = (
        referral.transfers.select_related("vehicle__base", "destination__site")
        .order_by("-pk")
        .first()
    )
    if transfer:
        transfer.referral = referral
    babies = list(referral.babies.all())
    return {
        "code": referral.code,
        "site": referral.origin.name,
        "site_phone": referral.origin.phone.as_e164 if referral.origin.phone else "",
        "stage": referral.stage,
        "urgency": referral.urgency,
        "alone": bool(referral.alone),
        "raised_at": referral.raised_at.isoformat(),
        "born_at": _iso(min((b.born_at for b in babies if b.born_at), default=None)),
        "closed_at": _iso(referral.closed_at),
        "babies": [_baby(baby, now) for baby in babies],
        "offers": [_offer(offer) for offer in referral.offers.select_related("unit")],
        **(_journey(transfer, now) if transfer else {}),
    }


def open_rows(district: District, now: datetime) -> list[dict[str, Any]]:
    """The open rows of a district, what needs a person first, each with its alerts."""
    refresh_stale(now, district)
    alerts = alerts_by_referral(district)
    rows = [
        {**body, "id": pk, "version": version, "alerts": alerts.get(code, [])}
        for pk, version, code, body in DeskRow.objects.filter(
            district=district, is_open=True
        ).values_list("referral_id", "version", "referral__code", "body")
    ]
    return sorted(rows, key=_first_what_needs_a_person)


def alerts_by_referral(district: District) -> dict[str, list[dict[str, Any]]]:
    """The open alerts that somebody must answer, oldest first, by case code."""
    found: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for alert in (
        Alert.objects.open()
        .filter(district=district, needs_answer=True, referral__isnull=False)
        .select_related("referral", "offer__unit")
        .order_by("raised_at")
    ):
        found[alert.referral.code].append(  # type: ignore[union-attr]
            {
                "id": alert.pk,
                "kind": alert.kind,
                "sentence": alert.sentence,
                "raised_at": alert.raised_at.isoformat(),
                "urgency": alert.urgency,
                "for_desk": alert.for_desk,
                "step": alert.step,
                "round": alert.round,
            }
        )
    return found


def could_not_reach(district: District, now: datetime) -> QuerySet[Delivery]:
    """Messages that cannot work, about matters that still stand; somebody rings instead."""
    stands = Q(alert__referral__closed_at__isnull=True, alert__closed_at__isnull=True)
    return (
        Delivery.objects.filter(stands, alert__district=district, state="refused")
        .filter(created_at__gte=now - NOT_REACHED_FOR, alert__acknowledged_at__isnull=True)
        .select_related("alert__referral")
        .order_by("-created_at")
    )


def signature(district: District, now: datetime) -> str:
    """A short text that changes whenever anything on the desk of a district does."""
    refresh_stale(now, district)
    rows: Iterable[Any] = (
        DeskRow.objects.filter(district=district, is_open=True)
        .order_by("pk")
        .values_list("pk", "version")
    )
    alerts: Iterable[Any] = (
        Alert.objects.open()
        .filter(district=district, needs_answer=True)
        .order_by("pk")
        .values_list("pk", "step", "round")
    )
    beside: Iterable[Any] = (
        *Vehicle.objects.filter(district=district).order_by("pk").values_list("pk", "state"),
        *Unit.objects.filter(site__district=district)
        .order_by("pk")
        .values_list("pk", "cots_free", "is_open", "cots_reported_at"),
        *Closure.objects.standing(now).filter(district=district).order_by("pk").values_list("pk"),
        could_not_reach(district, now).count(),
        *KeptInput.objects.filter(dealt_with_at__isnull=True).aggregate(n=Count("pk")).values(),
    )
    everything = repr((list(rows), list(alerts), list(beside)))
    return hashlib.sha256(everything.encode()).hexdigest()[:16]


def _first_what_needs_a_person(row: dict[str, Any]) -> tuple[bool, str, str]:
    desk_alerts = [alert for alert in row["alerts"] if alert["for_desk"]]
    return (not desk_alerts, row["urgency"] != "ventilated", row["raised_at"])


def _offer(offer: Offer) -> dict[str, Any]:
    return {
        "id": offer.pk,
        "unit": offer.unit.name,
        "phone": offer.unit.phone.as_e164 if offer.unit.phone else "",
        "stage": offer.stage,
        "asked_at": offer.asked_at.isoformat(),
        "answered_at": _iso(offer.answered_at),
    }


def _baby(baby: Baby, now: datetime) -> dict[str, Any]:
    return {
        "code": baby.code,
        "ending": baby.ending,
        "summary": summary_in_words(baby_status(baby, now)),
        "ventilated_since": _iso(baby.ventilated_since),
    }


def _journey(transfer: Transfer, now: datetime) -> dict[str, Any]:
    window = projected_arrival(transfer, now) if transfer.is_live else None
    plan = oxygen_plan(transfer, now) if transfer.is_live else None
    return {
        "transfer": transfer.pk,
        "transfer_stage": transfer.stage,
        "vehicle": str(transfer.vehicle) if transfer.vehicle else "",
        "driver": transfer.driver_name,
        "driver_phone": transfer.driver_phone,
        "unit": str(transfer.destination) if transfer.destination else "",
        "unit_phone": _phone(transfer),
        "without_acceptance": transfer.without_acceptance,
        "times": _times(transfer),
        "checks": [
            at.isoformat()
            for at in transfer.checks.standing().seen().values_list("checked_at", flat=True)
        ],
        "window": window.as_dict() if window else None,
        "oxygen": plan.as_dict() if plan else None,
        "oxygen_ends_at": _iso(_oxygen_ends_at(transfer, plan, now) if plan else None),
        "made_at": now.isoformat(),
        "last_fix_at": _iso(transfer.last_fix_at),
    }


def _times(transfer: Transfer) -> dict[str, str | None]:
    """When each stage began; with no vehicle, what an earlier one had reached is over."""
    stages = [s for s in TransferStage if hasattr(transfer, f"{s.value}_at")]
    if transfer.stage == TransferStage.WANTED.value:
        stages = [TransferStage.WANTED]
    times = {stage.value: _iso(getattr(transfer, f"{stage.value}_at")) for stage in stages}
    if transfer.stretch > 1:
        # Turned away and gone on: on the road since it left the post.
        times[TransferStage.ON_THE_ROAD.value] = _iso(transfer.boarded_at())
    return times | {"finished": _iso(transfer.finished_at)}


def _oxygen_ends_at(transfer: Transfer, plan: OxygenPlan, now: datetime) -> datetime | None:
    """When the cylinders in the vehicle are empty at the flow told, if they ever are."""
    minutes = plan.as_dict()["minutes_left"]
    # Nothing carried is said by the plan's own words; there is no moment at which it ends.
    begins = _drawn_from(transfer, now) if minutes else None
    return begins + timedelta(minutes=minutes) if begins else None


def _drawn_from(transfer: Transfer, now: datetime) -> datetime | None:
    """From when on the plan's minutes run: now under way, else when the vehicle is at the baby."""
    if transfer.on_the_road_at or transfer.at_origin_at:
        return now
    collection = collection_estimate(transfer, now)
    minutes = collection.p50_minutes if collection else None
    return now + timedelta(minutes=minutes) if minutes is not None else None


def _phone(transfer: Transfer) -> str:
    unit = transfer.destination
    return unit.phone.as_e164 if unit and unit.phone else ""


def _iso(moment: datetime | None) -> str | None:
    return moment.isoformat() if moment else None
