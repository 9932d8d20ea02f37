"""What is told of a journey by SMS, turned into the verbs a page would call."""

from collections.abc import Mapping
from typing import Any

from referrals import recording
from referrals.acting import By
from referrals.calc.states import NotPossible
from referrals.calc.wording import words
from referrals.models import Baby, Referral
from transport import milestones, on_the_way, tracking
from transport.calc.stages import WITH_VEHICLE, require_milestone
from transport.models import Transfer
from transport.models.transfers import ABOARD


def driven_from(number: str) -> list[Referral]:
    """The referrals whose live journey is driven by the phone with this number."""
    stages = [stage.value for stage in WITH_VEHICLE]
    rows = Transfer.objects.filter(driver_phone=number, stage__in=stages)
    return [row.referral for row in rows.select_related("referral__district", "referral__origin")]


def observe(
    by: By, baby: Baby, facts: Mapping[str, Any], *, oxygen_bar: float | None = None
) -> None:
    """A check of the journey while the baby is aboard, or when the gauge is told."""
    transfer = _live(baby.referral)
    if transfer and (transfer.stage in ABOARD or oxygen_bar is not None):
        told = on_the_way.CheckTold(facts=facts, oxygen_bar=oxygen_bar)
        on_the_way.check(by, transfer, baby, told)
    else:
        recording.observe(by, baby, facts)


def reach(by: By, referral: Referral, milestone: str) -> None:
    """Report a milestone of the live journey."""
    transfer = _live(referral)
    if transfer is None:
        raise NotPossible(
            words("%(code)s has no journey under way.", code=referral.code), code="no_vehicle"
        )
    milestones.reach(by, transfer, require_milestone(milestone))


def tell_position(by: By, referral: Referral, place: tuple[float, float]) -> None:
    """Store where the vehicle is; told twice for one moment it is one position."""
    transfer = _live(referral)
    if transfer is None:
        return
    latitude, longitude = place
    told = tracking.PositionTold(
        key=f"sms-{by.when.happened_at.timestamp():.0f}",
        happened_at=by.when.happened_at,
        latitude=latitude,
        longitude=longitude,
    )
    tracking.record(transfer, [told], received_at=by.received_at)


def _live(referral: Referral) -> Transfer | None:
    return referral.transfers.live().order_by("-pk").first()
