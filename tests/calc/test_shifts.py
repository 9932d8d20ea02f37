"""When a shift changes: the last change before a moment, on ordinary days and when clocks move."""

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as some

from referrals.calc.shifts import NotAClockTime, clock_time_in, last_shift_change

MINUTE = timedelta(minutes=1)
DAY_AND_NIGHT = [time(7), time(19)]
BERLIN, ST_JOHNS, APIA = (
    ZoneInfo(name) for name in ("Europe/Berlin", "America/St_Johns", "Pacific/Apia")
)


def utc(*numbers: int) -> datetime:
    return datetime(*numbers, tzinfo=UTC)


@pytest.mark.parametrize(
    ("zone", "moment", "change"),
    [
        ("Etc/GMT-6", utc(2026, 3, 1, 2, 30), utc(2026, 3, 1, 1)),
        ("Etc/GMT-6", utc(2026, 3, 1, 0, 30), utc(2026, 2, 28, 13)),
        ("Etc/GMT-6", utc(2026, 3, 1, 1), utc(2026, 3, 1, 1)),  # at the change itself
        ("Pacific/Kiritimati", utc(2026, 3, 1, 4, 59), utc(2026, 2, 28, 17)),
        # In Berlin summer time began on 29 March 2026 at 01:00 UTC and ends on 25 October at 01:00.
        ("Europe/Berlin", utc(2026, 3, 28, 12), utc(2026, 3, 28, 6)),
        ("Europe/Berlin", utc(2026, 3, 29, 12), utc(2026, 3, 29, 5)),
        ("Europe/Berlin", utc(2026, 3, 29, 4, 59), utc(2026, 3, 28, 18)),
        ("Europe/Berlin", utc(2026, 10, 25, 5, 59), utc(2026, 10, 24, 17)),
        ("Europe/Berlin", utc(2026, 10, 25, 6), utc(2026, 10, 25, 6)),
    ],
)
def test_the_last_change_is_read_on_the_clock_of_the_district(zone, moment, change):
    assert last_shift_change(DAY_AND_NIGHT, ZoneInfo(zone), moment) == change


def test_a_time_that_the_clock_leaves_out_is_read_with_the_offset_before():
    """Half past two did not come on 29 March 2026 in Berlin; 02:30 at +1 is 01:30 UTC."""
    changes = [time(2, 30)]
    assert last_shift_change(changes, BERLIN, utc(2026, 3, 29, 1, 29)) == utc(2026, 3, 28, 1, 30)
    assert last_shift_change(changes, BERLIN, utc(2026, 3, 29, 1, 30)) == utc(2026, 3, 29, 1, 30)


def test_a_time_that_comes_twice_changes_the_shift_once():
    """Half past two came at 00:30 and 01:30 UTC on 25 October 2026 in Berlin."""
    for moment in (utc(2026, 10, 25, 0, 30), utc(2026, 10, 25, 1, 30), utc(2026, 10, 25, 23)):
        assert last_shift_change([time(2, 30)], BERLIN, moment) == utc(2026, 10, 25, 0, 30)


def test_a_clock_set_back_over_midnight_does_not_take_the_change_back():
    """St John's, 7 November 2010: from 00:01 back to 23:01 of the day before, 02:31 UTC."""
    assert utc(2010, 11, 7, 3).astimezone(ST_JOHNS).day == 6
    assert last_shift_change([time(0)], ST_JOHNS, utc(2010, 11, 7, 3)) == utc(2010, 11, 7, 2, 30)


def test_a_day_that_a_zone_left_out_has_no_change_of_its_own():
    """Samoa had no 30 December 2011; at 06:00 on the 31st the 29th's evening is the last change."""
    six = datetime(2011, 12, 31, 6, tzinfo=APIA)
    assert last_shift_change([time(19)], APIA, six) == datetime(
        2011, 12, 29, 19, tzinfo=APIA
    ).astimezone(UTC)


def test_a_unit_without_shifts_has_no_change():
    assert last_shift_change([], BERLIN, utc(2026, 3, 1)) is None


@given(
    some.integers(0, 37 * 365 * 24 * 60).map(lambda minutes: utc(2000, 1, 1) + minutes * MINUTE),
    some.sampled_from([BERLIN, ST_JOHNS, ZoneInfo("Australia/Lord_Howe"), ZoneInfo("Etc/GMT-6")]),
    some.lists(some.times(), min_size=1, max_size=4),
)
def test_a_change_is_never_in_the_future_nor_more_than_about_a_day_old(moment, zone, changes):
    change = last_shift_change(changes, zone, moment)
    assert change is not None
    assert timedelta(0) <= moment - change <= timedelta(hours=25)
    assert last_shift_change(changes, zone, change) == change


@pytest.mark.parametrize("text", ["7 pm", "24:00", "07:60", "0700", "", "7:5", "-1:00", "٠٧:٠٠"])
def test_what_is_no_time_of_day_is_refused(text):
    with pytest.raises(NotAClockTime, match="time of day"):
        clock_time_in(text)


def test_times_of_day_are_read():
    assert [clock_time_in(text) for text in ("07:00", " 19:30 ", "7:05")] == [
        time(7), time(19, 30), time(7, 5)
    ]  # fmt: skip
