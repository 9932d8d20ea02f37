"""Everything that a person can tell about a referral, by the word of its kind and its number."""

from typing import Any

from django.db.models import QuerySet

from referrals import correcting
from referrals.acting import By
from referrals.models import ChestTry, MotherObservation, Observation, Outcome, Referral, ScoreTaken
from transport import on_the_way
from transport.models import BandReading, Check

KINDS = [*correcting.KINDS.values(), *on_the_way.KINDS.values()]


def rows_of(referral: Referral, kind: str) -> QuerySet[Any]:
    """All rows of a kind that were told of a referral, those put right among them."""
    match kind:
        case "reading":
            return Observation.objects.filter(baby__referral=referral).select_related("note")
        case "mother":
            return MotherObservation.objects.filter(mother__referral=referral)
        case "treatment":
            return referral.treatments.select_related("told", "baby")
        case "advice":
            return referral.advice.select_related("text")
        case "outcome":
            return Outcome.objects.filter(baby__referral=referral).select_related("words")
        case "score":
            return ScoreTaken.objects.filter(baby__referral=referral).select_related("baby")
        case "chest":
            return ChestTry.objects.filter(baby__referral=referral)
        case "check":
            checks = Check.objects.filter(transfer__referral=referral)
            return checks.select_related("observation", "stopped_because", "cylinder")
        case "band":
            return BandReading.objects.filter(transfer__referral=referral)
        case _:
            raise ValueError(kind)


def withdraw(by: By, row: Any, *, reason: str) -> Any:
    """Take back any of them, each by its own verb."""
    verb = on_the_way.withdraw if isinstance(row, Check | BandReading) else correcting.withdraw
    return verb(by, row, reason=reason)
