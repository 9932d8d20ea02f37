"""From when a baby that was ventilated counts as seen to breathe alone."""

from datetime import UTC, datetime, timedelta

import hypothesis.strategies as st
from hypothesis import given

from referrals.calc.breathing_alone import BreathReading, alone_since
from referrals.calc.terms import Breathing, Support

START = datetime(2026, 3, 1, 14, tzinfo=UTC)


def at(minutes, breathing=None, support=None):
    return BreathReading(
        at=START + timedelta(minutes=minutes), breathing=breathing, support=support
    )


BAGGED = at(0, Breathing.VENTILATED, Support.BAG_AND_MASK_AIR)


def test_hours_without_a_reading_are_not_hours_of_watching():
    assert alone_since([BAGGED]) is None
    assert alone_since([BAGGED, at(180)]) is None


def test_it_begins_with_the_first_reading_that_shows_it():
    readings = [at(60, Breathing.REGULAR), BAGGED, at(20, Breathing.REGULAR, Support.NONE)]
    assert alone_since(readings) == START + timedelta(minutes=20)


def test_each_return_of_help_begins_it_anew():
    alone = at(20, Breathing.REGULAR)
    for again in (
        at(30, Breathing.SLOW_OR_GASPING),
        at(30, Breathing.NONE),
        at(30, Breathing.REGULAR, Support.CPAP),
        at(30, support=Support.OXYGEN_BY_PRONGS),
    ):
        assert alone_since([BAGGED, alone, again]) is None
        later = at(40, Breathing.REGULAR)
        assert alone_since([BAGGED, alone, again, later]) == later.at


def test_contradicting_readings_of_one_moment_count_as_help():
    assert alone_since([at(0, Breathing.REGULAR), BAGGED]) is None


readings = st.lists(
    st.builds(
        at,
        st.integers(0, 20),
        st.none() | st.sampled_from(Breathing),
        st.none() | st.sampled_from(Support),
    )
)


@given(readings, st.randoms())
def test_the_order_of_arrival_changes_nothing(rows, random):
    shuffled = list(rows)
    random.shuffle(shuffled)
    assert alone_since(rows) == alone_since(shuffled)


@given(readings, st.builds(at, st.integers(0, 20), st.sampled_from(Breathing)))
def test_one_more_reading_that_shows_help_never_makes_the_watching_longer(rows, more):
    if not more.shows_help:
        return
    before, after = alone_since(rows), alone_since([*rows, more])
    assert after is None or (before is not None and after >= before)
