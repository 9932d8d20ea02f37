"""Who is on duty when, on ordinary days and when clocks move; and when nobody is."""

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as some

from referrals.calc.rota import Span, Turn, duty_at, gaps

TALUVESI, BERLIN = ZoneInfo("Etc/GMT-6"), ZoneInfo("Europe/Berlin")
MONDAY = datetime(2026, 3, 2, tzinfo=UTC)
WEEK = timedelta(days=7)
DAYS = [Turn(weekday=day, starts=time(7), ends=time(19)) for day in range(7)]
NIGHTS = [Turn(weekday=day, starts=time(19), ends=time(7)) for day in range(7)]


def utc(*numbers: int) -> datetime:
    return datetime(*numbers, tzinfo=UTC)


@pytest.mark.parametrize(
    ("moment", "on_duty"),
    [
        (utc(2026, 3, 2, 0, 59), False),  # 06:59 on Monday at UTC+6
        (utc(2026, 3, 2, 1), True),
        (utc(2026, 3, 2, 12, 59), True),
        (utc(2026, 3, 2, 13), False),  # the moment of the change belongs to the next shift
        (utc(2026, 3, 3, 5), False),
    ],
)
def test_a_day_shift_is_read_on_the_clock_of_the_district(moment, on_duty):
    assert (duty_at([DAYS[0]], TALUVESI, moment) is not None) == on_duty


def test_a_night_shift_of_sunday_ends_on_monday_morning():
    assert duty_at([NIGHTS[6]], TALUVESI, utc(2026, 3, 2, 0, 59)) == Span(
        utc(2026, 3, 1, 13), utc(2026, 3, 2, 1)
    )


def test_a_shift_that_ends_when_it_starts_lasts_a_whole_day():
    whole = [Turn(weekday=0, starts=time(8), ends=time(8))]
    assert duty_at(whole, TALUVESI, utc(2026, 3, 3, 1, 59)) == Span(
        utc(2026, 3, 2, 2), utc(2026, 3, 3, 2)
    )


def test_of_two_shifts_at_once_the_one_that_ends_last_counts():
    short = Turn(weekday=0, starts=time(6), ends=time(12))
    held = duty_at([DAYS[0], short], TALUVESI, utc(2026, 3, 2, 3))
    assert held is not None
    assert held.ends == utc(2026, 3, 2, 13)


@pytest.mark.parametrize(
    ("moment", "hours"),
    [
        (utc(2026, 3, 28, 23), 11),  # the night in which Berlin's clocks go forward
        (utc(2026, 10, 24, 23), 13),  # the night in which they go back
        (utc(2026, 10, 23, 23), 12),
    ],
)
def test_a_night_is_an_hour_shorter_or_longer_when_clocks_move(moment, hours):
    night = duty_at(NIGHTS, BERLIN, moment)
    assert night is not None
    assert night.ends - night.begins == timedelta(hours=hours)


@pytest.mark.parametrize("change", [time(2, 30), time(2), time(3), time(1, 59)])
@pytest.mark.parametrize("night", [utc(2026, 3, 28, 12), utc(2026, 10, 24, 12)])
def test_shifts_that_meet_in_the_hour_that_moves_leave_no_gap_and_do_not_overlap(change, night):
    """On 29 March 2026 the hour from 02:00 did not come in Berlin, on 25 October it came twice."""
    first = [Turn(weekday=day, starts=time(22), ends=change) for day in range(7)]
    second = [Turn(weekday=day, starts=change, ends=time(22)) for day in range(7)]
    assert gaps([*first, *second], BERLIN, night, night + timedelta(days=2)) == []
    for minutes in range(0, 24 * 60, 7):
        moment = night + timedelta(minutes=minutes)
        held = [duty_at(turns, BERLIN, moment) is not None for turns in (first, second)]
        assert held.count(True) == 1, moment


def test_a_shift_wholly_in_the_hour_that_does_not_come_is_nobodys_duty():
    missing = [Turn(weekday=6, starts=time(2, 30), ends=time(3))]
    around = utc(2026, 3, 29, 1, 15)
    assert duty_at(missing, BERLIN, around) is None
    assert gaps(missing, BERLIN, around, around + timedelta(hours=1)) == [
        Span(around, around + timedelta(hours=1))
    ]


def test_a_whole_rota_has_no_gap():
    assert gaps([*DAYS, *NIGHTS], TALUVESI, MONDAY, MONDAY + WEEK) == []


def test_a_missing_night_is_a_gap_from_evening_to_morning():
    turns = [*DAYS, *NIGHTS[:3], *NIGHTS[4:]]
    assert gaps(turns, TALUVESI, MONDAY, MONDAY + WEEK) == [
        Span(utc(2026, 3, 5, 13), utc(2026, 3, 6, 1))
    ]


def test_a_gap_that_goes_on_is_cut_at_both_ends_of_the_look():
    assert gaps([DAYS[0]], TALUVESI, MONDAY, MONDAY + timedelta(days=1)) == [
        Span(MONDAY, utc(2026, 3, 2, 1)),
        Span(utc(2026, 3, 2, 13), MONDAY + timedelta(days=1)),
    ]


def test_without_shifts_all_of_it_is_a_gap():
    assert gaps([], TALUVESI, MONDAY, MONDAY + WEEK) == [Span(MONDAY, MONDAY + WEEK)]


TURNS = some.builds(Turn, weekday=some.integers(0, 6), starts=some.times(), ends=some.times())


@given(
    some.lists(TURNS, max_size=6),
    some.sampled_from([BERLIN, TALUVESI, ZoneInfo("Australia/Lord_Howe")]),
    some.integers(0, 10 * 365 * 24 * 60).map(lambda n: utc(2020, 1, 1) + timedelta(minutes=n)),
    some.integers(0, 7 * 24 * 60),
)
def test_at_every_moment_somebody_is_on_duty_or_it_is_a_gap(turns, zone, since, minutes):
    moment = since + timedelta(minutes=minutes)
    found = gaps(turns, zone, since, since + WEEK + timedelta(minutes=1))
    on_duty = duty_at(turns, zone, moment) is not None
    assert on_duty != any(gap.holds(moment) for gap in found)
