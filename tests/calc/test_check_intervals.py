"""How often a baby is checked, by its state.

Usual: WHO, Managing newborn problems, 2003, C-65 and C-66.
"""

from typing import Any

import pytest
from hypothesis import given
from need_examples import WELL, babies

from referrals.calc.check_intervals import (
    CheckState,
    Intervals,
    fault_of,
    intervals_for,
    states_of,
)
from referrals.calc.status import BabyStatus
from referrals.calc.terms import Breathing, Support

USUAL = Intervals(check=15, temperature=60)


@pytest.mark.parametrize(
    ("status", "states"),
    [
        (BabyStatus(), [CheckState.VENTILATED]),
        (BabyStatus(breathing=Breathing.VENTILATED), [CheckState.VENTILATED]),
        (BabyStatus(breathing=Breathing.NONE), [CheckState.VENTILATED]),
        (BabyStatus(breathing=Breathing.REGULAR), [CheckState.BREATHES_ALONE]),
        (WELL, [CheckState.BREATHES_ALONE]),
        (
            BabyStatus(breathing=Breathing.REGULAR, support=Support.CPAP),
            [CheckState.BREATHES_WITH_HELP],
        ),
        (
            BabyStatus(breathing=Breathing.REGULAR, support=Support.BAG_AND_MASK_AIR),
            [CheckState.VENTILATED],
        ),
        (
            BabyStatus(breathing=Breathing.REGULAR, temperature_c=35.9),
            [CheckState.BREATHES_ALONE, CheckState.COLD],
        ),
        (BabyStatus(breathing=Breathing.REGULAR, temperature_c=36.0), [CheckState.BREATHES_ALONE]),
    ],
)
def test_the_state_of_a_baby(status: BabyStatus, states: list[CheckState]) -> None:
    assert states_of(status) == states


@given(babies)
def test_without_settings_the_usual_intervals_hold(status: BabyStatus) -> None:
    assert intervals_for(status, {}, usual=USUAL) == USUAL


def test_a_district_sets_a_state_and_cold_only_shortens() -> None:
    settings = {
        "ventilated": {"check": 10},
        "breathes_alone": {"check": 20, "temperature": 90},
        "cold": {"check": 30, "temperature": 30},
    }
    bagged = BabyStatus(breathing=Breathing.VENTILATED)
    assert intervals_for(bagged, settings, usual=USUAL) == Intervals(check=10, temperature=60)
    cold = BabyStatus(breathing=Breathing.VENTILATED, temperature_c=35)
    assert intervals_for(cold, settings, usual=USUAL) == Intervals(check=10, temperature=30)
    alone = BabyStatus(breathing=Breathing.REGULAR)
    assert intervals_for(alone, settings, usual=USUAL) == Intervals(check=20, temperature=90)


@pytest.mark.parametrize(
    ("settings", "said"),
    [
        ({}, ""),
        ({"cold": {"check": 15, "temperature": 30}}, ""),
        ([], "write it as"),
        ({"sleepy": {}}, "no state"),
        ({"cold": {"weight": 3}}, "takes check and temperature"),
        ({"cold": 15}, "takes check and temperature"),
        ({"cold": {"check": 0}}, "minutes from 1"),
        ({"cold": {"check": 241}}, "minutes from 1"),
        ({"cold": {"check": True}}, "minutes from 1"),
        ({"cold": {"check": "often"}}, "minutes from 1"),
    ],
)
def test_what_cannot_be_is_said(settings: Any, said: str) -> None:
    fault = fault_of(settings)
    assert said in fault
    assert bool(fault) == bool(said)
