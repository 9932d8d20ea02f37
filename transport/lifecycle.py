"""The one place where the stage of a transfer changes.

Every verb holds the referral's row first, then the vehicle's, and writes change, Entry and alerts
in one transaction. Here a journey is opened, given a vehicle and finished; the other modules of
verbs build on what stands here: ``milestones``, ``meetings``, ``where_to``, ``handing_over``.
"""

from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Max, Min

from referrals import alerting, timeline
from referrals.acting import By
from referrals.calc.states import NotPossible, require_step
from referrals.calc.terms import Ending
from referrals.calc.wording import words
from referrals.models import Referral, Site
from referrals.saying import for_the_record, to_tell
from transport import drivers_told, estimating, fleet, meeting_notes, messages
from transport.calc.stages import (
    MILESTONES,
    TRANSFER_STEPS,
    WITH_VEHICLE,
    TransferStage,
    furthest,
)
from transport.models import Meeting, Position, Proposal, Transfer, Vehicle

# The times were those of the vehicle that is gone; kept, they would say "arrived".
_BEFORE_SETTING_OFF: dict[str, Any] = {
    "stretch": 1,
    **dict.fromkeys(
        ("collecting_at", "at_origin_at", "on_the_road_at", "arrived_at", "window", "window_at",
         "stands_at"),
    ),
}  # fmt: skip
ENTRY_OF = {stage: f"transfer_{stage.value}" for stage in TransferStage}


def held(transfer: Transfer) -> tuple[Referral, Transfer]:
    """The referral's row, held, and the journey as it stands; inside a transaction."""
    referral = timeline.hold(transfer.referral_id)
    fresh = Transfer.objects.select_related(
        "vehicle__driver", "destination__site", "stands_at__site"
    ).get(pk=transfer.pk)
    fresh.referral = referral
    return referral, fresh


def move(transfer: Transfer, to: TransferStage, **also: Any) -> None:
    """Bring the journey to another stage, unless it is no step or somebody else was faster."""
    seen = TransferStage(transfer.stage)
    require_step(
        TRANSFER_STEPS, seen, to, what=words("the journey of %(code)s", code=transfer.referral.code)
    )
    if not Transfer.objects.filter(pk=transfer.pk).claim_stage(
        seen=seen.value, to=to.value, **also
    ):
        raise NotPossible(words("The journey has just changed. Look again."), code="changed")
    referral = transfer.referral
    transfer.refresh_from_db()
    transfer.referral = referral


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


def assign(
    by: By, transfer: Transfer, vehicle: Vehicle, *, escort_name: str = "", why: str = ""
) -> Transfer:
    """Send a vehicle. With one already sent, the new one takes over and the old link is void.

    What was proposed stands beside it on the timeline; ``why`` is the reason for another choice,
    where one was given.

    Raises:
        NotPossible: when the vehicle is not free, or the journey is over.
    """
    with transaction.atomic():
        referral, transfer = held(transfer)
        if transfer.vehicle_id == vehicle.pk and transfer.stage in WITH_VEHICLE:
            return transfer
        vehicle = fleet.hold(vehicle.pk)
        fleet.require_free(vehicle)
        meeting_notes.call_off(
            referral, transfer, by, why=for_the_record(to_tell("another vehicle takes over"))
        )
        take_on(
            referral,
            transfer,
            by,
            vehicle,
            next_number(transfer),
            vehicle.who_drives(),
            escort=escort_name,
            beside=_beside_what_was_proposed(referral, transfer, why),
            **_where_left_behind(transfer),
        )
        collection = estimating.collection_estimate(transfer, by.received_at)
        estimating.keep_estimate(transfer, "collection", collection, by.received_at)
        alerting.settle(
            referral.alerts.unsettled().filter(kind__in=["vehicle_wanted", "no_vehicle"]),
            to_tell("%(vehicle)s is sent", vehicle=vehicle.name),
            by,
        )
        drivers_told.tell_driver(referral, transfer, by)
        alerting.tell_caller(
            referral,
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
            raise NotPossible(
                words("%(code)s has no vehicle to take back.", code=referral.code),
                code="no_vehicle",
            )
        meeting, left_behind = transfer.standing_meeting(), _where_left_behind(transfer)
        move(
            transfer,
            TransferStage.WANTED,
            vehicle=None,
            # The second vehicle of a meeting takes its own number, which is the next.
            assignment=transfer.assignment if meeting else next_number(transfer),
            **_BEFORE_SETTING_OFF,
            **left_behind,
        )
        fleet.set_state(vehicle, "out_of_service" if broken else "free")
        kept = timeline.keep_text(referral, "reason", why)
        timeline.append(
            referral,
            "vehicle_taken_back",
            by,
            {"vehicle": vehicle.code, "broken": broken, "why": timeline.committed(kept)},
        )
        if meeting:
            _second_goes_to_them(referral, transfer, meeting, by)
        alerting.tell_desk(
            referral,
            by,
            "second_goes" if meeting else "vehicle_wanted",
            f"transfer:{transfer.pk}:wanted:{transfer.assignment}",
            messages.vehicle_lost(transfer, vehicle, why),
        )
    return transfer


def name_escort(by: By, transfer: Transfer, name: str) -> Transfer:
    """Who travels with mother and baby; told again it is corrected, told empty taken back."""
    with transaction.atomic():
        referral, transfer = held(transfer)
        name, was = name.strip()[:120], transfer.escort_name
        if name == was:
            return transfer
        transfer.escort_name = name
        transfer.save(update_fields=["escort_name"])
        texts = {
            role: timeline.committed(timeline.keep_text(referral, "escort", words))
            for role, words in (("escort", name), ("escort_was", was))
            if words
        }
        timeline.append(referral, "escort_named", by, {"transfer": transfer.pk, **texts})
    return transfer


def finish(referral: Referral, by: By) -> None:
    """Every baby has an ending: the journey ends with it. The caller holds the referral."""
    transfer = referral.transfers.live().select_related("vehicle").first()
    if transfer is None:
        return
    handed_over = referral.babies.filter(ending=Ending.HANDED_OVER.value).exists()
    carried = handed_over and transfer.vehicle is not None
    to = TransferStage.HANDED_OVER if carried else TransferStage.STOOD_DOWN
    never_left = transfer.stage == TransferStage.ASSIGNED.value
    meeting_notes.call_off(
        referral, transfer, by, why=for_the_record(to_tell("the journey has ended"))
    )
    move(transfer, to, finished_at=by.received_at)
    if transfer.vehicle:
        fleet.set_state(transfer.vehicle, "free" if never_left else "returning")
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


def take_on(
    referral: Referral,
    transfer: Transfer,
    by: By,
    vehicle: Vehicle,
    number: int,
    driver: tuple[str, str],
    *,
    escort: str = "",
    beside: dict[str, Any] | None = None,
    **also: Any,
) -> None:
    """Another vehicle takes the journey on, with what it reported under its number before.

    ``beside``: what else stands in the Entry.
    """
    before = transfer.vehicle
    reported = transfer.milestones.filter(assignment=number, applied=True, withdrawn_at=None)
    stretch = reported.aggregate(last=Max("stretch"))["last"] or 1
    if before:
        fleet.set_state(before, "returning")
    name, phone = driver
    track = transfer.positions.filter(assignment=number)
    move(
        transfer,
        TransferStage.ASSIGNED,
        vehicle=vehicle,
        assignment=number,
        driver_name=name,
        driver_phone=phone,
        escort_name=escort or transfer.escort_name,
        assigned_at=by.received_at,
        last_fix_at=track.aggregate(newest=Max("recorded_at"))["newest"],
        **_BEFORE_SETTING_OFF | {"stretch": stretch},
        **also,
    )
    fleet.set_state(vehicle, "busy")
    body: dict[str, Any] = {
        "transfer": transfer.pk,
        "vehicle": vehicle.code,
        "instead_of": before.code if before else None,
        "reached": sorted(row.kind for row in transfer.standing_milestones()),
    }
    body |= {"stretch": stretch} if stretch > 1 else {}
    body |= beside or {}
    if escort:
        body["escort"] = timeline.committed(timeline.keep_text(referral, "escort", escort))
    timeline.append(referral, ENTRY_OF[TransferStage.ASSIGNED], by, body)
    fold_milestones(transfer)


def fold_milestones(transfer: Transfer) -> None:
    """Bring stage and times in line with all milestones of this vehicle.

    The stage is that of the last stretch; so is the time of the arrival.
    """
    rows = transfer.standing_milestones()
    earlier = transfer.milestones.filter(
        assignment=transfer.assignment,
        stretch__lt=transfer.stretch,
        applied=True,
        withdrawn_at=None,
    ).exclude(kind=TransferStage.ARRIVED.value)
    times: dict[str, Any] = {f"{stage.value}_at": None for stage in MILESTONES}
    for row in (*earlier.order_by("stretch"), *rows):
        times[f"{row.kind}_at"] = row.reached_at
    times["left_post_at"] = _left_post_at(transfer)
    to = furthest(TransferStage(row.kind) for row in rows)
    arrived = next((row for row in rows if row.kind == TransferStage.ARRIVED.value), None)
    times["stands_at"] = arrived.at_unit if arrived else None
    if to.value != transfer.stage and to in TRANSFER_STEPS[TransferStage(transfer.stage)]:
        move(transfer, to, **times)
        return
    for name, moment in times.items():
        setattr(transfer, name, moment)
    transfer.save(update_fields=list(times))


def require_vehicle(referral: Referral, transfer: Transfer) -> None:
    """Refuse what needs a vehicle while none is assigned (``no_vehicle``)."""
    if transfer.vehicle is None:
        raise NotPossible(
            words("%(code)s has no vehicle yet. Assign one first.", code=referral.code),
            code="no_vehicle",
        )


def next_number(transfer: Transfer) -> int:
    """The number of the next vehicle: no link of an earlier one, or of a meeting, fits it."""
    last = transfer.meetings.aggregate(last=Max("assignment"))["last"] or 0
    return max(transfer.assignment, last) + 1


def _beside_what_was_proposed(referral: Referral, transfer: Transfer, why: str) -> dict[str, Any]:
    """The vehicle that was proposed, if there was a proposal, and why another one is sent."""
    proposal = Proposal.objects.filter(transfer=transfer).select_related("vehicle").first()
    vehicle = proposal.vehicle if proposal else None
    body: dict[str, Any] = {"proposed": vehicle.code if vehicle else None} if proposal else {}
    if why.strip():
        body["why"] = timeline.committed(timeline.keep_text(referral, "reason", why.strip()))
    return body


def _second_goes_to_them(referral: Referral, transfer: Transfer, meeting: Meeting, by: By) -> None:
    """The first vehicle has failed: the one that was to meet it goes where they wait."""
    meeting.ended_at = by.received_at
    meeting.ended_why = for_the_record(to_tell("it goes to them itself"))
    meeting.save(update_fields=["ended_at", "ended_why"])
    meeting_notes.keep_reached(
        transfer, meeting, by, {TransferStage.COLLECTING: meeting.second_left_at}
    )
    driver = (meeting.driver_name, meeting.driver_phone)
    take_on(referral, transfer, by, meeting.vehicle, meeting.assignment, driver)
    collection = estimating.collection_estimate(transfer, by.received_at)
    estimating.keep_estimate(transfer, "collection", collection, by.received_at)
    drivers_told.tell_driver(referral, transfer, by, changed=True)


def _where_left_behind(transfer: Transfer) -> dict[str, float | None]:
    """Where mother and baby are left when their vehicle goes out from under them.

    On the road that is the newest position, or nowhere known; at a unit's door, that unit.
    """
    newest: Position | Site | None
    if transfer.stage == TransferStage.ON_THE_ROAD.value:
        newest = transfer.track().order_by("-recorded_at").first()
    elif transfer.stage == TransferStage.ARRIVED.value:
        unit = transfer.stands_at or transfer.destination
        newest = unit.site if unit else None
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
    first = left.aggregate(first=Min("reached_at"))["first"]
    if first:
        return first
    # They changed vehicles on the way, and the first driver's press has not come.
    return transfer.meetings.aggregate(first=Min("moved_at"))["first"]
