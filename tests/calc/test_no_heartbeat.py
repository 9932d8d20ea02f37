"""Minutes of breaths while no heartbeat is found: what counts, and when the marks are reached.

Marks of 10, 15 and 20 minutes: the published positions differ between AHA and ILCOR 2010 (10), WHO
2012 (10, value from memory), a community trial (15), ILCOR and AHA 2020 (about 20) and WHO 2003
(20 and 30 for a baby who had been breathing).
"""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from referrals.calc.no_heartbeat import MARKS_MINUTES, POSITIONS, HeartTold, no_heartbeat
from referrals.calc.terms import HeartRateBand

AT = datetime(2026, 3, 2, 4, 0, tzinfo=UTC)
NONE = HeartRateBand.NONE_DETECTED


def told(minute: float, band: HeartRateBand | None = None, **more: bool) -> HeartTold:
    return HeartTold(at=AT + timedelta(minutes=minute), sequence=round(minute * 10) + 1,
                     band=band, **more)  # fmt: skip


def after(minutes: float) -> datetime:
    return AT + timedelta(minutes=minutes)


def test_the_marks_are_those_of_the_published_positions() -> None:
    assert MARKS_MINUTES == (10, 15, 20)
    assert len({position.source for position in POSITIONS}) == len(POSITIONS) == 5


def test_without_such_a_reading_there_is_nothing() -> None:
    assert no_heartbeat([]) is None
    assert no_heartbeat([told(0, HeartRateBand.UNDER_60, ventilated=True)]) is None


def test_the_clock_runs_from_the_first_reading_without_one() -> None:
    found = no_heartbeat([told(0, ventilated=True), told(2, NONE), told(6, NONE)])
    assert found is not None
    assert found.since == after(2)
    assert found.last_told_at == after(6)
    assert found.minutes_at(after(9)) == 7
    assert found.reached_at(10) == after(12)
    assert found.reached_at(20) == after(22)


def test_a_heartbeat_found_ends_it_and_a_later_loss_begins_anew() -> None:
    rows = [told(0, NONE, ventilated=True), told(5, HeartRateBand.UNDER_60)]
    assert no_heartbeat(rows) is None
    again = no_heartbeat([*rows, told(8, NONE)])
    assert again is not None
    assert again.since == after(8)
    assert again.minutes_at(after(10)) == 2


def test_minutes_in_which_the_chest_is_told_to_lie_still_do_not_count() -> None:
    found = no_heartbeat(
        [
            told(0, NONE, ventilated=True, chest_moves=True),
            told(4, chest_moves=False),
            told(7, chest_moves=True),
        ]
    )
    assert found is not None
    assert found.chest_told
    assert found.minutes_at(after(7)) == 4
    assert found.reached_at(10) == after(13)


def test_while_the_chest_lies_still_no_mark_comes_nearer() -> None:
    found = no_heartbeat([told(0, NONE, ventilated=True), told(4, chest_moves=False)])
    assert found is not None
    assert found.reached_at(10) is None
    assert found.minutes_at(after(60)) == 4


def test_what_nobody_has_told_is_taken_so_that_a_person_knows_earlier() -> None:
    found = no_heartbeat([told(0, NONE)])
    assert found is not None
    assert not found.chest_told
    assert found.reached_at(10) == after(10)


def test_a_baby_that_breathes_by_itself_stops_the_clock() -> None:
    found = no_heartbeat([told(0, NONE, ventilated=True), told(3, ventilated=False)])
    assert found is not None
    assert found.reached_at(10) is None


readings = st.lists(
    st.builds(
        HeartTold,
        at=st.integers(0, 60).map(after),
        sequence=st.integers(1, 1000),
        band=st.sampled_from([None, NONE, HeartRateBand.AT_LEAST_100]),
        ventilated=st.sampled_from([None, True, False]),
        chest_moves=st.sampled_from([None, True, False]),
    ),
    unique_by=lambda row: row.sequence,
)


@given(readings, st.integers(60, 200))
def test_effective_minutes_never_exceed_the_time_without_a_heartbeat(
    rows: list[HeartTold], minute: int
) -> None:
    found = no_heartbeat(rows)
    if found is None:
        return
    passed = (after(minute) - found.since) / timedelta(minutes=1)
    assert 0 <= found.minutes_at(after(minute)) <= passed
    for mark in MARKS_MINUTES:
        reached = found.reached_at(mark)
        if reached is not None:
            assert found.minutes_at(reached) == pytest.approx(mark)


@given(st.permutations([told(0, NONE, ventilated=True), told(3, chest_moves=False), told(6, NONE)]))
def test_the_order_of_arrival_does_not_matter(rows: list[HeartTold]) -> None:
    found = no_heartbeat(rows)
    assert found is not None
    assert found.minutes_at(after(30)) == 3


@pytest.mark.parametrize("position", POSITIONS, ids=lambda position: position.code)
def test_no_position_is_worded_as_an_order(position: object) -> None:
    words = str(getattr(position, "words", "")).lower()
    assert not any(each in words for each in ("you should", "must", "stop now"))
