"""The live arrival window: robust to what positions do on a cheap phone."""

import random
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from transport.calc.arrival import ArrivalWindow, arrival_window, silent_minutes
from transport.calc.places import Place, haversine_km
from transport.calc.track import ArrivalSettings, Fix
from transport.calc.travel_time import TravelTime, certain

# A health post and a unit in the open ocean, 100 km apart on a parallel near the equator.
POST = Place(-1.0, -30.0)
UNIT = Place(-1.0, -29.1)
LEFT_AT = datetime(2031, 3, 4, 22, 0, tzinfo=UTC)
PRIOR = TravelTime(120, 0.4)


def after(minutes: float) -> datetime:
    return LEFT_AT + timedelta(minutes=minutes)


def on_the_way(share: float, aside_degrees: float = 0.0) -> Place:
    longitude = POST.longitude + share * (UNIT.longitude - POST.longitude)
    return Place(POST.latitude + aside_degrees, longitude)


def drive(whole_minutes: float, until: float, seed: int = 1, noise_m: float = 30.0) -> list[Fix]:
    """A simulated vehicle at even pace, heard once a minute, positions off by ``noise_m``."""
    rng = random.Random(seed)
    return [
        Fix(after(minute), on_the_way(minute / whole_minutes, rng.gauss(0, noise_m / 111_000)), 50)
        for minute in range(1, int(until) + 1)
    ]


def window(fixes: list[Fix], now_minutes: float, **changes: object) -> ArrivalWindow:
    asked = {
        "departed_at": LEFT_AT,
        "prior": PRIOR,
        "origin": POST,
        "destination": UNIT,
        "settings": ArrivalSettings(),
    }
    return arrival_window(fixes=fixes, now=after(now_minutes), **(asked | changes))


def minutes_of(instant: datetime) -> float:
    return (instant - LEFT_AT) / timedelta(minutes=1)


def test_without_positions_the_window_is_the_estimate_made_before() -> None:
    found = window([], 0)
    assert found.method == "prior_only"
    assert minutes_of(found.p10) == pytest.approx(PRIOR.p10)
    assert minutes_of(found.p50) == pytest.approx(120)
    assert minutes_of(found.p90) == pytest.approx(PRIOR.p90)
    assert found.slip_minutes == pytest.approx(0)


def test_without_positions_time_that_passes_is_taken_into_account() -> None:
    found = window([], 150)
    # Conditional quantile of the log-normal, from its definition.
    beyond = PRIOR.probability_beyond(150)
    assert PRIOR.probability_beyond(minutes_of(found.p50)) == pytest.approx(beyond / 2)
    assert found.p10 > after(150)
    assert found.slip_minutes > 30


@given(st.floats(0, 5000), st.integers(0, 150), st.integers(0, 9))
def test_no_part_of_the_window_is_ever_in_the_past(now: float, until: int, seed: int) -> None:
    found = window(drive(140, until, seed), now)
    assert after(now) <= found.p10 <= found.p50 <= found.p90


@pytest.mark.parametrize("whole_minutes", [80, 120, 200])
def test_the_window_of_a_simulated_drive_narrows_and_ends_at_the_truth(whole_minutes: int) -> None:
    widths, misses = [], []
    for share in (0.1, 0.3, 0.5, 0.7, 0.9, 0.97):
        now = int(share * whole_minutes)
        found = window(drive(whole_minutes, now), now)
        widths.append((found.p90 - found.p10) / timedelta(minutes=1))
        misses.append(abs(minutes_of(found.p50) - whole_minutes))
    assert widths == sorted(widths, reverse=True)
    assert widths[-1] < whole_minutes / 20
    assert misses[-1] < 2
    assert misses[-1] < misses[0] or misses[0] < 5


def test_a_slow_vehicle_is_expected_later_than_a_fast_one_at_the_same_place() -> None:
    fast, slow = [Fix(after(30), on_the_way(0.5))], [Fix(after(90), on_the_way(0.5))]
    assert window(slow, 90).p50 - after(90) > window(fast, 30).p50 - after(30)
    assert window(slow, 90).slip_minutes > 0 > window(fast, 30).slip_minutes


@given(st.randoms(use_true_random=False), st.integers(2, 100))
def test_order_and_repetition_of_positions_change_nothing(rng: object, until: int) -> None:
    fixes = drive(120, until, noise_m=300)
    disturbed = fixes + fixes[::3]
    rng.shuffle(disturbed)
    assert window(disturbed, until) == window(fixes, until)


def test_two_positions_of_one_instant_count_as_the_more_accurate() -> None:
    sure, vague = Fix(after(40), on_the_way(0.4), 20), Fix(after(40), on_the_way(0.41), 500)
    assert window([vague, sure], 40) == window([sure, vague], 40) == window([sure], 40)


@pytest.mark.parametrize(
    "wrong",
    [
        Fix(after(30.5), Place(0.0, 0.0), 10),  # a leap of 3000 km
        Fix(after(60.5), UNIT, 10),  # a leap at the end of the track, to the unit itself
        Fix(after(0.5), Place(5.0, -30.0), 10),  # a leap at its beginning
        Fix(after(-30), UNIT, 10),  # before departure
        Fix(after(600), UNIT, 10),  # a clock that is ahead
        Fix(after(60.5), UNIT, 50_000),  # a position of a mast, 50 km vague
    ],
)
def test_a_position_that_cannot_be_is_not_counted(wrong: Fix) -> None:
    fixes = drive(120, 60)
    assert window([*fixes, wrong], 61) == window(fixes, 61)


def test_a_single_leap_beside_few_positions_leaves_the_others() -> None:
    few = [Fix(after(20), on_the_way(0.2)), Fix(after(40), on_the_way(0.4))]
    leap = Fix(after(30), Place(20.0, 20.0))
    assert window([*few, leap], 41) == window(few, 41)


def test_a_gap_counts_as_driving_and_the_first_position_after_it_is_used() -> None:
    before_gap = drive(120, 30)
    in_gap = window(before_gap, 70)
    assert in_gap.silent
    assert in_gap.silent_minutes == pytest.approx(40)
    assert minutes_of(in_gap.p50) == pytest.approx(minutes_of(window(before_gap, 30).p50), abs=15)
    after_gap = window([*before_gap, Fix(after(70), on_the_way(70 / 120))], 70)
    assert not after_gap.silent
    assert after_gap.remaining_km == pytest.approx(haversine_km(POST, UNIT) * 50 / 120, rel=0.01)


def test_the_line_where_the_date_changes_is_no_obstacle() -> None:
    def across(place: Place) -> Place:
        east = place.longitude + 30.0 + 179.6
        return Place(place.latitude, east - 360.0 if east > 180.0 else east)

    fixes = drive(120, 80)
    there = [Fix(fix.at, across(fix.place), fix.accuracy_m) for fix in fixes]
    moved = window(there, 80, origin=across(POST), destination=across(UNIT))
    assert minutes_of(moved.p50) == pytest.approx(minutes_of(window(fixes, 80).p50), abs=0.01)
    assert moved.off is None
    assert moved.standing.minutes < 2


def test_arrival_is_suggested_inside_the_radius_only_and_never_assumed() -> None:
    near = window([*drive(120, 118), Fix(after(120), Place(-1.0, -29.102), 20)], 120)
    outside = window([*drive(120, 118), Fix(after(120), Place(-1.0, -29.104), 20)], 120)
    assert near.suggestion_arrived  # 223 m
    assert near.p50 >= after(120)
    assert not outside.suggestion_arrived  # 445 m


def test_a_position_vaguer_than_the_radius_suggests_nothing() -> None:
    assert not window([*drive(120, 118), Fix(after(120), UNIT, 900)], 120).suggestion_arrived


def test_time_alone_suggests_nothing() -> None:
    assert not window([], 600).suggestion_arrived


def test_a_standstill_is_seen_with_its_minutes() -> None:
    standing = [Fix(after(40 + minute), on_the_way(0.333), 20) for minute in range(0, 21, 5)]
    stopped = window([*drive(120, 39), *standing], 60)
    assert stopped.standing.minutes == pytest.approx(20, abs=1)
    assert window(drive(120, 60), 60).standing.minutes < 1


def test_a_standstill_makes_it_later() -> None:
    standing = [Fix(after(40 + minute), on_the_way(0.333), 20) for minute in range(0, 21, 5)]
    assert window([*drive(120, 39), *standing], 60).p50 > window(drive(120, 60), 60).p50


def test_a_vehicle_far_from_the_line_is_off_the_corridor() -> None:
    aside = [Fix(after(m), Place(-1.0 + m / 100, -29.8), 20) for m in range(20, 80, 5)]
    assert window(aside, 80).off
    assert not window(drive(120, 60, noise_m=2000), 60).off


def test_a_vehicle_that_drives_away_is_expected_later() -> None:
    away = [Fix(after(m), on_the_way(-m / 120)) for m in range(5, 40, 5)]
    assert window(away, 40).p50 > window([], 40).p50


def test_silence_counts_from_the_last_position_or_from_departure() -> None:
    heard = silent_minutes(last_fix_at=after(12), departed_at=LEFT_AT, now=after(30))
    assert heard == 18
    assert silent_minutes(last_fix_at=None, departed_at=LEFT_AT, now=after(30)) == 30
    assert silent_minutes(last_fix_at=after(40), departed_at=LEFT_AT, now=after(30)) == 0


def test_a_unit_next_door_needs_no_positions_to_have_a_window() -> None:
    found = window([Fix(after(1), POST)], 1, destination=POST, prior=certain(5))
    assert found.method == "prior_only"
    assert found.p50 == after(5)


def test_settings_that_cannot_be_are_refused() -> None:
    with pytest.raises(ValueError, match="arrived_within_m"):
        ArrivalSettings(arrived_within_m=0)
