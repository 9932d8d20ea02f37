"""Breathing that turns for the worse, folded from readings in any order."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from referrals.calc.terms import Breathing
from referrals.calc.worsening import BEST_FIRST, BreathingTold, worse_than_before

BORN = datetime(2031, 3, 4, 22, 0, tzinfo=UTC)


def told(*seen: Breathing) -> list[BreathingTold]:
    return [
        BreathingTold(at=BORN + timedelta(minutes=5 * i), sequence=i, breathing=each)
        for i, each in enumerate(seen)
    ]


def test_every_way_of_breathing_has_its_place():
    assert set(BEST_FIRST) == set(Breathing)


@pytest.mark.parametrize(
    ("seen", "stands"),
    [
        ((), False),
        ((Breathing.NONE,), False),
        ((Breathing.REGULAR, Breathing.SLOW_OR_GASPING), True),
        ((Breathing.REGULAR, Breathing.VENTILATED), True),
        ((Breathing.VENTILATED, Breathing.NONE), True),
        ((Breathing.NONE, Breathing.VENTILATED), False),  # somebody has begun to ventilate
        ((Breathing.VENTILATED, Breathing.REGULAR), False),
        ((Breathing.REGULAR, Breathing.NONE, Breathing.NONE), True),  # no better than it was then
        ((Breathing.REGULAR, Breathing.NONE, Breathing.VENTILATED), False),
    ],
)
def test_a_turn_stands_until_a_reading_is_better(seen, stands):
    assert bool(worse_than_before(told(*seen))) is stands


def test_the_turn_names_both_readings():
    turn = worse_than_before(told(Breathing.REGULAR, Breathing.REGULAR, Breathing.SLOW_OR_GASPING))
    assert (turn.before.sequence, turn.reading.sequence) == (1, 2)


breaths = st.lists(st.sampled_from(BEST_FIRST), max_size=12)


@given(breaths, st.randoms(use_true_random=False))
def test_the_order_of_arrival_does_not_matter(seen, rng):
    readings = told(*seen)
    mixed = readings[:]
    rng.shuffle(mixed)
    assert worse_than_before(mixed) == worse_than_before(readings)


@given(breaths)
def test_whoever_is_worse_is_worse_than_the_reading_before(seen):
    turn = worse_than_before(told(*seen))
    if turn:
        ranks = [BEST_FIRST.index(each.breathing) for each in (turn.before, turn.reading)]
        assert ranks[0] < ranks[1]
        assert turn.before.at < turn.reading.at


@given(breaths)
def test_after_a_regular_breath_nothing_stands(seen):
    assert worse_than_before(told(*seen, Breathing.REGULAR)) is None
