"""What happens now, as the people at both ends read it: who, from where, when, whom to call."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from referrals.calc.needs import NeedAssessment
from referrals.calc.status import BabyStatus, summary_in_words
from referrals.models import Baby, Offer, Referral
from referrals.reading import assess, baby_status
from transport.calc.checks_due import next_check_due
from transport.calc.stages import TransferStage
from transport.estimating import Window, collection_estimate, oxygen_plan, projected_arrival
from transport.labels import STAGES
from transport.models import Transfer


@dataclass(frozen=True)
class Between:
    """A time window: likely not before ``early``, likely not after ``late``."""

    early: datetime
    late: datetime


@dataclass(frozen=True)
class BabyNow:
    """One baby as the pages show it."""

    baby: Baby
    status: BabyStatus
    summary: str
    next_check: datetime | None


def newest_transfer(referral: Referral) -> Transfer | None:
    """The journey of a referral: the live one, else the last one."""
    transfer = (
        referral.transfers.select_related("vehicle__base", "vehicle__driver", "destination__site")
        .order_by("-pk")
        .first()
    )
    if transfer:
        transfer.referral = referral
    return transfer


def babies_now(referral: Referral, transfer: Transfer | None, now: datetime) -> list[BabyNow]:
    """The babies of a referral with what is known of them."""
    found = []
    for baby in referral.babies.all():
        baby.referral = referral
        status = baby_status(baby, now)
        found.append(
            BabyNow(baby, status, summary_in_words(status), _next_check(baby, transfer, now))
        )
    return found


def what_happens(referral: Referral, now: datetime) -> dict[str, Any]:
    """Everything the attendant's page says about now."""
    transfer = newest_transfer(referral)
    offers = list(referral.offers.select_related("unit__site"))
    accepted = next((offer for offer in offers if offer.stage == "accepted"), None)
    live = transfer if transfer and transfer.is_live else None
    return {
        "transfer": transfer,
        "stage_words": STAGES[TransferStage(transfer.stage)] if transfer else "",
        "offers": offers,
        "accepted": accepted,
        "at_post": _at_the_post(live, now),
        "at_unit": arrival(live, now),
        "oxygen": _oxygen(live, now),
        "babies": babies_now(referral, transfer, now),
    }


def arrival(transfer: Transfer | None, now: datetime) -> Between | None:
    """When the baby is expected at the unit; nothing once it has arrived or while unknown."""
    if transfer is None or transfer.arrived_at:
        return None
    window = projected_arrival(transfer, now)
    return _between(window) if window else None


def arrival_shown(offer: Offer, transfer: Transfer | None, now: datetime) -> Between | None:
    """The live window, or, before a vehicle is known, the window shown with the question."""
    live = arrival(transfer, now) if transfer and transfer.destination == offer.unit else None
    told = offer.shown.get("arrival") or {}
    if live or not told.get("p10_minutes"):
        return live
    return Between(
        offer.asked_at + timedelta(minutes=told["p10_minutes"]),
        offer.asked_at + timedelta(minutes=told["p90_minutes"]),
    )


def needs_of(referral: Referral, now: datetime) -> NeedAssessment:
    """The care that is needed, with its reasons."""
    return assess(referral, now)


def _between(window: Window) -> Between:
    return Between(window.p10, window.p90)


def _at_the_post(transfer: Transfer | None, now: datetime) -> Between | None:
    if transfer is None or transfer.at_origin_at or transfer.vehicle is None:
        return None
    estimate = collection_estimate(transfer, now)
    if estimate is None or estimate.p10_minutes is None or estimate.p90_minutes is None:
        return None
    return Between(
        now + timedelta(minutes=estimate.p10_minutes),
        now + timedelta(minutes=estimate.p90_minutes),
    )


def _next_check(baby: Baby, transfer: Transfer | None, now: datetime) -> datetime | None:
    if transfer is None or not transfer.is_live or baby.ending:
        return None
    last = transfer.checks.filter(baby=baby).order_by("-checked_at").first()
    return next_check_due(
        last_check_at=last.checked_at if last else None,
        started_at=transfer.left_post_at or transfer.wanted_at,
        interval_minutes=transfer.referral.district.check_minutes,
    )


def _oxygen(transfer: Transfer | None, now: datetime) -> dict[str, Any] | None:
    plan = oxygen_plan(transfer, now) if transfer else None
    return plan.as_dict() if plan else None
