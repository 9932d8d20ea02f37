"""Which step is read out next when the chest does not move.

Order of the first four: WHO, Managing newborn problems, 2003, P-1 to P-3; the fifth: value from
memory.
"""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from referrals.calc.chest_steps import (
    BEAT_FASTEST,
    BEAT_PER_MINUTE,
    BEAT_SLOWEST,
    CHEST_STEPS,
    SAME_TRY,
    Tried,
    next_step,
)

AT = datetime(2026, 3, 2, 4, 0, tzinfo=UTC)
CODES = [step.code for step in CHEST_STEPS]


def tried(*codes: str, moves: bool = False, minutes: float = 0) -> list[Tried]:
    start = AT + timedelta(minutes=minutes)
    return [Tried(code, start + timedelta(seconds=20 * n), moves) for n, code in enumerate(codes)]


def test_head_mask_mouth_and_pressure_come_in_the_published_order_then_somebody_else() -> None:
    assert CODES == ["head", "seal", "clear", "harder", "other"]
    assert all(step.source for step in CHEST_STEPS)


@pytest.mark.parametrize("done", range(len(CODES)))
def test_each_step_follows_the_one_before(done: int) -> None:
    step = next_step(tried(*CODES[:done]), AT + timedelta(minutes=2))
    assert step is not None
    assert step.code == CODES[done]


def test_after_the_last_there_is_none() -> None:
    assert next_step(tried(*CODES), AT + timedelta(minutes=2)) is None


def test_a_chest_that_moved_begins_the_row_anew() -> None:
    rows = [*tried("head", "seal"), *tried("clear", moves=True, minutes=1)]
    step = next_step(rows, AT + timedelta(minutes=2))
    assert step is not None
    assert step.code == "head"


def test_after_a_while_the_row_begins_anew() -> None:
    later = AT + SAME_TRY + timedelta(minutes=1)
    step = next_step(tried("head", "seal"), later)
    assert step is not None
    assert step.code == "head"


@given(st.permutations(tried(*CODES[:3])))
def test_the_order_in_which_presses_arrive_does_not_matter(rows: list[Tried]) -> None:
    step = next_step(rows, AT + timedelta(minutes=2))
    assert step is not None
    assert step.code == CODES[3]


def test_no_step_speaks_of_stopping_or_waiting() -> None:
    words = " ".join(step.words for step in CHEST_STEPS).lower()
    assert not any(each in words for each in ("stop", "wait", "give up"))


def test_the_beat_begins_at_forty_and_reaches_from_thirty_to_sixty() -> None:
    """40: WHO 2003, P-3; 30: ERC 2021, value from memory; 60: AHA guideline."""
    assert (BEAT_SLOWEST, BEAT_PER_MINUTE, BEAT_FASTEST) == (30, 40, 60)
