"""The trend of the temperature, its projection, and where there is none."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from referrals.calc.warmth import Reading, Trend, projected, trend_of

NINE = datetime(2026, 3, 2, 9, tzinfo=UTC)


def readings(*told: tuple[float, float]) -> list[Reading]:
    """Minutes after nine and °C."""
    return [Reading(NINE + timedelta(minutes=minutes), celsius) for minutes, celsius in told]


def trend(*told: tuple[float, float]) -> Trend:
    found = trend_of(readings(*told))
    assert found
    return found


def test_two_readings_an_hour_apart_give_a_change_an_hour() -> None:
    """36.46 to 36.08 °C in 58 minutes, as in J Pediatr (Rio J) 2015;91:380: about -0.4 an hour."""
    found = trend((0, 36.46), (58, 36.08))
    assert found.per_hour == pytest.approx(-0.393, abs=0.001)
    assert found.per_hour_error == pytest.approx(0.1 * 2**0.5 / (58 / 60), rel=1e-6)


@pytest.mark.parametrize(
    "told",
    [
        (),
        ((0, 36.5),),
        ((0, 36.5), (29, 36.2)),
        # Readings of more than four hours ago say nothing of now.
        ((0, 36.5), (241, 36.0)),
        # What no thermometer reads is no reading.
        ((0, 365.0), (60, 36.0)),
    ],
)
def test_too_few_readings_are_no_trend(told: tuple[tuple[float, float], ...]) -> None:
    assert trend_of(readings(*told)) is None


def test_a_baby_that_gains_too_little_is_said_to_rewarm_too_slowly() -> None:
    """+0.4 °C an hour over 3 hours is too slow: WHO 2003, F-71 (at least 0.5 °C an hour)."""
    assert trend((0, 34.0), (180, 35.2)).is_too_slow
    assert not trend((0, 34.0), (180, 35.5)).is_too_slow


@pytest.mark.parametrize(
    "told",
    [
        ((0, 34.0), (170, 34.2)),  # not yet three hours
        ((0, 36.5), (180, 36.5)),  # never cold
        ((0, 36.4), (180, 36.6)),  # warm by now
    ],
)
def test_rewarming_is_judged_of_a_cold_baby_after_three_hours(told: tuple) -> None:  # type: ignore[type-arg]
    assert not trend(*told).is_too_slow


def test_it_is_projected_with_a_range_that_widens() -> None:
    found = trend((0, 36.8), (60, 36.4))
    soon = projected(found, NINE + timedelta(minutes=90))
    late = projected(found, NINE + timedelta(minutes=180))
    assert soon and late  # noqa: PT018 - both are there
    assert soon.likely == pytest.approx(36.2)
    assert late.likely == pytest.approx(35.6)
    assert soon.low < soon.likely < soon.high
    assert late.high - late.low > soon.high - soon.low


@pytest.mark.parametrize("minutes", [-1, 59, 241, 600])
def test_nothing_is_projected_into_the_past_or_too_far(minutes: float) -> None:
    assert projected(trend((0, 36.8), (60, 36.4)), NINE + timedelta(minutes=minutes)) is None


def test_half_an_hour_of_readings_is_projected_no_farther_than_three_times_that() -> None:
    found = trend((0, 36.8), (30, 36.6))
    assert projected(found, NINE + timedelta(minutes=120))
    assert projected(found, NINE + timedelta(minutes=121)) is None


def test_a_projection_stays_within_what_a_thermometer_reads() -> None:
    found = trend((0, 40.0), (60, 25.0))
    late = projected(found, NINE + timedelta(minutes=240))
    assert late
    assert late.low == late.likely == 20


celsius = st.floats(25, 42).map(lambda value: round(value, 1))
lines = st.lists(st.tuples(st.integers(0, 230), celsius), min_size=2, max_size=8)


@given(lines)
def test_the_order_in_which_readings_arrive_changes_nothing(told: list) -> None:  # type: ignore[type-arg]
    assert trend_of(readings(*told)) == trend_of(reversed(readings(*told)))


@given(lines, st.floats(-2, 2))
def test_a_baby_warmer_by_as_much_at_every_reading_has_the_same_trend(told, more) -> None:  # type: ignore[no-untyped-def]
    one = trend_of(readings(*told))
    other = trend_of(readings(*[(minutes, celsius + more) for minutes, celsius in told]))
    assert (one is None) == (other is None)
    if one and other:
        assert other.per_hour == pytest.approx(one.per_hour, abs=1e-6)
        assert other.celsius == pytest.approx(one.celsius + more)
