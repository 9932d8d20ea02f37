"""The laws of the needs: of every row by itself, and of the sum of the rows that fire."""

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from need_examples import BABY_VALUES, MOTHER_VALUES, WELL, WELL_MOTHER, babies, mothers

from referrals.calc.need_conditions import NeedRule
from referrals.calc.needs import (
    MOTHER_RULES,
    RULES,
    NeedAssessment,
    assessment_of,
    combine,
    derive_needs,
    lacking,
    worst_urgency,
)
from referrals.calc.status import BabyStatus, MotherStatus
from referrals.calc.terms import (
    Breathing,
    Capability,
    Colour,
    GlucoseUnit,
    Response,
    Support,
    Urgency,
)

# The form of the table


def test_no_two_rules_share_a_code_or_words_and_each_names_its_source() -> None:
    rules = (*RULES, *MOTHER_RULES)
    assert len({rule.code for rule in rules}) == len({rule.words for rule in rules}) == len(rules)
    assert all(rule.source for rule in rules)


@pytest.mark.parametrize("rule", [*RULES, *MOTHER_RULES], ids=lambda rule: rule.code)
def test_no_row_speaks_of_stopping_or_waiting(rule: NeedRule[Any]) -> None:
    words = rule.words.lower()
    assert not any(forbidden in words for forbidden in ("stop", "wait", "withhold", "delay"))


SHOWS_EACH_RULE: dict[str, dict[str, Any]] = {
    "not_breathing": {"breathing": Breathing.NONE},
    "slow_or_gasping": {"breathing": Breathing.SLOW_OR_GASPING},
    "being_ventilated": {"breathing": Breathing.VENTILATED},
    "on_ventilator": {"support": Support.VENTILATOR},
    "on_cpap": {"support": Support.CPAP},
    "heart_under_60": {"heart_rate": 59},
    "heart_60_to_99": {"heart_rate": 60},
    "heart_over_180": {"heart_rate": 181},
    "short_of_oxygen_despite_oxygen": {"support": Support.OXYGEN_BY_PRONGS, "spo2": 85},
    "spo2_low": {"spo2": 85},
    "blue_or_pale": {"colour": Colour.BLUE_OR_PALE},
    "breathing_difficulty": {"respiratory_rate": 61},
    "on_oxygen": {"support": Support.OXYGEN_BY_PRONGS},
    "ventilated_over_a_minute": {"minutes_ventilated": 2},
    "convulsions": {"convulsions": True},
    "no_response": {"response": Response.NONE},
    "weak_response": {"response": Response.WEAK},
    "under_1000_g_or_28_weeks": {"weight_g": 999},
    "under_1500_g_or_32_weeks": {"weight_g": 1499},
    "under_1800_g_or_34_weeks": {"weight_g": 1799},
    "severe_cold": {"temperature_c": 31},
    "moderate_cold": {"temperature_c": 35},
    "mild_cold": {"temperature_c": 36.2},
    "hot": {"temperature_c": 38},
    "glucose_very_low": {"glucose": 20},
    "glucose_low": {"glucose": 40},
    "six_hours_from_birth": {"breathing": Breathing.VENTILATED, "minutes_since_birth": 40},
}
SHOWS_IGNORANCE = {"nothing_known", "breathing_not_known"}


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.code)
def test_every_rule_fires_for_some_baby_and_is_silent_for_the_well_one(
    rule: NeedRule[BabyStatus],
) -> None:
    assert rule.applies(WELL) is False
    shown = (
        BabyStatus()
        if rule.code in SHOWS_IGNORANCE
        else replace(WELL, **SHOWS_EACH_RULE[rule.code])
    )
    assert rule.applies(shown) is True


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.code)
def test_a_rule_without_its_facts_gives_no_answer(rule: NeedRule[BabyStatus]) -> None:
    expected = True if rule.code in SHOWS_IGNORANCE else None
    assert rule.applies(BabyStatus()) is expected


@pytest.mark.parametrize("rule", MOTHER_RULES, ids=lambda rule: rule.code)
def test_a_rule_for_the_mother_without_its_facts_gives_no_answer(
    rule: NeedRule[MotherStatus],
) -> None:
    assert rule.applies(MotherStatus()) is None
    assert rule.applies(WELL_MOTHER) is False


@given(babies, babies)
def test_a_rule_reads_only_the_facts_it_names(one: BabyStatus, other: BabyStatus) -> None:
    for rule in RULES:
        facts = {field: getattr(one, field) for field in rule.facts}
        assert rule.applies(replace(other, **facts)) == rule.applies(one), rule.code


@given(babies, st.fixed_dictionaries(BABY_VALUES))
def test_what_is_learnt_never_overturns_a_settled_silence(
    status: BabyStatus, learnt: dict[str, Any]
) -> None:
    silent = [rule for rule in RULES if rule.applies(status) is False]
    unknown = [field for field in BABY_VALUES if getattr(status, field) is None]
    for field in unknown:
        later = replace(status, **{field: learnt[field]})
        for rule in silent:
            # A second form of the heart rate may contradict the first; the worse is believed.
            if not {field, "heart_rate_band"} <= set(rule.facts):
                assert rule.applies(later) is False, (rule.code, field)


# The laws of the sum


def sum_of(assessment: NeedAssessment) -> NeedAssessment:
    return replace(assessment, needs=(), missing=())


URGENCIES = list(Urgency)


def assert_not_less(worse: BabyStatus, better: BabyStatus) -> None:
    more, less = derive_needs(worse), derive_needs(better)
    assert URGENCIES.index(more.urgency) <= URGENCIES.index(less.urgency)
    assert more.capabilities >= less.capabilities
    wanted = more.capabilities | more.preferred_capabilities
    assert wanted >= less.capabilities | less.preferred_capabilities


@pytest.mark.parametrize(
    ("better", "worse"),
    [
        (Breathing.REGULAR, Breathing.SLOW_OR_GASPING),
        (Breathing.SLOW_OR_GASPING, Breathing.NONE),
    ],
)
@given(status=babies)
def test_worse_breathing_never_lowers_the_need(
    status: BabyStatus, better: Breathing, worse: Breathing
) -> None:
    assert_not_less(replace(status, breathing=worse), replace(status, breathing=better))


LOWER_IS_WORSE = {
    "spo2": (0.0, 100.0),
    # Above the normal range lower is better, so the order holds up to it only.
    "temperature_c": (20.0, 37.5),
    # Above 180 a heart rate is a finding of its own (WHO-2003, F-5).
    "heart_rate": (0.0, 180.0),
    "weight_g": (200.0, 8000.0),
    "gestation_weeks": (20.0, 46.0),
}


@pytest.mark.parametrize("field", LOWER_IS_WORSE)
@given(status=babies, data=st.data())
def test_a_lower_value_never_lowers_the_need(
    status: BabyStatus, field: str, data: st.DataObject
) -> None:
    low, high = sorted(data.draw(st.floats(*LOWER_IS_WORSE[field])) for _ in range(2))
    assert_not_less(replace(status, **{field: low}), replace(status, **{field: high}))


@pytest.mark.parametrize("unit", GlucoseUnit)
@given(status=babies, values=st.tuples(*[st.floats(0, 50)] * 2))
def test_a_lower_glucose_never_lowers_the_need(
    status: BabyStatus, unit: GlucoseUnit, values: tuple[float, float]
) -> None:
    status = replace(status, glucose_unit=unit)
    assert_not_less(replace(status, glucose=min(values)), replace(status, glucose=max(values)))


every_fact = st.fixed_dictionaries(BABY_VALUES)
every_fact_of_the_mother = st.fixed_dictionaries(MOTHER_VALUES)
# The heart rate is known once it is counted or felt; the other form is not asked for.
EITHER_ANSWERS = {"heart_rate", "heart_rate_band"}


@given(babies, mothers, every_fact)
def test_a_fact_that_is_not_missing_would_change_nothing(
    baby: BabyStatus, mother: MotherStatus, learnt: dict[str, Any]
) -> None:
    before = derive_needs(baby, mother)
    for field in BABY_VALUES.keys() - EITHER_ANSWERS - set(before.missing):
        if getattr(baby, field) is None:
            after = derive_needs(replace(baby, **{field: learnt[field]}), mother)
            assert sum_of(after) == sum_of(before), field


@given(mothers, every_fact_of_the_mother)
def test_a_fact_of_the_mother_that_is_not_missing_would_change_nothing(
    mother: MotherStatus, learnt: dict[str, Any]
) -> None:
    before = derive_needs(WELL, mother)
    for field in MOTHER_VALUES:
        if getattr(mother, field) is None and f"mother.{field}" not in before.missing:
            after = derive_needs(WELL, replace(mother, **{field: learnt[field]}))
            assert sum_of(after) == sum_of(before), field


def test_a_mother_is_asked_about_only_if_she_is_part_of_the_referral() -> None:
    assert derive_needs(WELL).missing == ()
    assert "mother.bleeding" in derive_needs(WELL, MotherStatus()).missing


@given(babies, mothers)
def test_the_mother_only_ever_adds_to_the_need(baby: BabyStatus, mother: MotherStatus) -> None:
    alone, together = derive_needs(baby), derive_needs(baby, mother)
    assert together.capabilities >= alone.capabilities
    assert worst_urgency((together.urgency, alone.urgency)) is together.urgency


@given(st.lists(babies, min_size=1, max_size=3), st.randoms(use_true_random=False))
def test_twins_together_need_what_each_needs_in_any_order(
    siblings: list[BabyStatus], chance: Any
) -> None:
    each = [derive_needs(baby) for baby in siblings]
    together = combine(each)
    chance.shuffle(each)
    assert sum_of(combine(each)) == sum_of(together)
    assert combine([together]) == together
    assert together.capabilities == frozenset().union(*(one.capabilities for one in each))
    assert together.urgency is worst_urgency(one.urgency for one in each)
    limits = [one.limit_minutes for one in each if one.limit_minutes is not None]
    assert together.limit_minutes == min(limits, default=None)
    assert set(together.missing) == {fact for one in each for fact in one.missing}


def test_a_preferred_capability_of_one_twin_that_the_other_requires_is_required() -> None:
    bagged = derive_needs(replace(WELL, breathing=Breathing.VENTILATED))
    on_ventilator = derive_needs(replace(WELL, support=Support.VENTILATOR))
    together = combine([bagged, on_ventilator])
    assert Capability.VENTILATOR in together.capabilities
    assert Capability.VENTILATOR not in together.preferred_capabilities


def test_nobody_needs_nothing_to_be_combined() -> None:
    with pytest.raises(ValueError, match="at least one"):
        combine([])


def test_a_district_may_bring_its_own_table() -> None:
    """A tightened row is used in place of ours, and nothing else of ours is kept."""
    tightened = replace(
        next(rule for rule in RULES if rule.code == "mild_cold"), urgency=Urgency.URGENT
    )
    cool = replace(WELL, temperature_c=36.2)
    assert derive_needs(cool).urgency is Urgency.STABLE
    assert derive_needs(cool, rules=[tightened]).urgency is Urgency.URGENT
    assert derive_needs(BabyStatus(), rules=[tightened]).needs == ()


def test_a_ventilator_serves_where_cpap_is_needed_and_not_the_other_way() -> None:
    cpap, ventilator = frozenset({Capability.CPAP}), frozenset({Capability.VENTILATOR})
    assert lacking(needed=cpap, offered=ventilator) == frozenset()
    assert lacking(needed=ventilator, offered=cpap) == ventilator
    assert lacking(needed=cpap | ventilator, offered=frozenset()) == cpap | ventilator


@given(babies, mothers)
def test_the_sum_of_all_needs_is_the_assessment_itself(
    baby: BabyStatus, mother: MotherStatus
) -> None:
    assessment = derive_needs(baby, mother)
    assert assessment_of(assessment.needs, assessment.missing) == assessment
