"""Which numbers are possible, and conversions that come back to where they started."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from referrals.calc import quantities
from referrals.calc.quantities import (
    QUANTITIES,
    ImpossibleQuantity,
    Verdict,
    check_quantity,
    require_possible,
)

amounts = st.floats(min_value=0, max_value=1e6)
names = st.sampled_from(sorted(QUANTITIES))


@pytest.mark.parametrize("name", QUANTITIES)
def test_limits_belong_to_their_range_and_lie_inside_one_another(name: str) -> None:
    bounds = QUANTITIES[name]
    assert bounds.possible_low <= bounds.unusual_low < bounds.unusual_high <= bounds.possible_high
    assert check_quantity(name, bounds.unusual_low) is Verdict.POSSIBLE
    assert check_quantity(name, bounds.unusual_high) is Verdict.POSSIBLE
    assert check_quantity(name, bounds.possible_low) is not Verdict.IMPOSSIBLE
    assert check_quantity(name, bounds.possible_high) is not Verdict.IMPOSSIBLE
    assert bounds.source


@pytest.mark.parametrize(
    ("name", "value", "verdict"),
    [
        # WHO, Managing newborn problems, 2003: severe cold is below 32 °C (F-70).
        ("temperature_c", 32.0, Verdict.POSSIBLE),
        ("temperature_c", 31.9, Verdict.UNUSUAL),
        ("temperature_c", 19.9, Verdict.IMPOSSIBLE),
        # A rectal thermometer reads down to 25 °C (WHO-2003, P-6): it must be taken.
        ("temperature_c", 25.0, Verdict.UNUSUAL),
        # The temperature without its decimal point.
        ("temperature_c", 365, Verdict.IMPOSSIBLE),
        # No detectable heart rate is a finding, not an error (2020 AHA guidelines, Part 5).
        ("heart_rate", 0, Verdict.UNUSUAL),
        ("heart_rate", 142, Verdict.POSSIBLE),
        ("spo2", 101, Verdict.IMPOSSIBLE),
        # Air holds 21 % oxygen; a percentage is not a fraction.
        ("fio2", 0.2, Verdict.IMPOSSIBLE),
        ("fio2", 40, Verdict.IMPOSSIBLE),
        # A weight in kilograms, and one with a digit too many.
        ("weight_g", 2.1, Verdict.IMPOSSIBLE),
        ("weight_g", 21_000, Verdict.IMPOSSIBLE),
        # A glucose in mg/dL entered as mmol/L.
        ("glucose_mmol_l", 60, Verdict.IMPOSSIBLE),
        ("minutes", -1, Verdict.IMPOSSIBLE),
    ],
)
def test_a_slip_of_the_finger_is_told_from_a_rare_value(
    name: str, value: float, verdict: Verdict
) -> None:
    assert check_quantity(name, value) is verdict


@given(names, st.floats())
def test_a_number_is_refused_exactly_when_it_is_impossible(name: str, value: float) -> None:
    if check_quantity(name, value) is Verdict.IMPOSSIBLE:
        with pytest.raises(ImpossibleQuantity) as refused:
            require_possible(name, value)
        assert refused.value.field == name
    else:
        assert require_possible(name, value) == value


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize("name", QUANTITIES)
def test_what_is_not_a_finite_number_is_impossible(name: str, value: float) -> None:
    assert check_quantity(name, value) is Verdict.IMPOSSIBLE


def test_the_refusal_says_what_can_be_entered_with_the_unit() -> None:
    with pytest.raises(ImpossibleQuantity) as refused:
        require_possible("temperature_c", 3.6)
    assert str(refused.value) == "3.6 is not possible: temperature must be from 20 to 45 °C."


def test_an_unknown_quantity_is_an_error_in_the_program() -> None:
    with pytest.raises(KeyError):
        check_quantity("shoe_size", 1)


@pytest.mark.parametrize(
    ("there", "back"),
    [
        (quantities.glucose_mg_dl_to_mmol_l, quantities.glucose_mmol_l_to_mg_dl),
        (quantities.psi_to_bar, quantities.bar_to_psi),
    ],
)
@given(amount=amounts)
def test_a_conversion_and_its_inverse_return_the_amount(there, back, amount: float) -> None:  # type: ignore[no-untyped-def]
    assert back(there(amount)) == pytest.approx(amount, rel=1e-12)
    assert there(back(amount)) == pytest.approx(amount, rel=1e-12)


@pytest.mark.parametrize(
    ("mg_dl", "mmol_l"), [(25, 1.39), (40, 2.22), (45, 2.50), (47, 2.61), (50, 2.78), (60, 3.33)]
)
def test_glucose_converts_by_molar_mass(mg_dl: float, mmol_l: float) -> None:
    """180.156 g/mol. WHO (2003, F-91) prints 2.6 and 1.1 beside 45 and 25: not conversions."""
    assert quantities.glucose_mg_dl_to_mmol_l(mg_dl) == pytest.approx(mmol_l, abs=0.005)


def test_glucose_from_mmol_l_is_not_the_printed_pair() -> None:
    """2.6 mmol/L is 46.8 mg/dL by molar mass, not the 45 of WHO (2003, F-91)."""
    assert quantities.glucose_mmol_l_to_mg_dl(2.6) == pytest.approx(46.8, abs=0.05)


def test_pressures_convert_by_the_definition_of_the_pound_force() -> None:
    """NIST Special Publication 811: 1 psi is 6.894757 kPa, 1 bar is 100 kPa exactly."""
    assert quantities.psi_to_bar(1) == pytest.approx(0.06894757, rel=1e-7)
    assert quantities.bar_to_psi(1) == pytest.approx(14.503774, rel=1e-7)
    assert quantities.megapascal_to_bar(15) == 150


def test_both_units_of_one_quantity_allow_about_the_same_range() -> None:
    mmol_l = quantities.glucose_mg_dl_to_mmol_l(QUANTITIES["glucose_mg_dl"].possible_high)
    bar = quantities.psi_to_bar(QUANTITIES["oxygen_psi"].possible_high)
    assert mmol_l == pytest.approx(QUANTITIES["glucose_mmol_l"].possible_high, rel=0.05)
    assert bar == pytest.approx(QUANTITIES["oxygen_bar"].possible_high, rel=0.05)
