"""What was told of the mother, treatments and advice; also under another code of the same baby."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from referrals.models import Advice, MotherObservation, Observation, Referral, TreatmentGiven
from referrals.reading import known_facts
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


def told_of(referral: Referral) -> dict[str, Any]:
    """What is known of the mother, what was given, what was advised: for ``told.html``."""
    mother = getattr(referral, "mother", None)
    known = known_facts(mother.observations.all()) if mother else {}
    facts = {name: value for name, (value, _) in known.items()}
    beside = {"age_years": mother.age_years, "travels": mother.travels} if mother else {}
    return {
        "mother_facts": facts | {k: v for k, v in beside.items() if v is not None},
        "mother_readings": mother.observations.newest().select_related("note") if mother else (),
        "treatments": referral.treatments.newest()
        .select_related("told", "baby__referral", "withdrawn_why", "corrects__told")
        .order_by("pk"),
        "advice": referral.advice.newest()
        .select_related("text", "withdrawn_why", "corrects__text")
        .order_by("pk"),
    }


def told_too(referral: Referral, now: datetime) -> list[ToldToo]:
    """Everything told under the codes that were joined into this one, oldest first."""
    return [_told_under(each, now) for each in referral.joined_from.order_by("raised_at", "pk")]


def _told_under(joined: Referral, now: datetime) -> ToldToo:
    of_babies = Observation.objects.standing().filter(baby__referral=joined)
    of_mother = MotherObservation.objects.standing().filter(mother__referral=joined)
    rows: list[Observation | MotherObservation] = [
        *of_babies.select_related("baby__referral"),
        *of_mother.select_related("mother"),
    ]
    return ToldToo(
        referral=joined,
        babies=babies_now(joined, None, now),
        observations=sorted(rows, key=lambda row: (row.observed_at, row.pk)),
        treatments=list(joined.treatments.standing().select_related("told").order_by("pk")),
        advice=list(joined.advice.standing().select_related("text").order_by("pk")),
        notes=[str(text) for text in joined.texts.filter(kind="note").order_by("pk")],
    )
