"""Two vehicles meet on the way, and mother and baby change over from the first to the second."""

from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from referrals import alerting, timeline
from referrals.acting import By
from referrals.calc.states import NotPossible
from referrals.models import Referral, Site
from referrals.saying import for_the_record, to_tell
from transport import drivers_told, fleet, lifecycle, meeting_notes, messages, tracking
from transport.calc.stages import TransferStage
from transport.models import Meeting, Transfer, Vehicle


def meet(by: By, transfer: Transfer, vehicle: Vehicle, site: Site) -> Meeting:
    """A second vehicle meets the first at a site and takes mother, baby and escort on.

    Both drivers are told where, whom they meet and what happens there. Pressed again it changes
    nothing; another vehicle or place calls the former meeting off.

    Raises:
        NotPossible: without a first vehicle before the unit's door, or when the second is not
            free.
    """
    with transaction.atomic():
        referral, transfer = lifecycle.held(transfer)
        lifecycle.require_vehicle(referral, transfer)
        standing = transfer.standing_meeting()
        if standing and (standing.vehicle_id, standing.site_id) == (vehicle.pk, site.pk):
            return standing
        if transfer.stage == TransferStage.ARRIVED.value or not transfer.is_live:
            raise NotPossible(
                _("%(code)s has arrived, so there is nothing to meet for.")
                % {"code": referral.code},
                code="journey_over",
            )
        meeting_notes.call_off(
            referral, transfer, by, why=for_the_record(to_tell("another meeting was agreed on"))
        )
        vehicle = fleet.hold(vehicle.pk)
        fleet.require_free(vehicle)
        first = transfer.vehicle
        assert first is not None  # noqa: S101 - required above
        name, phone = vehicle.who_drives()
        meeting = Meeting.objects.create(
            transfer=transfer,
            site=site,
            first_vehicle=first,
            first_assignment=transfer.assignment,
            first_driver=transfer.driver_name,
            first_phone=transfer.driver_phone,
            vehicle=vehicle,
            assignment=lifecycle.next_number(transfer),
            driver_name=name,
            driver_phone=phone,
            set_at=by.received_at,
        )
        fleet.set_state(vehicle, "busy")
        tracking.forget_window(transfer)
        body = {"transfer": transfer.pk, "vehicle": vehicle.code, "site": site.code}
        timeline.append(referral, "meeting_set", by, body)
        for side in ("first", "second"):
            drivers_told.tell_of_meeting(referral, transfer, meeting, by, side)
    return meeting


def reach_meeting(by: By, transfer: Transfer, *, undo: bool = False) -> Transfer:
    """The first vehicle, with the baby, is at the meeting place; or it was pressed by mistake."""
    with transaction.atomic():
        referral, transfer = lifecycle.held(transfer)
        meeting = _require_meeting(referral, transfer)
        if undo:
            meeting_notes.unmark(referral, meeting, by, None)
        else:
            meeting_notes.mark(referral, meeting, by, "first_there_at")
    return transfer


def move_over(by: By, transfer: Transfer, *, witness: str = "") -> Transfer:
    """Mother, baby and escort are in the second vehicle; a named person saw it.

    From here on its positions, its driver and its oxygen count, and the first vehicle is on its
    way home. Nothing is handed over: the checks and the record go on. Pressed again it changes
    nothing.

    Raises:
        NotPossible: ``no_meeting``.
    """
    with transaction.atomic():
        referral, transfer = lifecycle.held(transfer)
        if transfer.standing_meeting() is None and transfer.moved_at_meeting():
            return transfer
        meeting = _require_meeting(referral, transfer)
        _move_over(referral, transfer, meeting, by, witness or by.name)
    return transfer


def move_back(by: By, transfer: Transfer) -> Transfer:
    """'Moved over' was pressed by mistake: the baby is in the first vehicle, the meeting stands.

    Raises:
        NotPossible: ``no_meeting``, or ``journey_over`` once the second vehicle has left or the
            first is somewhere else.
    """
    with transaction.atomic():
        referral, transfer = lifecycle.held(transfer)
        meeting = transfer.moved_at_meeting()
        if meeting is None:
            if transfer.standing_meeting():
                return transfer
            raise _no_meeting(referral)
        first = fleet.hold(meeting.first_vehicle_id)
        if transfer.stage != TransferStage.AT_ORIGIN.value or first.state != "returning":
            raise NotPossible(
                _("The second vehicle has left, or the first is not there any more. Ring both."),
                code="journey_over",
            )
        meeting.moved_at, meeting.witness = None, ""
        meeting.save(update_fields=["moved_at", "witness"])
        transfer.standing_milestones().update(
            withdrawn_at=by.received_at, withdrawn_by=by.name[:150]
        )
        timeline.append(referral, "moved_back", by, {"transfer": transfer.pk})
        driver = (meeting.first_driver, meeting.first_phone)
        # Where they boarded the first vehicle is taken as the post again.
        nowhere: dict[str, Any] = {"waits_latitude": None, "waits_longitude": None}
        lifecycle.take_on(
            referral, transfer, by, first, meeting.first_assignment, driver, **nowhere
        )
        fleet.set_state(meeting.vehicle, "busy")
        drivers_told.tell_driver(referral, transfer, by, changed=True)
    return transfer


def drive_on(by: By, transfer: Transfer, *, why: str = "", broken: bool = False) -> Transfer:
    """The second vehicle does not come, or is not needed: the first drives on to the unit.

    ``broken``: the second one cannot go on. Both drivers and the desk are told. Pressed again it
    changes nothing.

    Raises:
        NotPossible: ``no_meeting`` where none was ever agreed on, or the baby has moved over.
    """
    with transaction.atomic():
        referral, transfer = lifecycle.held(transfer)
        if transfer.standing_meeting() is None and transfer.moved_at_meeting() is None:
            if transfer.meetings.exists():
                return transfer
            raise _no_meeting(referral)
        meeting = _require_meeting(referral, transfer)
        meeting_notes.call_off(
            referral,
            transfer,
            by,
            why=why or for_the_record(to_tell("it does not come")),
            broken=broken,
        )
        drivers_told.tell_driver(referral, transfer, by, changed=True)
        key = f"meeting:{meeting.pk}:off"
        tell = alerting.tell_desk if broken else alerting.tell_desk_quietly
        tell(referral, by, "meeting_off", key, messages.meeting_off(transfer, meeting))
    return transfer


def told_by_second(
    referral: Referral, transfer: Transfer, by: By, milestone: TransferStage, number: int
) -> bool:
    """A milestone of the vehicle that is to meet the first; true where that is all it was.

    One that leaves or arrives has mother and baby aboard: they have moved over.
    """
    meeting = transfer.standing_meeting()
    if meeting is None or number != meeting.assignment:
        return False
    if milestone in meeting_notes.SECOND_MARKS:
        meeting_notes.mark(referral, meeting, by, meeting_notes.SECOND_MARKS[milestone])
        return True
    _move_over(referral, transfer, meeting, by, by.name)
    return False


def _move_over(
    referral: Referral, transfer: Transfer, meeting: Meeting, by: By, witness: str
) -> None:
    meeting.moved_at, meeting.witness = by.at, witness[:150]
    meeting.save(update_fields=["moved_at", "witness"])
    seen_by = timeline.committed(timeline.keep_text(referral, "witness", witness))
    body = {"transfer": transfer.pk, "site": meeting.site.code, "witness": seen_by}
    timeline.append(referral, "moved_over", by, body)
    reached = {TransferStage.COLLECTING: meeting.second_left_at}
    reached[TransferStage.AT_ORIGIN] = min(meeting.second_there_at or by.at, by.at)
    meeting_notes.keep_reached(transfer, meeting, by, reached)
    place: dict[str, Any] = {
        "waits_latitude": meeting.site.latitude,
        "waits_longitude": meeting.site.longitude,
    }
    driver = (meeting.driver_name, meeting.driver_phone)
    lifecycle.take_on(referral, transfer, by, meeting.vehicle, meeting.assignment, driver, **place)
    alerting.tell_phone(
        referral,
        meeting.first_driver,
        meeting.first_phone,
        by,
        f"meeting:{meeting.pk}:first:moved:{referral.head_seq}",
        messages.moved_over(transfer, meeting),
    )


def _require_meeting(referral: Referral, transfer: Transfer) -> Meeting:
    meeting = transfer.standing_meeting()
    if meeting is None:
        raise _no_meeting(referral)
    return meeting


def _no_meeting(referral: Referral) -> NotPossible:
    return NotPossible(
        _("No second vehicle is to meet %(code)s. The desk can send one.")
        % {"code": referral.code},
        code="no_meeting",
    )
