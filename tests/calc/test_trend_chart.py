"""Drawings of readings over time, and the normal bands they stand in."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from referrals.calc.normal import HEART_RATE, TEMPERATURE, spo2_target
from transport.calc.trend_chart import (
    BOTTOM,
    HEIGHT,
    LEFT,
    RIGHT,
    TOP,
    WIDTH,
    Between,
    Chart,
    Measured,
    Normal,
    draw,
    normal_at,
)

NINE = datetime(2026, 3, 2, 9, 3, tzinfo=UTC)
AXIS = (35.0, 38.5)


def at(minutes: float) -> datetime:
    return NINE + timedelta(minutes=minutes)


def chart(*told: tuple[float, float], **more) -> Chart:  # type: ignore[no-untyped-def]
    drawn = draw([Measured(at(m), v) for m, v in told], axis=more.pop("axis", AXIS), **more)
    assert drawn
    return drawn


def test_one_reading_is_no_drawing() -> None:
    assert draw([], axis=AXIS) is None
    assert draw([Measured(NINE, 36.5)], axis=AXIS) is None


def test_later_is_to_the_right_and_more_is_higher() -> None:
    first, second = chart((0, 36.0), (60, 37.0)).points
    assert first.x == LEFT
    assert second.x == WIDTH - RIGHT
    assert second.y < first.y


def test_a_number_outside_the_normal_band_has_another_shape() -> None:
    """WHO, WHO/RHT/MSM/97.2: normal is 36.5 to 37.5 °C, both included."""
    normal = [Normal(TEMPERATURE.low, TEMPERATURE.high)]
    drawn = chart((0, 36.4), (10, 36.5), (20, 37.5), (30, 37.6), normal=normal)
    assert [point.is_normal for point in drawn.points] == [False, True, True, False]
    [box] = drawn.band
    assert box.x == LEFT
    assert box.width == WIDTH - RIGHT - LEFT


def test_a_felt_heart_rate_is_a_step_until_the_next_reading() -> None:
    felt = [Between(at(0), 60, 99), Between(at(30), 100, None)]
    drawn = chart((60, 130), axis=(0, 200), felt=felt, normal=[Normal(100, 180)])
    under, over = drawn.steps
    assert under.x + under.width == pytest.approx(over.x)
    assert over.x + over.width == pytest.approx(drawn.points[0].x)
    assert over.y == TOP  # open to the top
    assert under.y > over.y


def test_a_band_that_changes_with_age_is_drawn_in_pieces() -> None:
    """AHA algorithm 2015: 80-85 at 5 minutes, 85-95 at 10."""
    normal = [Normal(80, 85, at(-1)), Normal(85, 95, at(10))]
    drawn = chart((0, 82), (9, 84), (12, 84), (30, 90), axis=(60, 100), normal=normal)
    assert [point.is_normal for point in drawn.points] == [True, True, False, True]
    first, second = drawn.band
    assert first.x + first.width == pytest.approx(second.x)
    assert normal_at(normal, at(-5)) is None


def test_many_numbers_are_written_only_where_they_matter() -> None:
    told = [(minute, 36.5 + (minute == 40) - (minute == 20)) for minute in range(0, 100, 10)]
    written = [point.value for point in chart(*told).points if point.label]
    assert written == [36.5, 35.5, 37.5, 36.5]
    assert all(point.label for point in chart(*told[:6]).points)


def test_of_numbers_that_would_be_written_over_each_other_the_later_stays() -> None:
    written = [point.label for point in chart((0, 36.5), (57, 36.1), (60, 36.0)).points]
    assert written == [True, False, True]


@pytest.mark.parametrize("hours", [0.2, 1, 3, 9, 30, 100])
def test_times_stand_on_full_steps_of_the_clock_and_not_too_many(hours: float) -> None:
    ticks = chart((0, 36.5), (hours * 60, 36.5)).x_ticks
    assert 1 <= len(ticks) <= 6
    minutes = [(tick.at - tick.at.replace(hour=0, minute=0)).total_seconds() / 60
               for tick in ticks if tick.at]  # fmt: skip
    assert all(minute % 5 == 0 for minute in minutes)


@pytest.mark.parametrize(
    ("minutes", "low", "high"),
    [(0, 60, 65), (1, 60, 65), (2, 65, 70), (3, 70, 75), (4, 75, 80), (5, 80, 85), (9.9, 80, 85),
     (10, 85, 95), (14.9, 85, 95), (15, 90, 95)],
)  # fmt: skip
def test_the_saturation_to_expect_rises_with_the_minutes(
    minutes: float, low: float, high: float
) -> None:
    """AHA algorithm 2015, unchanged in 2020; from 15 minutes that on oxygen, value from memory."""
    band = spo2_target(minutes)
    assert (band.low, band.high) == (low, high)
    assert band.source


def test_a_baby_of_under_32_weeks_has_the_lower_floor() -> None:
    """WHO, Oxygen therapy for children, 2016: 88 to 95 % under 32 weeks."""
    assert spo2_target(60, 31.9).low == 88
    assert spo2_target(60, 32).low == 90
    assert spo2_target(5, 28).low == 80


def test_the_heart_rate_is_adequate_from_100_and_a_sign_of_shock_above_180() -> None:
    """2020 AHA guidelines, Part 5; WHO, Managing newborn problems, 2003, F-5."""
    assert (HEART_RATE.low, HEART_RATE.high) == (100, 180)


told = st.lists(
    st.tuples(st.integers(0, 3000), st.floats(20, 45)), min_size=2, max_size=40, unique=True
)


@given(told)
def test_everything_is_drawn_inside_and_in_order(told) -> None:  # type: ignore[no-untyped-def]
    drawn = chart(*told, normal=[Normal(36.5, 37.5)])
    for point in drawn.points:
        assert LEFT <= point.x <= WIDTH - RIGHT
        assert TOP - 1e-6 <= point.y <= HEIGHT - BOTTOM + 1e-6
    assert [point.x for point in drawn.points] == sorted(point.x for point in drawn.points)
    assert len(drawn.line.split()) == len(told)
    for box in (*drawn.band, *drawn.steps):
        assert box.width >= 0
        assert box.height >= 0
    assert all(TOP - 1e-6 <= tick.place <= HEIGHT - BOTTOM + 1e-6 for tick in drawn.y_ticks)


@given(told)
def test_the_order_of_arrival_changes_nothing_where_times_differ(told) -> None:  # type: ignore[no-untyped-def]
    apart = list({minute: (minute, value) for minute, value in told}.values())
    if len(apart) >= 2:
        assert chart(*apart) == chart(*reversed(apart))
