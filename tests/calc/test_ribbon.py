"""The time ribbon keeps its promises whatever the rows hold."""

import itertools
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from transport.pages import ribbon

NOW = datetime(2026, 3, 4, 10, 20, tzinfo=UTC)


def minutes(low: int, high: int) -> st.SearchStrategy[datetime]:
    return st.integers(low, high).map(lambda m: NOW + timedelta(minutes=m))


def a_row(**also):
    return {"code": "K7Q4", "raised_at": (NOW - timedelta(minutes=50)).isoformat()} | also


@st.composite
def rows(draw):
    """A row as the desk stores it, its times in any order: phones' clocks can be off."""
    iso = minutes(-900, 30).map(datetime.isoformat)
    stages = draw(st.sets(st.sampled_from(ribbon.VEHICLE_STAGES)))
    ahead = sorted(draw(st.lists(minutes(-60, 900), min_size=3, max_size=3)))
    return a_row(
        raised_at=draw(iso),
        born_at=draw(st.none() | iso),
        closed_at=draw(st.none() | iso),
        offers=[{"stage": "accepted", "answered_at": draw(iso)}] if draw(st.booleans()) else [],
        times={stage: draw(iso) for stage in stages},
        checks=draw(st.lists(iso, max_size=6)),
        window=dict(zip(("p10", "p50", "p90"), map(datetime.isoformat, ahead), strict=True)),
        oxygen_ends_at=draw(st.none() | minutes(-60, 900).map(datetime.isoformat)),
    )


@given(st.lists(rows(), max_size=5))
def test_it_keeps_everything_on_the_axis(several):
    drawn = ribbon.draw(several, NOW)
    assert 0 < drawn.now_x < 100
    for row in drawn.rows:
        assert all(s.x >= 0 and s.width > 0 and s.x + s.width <= 100.001 for s in row.segments)
        marks = [row.begins, *row.checks, *([row.oxygen_ends] if row.oxygen_ends else [])]
        assert all(0 <= mark.x <= 100 for mark in marks)


@given(st.lists(rows(), min_size=1, max_size=3))
def test_its_places_follow_the_order_of_time(several):
    drawn = ribbon.draw(several, NOW)
    for row in drawn.rows:
        marks = sorted(row.checks, key=lambda mark: mark.at)
        assert [m.x for m in marks] == sorted(m.x for m in marks)
        if row.arrival:
            assert row.arrival.p10.x <= row.arrival.p50.x <= row.arrival.p90.x
        for lane in ("unit", "vehicle"):
            ends = [(s.x, s.x + s.width) for s in row.segments if s.lane == lane]
            # One lane never overlaps itself: each stage begins where the one before it ended.
            assert all(before[1] <= after[0] + 0.002 for before, after in itertools.pairwise(ends))


@given(st.lists(rows(), max_size=5))
def test_it_draws_nothing_that_has_happened_beyond_now(several):
    drawn = ribbon.draw(several, NOW)
    for row in drawn.rows:
        assert all(s.x + s.width <= drawn.now_x + 0.002 for s in row.segments if s.ended is None)


@given(
    st.lists(rows(), max_size=5),
    st.sampled_from(["UTC", "Asia/Kathmandu", "Australia/Lord_Howe", "America/St_Johns"]),
)
def test_its_ticks_are_round_clock_times_of_the_zone(several, zone):
    drawn = ribbon.draw(several, NOW, ZoneInfo(zone))
    assert 2 <= len(drawn.ticks) <= ribbon.MOST_TICKS + 1
    assert all(tick.at.astimezone(ZoneInfo(zone)).minute in {0, 10, 15, 20, 30, 40, 45, 50}
               for tick in drawn.ticks)  # fmt: skip
    assert (drawn.ticks[0].x, drawn.ticks[-1].x) == (0, 100)


def test_it_reads_a_journey_from_left_to_right():
    at = {
        stage: (NOW - timedelta(minutes=m)).isoformat()
        for stage, m in [("wanted", 50), ("assigned", 40), ("collecting", 35), ("at_origin", 20)]
    }
    answered = (NOW - timedelta(minutes=45)).isoformat()
    offers = [{"stage": "accepted", "answered_at": answered}]
    [row] = ribbon.draw([a_row(times=at, offers=offers)], NOW).rows
    assert [s.kind for s in row.segments if s.lane == "unit"] == ["asking", "placed"]
    assert [s.kind for s in row.segments if s.lane == "vehicle"] == [
        "wanted", "assigned", "collecting", "at_origin",
    ]  # fmt: skip
    assert row.segments[-1].ended is None


def test_a_forgotten_journey_does_not_stretch_the_axis():
    drawn = ribbon.draw([a_row(raised_at=(NOW - timedelta(days=9)).isoformat())], NOW)
    assert drawn.begin >= NOW - ribbon.MOST_BACK - timedelta(hours=2)
    assert drawn.rows[0].begins.outside


def test_a_phone_an_hour_ahead_does_not_turn_the_lane_round():
    at = {
        "assigned": (NOW - timedelta(minutes=30)).isoformat(),
        "collecting": (NOW + timedelta(minutes=60)).isoformat(),
        "at_origin": (NOW - timedelta(minutes=10)).isoformat(),
    }
    drawn = ribbon.draw([a_row(times=at)], NOW)
    lane = [s for s in drawn.rows[0].segments if s.lane == "vehicle"]
    assert [s.x for s in lane] == sorted(s.x for s in lane)
    assert lane[-1].x + lane[-1].width <= drawn.now_x + 0.002


def test_no_projection_is_drawn_once_arrived():
    window = dict.fromkeys(("p10", "p50", "p90"), NOW.isoformat())
    times = {"arrived": NOW.isoformat()}
    assert ribbon.draw([a_row(window=window, times=times)], NOW).rows[0].arrival is None


def test_an_empty_desk_still_has_an_axis():
    drawn = ribbon.draw([], NOW)
    assert drawn.rows == ()
    share = (NOW - drawn.begin) / (drawn.end - drawn.begin)
    assert drawn.now_x == pytest.approx(100 * share, abs=0.001)
