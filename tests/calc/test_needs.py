"""The table of needs: each row at its published limits, and the form of every row."""

from dataclasses import replace
from typing import Any

import pytest
from need_examples import WELL, WELL_MOTHER

from referrals.calc.need_conditions import spo2_floor
from referrals.calc.needs import RULES, derive_needs
from referrals.calc.status import BabyStatus
from referrals.calc.terms import (
    Bleeding,
    Breathing,
    Capability,
    Colour,
    Consciousness,
    GlucoseUnit,
    HeartRateBand,
    Placenta,
    Response,
    Support,
    Urgency,
)


def fired(**changes: Any) -> set[str]:
    """Return the codes of the rules that fire for the well baby with some facts changed."""
    return {need.rule_code for need in derive_needs(replace(WELL, **changes)).needs}


def fired_for_mother(**changes: Any) -> set[str]:
    assessment = derive_needs(WELL, replace(WELL_MOTHER, **changes))
    return {need.rule_code for need in assessment.needs}


# What the table says


def test_a_baby_and_a_mother_who_are_well_need_nothing_and_nothing_is_missing() -> None:
    assessment = derive_needs(WELL, WELL_MOTHER)
    assert assessment.needs == assessment.missing == ()
    assert assessment.urgency is Urgency.STABLE
    assert not assessment.capabilities


def test_while_nothing_is_known_the_safest_is_assumed() -> None:
    assessment = derive_needs(BabyStatus())
    assert assessment.urgency is Urgency.VENTILATED
    assert assessment.capabilities == {
        Capability.BAG_AND_MASK,
        Capability.OXYGEN,
        Capability.THERMAL_CARE,
    }
    assert "Nothing is known" in assessment.needs[0].words
    assert "safest" in assessment.needs[0].words
    assert "breathing" in assessment.missing


@pytest.mark.parametrize("support", [None, Support.NONE, Support.OXYGEN_BY_PRONGS, Support.CPAP])
def test_while_breathing_is_not_known_the_safest_is_assumed(support: Support | None) -> None:
    status = BabyStatus(support=support, temperature_c=36.9, heart_rate=140)
    assert derive_needs(status).urgency is Urgency.VENTILATED


@pytest.mark.parametrize(
    "changes",
    [
        {"breathing": Breathing.NONE},
        {"breathing": Breathing.SLOW_OR_GASPING},
        {"breathing": Breathing.VENTILATED},
        {"support": Support.BAG_AND_MASK_AIR},
        {"support": Support.BAG_AND_MASK_OXYGEN},
    ],
)
def test_a_baby_who_is_bagged_or_ought_to_be_needs_cpap_and_better_a_ventilator(
    changes: dict[str, Any],
) -> None:
    """WHO levels of newborn care (BMC Pediatrics 2023, Table 1): CPAP at 2+, ventilator at 3."""
    assessment = derive_needs(replace(WELL, **changes))
    assert Capability.CPAP in assessment.capabilities
    assert assessment.preferred_capabilities == {Capability.VENTILATOR}
    assert assessment.urgency is Urgency.VENTILATED


def test_a_baby_on_a_ventilator_goes_where_there_is_one() -> None:
    """ICMR Standard Treatment Workflow, Neonatal transport, 2020: to intensive care."""
    assessment = derive_needs(replace(WELL, support=Support.VENTILATOR))
    assert Capability.VENTILATOR in assessment.capabilities
    assert not assessment.preferred_capabilities


@pytest.mark.parametrize(
    ("rate", "codes"),
    [
        (0, {"not_breathing", "slow_or_gasping"}),
        (19, {"slow_or_gasping"}),
        (20, {"breathing_difficulty"}),
        (29, {"breathing_difficulty"}),
        (30, set()),
        (60, set()),
        (61, {"breathing_difficulty"}),
    ],
)
def test_breathing_rates_at_their_limits(rate: int, codes: set[str]) -> None:
    """WHO, Managing newborn problems, 2003, P-3 and P-4."""
    assert fired(respiratory_rate=rate) == codes


@pytest.mark.parametrize(
    ("rate", "codes"),
    [
        (0, {"heart_under_60"}),
        (59, {"heart_under_60"}),
        (60, {"heart_60_to_99"}),
        (99, {"heart_60_to_99"}),
        (100, set()),
        (180, set()),
        (181, {"heart_over_180"}),
    ],
)
def test_heart_rates_at_their_limits(rate: int, codes: set[str]) -> None:
    """2020 AHA guidelines, Part 5 (60 and 100); WHO-2003, F-5 (180)."""
    assert fired(heart_rate=rate) == codes


@pytest.mark.parametrize(
    ("celsius", "codes"),
    [
        (31.9, {"severe_cold"}),
        (32.0, {"moderate_cold"}),
        (35.9, {"moderate_cold"}),
        (36.0, {"mild_cold"}),
        (36.4, {"mild_cold"}),
        (36.5, set()),
        (37.5, set()),
        (37.6, {"hot"}),
    ],
)
def test_temperatures_at_their_limits(celsius: float, codes: set[str]) -> None:
    """WHO, Thermal protection of the newborn, WHO/RHT/MSM/97.2."""
    assert fired(temperature_c=celsius) == codes


@pytest.mark.parametrize(
    ("value", "unit", "codes"),
    [
        (45, GlucoseUnit.MG_DL, set()),
        (44, GlucoseUnit.MG_DL, {"glucose_low"}),
        (25, GlucoseUnit.MG_DL, {"glucose_low"}),
        (24, GlucoseUnit.MG_DL, {"glucose_low", "glucose_very_low"}),
        # 2.5 mmol/L is 45 mg/dL by molar mass, but low by the printed limit in mmol/L.
        (2.5, GlucoseUnit.MMOL_L, {"glucose_low"}),
        (2.6, GlucoseUnit.MMOL_L, set()),
        # 1.2 mmol/L is 21.6 mg/dL by molar mass, but not very low by the printed limit.
        (1.2, GlucoseUnit.MMOL_L, {"glucose_low"}),
        (1.0, GlucoseUnit.MMOL_L, {"glucose_low", "glucose_very_low"}),
    ],
)
def test_glucose_is_compared_in_the_unit_in_which_it_was_read(
    value: float, unit: GlucoseUnit, codes: set[str]
) -> None:
    """WHO, Managing newborn problems, 2003, F-91: under 45 (printed 2.6), under 25 (1.1)."""
    assert fired(glucose=value, glucose_unit=unit) == codes


@pytest.mark.parametrize(
    ("value", "codes", "asked"),
    [
        (0.9, {"glucose_low", "glucose_very_low"}, False),
        # Low in either unit; whether it is very low in one changes nothing in the sum.
        (2.0, {"glucose_low"}, False),
        (30, set(), True),
        (50, set(), False),
    ],
)
def test_without_its_unit_glucose_counts_only_where_both_units_agree(
    value: float, codes: set[str], asked: bool
) -> None:
    assessment = derive_needs(replace(WELL, glucose=value, glucose_unit=None))
    assert {need.rule_code for need in assessment.needs} == codes
    assert ("glucose_unit" in assessment.missing) is asked


@pytest.mark.parametrize(
    ("weight_g", "weeks", "codes"),
    [
        (1800, 34, set()),
        (1799, 34, {"under_1800_g_or_34_weeks"}),
        (1800, 33, {"under_1800_g_or_34_weeks"}),
        (1500, 32, {"under_1800_g_or_34_weeks"}),
        (1499, 32, {"under_1800_g_or_34_weeks", "under_1500_g_or_32_weeks"}),
        (1500, 31, {"under_1800_g_or_34_weeks", "under_1500_g_or_32_weeks"}),
    ],
)
def test_small_babies_at_their_limits(weight_g: float, weeks: float, codes: set[str]) -> None:
    """ICMR workflow 2020 (1800 g, 34 weeks); WHO-2003, Table C-1 (1500 g, 32 weeks)."""
    assert fired(weight_g=weight_g, gestation_weeks=weeks) == codes


@pytest.mark.parametrize("changes", [{"weight_g": 999}, {"gestation_weeks": 27}])
def test_the_smallest_prefer_intensive_care(changes: dict[str, Any]) -> None:
    """ICMR Standard Treatment Workflow, Neonatal transport, 2020: under 1000 g or 28 weeks."""
    assert "under_1000_g_or_28_weeks" in fired(**changes)
    assessment = derive_needs(replace(WELL, **changes))
    assert Capability.VENTILATOR in assessment.preferred_capabilities


@pytest.mark.parametrize(
    ("minute", "floor"),
    [(0, 60), (1, 60), (2, 65), (3, 70), (4, 75), (5, 80), (9.9, 80), (10, 85), (11, 90)],
)
def test_the_floor_of_spo2_rises_with_the_minutes_after_birth(minute: float, floor: int) -> None:
    """AHA algorithm 2015, unchanged 2020, to ten minutes; then ERC-2021, value from memory."""
    assert spo2_floor(minute) == floor


def test_at_an_unknown_age_the_strictest_floor_of_spo2_holds() -> None:
    assert fired(spo2=89, minutes_since_birth=None) == {"spo2_low"}
    assert fired(spo2=89, minutes_since_birth=5) == set()


@pytest.mark.parametrize("finding", [{"spo2": 85}, {"colour": Colour.BLUE_OR_PALE}])
def test_a_baby_short_of_oxygen_although_it_is_given_needs_cpap(finding: dict[str, Any]) -> None:
    """ICMR workflow 2020; WHO-2003, F-50: to a centre that can ventilate."""
    with_oxygen = replace(WELL, support=Support.OXYGEN_BY_PRONGS, **finding)
    without = derive_needs(replace(WELL, **finding))
    assert Capability.CPAP in derive_needs(with_oxygen).capabilities
    assert Capability.CPAP not in without.capabilities
    assert Capability.OXYGEN in without.capabilities


@pytest.mark.parametrize(("minutes", "fires"), [(1, False), (1.1, True)])
def test_ventilation_for_over_a_minute_is_a_reason_to_refer(minutes: float, fires: bool) -> None:
    """ICMR Standard Treatment Workflow, Neonatal transport, 2020: positive pressure over 60 s."""
    assert ("ventilated_over_a_minute" in fired(minutes_ventilated=minutes)) is fires


@pytest.mark.parametrize(
    ("minutes_since_birth", "left"), [(40, 320), (5 * 60 + 59, 1), (6 * 60 + 1, None)]
)
def test_six_hours_from_birth_is_a_line_in_time(
    minutes_since_birth: float, left: float | None
) -> None:
    """Canadian Paediatric Society, position statement 2018: within six hours of birth."""
    bagged = replace(WELL, breathing=Breathing.VENTILATED, minutes_since_birth=minutes_since_birth)
    assert derive_needs(bagged).limit_minutes == left


def test_the_six_hour_line_asks_nothing_of_a_unit_and_is_not_drawn_for_a_well_baby() -> None:
    assert derive_needs(replace(WELL, minutes_since_birth=40)).limit_minutes is None
    rule = next(rule for rule in RULES if rule.code == "six_hours_from_birth")
    assert not rule.capabilities | rule.preferred_capabilities
    assert rule.urgency is Urgency.STABLE


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"convulsions": True}, "convulsions"),
        ({"response": Response.NONE}, "no_response"),
        ({"response": Response.WEAK}, "weak_response"),
        ({"support": Support.CPAP}, "on_cpap"),
        ({"support": Support.OXYGEN_BY_PRONGS}, "on_oxygen"),
        ({"colour": Colour.BLUE_OR_PALE}, "blue_or_pale"),
    ],
)
def test_each_worded_sign_is_urgent(changes: dict[str, Any], code: str) -> None:
    """ICMR workflow 2020 for convulsions and colour; the others as their rows name."""
    assert fired(**changes) == {code}
    assert derive_needs(replace(WELL, **changes)).urgency is Urgency.URGENT


def test_blue_hands_and_feet_alone_call_for_nothing() -> None:
    """Apgar 1953: body pink and limbs blue is not central cyanosis."""
    assert fired(colour=Colour.BLUE_HANDS_AND_FEET) == set()


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"bleeding": Bleeding.HEAVY}, "mother_heavy_bleeding"),
        ({"placenta": Placenta.INCOMPLETE}, "mother_placenta"),
        ({"placenta": Placenta.NOT_DELIVERED}, "mother_placenta"),
        ({"consciousness": Consciousness.DROWSY}, "mother_not_awake"),
        ({"consciousness": Consciousness.UNRESPONSIVE}, "mother_not_awake"),
        ({"systolic_mmhg": 89}, "mother_pressure_low"),
        ({"systolic_mmhg": 160}, "mother_pressure_high"),
        ({"diastolic_mmhg": 110}, "mother_pressure_high"),
    ],
)
def test_an_unwell_mother_counts_for_the_destination(changes: dict[str, Any], code: str) -> None:
    """Each row names its source; 90 and 160/110 mmHg are WHO figures, values from memory."""
    assert fired_for_mother(**changes) == {code}
    assessment = derive_needs(WELL, replace(WELL_MOTHER, **changes))
    assert Capability.OBSTETRIC_EMERGENCY_CARE in assessment.capabilities
    assert assessment.urgency is Urgency.URGENT


@pytest.mark.parametrize(
    "changes", [{"systolic_mmhg": 90}, {"systolic_mmhg": 159}, {"diastolic_mmhg": 109}]
)
def test_pressures_just_inside_the_limits_call_for_nothing(changes: dict[str, Any]) -> None:
    """WHO figures, values from memory: under 90 systolic; 160/110 or more."""
    assert fired_for_mother(**changes) == set()


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        # Said to breathe, and counted at twelve a minute.
        ({"breathing": Breathing.REGULAR, "respiratory_rate": 12}, "slow_or_gasping"),
        # Said to breathe, with the bag in use.
        (
            {"breathing": Breathing.REGULAR, "support": Support.BAG_AND_MASK_AIR},
            "being_ventilated",
        ),
        ({"breathing": Breathing.NONE, "respiratory_rate": 40}, "not_breathing"),
        ({"heart_rate": 120, "heart_rate_band": HeartRateBand.UNDER_60}, "heart_under_60"),
        ({"heart_rate": 50, "heart_rate_band": HeartRateBand.AT_LEAST_100}, "heart_under_60"),
        ({"breathing": Breathing.VENTILATED, "support": Support.NONE}, "being_ventilated"),
    ],
)
def test_of_two_contradictory_facts_the_worse_is_believed(
    changes: dict[str, Any], code: str
) -> None:
    assert code in fired(**changes)
    assert derive_needs(replace(WELL, **changes)).urgency is Urgency.VENTILATED


def test_a_number_that_cannot_be_true_is_asked_again_and_never_raises() -> None:
    assessment = derive_needs(replace(WELL, temperature_c=3.6, spo2=float("nan")))
    assert assessment.needs == ()
    assert set(assessment.missing) == {"temperature_c", "spo2"}
