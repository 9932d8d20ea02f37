"""What the breaths have come to, for desk and unit: since when, what was tried, the heart."""

from dataclasses import dataclass
from datetime import datetime

from referrals.calc.chest_steps import STEP_OF
from referrals.calc.no_heartbeat import NoHeartbeat
from referrals.models import Baby, Referral
from referrals.reading import baby_status
from referrals.ventilating import heartbeat_missing


@dataclass(frozen=True)
class TriedLine:
    """One step that was tried, as it is read."""

    at: datetime
    words: str
    moves: bool


@dataclass(frozen=True)
class Breaths:
    """One baby: minutes of ventilation so far, and of breaths without a heartbeat found."""

    row: Baby
    minutes: float | None
    tried: list[TriedLine]
    no_heartbeat: NoHeartbeat | None
    without: float | None


def tried_lines(baby: Baby) -> list[TriedLine]:
    """What was tried for a baby, oldest first."""
    return [
        TriedLine(row.tried_at, STEP_OF[row.step].words, row.chest_moves)
        for row in baby.chest_tries.standing()
        if row.step in STEP_OF
    ]


def breaths_of(referral: Referral, now: datetime) -> list[Breaths]:
    """Each baby that still needs somebody."""
    found = []
    for baby in referral.babies.filter(ending=""):
        baby.referral = referral
        missing = heartbeat_missing(baby)
        found.append(
            Breaths(
                row=baby,
                minutes=baby_status(baby, now).minutes_ventilated,
                tried=tried_lines(baby),
                no_heartbeat=missing,
                without=missing.minutes_at(now) if missing else None,
            )
        )
    return found
