"""A district's own form of a rule only ever asks for more, unless somebody stands for less."""

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from need_examples import WELL, babies

from referrals.calc.needs import RULES, derive_needs
from referrals.calc.status import BabyStatus
from referrals.calc.terms import Capability, Urgency
from referrals.calc.tightening import RuleChange, changed, faults_of, loosened_by

RULE = {rule.code: rule for rule in RULES}
SMALL = RULE["under_1800_g_or_34_weeks"]
CPAP = frozenset({Capability.CPAP})


def test_nothing_changed_is_the_shipped_row() -> None:
    same = changed(SMALL, RuleChange(source="as it was"))
    assert replace(same, source=SMALL.source) == SMALL


def test_a_district_lets_a_rule_fire_for_more_babies() -> None:
    wider = changed(SMALL, RuleChange(also_when=[{"fact": "weight_g", "below": 2000}], source="x"))
    baby = replace(WELL, weight_g=1900)
    assert SMALL.applies(baby) is False
    assert wider.applies(baby) is True
    assert wider.applies(replace(WELL, weight_g=2000)) is False
    assert SMALL.source in wider.source
    assert wider.source.endswith("x, version 1 of the district")


def test_a_fact_that_only_the_district_reads_is_asked_for_when_it_is_missing() -> None:
    also = RuleChange(also_when=[{"fact": "spo2", "below": 93}], source="x")
    rules = [changed(SMALL, also)]
    assert "spo2" in derive_needs(replace(WELL, spo2=None), rules=rules).missing
    assert "spo2" not in derive_needs(replace(WELL, spo2=None), rules=[SMALL]).missing


limits = st.sampled_from(["weight_g", "gestation_weeks", "temperature_c", "spo2", "heart_rate"])
comparisons = st.sampled_from(["below", "above", "at_least"])
conditions = st.builds(
    lambda fact, how, limit: {"fact": fact, how: limit}, limits, comparisons, st.floats(21, 45)
)


@given(babies, st.sampled_from(RULES), conditions, st.sets(st.sampled_from(list(Capability))))
def test_what_is_tightened_never_lowers_a_need(
    baby: BabyStatus, rule: Any, also: dict[str, Any], more: set[Capability]
) -> None:
    change = RuleChange(
        also_when=[also],
        capabilities=rule.capabilities | more,
        urgency=Urgency.VENTILATED,
        source="x",
    )
    if faults_of(rule, change):
        return
    assert loosened_by(rule, change) == []
    tightened = derive_needs(baby, rules=[changed(rule, change) if r == rule else r for r in RULES])
    shipped = derive_needs(baby)
    assert tightened.capabilities >= shipped.capabilities
    assert list(Urgency).index(tightened.urgency) <= list(Urgency).index(shipped.urgency)
    wanted = tightened.capabilities | tightened.preferred_capabilities
    assert wanted >= shipped.capabilities | shipped.preferred_capabilities


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (RuleChange(capabilities=CPAP), "no longer needed: intravenous fluids, oxygen"),
        (RuleChange(urgency=Urgency.STABLE), "less urgent"),
    ],
)
def test_asking_for_less_is_said(change: RuleChange, said: str) -> None:
    assert said in " ".join(loosened_by(SMALL, change))


def test_a_preference_that_is_dropped_is_said_and_one_that_is_now_needed_is_not() -> None:
    rule = RULE["spo2_low"]
    assert rule.preferred_capabilities == CPAP
    assert loosened_by(rule, RuleChange(preferred_capabilities=frozenset())) != []
    needed = RuleChange(capabilities=rule.capabilities | CPAP, preferred_capabilities=frozenset())
    assert loosened_by(rule, needed) == []


@pytest.mark.parametrize(
    ("condition", "said"),
    [
        ({"fact": "weight_g", "below": 100}, "never or always"),
        ({"fact": "weight_g", "below": 9000}, "never or always"),
        ({"fact": "mood", "below": 3}, "no measured fact"),
        ({"fact": "glucose", "below": 3}, "no measured fact"),
        ({"fact": "systolic_mmhg", "below": 90}, "no measured fact"),
        ({"fact": "weight_g", "near": 2000}, "compare with one of"),
        ({"fact": "weight_g", "below": "light"}, "compared with a number"),
        ({"fact": "weight_g"}, "write a condition"),
        ("weight", "write a condition"),
    ],
)
def test_a_condition_that_cannot_be_is_refused(condition: Any, said: str) -> None:
    change = RuleChange(also_when=[condition])
    assert said in " ".join(faults_of(SMALL, change))
    with pytest.raises(ValueError, match=said):
        changed(SMALL, change)


def test_a_capability_both_needed_and_only_preferred_contradicts_itself() -> None:
    change = RuleChange(capabilities=CPAP, preferred_capabilities=CPAP)
    assert faults_of(SMALL, change) == ["both needed and only preferred: cpap"]
