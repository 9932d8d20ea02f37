"""Rows of the rule table that could never matter, or that contradict one another, are found."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import product
from typing import Any

import pytest
from need_examples import WELL, WELL_MOTHER, WORDED

from referrals.calc import need_conditions as when
from referrals.calc.need_conditions import NeedRule
from referrals.calc.needs import MOTHER_RULES, RULES, assessment_of, derive_needs
from referrals.calc.quantities import QUANTITIES
from referrals.calc.status import BabyStatus, quantity_of
from referrals.calc.terms import Capability, GlucoseUnit, Urgency

SAYS_WHY_ONLY = {"nothing_known", "glucose_very_low"}
"""Ask for nothing that the row after them does not ask for: they are there for their words."""
POINTS = 61


def values_to_try(fact: str, unit: GlucoseUnit | None) -> list[Any]:
    """Every word of a fact, or points spread over all that can be told of it; and not known."""
    if fact == "convulsions":
        return [None, True, False]
    if fact in WORDED:
        return [None, *WORDED[fact]]
    bounds = QUANTITIES[quantity_of(fact, glucose_unit=unit) or ""]
    low, high = bounds.unusual_low, bounds.unusual_high
    steps = [low + (high - low) * step / (POINTS - 1) for step in range(POINTS)]
    return [None, bounds.possible_low, *steps, bounds.possible_high]


def around(rule: NeedRule[Any], well: Any) -> Iterator[Any]:
    """Babies or mothers who are well but for the facts of one rule, two of them at a time."""
    unit = getattr(well, "glucose_unit", None)
    facts = [fact for fact in rule.facts if fact != "heart_rate_band"][:6]
    for one in facts:
        for other in facts:
            values = values_to_try(one, unit), values_to_try(other, unit)
            if one >= other and len(facts) > 1:
                continue
            for first, second in product(*values) if one != other else zip(*values, strict=True):
                yield replace(well, **{one: first, other: second})


def faults(rules: Sequence[NeedRule[Any]], well: Any) -> list[str]:
    """What is wrong with a table: rows that never fire, always fire, add nothing or contradict."""
    found = []
    for rule in rules:
        if rule.capabilities & rule.preferred_capabilities:
            found.append(f"{rule.code} both needs and prefers")
        cases = [*around(rule, well), type(well)()]
        answers = [rule.applies(case) for case in cases]
        if True not in answers:
            found.append(f"{rule.code} never fires")
        if False not in answers:
            found.append(f"{rule.code} is never silent")
        fires = [case for case, answer in zip(cases, answers, strict=True) if answer]
        if fires and not any(_adds(rule, rules, case) for case in fires):
            found.append(f"{rule.code} adds nothing")
    return found


def _adds(rule: NeedRule[Any], rules: Sequence[NeedRule[Any]], case: Any) -> bool:
    """Whether the sum is another one without the rule."""
    others = [each for each in rules if each.code != rule.code]
    return _sum(rules, case) != _sum(others, case)


def _sum(rules: Sequence[NeedRule[Any]], case: Any) -> Any:
    if isinstance(case, BabyStatus):
        needs = derive_needs(case, rules=rules).needs
    else:
        needs = derive_needs(BabyStatus(), case, rules=(), mother_rules=rules).needs
    return replace(assessment_of(needs), needs=())


def test_no_row_for_a_baby_is_unreachable_useless_or_at_odds_with_itself() -> None:
    found = faults(RULES, WELL)
    assert {fault.split()[0] for fault in found} <= SAYS_WHY_ONLY, found


@pytest.mark.parametrize("rule", MOTHER_RULES, ids=lambda rule: rule.code)
def test_no_row_for_a_mother_is_unreachable(rule: NeedRule[Any]) -> None:
    """Each asks for the same care, so each is looked at by itself."""
    assert faults([rule], WELL_MOTHER) == []


def planted(**changes: Any) -> NeedRule[BabyStatus]:
    row = NeedRule[BabyStatus](
        code="planted",
        words="Planted",
        source="a test",
        applies=when.below("weight_g", 1200),
        capabilities=frozenset({Capability.SURGERY}),
        urgency=Urgency.URGENT,
        facts=("weight_g",),
    )
    return replace(row, **changes)


def test_a_good_row_passes() -> None:
    assert faults([planted()], WELL) == []


@pytest.mark.parametrize(
    ("changes", "fault"),
    [
        ({"applies": when.below("weight_g", 150)}, "planted never fires"),
        ({"applies": lambda status: True}, "planted is never silent"),
        (
            {
                "applies": when.both(when.below("weight_g", 900), when.above("weight_g", 1200)),
            },
            "planted never fires",
        ),
        (
            {"preferred_capabilities": frozenset({Capability.SURGERY})},
            "planted both needs and prefers",
        ),
        ({"capabilities": frozenset(), "urgency": Urgency.STABLE}, "planted adds nothing"),
    ],
)
def test_a_planted_fault_is_found(changes: dict[str, Any], fault: str) -> None:
    assert fault in faults([planted(**changes)], WELL)


def test_a_row_in_the_shadow_of_a_stronger_one_is_found() -> None:
    wider = planted(code="wider", applies=when.below("weight_g", 1500))
    assert faults([wider, planted()], WELL) == ["planted adds nothing"]
