"""The one place where the stage of a transfer, and the state of a vehicle, changes.

Every verb holds the referral's row first, then the vehicle's, and writes change, Entry and alerts
in one transaction. What a driver reports is a fact: it is kept in whatever order it comes, and the
stage is what all facts together amount to.
"""

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Min, Q

from referrals import alerting, timeline
from referrals import lifecycle as referral_lifecycle
from referrals.acting import By
from referrals.calc.quantities import require_possible
from referrals.calc.states import NotPossible, require_step
from referrals.calc.terms import Ending
from referrals.messages import reception_changed
from referrals.models import Baby, Offer, Referral, Site, Unit
from transport import estimating, messages
from transport.calc.stages import (
    FINISHED,
    MILESTONES,
    TRANSFER_STEPS,
    WITH_VEHICLE,
    TransferStage,
    furthest,
)
from transport.models import (
    Handover,
    Milestone,
    Position,
    Transfer,
    Vehicle,
)

# The times were those of the vehicle that is gone; kept, they would say "arrived".
_BEFORE_SETTING_OFF: dict[str, None] = dict.fromkeys(
    ("collecting_at", "at_origin_at", "on_the_road_at", "arrived_at", "window", "window_at")
)
ENTRY_OF = {stage: f"transfer_{stage.value}" for stage in TransferStage}


def open_transfer(referral: Referral, by: By) -> Transfer:
    """Begin to look for a vehicle; the caller holds the referral. A live transfer is kept."""
    live = referral.transfers.live().first()
    if live:
        return live
    transfer = Transfer.objects.create(referral=referral, wanted_at=by.received_at)
    timeline.append(referral, ENTRY_OF[TransferStage.WANTED], by, {"transfer": transfer.pk})
    alerting.tell_desk(
        referral,
        by,
        "vehicle_wanted",
        f"transfer:{transfer.pk}:wanted:{transfer.assignment}",
        messages.vehicle_wanted(referral),
    )
    return transfer


def assign(by: By, transfer: Transfer, vehicle: Vehicle, *, escort_name: str = "") -> Transfer:
    """Send a vehicle. With one already sent, the new one takes over and the old link is void.

    Raises:
        NotPossible: when the vehicle is not free, or the journey is over.
    """
    with transaction.atomic():
        referral, transfer = held(transfer)
        if transfer.vehicle_id == vehicle.pk and transfer.stage in WITH_VEHICLE:
            return transfer
        vehicle = Vehicle.objects.select_for_update(of=("self",)).get(pk=vehicle.pk)
        _require_free(vehicle)
        before = transfer.vehicle
        waits = _where_left_behind(transfer)
        if before:
            _set_vehicle(before, "returning")
        name, phone = vehicle.who_drives()
        _move(
            transfer,
            TransferStage.ASSIGNED,
            vehicle=vehicle,
            assignment=transfer.assignment + 1,
            driver_name=name,
            driver_phone=phone,
            escort_name=escort_name or transfer.escort_name,
            assigned_at=by.received_at,
            **_BEFORE_SETTING_OFF,
            **waits,
        )
        _set_vehicle(vehicle, "busy")
        collection = estimating.collection_estimate(transfer, by.received_at)
        estimating.keep_estimate(transfer, "collection", collection, by.received_at)
        timeline.append(
            referral,
            ENTRY_OF[TransferStage.ASSIGNED],
            by,
            {
                "transfer": transfer.pk,
                "vehicle": vehicle.code,
                "instead_of": before.code if before else None,
            },
        )
        alerting.settle(
            referral.alerts.open().filter(kind__in=["vehicle_wanted", "no_vehicle"]),
            f"{vehicle.name} is sent",
            by,
        )
        _tell_driver(referral, transfer, by)
        if referral.raised_by:
            alerting.tell_person(
                referral,
                referral.raised_by,
                by,
                "vehicle_sent",
                f"transfer:{transfer.pk}:assigned:{transfer.assignment}",
                messages.vehicle_sent(transfer),
            )
    return transfer


def unassign(by: By, transfer: Transfer, *, why: str, broken: bool = False) -> Transfer:
    """The vehicle will not come after all: look for another one at once."""
    with transaction.atomic():
        referral, transfer = held(transfer)
        vehicle = transfer.vehicle
        if vehicle is None or not transfer.is_live:
            raise NotPossible(f"{referral.code} has no vehicle to take back.", code="no_vehicle")
        _move(
            transfer,
            TransferStage.WANTED,
            vehicle=None,
            assignment=transfer.assignment + 1,
            **_BEFORE_SETTING_OFF,
            **_where_left_behind(transfer),
        )
        _set_vehicle(vehicle, "out_of_service" if broken else "free")
        kept = timeline.keep_text(referral, "reason", why)
        timeline.append(
            referral,
            "vehicle_taken_back",
            by,
            {"vehicle": vehicle.code, "broken": broken, "why": timeline.committed(kept)},
        )
        alerting.tell_desk(
            referral,
            by,
            "vehicle_wanted",
            f"transfer:{transfer.pk}:wanted:{transfer.assignment}",
            messages.vehicle_lost(transfer, vehicle, why),
        )
    return transfer


def reach(
    by: By, transfer: Transfer, milestone: TransferStage, *, assignment: int | None = None
) -> Transfer:
    """A driver reports a milestone. Pressed twice it changes nothing; late ones are kept.

    A milestone of a journey that has ended, or of a vehicle that was sent before the present one
    (``assignment`` says which), is kept as a late note and changes no stage; the desk is told.
    """
    with transaction.atomic():
        referral, transfer = held(transfer)
        told_for = transfer.assignment if assignment is None else assignment
        sent_before = told_for != transfer.assignment
        if not sent_before:
            _require_vehicle(referral, transfer)
        applied = not sent_before and transfer.stage not in {stage.value for stage in FINISHED}
        _, made = Milestone.objects.get_or_create(
            transfer=transfer,
            assignment=told_for,
            kind=milestone.value,
            withdrawn_at=None,
            defaults={
                "reached_at": by.at,
                "received_at": by.received_at,
                "reported_by": by.name,
                "applied": applied,
            },
        )
        if not made:
            return transfer
        body = {"transfer": transfer.pk, "milestone": milestone.value, "applied": applied}
        timeline.append(referral, "milestone", by, body)
        if applied:
            _fold_milestones(transfer)
        elif sent_before or transfer.stage == TransferStage.STOOD_DOWN.value:
            note = (
                messages.note_of_former(transfer, milestone)
                if sent_before
                else (messages.late_note(transfer, milestone, by))
            )
            alerting.tell_desk(
                referral,
                by,
                "late_note",
                f"transfer:{transfer.pk}:late:{told_for}:{milestone.value}",
                note,
            )
    return transfer


def withdraw_milestone(
    by: By, transfer: Transfer, milestone: TransferStage | None = None
) -> Transfer:
    """The last milestone was pressed by mistake: the stage folds back to what else was reported.

    ``milestone`` says which one is meant; withdrawn twice it changes nothing. The row stays in
    sight as withdrawn, and the same milestone can be reported again.

    Raises:
        NotPossible: ``journey_over``, ``handover_signed``, ``nothing_to_withdraw`` or
            ``not_the_last``.
    """
    with transaction.atomic():
        referral, transfer = held(transfer)
        last = _withdrawable(referral, transfer)
        if milestone and (last is None or last.kind != milestone.value):
            rows = transfer.milestones.filter(assignment=transfer.assignment, kind=milestone.value)
            standing = transfer.standing_milestones().filter(kind=milestone.value)
            if rows.exclude(withdrawn_at=None).exists() and not standing.exists():
                return transfer
        if last is None:
            raise NotPossible(
                f"No milestone of {referral.code} stands, so there is none to take back.",
                code="nothing_to_withdraw",
            )
        if milestone and last.kind != milestone.value:
            raise NotPossible(
                f"The last milestone is '{last.kind.replace('_', ' ')}'. Only the last one can be "
                "taken back; ring the desk for others.",
                code="not_the_last",
            )
        last.withdrawn_at, last.withdrawn_by = by.received_at, by.name
        last.save(update_fields=["withdrawn_at", "withdrawn_by"])
        body = {"transfer": transfer.pk, "milestone": last.kind, "reached_at": last.reached_at}
        timeline.append(referral, "milestone_withdrawn", by, body)
        transfer.window = transfer.window_at = None
        transfer.save(update_fields=["window", "window_at"])
        _fold_milestones(transfer)
    return transfer


def send_toward(by: By, transfer: Transfer, unit: Unit) -> Transfer:
    """The desk sends the vehicle toward a unit that has not accepted yet; recorded as such."""
    with transaction.atomic():
        referral, transfer = held(transfer)
        if referral.accepted_offer():
            raise NotPossible(
                f"{referral.code} is placed at {referral.accepted_offer().unit}; "  # type: ignore[union-attr]
                "the vehicle goes there.",
                code="already_placed",
            )
        transfer.destination, transfer.without_acceptance = unit, True
        transfer.save(update_fields=["destination", "without_acceptance"])
        timeline.append(
            referral, "sent_without_acceptance", by, {"unit": unit.code, "transfer": transfer.pk}
        )
        if transfer.vehicle:
            _tell_driver(referral, transfer, by, changed=True)
        if not referral.offers.filter(unit=unit, stage="open").exists():
            referral_lifecycle.ask(by, referral, unit)
    return transfer


def set_destination(referral: Referral, unit: Unit | None, by: By) -> None:
    """A unit has accepted, or can no longer: the live journey follows. The caller holds the row."""
    transfer = referral.transfers.live().first()
    if transfer is None:
        return
    was = transfer.destination
    if was == unit and not transfer.without_acceptance:
        return
    transfer.destination, transfer.without_acceptance = unit, False
    transfer.save(update_fields=["destination", "without_acceptance"])
    timeline.append(
        referral,
        "destination",
        by,
        {"unit": unit.code if unit else None, "was": was.code if was else None},
    )
    if transfer.vehicle:
        _tell_driver(referral, transfer, by, changed=True)


def unit_refused(referral: Referral, unit: Unit, by: By) -> None:
    """A unit said no that the vehicle was sent toward without a yes: it does not go there now."""
    transfer = referral.transfers.live().first()
    if transfer and transfer.without_acceptance and transfer.destination_id == unit.pk:
        set_destination(referral, None, by)


def tell_reception(referral: Referral, offer: Offer, by: By) -> None:
    """Entrance or receiver has changed: tell who drives there. The caller holds the row."""
    transfer = referral.transfers.live().select_related("vehicle").first()
    if transfer is None or transfer.vehicle is None:
        return
    alerting.tell_phone(
        referral,
        transfer.driver_name,
        transfer.driver_phone,
        by,
        f"transfer:{transfer.pk}:driver:{transfer.assignment}:{referral.head_seq}",
        replace(reception_changed(offer), path="driver"),
    )


@dataclass(frozen=True, kw_only=True)
class Signature:
    """One side's confirmation of a handover. ``side`` is ``giver`` or ``receiver``."""

    side: str
    name: str
    band_checked: bool = False
    condition: str = ""
    temperature_c: float | None = None
    disagreement: str = ""


def hand_over(by: By, transfer: Transfer, baby: Baby, signature: Signature) -> Handover:
    """One side confirms the handover of one baby; with both it is handed over.

    A disagreement is recorded as such and never keeps the baby from being received.

    Raises:
        NotPossible: when no vehicle ever carried the baby, or the side is not one of the two.
    """
    if signature.side not in ("giver", "receiver"):
        raise NotPossible("A side of a handover is giver or receiver.", code="unknown_side")
    if signature.temperature_c is not None:
        require_possible("temperature_c", signature.temperature_c)
    with transaction.atomic():
        referral, transfer = held(transfer)
        transfer = _that_carried(referral, transfer)
        handover, _ = Handover.objects.get_or_create(baby=baby, defaults={"transfer": transfer})
        if handover.is_signed:
            return handover
        handover.transfer = transfer
        _sign(referral, handover, signature, by)
        body: dict[str, Any] = {
            "baby": baby.birth_order,
            "side": signature.side,
            "name": timeline.committed(timeline.keep_text(referral, "signed", signature.name)),
            "band_checked": signature.band_checked,
            "condition": signature.condition,
            "temperature_c": signature.temperature_c,
        }
        if handover.disagreement and signature.disagreement:
            body["disagreement"] = timeline.committed(handover.disagreement)
        timeline.append(referral, "handover_signed", by, body)
        if not signature.band_checked:
            alerting.tell_desk_quietly(
                referral,
                by,
                "band_unchecked",
                f"handover:{handover.pk}:band:{signature.side}:{referral.head_seq}",
                messages.band_unchecked(baby, signature.side),
            )
        if handover.is_signed and not baby.ending:
            referral_lifecycle.end_baby(by, baby, Ending.HANDED_OVER)
    return handover


def unsign(referral: Referral, baby: Baby) -> None:
    """Take both signatures off the handover of a baby, so that it can be signed again.

    The caller holds the referral; the entries keep what was signed.
    """
    Handover.objects.filter(baby=baby).update(
        given_by="",
        given_at=None,
        given_band_checked=False,
        received_by="",
        received_at=None,
        received_band_checked=False,
        condition="",
        temperature_c=None,
        disagreement=None,
    )


def finish(referral: Referral, by: By) -> None:
    """Every baby has an ending: the journey ends with it. The caller holds the referral."""
    transfer = referral.transfers.live().select_related("vehicle").first()
    if transfer is None:
        return
    handed_over = referral.babies.filter(ending=Ending.HANDED_OVER.value).exists()
    carried = handed_over and transfer.vehicle is not None
    to = TransferStage.HANDED_OVER if carried else TransferStage.STOOD_DOWN
    never_left = transfer.stage == TransferStage.ASSIGNED.value
    _move(transfer, to, finished_at=by.received_at)
    if transfer.vehicle:
        _set_vehicle(transfer.vehicle, "free" if never_left else "returning")
    timeline.append(referral, ENTRY_OF[to], by, {"transfer": transfer.pk})
    if to is TransferStage.STOOD_DOWN and transfer.driver_phone:
        alerting.tell_phone(
            referral,
            transfer.driver_name,
            transfer.driver_phone,
            by,
            f"transfer:{transfer.pk}:stood_down:{transfer.assignment}",
            messages.stood_down(transfer),
        )


def vehicle_ready(by: By, vehicle: Vehicle) -> Vehicle:
    """The escort is home, the cylinders are filled, the vehicle is clean: it is free again.

    Who said so stands on the timeline of the journey that it comes back from.
    """
    last = vehicle.transfers.exclude(finished_at=None).order_by("-finished_at").first()
    with transaction.atomic():
        referral = timeline.hold(last.referral_id) if last else None
        vehicle = Vehicle.objects.select_for_update(of=("self",)).get(pk=vehicle.pk)
        if vehicle.state == "busy":
            raise NotPossible(
                f"{vehicle.name} is on a journey. It is free after the handover.", code="busy"
            )
        if referral and vehicle.state == "returning":
            timeline.append(referral, "vehicle_ready", by, {"vehicle": vehicle.code})
        _set_vehicle(vehicle, "free")
    return vehicle


def held(transfer: Transfer) -> tuple[Referral, Transfer]:
    """The referral's row, held, and the journey as it stands; inside a transaction."""
    referral = timeline.hold(transfer.referral_id)
    fresh = Transfer.objects.select_related("vehicle__driver", "destination__site").get(
        pk=transfer.pk
    )
    fresh.referral = referral
    return referral, fresh


def _move(transfer: Transfer, to: TransferStage, **also: Any) -> None:
    seen = TransferStage(transfer.stage)
    require_step(TRANSFER_STEPS, seen, to, what=f"the journey of {transfer.referral.code}")
    if not Transfer.objects.filter(pk=transfer.pk).claim_stage(
        seen=seen.value, to=to.value, **also
    ):
        raise NotPossible("The journey has just changed. Look again.", code="changed")
    referral = transfer.referral
    transfer.refresh_from_db()
    transfer.referral = referral


def _where_left_behind(transfer: Transfer) -> dict[str, float | None]:
    """Where mother and baby are left when their vehicle goes out from under them.

    On the road that is the newest position, or nowhere known; at a unit's door, that unit.
    """
    newest: Position | Site | None
    if transfer.stage == TransferStage.ON_THE_ROAD.value:
        newest = transfer.positions.order_by("-recorded_at").first()
    elif transfer.stage == TransferStage.ARRIVED.value:
        newest = transfer.destination.site if transfer.destination else None
    else:
        return {}
    return {
        "waits_latitude": newest.latitude if newest else None,
        "waits_longitude": newest.longitude if newest else None,
    }


def _left_post_at(transfer: Transfer) -> datetime | None:
    """When mother and baby left the post, with the first vehicle that took them."""
    left = transfer.milestones.filter(
        kind=TransferStage.ON_THE_ROAD.value, applied=True, withdrawn_at=None
    )
    return left.aggregate(first=Min("reached_at"))["first"]


def _fold_milestones(transfer: Transfer) -> None:
    """Bring stage and times in line with all milestones of this vehicle."""
    rows = transfer.standing_milestones()
    times: dict[str, Any] = {f"{stage.value}_at": None for stage in MILESTONES}
    times |= {f"{row.kind}_at": row.reached_at for row in rows}
    times["left_post_at"] = _left_post_at(transfer)
    to = furthest(TransferStage(row.kind) for row in rows)
    if to.value != transfer.stage and to in TRANSFER_STEPS[TransferStage(transfer.stage)]:
        _move(transfer, to, **times)
        return
    for name, moment in times.items():
        setattr(transfer, name, moment)
    transfer.save(update_fields=list(times))


def _withdrawable(referral: Referral, transfer: Transfer) -> Milestone | None:
    """The last milestone, unless the journey has gone too far to take it back."""
    if transfer.stage in FINISHED:
        raise NotPossible(
            f"The journey of {referral.code} has ended. Ring the desk.", code="journey_over"
        )
    signed = Q(given_at__isnull=False) | Q(received_at__isnull=False)
    if transfer.handovers.filter(signed).exists():
        raise NotPossible(
            f"A handover of {referral.code} is signed already, so the road stands as it was told. "
            "Ring the desk if it is wrong.",
            code="handover_signed",
        )
    return transfer.last_milestone()


def _require_free(vehicle: Vehicle) -> None:
    if vehicle.state == "free":
        return
    busy = vehicle.transfers.live().select_related("referral").first()
    where = f" for {busy.referral.code}" if busy else ""
    raise NotPossible(
        f"{vehicle.name} is {vehicle.state.replace('_', ' ')}{where}. "
        "Choose another vehicle, or mark it ready when it is.",
        code="vehicle_not_free",
    )


def _require_vehicle(referral: Referral, transfer: Transfer) -> None:
    if transfer.vehicle is None:
        raise NotPossible(
            f"{referral.code} has no vehicle yet. Assign one first.", code="no_vehicle"
        )


def _that_carried(referral: Referral, transfer: Transfer) -> Transfer:
    """The journey of a handover: the one told, else the last one that came to a handover.

    After a handover that was reversed the search for a vehicle begins anew, but the baby may be
    at the unit already: then the two sides sign for the journey that brought it.
    """
    if transfer.vehicle is None:
        came = referral.transfers.filter(stage=TransferStage.HANDED_OVER.value)
        transfer = came.exclude(vehicle=None).order_by("-pk").first() or transfer
    _require_vehicle(referral, transfer)
    return transfer


def _set_vehicle(vehicle: Vehicle, state: str) -> None:
    vehicle.state = state
    vehicle.save(update_fields=["state"])


def _tell_driver(referral: Referral, transfer: Transfer, by: By, *, changed: bool = False) -> None:
    subject = f"transfer:{transfer.pk}:driver:{transfer.assignment}"
    if changed:
        subject += f":{referral.head_seq}"
    alerting.tell_phone(
        referral,
        transfer.driver_name,
        transfer.driver_phone,
        by,
        subject,
        messages.for_driver(transfer, changed=changed),
    )


def _sign(referral: Referral, handover: Handover, signature: Signature, by: By) -> None:
    if signature.side == "giver":
        handover.given_by, handover.given_at = signature.name, by.at
        handover.given_band_checked = signature.band_checked
    else:
        handover.received_by, handover.received_at = signature.name, by.at
        handover.received_band_checked = signature.band_checked
        handover.condition = signature.condition
        handover.temperature_c = signature.temperature_c
    if signature.disagreement:
        handover.disagreement = timeline.keep_text(referral, "disagreement", signature.disagreement)
    handover.save()
