"""Travel times as distributions: shifted log-normals and their sums."""

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import lognorm

from transport.calc.travel import TravelTime, add, certain, zero

travel_times = st.builds(TravelTime, st.floats(0, 600), st.floats(0, 0.8))


@pytest.mark.parametrize(("probability", "minutes"), [(0.8, 77.23), (0.9, 88.13), (0.95, 98.28)])
def test_quantiles_are_those_of_the_log_normal(probability: float, minutes: float) -> None:
    # m exp(z s), m 60, s 0.30: computed from the definition (Aitchison & Brown 1957).
    assert TravelTime(60, 0.3).quantile(probability) == pytest.approx(minutes, abs=0.005)


def test_means_are_those_of_the_log_normal() -> None:
    # m exp(s^2 / 2), computed from the definition (Aitchison & Brown 1957).
    assert TravelTime(60, 0.3).mean == pytest.approx(62.76, abs=0.005)
    assert TravelTime(90, 0.4).mean == pytest.approx(97.50, abs=0.005)
    assert TravelTime(90, 0.4).p90 == pytest.approx(150.27, abs=0.005)


def test_mean_and_spread_come_back_from_published_parameters() -> None:
    # Mean 60 and SD 20 give mu 4.04166, sigma 0.32459 (moment formulas, Aitchison & Brown 1957).
    time = TravelTime(math.exp(4.04166), 0.32459)
    assert time.mean == pytest.approx(60, abs=0.01)
    assert time.standard_deviation == pytest.approx(20, abs=0.01)
    assert time.p90 == pytest.approx(86.28, abs=0.01)


@given(st.floats(1, 600), st.floats(0.01, 0.9), st.floats(0, 100), st.floats(0.001, 0.999))
def test_it_is_the_shifted_log_normal_of_scipy(
    varying: float, sigma: float, fixed: float, probability: float
) -> None:
    time = TravelTime(varying + fixed, sigma, fixed)
    theirs = lognorm(s=sigma, loc=time.certain_minutes, scale=time.varying_minutes)
    minutes = time.quantile(probability)
    assert minutes == pytest.approx(theirs.ppf(probability), rel=1e-9)
    assert time.probability_within(minutes) == pytest.approx(theirs.cdf(minutes), abs=1e-9)
    assert time.probability_beyond(minutes) == pytest.approx(theirs.sf(minutes), rel=1e-6)
    assert time.mean == pytest.approx(theirs.mean(), rel=1e-9)
    assert time.standard_deviation == pytest.approx(theirs.std(), rel=1e-6)


@given(st.floats(1, 600), st.floats(0.01, 0.9), st.floats(0, 100), st.floats(0.01, 0.99))
def test_quantile_and_probability_are_inverse(
    varying: float, sigma: float, fixed: float, probability: float
) -> None:
    time = TravelTime(varying + fixed, sigma, fixed)
    assert time.probability_within(time.quantile(probability)) == pytest.approx(
        probability, abs=1e-6
    )


@given(travel_times, st.floats(0, 2000))
def test_the_two_sides_of_a_limit_are_all_there_is(time: TravelTime, minutes: float) -> None:
    within, beyond = time.probability_within(minutes), time.probability_beyond(minutes)
    assert within + beyond == pytest.approx(1)


def test_certain_minutes_are_a_step() -> None:
    assert certain(20).probability_within(19.9) == 0
    assert certain(20).probability_within(20) == 1
    assert certain(20).p10 == certain(20).p90 == certain(20).mean == 20


def test_a_quantile_after_some_minutes_is_that_of_what_is_still_possible() -> None:
    # Law of conditional probability, by counting seeded journeys.
    rng = random.Random(5)
    lasting = sorted(
        minutes
        for minutes in (60 * math.exp(rng.gauss(0, 0.4)) for _ in range(100_000))
        if minutes > 75
    )
    counted = lasting[int(0.9 * len(lasting))]
    assert TravelTime(60, 0.4).quantile_after(0.9, 75) == pytest.approx(counted, rel=0.02)


@given(travel_times, st.floats(0.01, 0.99), st.floats(0, 5000))
def test_what_is_left_never_lies_in_the_past(
    time: TravelTime, probability: float, elapsed: float
) -> None:
    assert time.quantile_after(probability, elapsed) >= elapsed


@given(travel_times, st.floats(0.01, 0.99))
def test_nothing_elapsed_changes_nothing(time: TravelTime, probability: float) -> None:
    assert time.quantile_after(probability, 0) == pytest.approx(
        time.quantile(probability), abs=1e-6
    )


@pytest.mark.parametrize(
    "wrong", [(-1, 0.3, 0), (60, -0.1, 0), (60, 4, 0), (60, 0.3, 61), (math.nan, 0.3, 0)]
)
def test_an_impossible_travel_time_is_refused(wrong: tuple[float, float, float]) -> None:
    with pytest.raises(ValueError, match="must be"):
        TravelTime(*wrong)


@pytest.mark.parametrize(
    "legs",
    [
        [(60, 0.5), (30, 0.5)],
        [(60, 0.6), (5, 0.6)],
        [(60, 0.6), (60, 0.6), (60, 0.6), (20, 0.3)],
    ],
)
def test_the_sum_of_legs_is_close_to_a_seeded_simulation(legs: list[tuple[float, float]]) -> None:
    """Bounds stated in ``add``: median and P90 within 1.5 %, P10 within 5 %."""
    rng = random.Random(7)
    simulated = sorted(sum(m * math.exp(rng.gauss(0, s)) for m, s in legs) for _ in range(40_000))
    total = add(TravelTime(*leg) for leg in legs)
    assert total.p50 == pytest.approx(simulated[20_000], rel=0.015)
    assert total.p90 == pytest.approx(simulated[36_000], rel=0.015)
    assert total.p10 == pytest.approx(simulated[4_000], rel=0.05)


@given(st.lists(travel_times, max_size=5))
def test_a_sum_keeps_mean_and_deviation_whatever_the_order(legs: list[TravelTime]) -> None:
    total = add(legs)
    assert total.mean == pytest.approx(sum(leg.mean for leg in legs), rel=1e-9, abs=1e-9)
    deviation = math.hypot(*(leg.standard_deviation for leg in legs))
    assert total.standard_deviation == pytest.approx(deviation, rel=1e-6, abs=1e-6)
    assert add(reversed(legs)).p90 == pytest.approx(total.p90)


@given(travel_times)
def test_no_minutes_is_the_neutral_sum(time: TravelTime) -> None:
    total = add([time, zero()])
    assert total.p90 == pytest.approx(time.p90, rel=1e-6, abs=1e-6)
    assert add([]) == zero()


@given(travel_times, st.floats(0, 120))
def test_certain_minutes_move_every_quantile_by_themselves(time: TravelTime, more: float) -> None:
    total = add([time, certain(more)])
    assert total.p10 == pytest.approx(time.p10 + more, rel=1e-6, abs=1e-6)
    assert total.p90 == pytest.approx(time.p90 + more, rel=1e-6, abs=1e-6)
