"""Which outcome is owed next after a handover, and from when.

Discharge or death: WHO, Managing newborn problems, 2003, C-64; the times between are common
practice, no source.
"""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from referrals.calc.outcomes_due import (
    ASKED_FOR_DISCHARGE,
    ENDING_STATES,
    GIVEN_UP_AFTER,
    NEARLY_DUE,
    OwedOutcome,
    ToldOutcome,
    goes_with,
    moment_to_tell,
    owed_outcomes,
)
from referrals.calc.terms import OutcomeMoment, OutcomeState

HANDED_OVER = datetime(2026, 3, 2, 4, 0, tzinfo=UTC)
DAY = timedelta(days=1)
FIRST, WEEK = OutcomeMoment.AT_24_HOURS, OutcomeMoment.AT_7_DAYS
LEFT = OutcomeMoment.AT_DISCHARGE


def told(
    days: float,
    state: OutcomeState = OutcomeState.STILL_IN_CARE,
    moment: OutcomeMoment | None = None,
) -> ToldOutcome:
    return ToldOutcome(HANDED_OVER + days * DAY, state, moment)


def owed(days: float, *rows: ToldOutcome, first_after: timedelta = DAY) -> list[OwedOutcome]:
    return owed_outcomes(HANDED_OVER, rows, first_after, HANDED_OVER + days * DAY)


def overdue(days: float, *rows: ToldOutcome) -> list[OutcomeMoment]:
    now = HANDED_OVER + days * DAY
    return [row.moment for row in owed(days, *rows) if row.due_at <= now]


def test_a_day_a_week_and_then_until_it_is_over() -> None:
    assert [(row.moment, (row.due_at - HANDED_OVER).days) for row in owed(0)] == [
        (FIRST, 1), (WEEK, 7), (LEFT, 28), (LEFT, 42), (LEFT, 56),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("days", "rows", "moments"),
    [
        (0.9, [], []),
        (1, [], [FIRST]),
        (6.9, [], [FIRST]),
        (7, [], [WEEK]),  # one alert: the newer news holds the older
        (30, [], [LEFT]),
        (5, [told(0.1)], []),  # told early and at no named moment it is the first news
        (8, [told(0.1)], [WEEK]),
        (8, [told(7.5)], []),
        (8, [told(7.5, moment=FIRST)], [WEEK]),
        (8, [told(1, moment=WEEK)], []),
        (30, [told(29, moment=WEEK)], [LEFT]),
        (30, [told(29)], []),
        (43, [told(29)], [LEFT]),
        (9, [told(7, moment=WEEK)], []),  # the day before a week that is told is asked no more
    ],
)
def test_what_is_asked_for(days, rows, moments) -> None:
    assert overdue(days, *rows) == moments


@pytest.mark.parametrize("state", sorted(ENDING_STATES))
def test_nothing_is_owed_of_a_baby_that_has_left_or_died(state: OutcomeState) -> None:
    assert owed(2, told(1.5, state)) == []


def test_an_outcome_at_discharge_ends_it_whatever_the_state() -> None:
    assert owed(10, told(9, OutcomeState.IMPROVING, LEFT)) == []


def test_a_district_that_asks_later_than_a_week_asks_for_the_week_first() -> None:
    rows = owed(0, first_after=9 * DAY)
    assert rows[0] == OwedOutcome(HANDED_OVER + 9 * DAY, WEEK)
    assert FIRST not in {row.moment for row in rows}


def test_it_is_given_up_some_weeks_after_it_was_asked_for_last() -> None:
    assert ASKED_FOR_DISCHARGE[-1] < GIVEN_UP_AFTER
    assert overdue(69.9) == [LEFT]
    assert owed(70) == []


def test_a_form_begins_with_what_is_due_or_nearly() -> None:
    rows, due_at = owed(0), HANDED_OVER + DAY
    assert moment_to_tell(rows, HANDED_OVER) is None
    assert moment_to_tell(rows, due_at - NEARLY_DUE) is FIRST
    assert moment_to_tell(owed(7.2), HANDED_OVER + 7.2 * DAY) is WEEK


def test_who_is_still_in_care_has_not_left_and_only_the_dead_have_died() -> None:
    assert goes_with("", "died")
    assert goes_with("at_24_hours", "died")
    assert not goes_with("at_discharge", "still_in_care")
    assert not goes_with("at_discharge", "died")
    assert not goes_with("death", "improving")


ROWS = st.lists(
    st.builds(
        told,
        st.floats(0, 80),
        st.sampled_from(OutcomeState),
        st.none() | st.sampled_from(OutcomeMoment),
    ),
    max_size=6,
)
NOW = st.floats(0, 90)
AFTER = st.floats(0.1, 20).map(lambda days: days * DAY)


@given(ROWS, NOW, AFTER, st.randoms())
def test_the_order_of_telling_does_not_count(rows, days, after, chance) -> None:
    mixed = chance.sample(rows, len(rows))
    assert owed(days, *rows, first_after=after) == owed(days, *mixed, first_after=after)


@given(ROWS, NOW, AFTER)
def test_at_most_one_is_asked_for_and_the_rest_come_in_order(rows, days, after) -> None:
    found, now = owed(days, *rows, first_after=after), HANDED_OVER + days * DAY
    assert found == sorted(found)
    assert sum(row.due_at <= now for row in found) <= 1
    assert all(row.due_at >= HANDED_OVER + after for row in found)
    assert all(row.due_at < HANDED_OVER + GIVEN_UP_AFTER for row in found)


@given(ROWS, NOW, AFTER)
def test_telling_what_is_asked_for_settles_it(rows, days, after) -> None:
    now = HANDED_OVER + days * DAY
    before = owed(days, *rows, first_after=after)
    due = [row for row in before if row.due_at <= now]
    if not due:
        return
    state = OutcomeState.IMPROVING
    answer = ToldOutcome(now, state, due[0].moment)
    then = owed(days, *rows, answer, first_after=after)
    assert not [row for row in then if row.due_at <= now]


@given(ROWS, NOW, AFTER, st.sampled_from(sorted(ENDING_STATES)))
def test_more_news_never_makes_more_owed(rows, days, after, state) -> None:
    now = HANDED_OVER + days * DAY
    before = owed(days, *rows, first_after=after)
    more = owed(days, *rows, ToldOutcome(now, OutcomeState.IMPROVING), first_after=after)
    assert set(more) <= set(before)
    assert owed(days, *rows, ToldOutcome(now, state), first_after=after) == []
