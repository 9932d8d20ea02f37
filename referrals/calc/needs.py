"""From what is known of a baby and the mother to the care they need, with reasons.

The table of rules is in ``need_rules``. An assessment is the sum of the rules that fire: more and
worse findings only ever add to it, and while nothing is known the safest is assumed.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from referrals.calc.need_conditions import NeedRule, StatusT
from referrals.calc.need_rules import MOTHER_RULES, RULES
from referrals.calc.quantities import QUANTITIES
from referrals.calc.status import (
    BabyStatus,
    MotherStatus,
    known_value,
    lowest_heart_rate_band,
    quantity_of,
)
from referrals.calc.terms import (
    Bleeding,
    Breathing,
    Capability,
    Colour,
    Consciousness,
    GlucoseUnit,
    Placenta,
    Response,
    Support,
    Urgency,
)

__all__ = [
    "MOTHER_RULES",
    "RULES",
    "DerivedNeed",
    "NeedAssessment",
    "NeedRule",
    "assessment_of",
    "combine",
    "derive_needs",
    "lacking",
    "worst_urgency",
]


@dataclass(frozen=True, kw_only=True)
class DerivedNeed:
    """One rule that fired. ``limit_minutes`` is what is left of its limit, negative if passed."""

    rule_code: str
    words: str
    source: str
    capabilities: frozenset[Capability]
    preferred_capabilities: frozenset[Capability]
    urgency: Urgency
    limit_minutes: float | None


@dataclass(frozen=True, kw_only=True)
class NeedAssessment:
    """The care needed: all ``needs`` that fired and their sum.

    A unit must have every one of ``capabilities``; a missing one of ``preferred_capabilities`` is
    a reason against it, no more. ``limit_minutes`` counts from the moment that the status
    describes. ``missing`` names the facts that would change the sum if they were known; those of
    the mother begin with ``mother.``.
    """

    needs: tuple[DerivedNeed, ...]
    capabilities: frozenset[Capability]
    preferred_capabilities: frozenset[Capability]
    urgency: Urgency
    limit_minutes: float | None
    missing: tuple[str, ...]


def derive_needs(
    status: BabyStatus,
    mother: MotherStatus | None = None,
    *,
    rules: Sequence[NeedRule[BabyStatus]] = RULES,
    mother_rules: Sequence[NeedRule[MotherStatus]] = MOTHER_RULES,
) -> NeedAssessment:
    """Return the care that a baby needs, and the mother if she is part of the referral.

    ``mother=None`` leaves her out; ``MotherStatus()`` is a mother of whom nothing is known yet.
    Never raises for a reading: numbers that cannot be true count as unknown.
    """
    of_baby = _fired(status, rules)
    of_mother = _fired(mother, mother_rules) if mother is not None else ()
    missing = _missing(status, rules, beside=of_mother)
    if mother is not None:
        asked = _missing(mother, mother_rules, beside=of_baby)
        missing += tuple(f"mother.{fact}" for fact in asked)
    return assessment_of(of_baby + of_mother, missing)


def combine(assessments: Iterable[NeedAssessment]) -> NeedAssessment:
    """Return what several babies in one vehicle need together: the worst of each.

    All capabilities, the worst urgency, the shortest limit. The order does not matter to the sum.
    Raises ``ValueError`` if there is none.
    """
    together = tuple(assessments)
    if not together:
        raise ValueError("at least one assessment is needed")
    needs = dict.fromkeys(need for each in together for need in each.needs)
    missing = dict.fromkeys(fact for each in together for fact in each.missing)
    return assessment_of(tuple(needs), tuple(missing))


def assessment_of(needs: tuple[DerivedNeed, ...], missing: tuple[str, ...] = ()) -> NeedAssessment:
    """Return the sum of needs that fired; also for what is left when people override some."""
    required = frozenset[Capability]().union(*(need.capabilities for need in needs))
    preferred = frozenset[Capability]().union(*(need.preferred_capabilities for need in needs))
    limits = [need.limit_minutes for need in needs if need.limit_minutes is not None]
    return NeedAssessment(
        needs=needs,
        capabilities=required,
        preferred_capabilities=preferred - required,
        urgency=worst_urgency(need.urgency for need in needs),
        limit_minutes=min(limits, default=None),
        missing=missing,
    )


# A need for CPAP is a need for CPAP or a ventilator: a unit that can do more is not turned down.
_STANDS_IN_FOR = {Capability.VENTILATOR: Capability.CPAP}


def lacking(
    *, needed: frozenset[Capability], offered: frozenset[Capability]
) -> frozenset[Capability]:
    """Return what is needed and not offered; a ventilator also serves where CPAP is needed."""
    stand_ins = {_STANDS_IN_FOR[each] for each in offered if each in _STANDS_IN_FOR}
    return needed - offered - stand_ins


def worst_urgency(urgencies: Iterable[Urgency]) -> Urgency:
    """Return the fastest of several urgencies; ``STABLE`` if there is none."""
    present = set(urgencies)
    return next((urgency for urgency in Urgency if urgency in present), Urgency.STABLE)


def _fired(status: StatusT, rules: Sequence[NeedRule[StatusT]]) -> tuple[DerivedNeed, ...]:
    return tuple(_derived(rule, status) for rule in rules if rule.applies(status))


def _derived(rule: NeedRule[StatusT], status: StatusT) -> DerivedNeed:
    return DerivedNeed(
        rule_code=rule.code,
        words=rule.words,
        source=rule.source,
        capabilities=rule.capabilities,
        preferred_capabilities=rule.preferred_capabilities,
        urgency=rule.urgency,
        limit_minutes=_minutes_left(rule.limit_minutes, status),
    )


def _minutes_left(limit: float | None, status: BabyStatus | MotherStatus) -> float | None:
    """Return what is left of a limit that counts from birth; unknown while the age is."""
    if limit is None or not isinstance(status, BabyStatus):
        return limit
    age = known_value(status, "minutes_since_birth")
    return None if age is None else limit - age


# Values to try for a fact that is worded, not measured.
_WORDED_FACTS: dict[str, tuple[Any, ...]] = {
    "breathing": tuple(Breathing),
    "support": tuple(Support),
    "colour": tuple(Colour),
    "response": tuple(Response),
    "glucose_unit": tuple(GlucoseUnit),
    "convulsions": (True, False),
    "bleeding": tuple(Bleeding),
    "placenta": tuple(Placenta),
    "consciousness": tuple(Consciousness),
}


def _missing(
    status: StatusT, rules: Sequence[NeedRule[StatusT]], *, beside: tuple[DerivedNeed, ...]
) -> tuple[str, ...]:
    """Return the unknown facts that would change the sum, found by trying values for each.

    Only rules that are not settled as ``False`` are looked at: those stay so whatever is learnt.
    """
    unsettled = (rule for rule in rules if rule.applies(status) is not False)
    facts = dict.fromkeys(fact for rule in unsettled for fact in rule.facts)
    now = _sum(_fired(status, rules) + beside)
    return tuple(
        fact
        for fact in facts
        if _is_open(status, fact)
        and any(
            _sum(_fired(replace(status, **{fact: value}), rules) + beside) != now
            for value in _values_to_try(status, fact)
        )
    )


def _sum(needs: tuple[DerivedNeed, ...]) -> NeedAssessment:
    """Return an assessment without its reasons, to compare."""
    return replace(assessment_of(needs, ()), needs=())


def _is_open(status: BabyStatus | MotherStatus, fact: str) -> bool:
    """Return whether a fact is unknown. Heart rate is asked as a count, and a felt band answers."""
    if isinstance(status, BabyStatus) and fact in {"heart_rate", "heart_rate_band"}:
        return fact == "heart_rate" and lowest_heart_rate_band(status) is None
    return known_value(status, fact) is None


def _values_to_try(status: BabyStatus | MotherStatus, fact: str) -> tuple[Any, ...]:
    """Return both ends of what is possible for a number, or every word."""
    quantity = quantity_of(fact, glucose_unit=getattr(status, "glucose_unit", None))
    if quantity is None:
        return _WORDED_FACTS[fact]
    bounds = QUANTITIES[quantity]
    return (bounds.possible_low, bounds.possible_high)
