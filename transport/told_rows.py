"""Everything that a person can tell about a referral, by the word of its kind and its number."""

from collections.abc import Callable
from typing import Any

from django.db.models import QuerySet

from referrals import correcting
from referrals.acting import By
from referrals.models import (
    ChestTry,
    Examination,
    MotherObservation,
    Observation,
    Outcome,
    Referral,
    ScoreTaken,
)
from transport import on_the_way
from transport.models import BandReading, Check

KINDS = [*correcting.KINDS.values(), *on_the_way.KINDS.values()]


def rows_of(referral: Referral, kind: str) -> QuerySet[Any]:
    """All rows of a kind that were told of a referral, those put right among them."""
    if kind not in _ROWS:
        raise ValueError(kind)
    return _ROWS[kind](referral)


_ROWS: dict[str, Callable[[Referral], QuerySet[Any]]] = {
    "reading": lambda of: Observation.objects.filter(baby__referral=of).select_related("note"),
    "mother": lambda of: MotherObservation.objects.filter(mother__referral=of),
    "treatment": lambda of: of.treatments.select_related("told", "baby"),
    "advice": lambda of: of.advice.select_related("text"),
    "outcome": lambda of: Outcome.objects.filter(baby__referral=of).select_related(
        "words", "learn"
    ),
    "score": lambda of: ScoreTaken.objects.filter(baby__referral=of).select_related("baby"),
    "chest": lambda of: ChestTry.objects.filter(baby__referral=of),
    "examination": lambda of: Examination.objects.filter(baby__referral=of).select_related(
        "findings"
    ),
    "check": lambda of: Check.objects.filter(transfer__referral=of).select_related(
        "observation", "stopped_because", "cylinder"
    ),
    "band": lambda of: BandReading.objects.filter(transfer__referral=of),
}


def withdraw(by: By, row: Any, *, reason: str) -> Any:
    """Take back any of them, each by its own verb."""
    verb = on_the_way.withdraw if isinstance(row, Check | BandReading) else correcting.withdraw
    return verb(by, row, reason=reason)
