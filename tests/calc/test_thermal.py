"""Temperature classes at the printed limits, and as a partition of the whole scale."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from referrals.calc.quantities import QUANTITIES, ImpossibleQuantity
from referrals.calc.thermal import ThermalClass, ThermalScheme, classify_temperature

BOUNDS = QUANTITIES["temperature_c"]
temperatures = st.floats(min_value=BOUNDS.possible_low, max_value=BOUNDS.possible_high)
schemes = st.sampled_from(ThermalScheme)
COLDEST_FIRST = list(ThermalClass)


@pytest.mark.parametrize(
    ("celsius", "expected"),
    [
        (31.9, ThermalClass.SEVERE_HYPOTHERMIA),
        (32.0, ThermalClass.MODERATE_HYPOTHERMIA),
        (35.9, ThermalClass.MODERATE_HYPOTHERMIA),
        (36.0, ThermalClass.MILD_HYPOTHERMIA),
        (36.4, ThermalClass.MILD_HYPOTHERMIA),
        (36.5, ThermalClass.NORMAL),
        (37.5, ThermalClass.NORMAL),
        (37.6, ThermalClass.HYPERTHERMIA),
    ],
)
def test_classes_of_1997_at_their_limits(celsius: float, expected: ThermalClass) -> None:
    """WHO, Thermal protection of the newborn, WHO/RHT/MSM/97.2."""
    assert classify_temperature(celsius, scheme=ThermalScheme.WHO_1997) is expected


@pytest.mark.parametrize(
    ("celsius", "expected"),
    [
        (31.9, ThermalClass.SEVERE_HYPOTHERMIA),
        (32.0, ThermalClass.MODERATE_HYPOTHERMIA),
        (36.2, ThermalClass.MODERATE_HYPOTHERMIA),
        (36.4, ThermalClass.MODERATE_HYPOTHERMIA),
        (36.5, ThermalClass.NORMAL),
        (37.6, ThermalClass.HYPERTHERMIA),
    ],
)
def test_classes_of_2003_have_no_mild_cold(celsius: float, expected: ThermalClass) -> None:
    """WHO, Managing newborn problems, 2003, F-69 and F-70."""
    assert classify_temperature(celsius, scheme=ThermalScheme.WHO_2003) is expected


@pytest.mark.parametrize(
    ("celsius", "expected"),
    [(36.45, ThermalClass.MILD_HYPOTHERMIA), (37.55, ThermalClass.HYPERTHERMIA)],
)
def test_a_reading_between_two_printed_classes_is_not_rounded_to_normal(
    celsius: float, expected: ThermalClass
) -> None:
    assert classify_temperature(celsius, scheme=ThermalScheme.WHO_1997) is expected


@given(temperatures, temperatures, schemes)
def test_classes_follow_the_thermometer(one: float, other: float, scheme: ThermalScheme) -> None:
    low, high = sorted((one, other))
    rank = [COLDEST_FIRST.index(classify_temperature(t, scheme=scheme)) for t in (low, high)]
    assert rank == sorted(rank)


@given(temperatures)
def test_the_schemes_differ_only_in_mild_cold(celsius: float) -> None:
    finer = classify_temperature(celsius, scheme=ThermalScheme.WHO_1997)
    coarser = classify_temperature(celsius, scheme=ThermalScheme.WHO_2003)
    if finer is ThermalClass.MILD_HYPOTHERMIA:
        assert coarser is ThermalClass.MODERATE_HYPOTHERMIA
    else:
        assert coarser is finer


@pytest.mark.parametrize("celsius", [3.65, 365.0, float("nan")])
def test_no_class_is_given_to_what_no_thermometer_reads(celsius: float) -> None:
    with pytest.raises(ImpossibleQuantity):
        classify_temperature(celsius, scheme=ThermalScheme.WHO_1997)
