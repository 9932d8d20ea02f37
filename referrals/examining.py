"""The first full examination of a baby: done by whom, when, and what was found.

A referral does not wait for it: what is not done before the road is carried over to the unit, which
is asked for it after the handover (``owed_after.py``). Nobody is asked on the road.
"""

from datetime import datetime

from django.db import transaction

from referrals import recording, timeline
from referrals.acting import By
from referrals.models import Baby, Examination


def examine(
    by: By,
    baby: Baby,
    *,
    examined_by: str = "",
    examined_at: datetime | None = None,
    findings: str = "",
) -> Examination:
    """Record that a baby was examined; by whoever tells it and now, when nothing else is said.

    Raises:
        UnknownFact: beside ``examined_at``, for a time before the birth or one still to come.
    """
    recording.require_times(by, {"examined_at": examined_at}, born_at=baby.born_at)
    with transaction.atomic():
        referral = timeline.hold(baby.referral_id)
        found = timeline.keep_text(referral, "examination", findings) if findings else None
        row = Examination.objects.create(
            baby=baby,
            examined_at=examined_at or by.at,
            examined_by=examined_by or by.name,
            findings=found,
            told_by=by.name,
            recorded_at=by.received_at,
        )
        body = {"baby": baby.birth_order, "examined_at": row.examined_at}
        if examined_by:
            kept = timeline.keep_text(referral, "examined_by", examined_by)
            body["examined_by"] = timeline.committed(kept)
        if found:
            body["findings"] = timeline.committed(found)
        timeline.append(referral, "examined", by, body)
    return row


def standing_examination(baby: Baby) -> Examination | None:
    """The first full examination that was told and not taken back; ``None`` while not told."""
    rows = baby.examinations.standing().select_related("findings")
    return rows.order_by("examined_at", "pk").first()
