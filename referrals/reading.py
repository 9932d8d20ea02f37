"""What is known of a baby or a mother now, folded from rows into the plain records of ``calc``."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime
from typing import Any

from referrals.calc.check_intervals import Intervals, intervals_for
from referrals.calc.need_conditions import NeedRule
from referrals.calc.needs import (
    MOTHER_RULES,
    RULES,
    NeedAssessment,
    assessment_of,
    combine,
    derive_needs,
)
from referrals.calc.status import (
    BabyStatus,
    MotherStatus,
    fold_readings,
    is_being_ventilated,
)
from referrals.calc.terms import (
    Bleeding,
    Breathing,
    Colour,
    Consciousness,
    GlucoseUnit,
    HeartRateBand,
    Placenta,
    Response,
    Support,
)
from referrals.calc.tightening import changed
from referrals.models import (
    Baby,
    District,
    LocalRule,
    Mother,
    MotherObservation,
    Observation,
    Referral,
)

WORDS = {
    "breathing": Breathing,
    "support": Support,
    "heart_rate_band": HeartRateBand,
    "colour": Colour,
    "response": Response,
    "glucose_unit": GlucoseUnit,
    "bleeding": Bleeding,
    "placenta": Placenta,
    "consciousness": Consciousness,
}
"""Which facts are words, and of which list."""


def known_facts(
    observations: Iterable[Observation | MotherObservation],
) -> dict[str, tuple[Any, datetime]]:
    """The newest value of each fact and when it was true; only rows that stand count."""
    rows = list(observations)
    corrected = {row.corrects_id for row in rows if row.corrects_id}
    return fold_readings(
        {"at": row.observed_at, "sequence": row.pk, **row.facts()}
        for row in rows
        if row.pk not in corrected and row.withdrawn_at is None
    )


def baby_status(baby: Baby, now: datetime) -> BabyStatus:
    """What is known of one baby at a moment; its clocks stop at its ending."""
    now = min(now, baby.ended_at) if baby.ending and baby.ended_at else now
    facts = {name: value for name, (value, _) in known_facts(baby.observations.all()).items()}
    facts.setdefault("weight_g", baby.weight_g)
    facts.setdefault("gestation_weeks", baby.gestation_weeks)
    words = _as_words(facts, BabyStatus)
    ventilated_now = is_being_ventilated(
        BabyStatus(breathing=words.get("breathing"), support=words.get("support"))
    )
    return BabyStatus(
        minutes_since_birth=_minutes(baby.born_at, now),
        # Known to breathe alone: the clock of the ventilation has stopped, its length is not known.
        minutes_ventilated=None
        if ventilated_now is False
        else _minutes(baby.ventilated_since, now),
        **words,
    )


def intervals_of(baby: Baby, now: datetime) -> Intervals:
    """How often the baby is checked and its temperature taken, by its state and district."""
    district = baby.referral.district
    usual = Intervals(check=district.check_minutes, temperature=district.temperature_minutes)
    return intervals_for(baby_status(baby, now), district.intervals_by_state, usual=usual)


def mother_status(mother: Mother) -> MotherStatus:
    """What is known of the mother."""
    facts = {name: value for name, (value, _) in known_facts(mother.observations.all()).items()}
    return MotherStatus(**_as_words(facts, MotherStatus))


def rules_of(
    district: District,
) -> tuple[list[NeedRule[BabyStatus]], list[NeedRule[MotherStatus]]]:
    """The need rules as they hold in a district: the shipped rows, and what it changed in them."""
    local = {row.rule: row.change() for row in LocalRule.objects.filter(district=district)}
    return (
        [changed(row, local[row.code]) if row.code in local else row for row in RULES],
        [changed(row, local[row.code]) if row.code in local else row for row in MOTHER_RULES],
    )


def babies_on_the_way(referral: Referral) -> list[Baby]:
    """The babies that still need somebody: those without an ending."""
    return [baby for baby in referral.babies.all() if not baby.ending]


def assess(referral: Referral, now: datetime) -> NeedAssessment:
    """The care that all babies without an ending, and the mother, need together.

    Overridden needs are left out; the override stands on the timeline with its reason.
    """
    mother = getattr(referral, "mother", None)
    told = mother_status(mother) if mother and mother.travels is not False else None
    babies = babies_on_the_way(referral) or list(referral.babies.all()[:1])
    rules, mother_rules = rules_of(referral.district)
    whole = combine(
        derive_needs(baby_status(baby, now), told, rules=rules, mother_rules=mother_rules)
        for baby in babies
    )
    overridden = set(referral.needs.exclude(overridden_by="").values_list("rule", flat=True))
    return without(whole, overridden)


def without(assessment: NeedAssessment, overridden: set[str]) -> NeedAssessment:
    """The assessment less the rules that a person has overridden.

    The urgency stays: which care is needed was decided by a person, not that it may wait.
    """
    if not overridden:
        return assessment
    left = tuple(need for need in assessment.needs if need.rule_code not in overridden)
    return replace(assessment_of(left, assessment.missing), urgency=assessment.urgency)


def _as_words(facts: dict[str, Any], record: type) -> dict[str, Any]:
    fields = record.__dataclass_fields__  # type: ignore[attr-defined]
    return {
        name: WORDS[name](value) if name in WORDS else value
        for name, value in facts.items()
        if name in fields and value is not None
    }


def _minutes(since: datetime | None, now: datetime) -> float | None:
    return (now - since).total_seconds() / 60 if since else None
