"""What was told under another code of the same baby: read from there, never copied."""

from dataclasses import dataclass
from datetime import datetime

from referrals.models import Advice, MotherObservation, Observation, Referral, TreatmentGiven
from transport.pages.happening import BabyNow, babies_now


@dataclass(frozen=True)
class ToldToo:
    """One referral that was joined into another, with everything told under its code."""

    referral: Referral
    babies: list[BabyNow]
    observations: list[Observation | MotherObservation]
    treatments: list[TreatmentGiven]
    advice: list[Advice]
    notes: list[str]


def told_too(referral: Referral, now: datetime) -> list[ToldToo]:
    """Everything told under the codes that were joined into this one, oldest first."""
    return [_told_under(each, now) for each in referral.joined_from.order_by("raised_at", "pk")]


def _told_under(joined: Referral, now: datetime) -> ToldToo:
    of_babies = Observation.objects.filter(baby__referral=joined, corrected_by=None)
    of_mother = MotherObservation.objects.filter(mother__referral=joined, corrected_by=None)
    rows: list[Observation | MotherObservation] = [
        *of_babies.select_related("baby__referral"),
        *of_mother.select_related("mother"),
    ]
    return ToldToo(
        referral=joined,
        babies=babies_now(joined, None, now),
        observations=sorted(rows, key=lambda row: (row.observed_at, row.pk)),
        treatments=list(joined.treatments.select_related("told").order_by("pk")),
        advice=list(joined.advice.select_related("text").order_by("pk")),
        notes=[str(text) for text in joined.texts.filter(kind="note").order_by("pk")],
    )
