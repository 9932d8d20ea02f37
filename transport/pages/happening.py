"""What happens now, as the people at both ends read it: who, from where, when, whom to call."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.utils.translation import gettext as _

from referrals.calc.needs import NeedAssessment
from referrals.calc.status import BabyStatus, summary_in_words
from referrals.examining import standing_examination
from referrals.labels import FIELDS
from referrals.models import Baby, Need, Offer, Referral
from referrals.reading import assess, baby_status, intervals_of
from transport.calc.checks_due import next_check_due
from transport.calc.stages import TransferStage
from transport.estimating import Window, collection_estimate, projected_arrival
from transport.labels import STAGES
from transport.models import Transfer
from transport.oxygen_ahead import oxygen_plan


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

    @property
    def examined(self) -> bool:
        """Whether a first full examination was told; asked only where a page says it."""
        return standing_examination(self.baby) is not None


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


def missing_words(assessment: NeedAssessment) -> list[str]:
    """The facts that would change the needs if they were known, by their names."""
    named = {"minutes_since_birth": "born_at", "minutes_ventilated": "ventilated_since"}
    said = []
    for fact in assessment.missing:
        of_mother, name = fact.startswith("mother."), fact.removeprefix("mother.")
        label = str(FIELDS[named.get(name, name)])
        said.append(_("mother: %s") % label if of_mother else label)
    return list(dict.fromkeys(said))


@dataclass(frozen=True)
class NeedLine:
    """One need as it is read: worked out, or set aside by somebody with a reason."""

    words: str
    source: str
    row: Need | None
    line_at: datetime | None = None


def need_lines(referral: Referral, assessment: NeedAssessment, now: datetime) -> list[NeedLine]:
    """The needs that hold now, then those that a person has set aside; both stay in sight."""
    rows = list(referral.needs.filter(superseded_at=None).order_by("pk"))
    standing = {row.rule: row for row in rows if not row.overridden_by}
    holding = [
        NeedLine(
            need.words,
            need.source,
            standing.get(need.rule_code),
            now + timedelta(minutes=need.limit_minutes) if need.limit_minutes else None,
        )
        for need in assessment.needs
    ]
    return holding + [NeedLine(row.words, row.source, row) for row in rows if row.overridden_by]


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
    last = transfer.checks.standing().filter(baby=baby).order_by("-checked_at").first()
    return next_check_due(
        last_check_at=last.checked_at if last else None,
        started_at=transfer.left_post_at or transfer.wanted_at,
        interval_minutes=intervals_of(baby, now).check,
    )


def _oxygen(transfer: Transfer | None, now: datetime) -> dict[str, Any] | None:
    plan = oxygen_plan(transfer, now) if transfer else None
    return plan.as_dict() if plan else None
