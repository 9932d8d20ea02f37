"""Sums of ways on one day, against a fine grid and against seeded random days."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtr, ndtri

from transport.calc.meeting import wait_for_each_other
from transport.calc.scenarios import Drawn, on_each_day
from transport.calc.sums import TimeSum, sum_of, work_out_windows
from transport.calc.travel import TravelTime, add, certain

ways = st.builds(TravelTime, st.floats(1, 600), st.floats(0.02, 0.9))
correlations = st.floats(0, 0.9)


def on_a_grid(first, second, correlation, minutes):
    """Chance of at most ``minutes``: 400,000 equally likely values of the first way."""
    scores = ndtri((np.arange(400_000) + 0.5) / 400_000)
    left = minutes - first.median_minutes * np.exp(first.sigma * scores)
    own = second.sigma * math.sqrt(1 - correlation**2)
    middle = math.log(second.median_minutes) + correlation * second.sigma * scores
    score = (np.log(np.maximum(left, 1e-300)) - middle) / own
    return float(np.mean(np.where(left > 0, ndtr(score), 0.0)))


@pytest.mark.parametrize("correlation", [0.0, 0.25, 0.6])
@pytest.mark.parametrize(
    ("first", "second"),
    [
        ((60, 0.5), (60, 0.5)),
        ((60, 1.0), (60, 1.0)),
        ((10, 0.9), (60, 0.3)),
        ((100, 0.5), (30, 1.0)),
        ((30, 0.05), (30, 0.5)),
    ],
)
def test_the_chances_are_those_of_a_fine_grid(first, second, correlation):
    """The error that ``TimeSum`` states: 0.0001."""
    first, second = TravelTime(*first), TravelTime(*second)
    total = sum_of([first, second, certain(15)], correlation=correlation)
    assert isinstance(total, TimeSum)
    for probability in (0.01, 0.1, 0.5, 0.9, 0.99):
        minutes = total.quantile(probability)
        counted = on_a_grid(first, second, correlation, minutes - 15)
        assert counted == pytest.approx(probability, abs=1e-4)
        assert total.probability_within(minutes) == pytest.approx(probability, abs=1e-4)


def test_moment_matching_is_off_where_the_quadrature_is_not():
    """Why the sum is worked out: P10 of two unequal ways, matched by moments, is over 3 % early."""
    first, second = TravelTime(90, 0.3), TravelTime(40, 0.9)
    worked_out = sum_of([first, second], correlation=0.0)
    assert on_a_grid(first, second, 0.0, worked_out.p10) == pytest.approx(0.1, abs=1e-4)
    assert add([first, second]).p10 < 0.97 * worked_out.p10


def test_mean_and_deviation_are_those_of_random_days():
    rng = np.random.default_rng(4)
    scores = rng.multivariate_normal([0, 0], [[1, 0.25], [0.25, 1]], size=400_000)
    days = 20 + 60 * np.exp(0.5 * scores[:, 0]) + 45 * np.exp(0.4 * scores[:, 1])
    total = sum_of([TravelTime(60, 0.5), TravelTime(45, 0.4), certain(20)], correlation=0.25)
    assert total.mean == pytest.approx(days.mean(), rel=0.005)
    assert total.standard_deviation == pytest.approx(days.std(), rel=0.01)
    for probability in (0.1, 0.5, 0.9):
        assert total.quantile(probability) == pytest.approx(
            np.quantile(days, probability), rel=0.005
        )


def test_the_same_bad_day_makes_late_later_and_the_mean_no_other():
    pair = [TravelTime(60, 0.5), TravelTime(60, 0.5)]
    apart, together = sum_of(pair, correlation=0.0), sum_of(pair, correlation=0.25)
    assert together.mean == pytest.approx(apart.mean)
    assert together.p90 == pytest.approx(1.034 * apart.p90, rel=0.002)


@given(ways, ways, correlations, st.floats(0.01, 0.98), st.floats(0.001, 0.01))
@settings(max_examples=60, deadline=None)
def test_quantiles_rise_with_the_chance(first, second, correlation, chance, more):
    total = sum_of([first, second], correlation=correlation)
    assert total.quantile(chance + more) >= total.quantile(chance) * (1 - 1e-4)
    assert total.p10 <= total.p50 <= total.p90


@given(ways, ways, correlations, st.floats(0, 2000))
@settings(max_examples=60, deadline=None)
def test_the_sum_is_never_surer_to_be_there_than_either_part(first, second, correlation, minutes):
    total = sum_of([first, second], correlation=correlation)
    within = total.probability_within(minutes)
    assert within <= first.probability_within(minutes) + 1e-6
    assert within <= second.probability_within(minutes) + 1e-6
    assert within + total.probability_beyond(minutes) == pytest.approx(1)


@given(ways, st.floats(0, 100))
def test_what_is_certain_only_moves_a_single_way(way, minutes):
    total = sum_of([way, certain(minutes)])
    assert total.p90 == pytest.approx(way.p90 + minutes)


def test_windows_worked_out_together_are_those_worked_out_alone():
    def some():
        return [sum_of([TravelTime(60, 0.5), TravelTime(20 + n, 0.4)]) for n in range(5)]

    together, alone = some(), some()
    work_out_windows([*together, certain(5)])
    for one, other in zip(together, alone, strict=True):
        assert (one.p10, one.p50, one.p90) == pytest.approx((other.p10, other.p50, other.p90))
        assert one == other


def test_of_three_ways_the_smallest_two_are_joined_first():
    three = sum_of([TravelTime(60, 0.4), TravelTime(5, 0.3), TravelTime(50, 0.5)])
    assert three.mean == pytest.approx(sum(TravelTime(*w).mean for w in ((60, 0.4), (5, 0.3),
                                                                        (50, 0.5))))  # fmt: skip
    assert sum_of([certain(3), certain(4)]) == certain(7)


def test_what_cannot_be_is_refused():
    with pytest.raises(ValueError, match="correlation"):
        sum_of([], correlation=1.0)
    with pytest.raises(ValueError, match="between 0 and 1"):
        sum_of([TravelTime(60, 0.5)] * 2).quantile(1.0)
    with pytest.raises(ValueError, match="between 0 and 1"):
        Drawn((1.0,)).quantile(0.0)


class TestDays:
    """The errors that ``Drawn`` states."""

    def test_sums_and_the_later_of_two_are_those_of_random_days(self):
        rng = np.random.default_rng(8)
        shared = rng.standard_normal(400_000)
        times = [TravelTime(40, 0.5), TravelTime(60, 0.4, 10), TravelTime(90, 0.5),
                 TravelTime(30, 0.6)]  # fmt: skip

        def random_days(time):
            own = rng.standard_normal(400_000)
            score = 0.5 * shared + math.sqrt(0.75) * own
            return time.certain_minutes + time.varying_minutes * np.exp(time.sigma * score)

        counted = [random_days(time) for time in times]
        drawn = [on_each_day(time, way, 0.25) for way, time in enumerate(times)]
        for made, expected in (
            (drawn[0] + drawn[1], counted[0] + counted[1]),
            (np.maximum(drawn[0] + drawn[1], drawn[2]),
             np.maximum(counted[0] + counted[1], counted[2])),
            (np.maximum(drawn[0] + drawn[1], drawn[2]) + drawn[3],
             np.maximum(counted[0] + counted[1], counted[2]) + counted[3]),
        ):  # fmt: skip
            time = Drawn.of(made)
            assert time.p50 == pytest.approx(np.quantile(expected, 0.5), rel=0.01)
            assert time.p90 == pytest.approx(np.quantile(expected, 0.9), rel=0.01)
            assert time.p10 == pytest.approx(np.quantile(expected, 0.1), rel=0.02)
            assert time.mean == pytest.approx(expected.mean(), rel=0.005)
        waits = wait_for_each_other(drawn[0] + drawn[1], drawn[2], waiting_minutes=10)
        gap = counted[2] - counted[0] - counted[1]
        assert waits.first.chance == pytest.approx(np.mean(gap > 10), abs=0.01)
        assert waits.second.chance == pytest.approx(np.mean(-gap > 10), abs=0.01)
        assert waits.first.minutes == pytest.approx(np.median(gap[gap > 10]), rel=0.05)

    @given(ways, st.integers(0, 4))
    @settings(max_examples=30, deadline=None)
    def test_the_mean_of_the_days_is_that_of_the_way(self, way, number):
        assert on_each_day(way, number).mean() == pytest.approx(way.mean)

    def test_two_vehicles_of_which_one_is_always_first(self):
        early, late = on_each_day(certain(20), 0), on_each_day(certain(50), 1)
        waits = wait_for_each_other(early, late, waiting_minutes=10)
        assert (waits.first.chance, waits.first.minutes) == (1.0, 30.0)
        assert (waits.second.chance, waits.second.minutes) == (0.0, None)
        assert waits.time.p10 == waits.time.p90 == waits.time.mean == 50
        assert waits.time.probability_within(50) == 1
        assert waits.time.probability_beyond(49) == 1
        assert waits.time.standard_deviation == 0
