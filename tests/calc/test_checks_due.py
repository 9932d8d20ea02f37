"""When the checks on the way are due (WHO, Managing newborn problems, 2003, C-65 and C-66)."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from transport.calc.checks_due import (
    checks_missed,
    next_check_due,
    overdue_minutes,
    temperature_due,
)

LEFT_AT = datetime(2031, 3, 4, 22, 0, tzinfo=UTC)


def after(minutes: float) -> datetime:
    return LEFT_AT + timedelta(minutes=minutes)


def test_the_next_check_is_due_a_quarter_of_an_hour_after_the_last() -> None:
    # Every 15 min on the road: WHO-2003, C-65/C-66.
    assert next_check_due(last_check_at=after(7), started_at=LEFT_AT) == after(22)


def test_the_first_check_is_due_a_quarter_of_an_hour_after_departure() -> None:
    assert next_check_due(last_check_at=None, started_at=LEFT_AT) == after(15)


def test_a_check_before_departure_counts_but_never_makes_one_due_before_it() -> None:
    assert next_check_due(last_check_at=after(-10), started_at=LEFT_AT) == after(5)
    assert next_check_due(last_check_at=after(-90), started_at=LEFT_AT) == LEFT_AT


def test_a_check_sixteen_minutes_ago_in_transit_is_overdue() -> None:
    # WHO-2003, C-66: 15 min, so after 16 one is late.
    late = overdue_minutes(last_check_at=after(30), started_at=LEFT_AT, now=after(46))
    assert late == 1
    assert overdue_minutes(last_check_at=after(30), started_at=LEFT_AT, now=after(45)) == 0


@pytest.mark.parametrize(
    ("made", "until", "missed"),
    [
        ((), 15, 0),
        ((), 16, 1),
        ((), 46, 3),
        ((15, 30, 45), 60, 0),
        ((16, 32), 47, 0),  # late, not missed
        ((31,), 40, 1),
        ((15, 15, 30), 46, 1),
        ((5,), 20, 0),
    ],
)
def test_missed_checks_are_counted(made: tuple[float, ...], until: float, missed: int) -> None:
    times = [after(minutes) for minutes in made]
    counted = checks_missed(check_times=times, started_at=LEFT_AT, until=after(until))
    assert counted == missed


minutes_on_the_way = st.lists(st.integers(1, 300), max_size=20)


@given(minutes_on_the_way, st.randoms(use_true_random=False))
def test_the_order_and_repetition_of_checks_do_not_matter(made: list[int], rng: object) -> None:
    shuffled = made + made[:3]
    rng.shuffle(shuffled)
    counts = {
        checks_missed(check_times=map(after, times), started_at=LEFT_AT, until=after(300))
        for times in (made, shuffled)
    }
    assert len(counts) == 1


@given(minutes_on_the_way, st.integers(1, 300))
def test_one_more_check_never_counts_as_one_more_missed(made: list[int], another: int) -> None:
    before, with_it = (
        checks_missed(check_times=map(after, times), started_at=LEFT_AT, until=after(300))
        for times in (made, [*made, another])
    )
    assert with_it <= before


def test_the_temperature_is_due_every_hour() -> None:
    # WHO-2003, C-65: hourly on the road.
    assert temperature_due(last_taken_at=after(10), started_at=LEFT_AT) == after(70)


def test_a_temperature_never_taken_is_due_with_the_first_check() -> None:
    assert temperature_due(last_taken_at=None, started_at=LEFT_AT) == after(15)


def test_a_temperature_taken_long_before_leaving_is_due_at_departure() -> None:
    assert temperature_due(last_taken_at=after(-90), started_at=LEFT_AT) == LEFT_AT


def test_a_district_sets_how_often_and_never_more_often_than_a_check() -> None:
    def due(check: float, temperature: float) -> datetime:
        return temperature_due(
            last_taken_at=LEFT_AT,
            started_at=LEFT_AT,
            interval_minutes=check,
            temperature_minutes=temperature,
        )

    assert due(15, 30) == after(30)
    assert due(20, 10) == after(20)


def test_an_interval_that_is_none_is_refused() -> None:
    with pytest.raises(ValueError, match="above 0"):
        next_check_due(last_check_at=None, started_at=LEFT_AT, interval_minutes=0)
    with pytest.raises(ValueError, match="above 0"):
        checks_missed(check_times=[], started_at=LEFT_AT, until=after(5), interval_minutes=-1)
