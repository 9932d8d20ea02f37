"""Facts about the breaths: what was tried when the chest did not move, no heartbeat found.

As in ``recording.py``: a fact is kept whenever it comes, and its Entry with it.
Nothing here asks the one who ventilates.
"""

from datetime import datetime

from django.db import transaction

from referrals import recording, timeline
from referrals.acting import By
from referrals.calc.chest_steps import STEP_OF, ChestStep, Tried, next_step
from referrals.calc.no_heartbeat import HeartTold, NoHeartbeat, no_heartbeat
from referrals.calc.status import BabyStatus, is_being_ventilated, lowest_heart_rate_band
from referrals.calc.terms import Breathing, HeartRateBand, Support
from referrals.calc.wording import words
from referrals.models import Baby, ChestTry, Observation


def try_step(by: By, baby: Baby, step: str, *, chest_moves: bool) -> ChestTry:
    """Record one step and what the chest did; it is a reading of the baby too.

    Raises:
        UnknownFact: for a step that is not in the list.
    """
    if step not in STEP_OF:
        raise recording.UnknownFact(
            "step", words("there is no such step; known are: %(known)s", known=", ".join(STEP_OF))
        )
    with transaction.atomic():
        referral = timeline.hold(baby.referral_id)
        row = ChestTry.objects.create(
            baby=baby,
            step=step,
            chest_moves=chest_moves,
            tried_at=by.at,
            told_by=by.name,
            recorded_at=by.received_at,
        )
        body = {"baby": baby.birth_order, "step": step, "chest_moves": chest_moves}
        timeline.append(referral, "chest_tried", by, body)
        row.observation = recording.observe(by, baby, {"chest_moving": chest_moves})
        row.save(update_fields=["observation"])
    return row


def step_to_try(baby: Baby, now: datetime) -> ChestStep | None:
    """What to read out now; ``None`` when every step was tried in this row."""
    rows = baby.chest_tries.standing()
    return next_step([Tried(row.step, row.tried_at, row.chest_moves) for row in rows], now)


def heartbeat_missing(baby: Baby) -> NoHeartbeat | None:
    """The run of readings without a heartbeat, up to the newest reading that stands."""
    return no_heartbeat(_heart_told(row) for row in baby.observations.standing())


def _heart_told(row: Observation) -> HeartTold:
    told = BabyStatus(
        breathing=Breathing(row.breathing) if row.breathing in set(Breathing) else None,
        support=Support(row.support) if row.support in set(Support) else None,
        heart_rate=row.heart_rate,
        heart_rate_band=HeartRateBand(row.heart_rate_band)
        if row.heart_rate_band in set(HeartRateBand)
        else None,
    )
    return HeartTold(
        at=row.observed_at,
        sequence=row.pk,
        band=lowest_heart_rate_band(told),
        ventilated=False if told.breathing is Breathing.REGULAR else is_being_ventilated(told),
        chest_moves=row.chest_moving,
    )
