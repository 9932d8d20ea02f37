"""What is noted on a meeting of two vehicles while the stage of the journey stays as it is."""

from collections.abc import Mapping
from datetime import datetime

from referrals import alerting, timeline
from referrals.acting import By
from referrals.models import Referral
from transport import fleet, messages, tracking
from transport.calc.stages import TransferStage
from transport.models import Meeting, Milestone, Transfer

SECOND_MARKS = {
    TransferStage.COLLECTING: "second_left_at",
    TransferStage.AT_ORIGIN: "second_there_at",
}
"""What the first two milestones of the second driver mean before the baby has changed over."""


def mark(referral: Referral, meeting: Meeting, by: By, name: str) -> None:
    """One of the two has left or is there; noted twice it changes nothing."""
    if getattr(meeting, name) is not None:
        return
    setattr(meeting, name, by.at)
    meeting.save(update_fields=[name])
    body = {"transfer": meeting.transfer_id, "what": name.removesuffix("_at")}
    timeline.append(referral, "meeting_reached", by, body)


def unmark(referral: Referral, meeting: Meeting, by: By, milestone: TransferStage | None) -> None:
    """It was pressed by mistake: a mark of the second driver, or with none that of the first."""
    name = SECOND_MARKS.get(milestone, "first_there_at") if milestone else "first_there_at"
    if getattr(meeting, name) is None:
        return
    setattr(meeting, name, None)
    meeting.save(update_fields=[name])
    body = {"transfer": meeting.transfer_id, "what": name.removesuffix("_at"), "withdrawn": True}
    timeline.append(referral, "meeting_reached", by, body)


def keep_reached(
    transfer: Transfer,
    meeting: Meeting,
    by: By,
    reached: Mapping[TransferStage, datetime | None],
) -> None:
    """What the second driver reported before the journey was its own, as its milestones."""
    for milestone, at in reached.items():
        if at is None:
            continue
        Milestone.objects.get_or_create(
            transfer=transfer,
            assignment=meeting.assignment,
            kind=milestone.value,
            withdrawn_at=None,
            defaults={
                "reached_at": at,
                "received_at": by.received_at,
                "reported_by": meeting.driver_name or by.name,
            },
        )


def call_off(
    referral: Referral, transfer: Transfer, by: By, *, why: str, broken: bool = False
) -> None:
    """End a standing meeting, if there is one: its second vehicle is free, its driver told."""
    meeting = transfer.standing_meeting()
    if meeting is None:
        return
    meeting.ended_at, meeting.ended_why = by.received_at, why[:200]
    meeting.save(update_fields=["ended_at", "ended_why"])
    never_left = meeting.second_left_at is None and meeting.second_there_at is None
    fleet.set_state(
        meeting.vehicle, "out_of_service" if broken else "free" if never_left else "returning"
    )
    tracking.forget_window(transfer)
    body = {"transfer": transfer.pk, "vehicle": meeting.vehicle.code, "broken": broken}
    kept = timeline.committed(timeline.keep_text(referral, "reason", why))
    timeline.append(referral, "meeting_off", by, body | {"why": kept})
    alerting.tell_phone(
        referral,
        meeting.driver_name,
        meeting.driver_phone,
        by,
        f"meeting:{meeting.pk}:second:off",
        messages.not_needed(transfer),
    )
