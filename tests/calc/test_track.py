"""What positions show of trouble on the way: standing still, and driving away from the unit."""

import itertools
import random
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fixtures_demo.district_tables import SITES
from fixtures_demo.district_tables import UNITS as UNITS_OF_DEMO
from fixtures_demo.driver import SimulatedDriver
from transport.calc.arrival import arrival_window
from transport.calc.places import Place, haversine_km
from transport.calc.track import (
    ArrivalSettings,
    Fix,
    Standstill,
    WayOff,
    believable,
    standstill,
    way_off,
)
from transport.calc.travel_time import TravelTime

# A health post and a unit in the open ocean, 100 km apart on a parallel near the equator.
POST = Place(-1.0, -30.0)
UNIT = Place(-1.0, -29.1)
LEFT_AT = datetime(2031, 3, 4, 22, 0, tzinfo=UTC)
SETTINGS = ArrivalSettings()
KM_NORTH = 1 / 111.195


def after(minutes: float) -> datetime:
    return LEFT_AT + timedelta(minutes=minutes)


def at_share(share: float, north_km: float = 0.0) -> Place:
    longitude = POST.longitude + share * (UNIT.longitude - POST.longitude)
    return Place(POST.latitude + north_km * KM_NORTH, longitude)


def drive(first: int, last: int, share: float, km_h: float, seed: int = 1) -> list[Fix]:
    """Heard once a minute from a share of the way on, 8 m off north and east at one sigma."""
    noise = random.Random(seed)
    return [
        Fix(
            after(minute),
            at_share(
                share + (minute - first) * km_h / 60 / haversine_km(POST, UNIT),
                noise.gauss(0, 0.008),
            ),
            15,
        )
        for minute in range(first, last + 1)
    ]


def a_stop(from_minute: int, minutes: int, seed: int = 1) -> list[Fix]:
    """Half an hour at 40 km/h, a stop, and on again."""
    stop = from_minute + minutes
    share = from_minute * 40 / 60 / haversine_km(POST, UNIT)
    return [
        *drive(0, from_minute, 0, 40, seed),
        *drive(from_minute + 1, stop, share, 0, seed + 1),
        *drive(stop + 1, stop + 30, share, 40, seed + 2),
    ]


def stands(fixes: list[Fix], now: float) -> Standstill | None:
    counted = believable(fixes, origin=POST, departed_at=LEFT_AT, now=after(now), settings=SETTINGS)
    return standstill(counted, SETTINGS)


def is_off(fixes: list[Fix], now: float) -> WayOff | None:
    counted = believable(fixes, origin=POST, departed_at=LEFT_AT, now=after(now), settings=SETTINGS)
    return way_off(counted, origin=POST, destination=UNIT, settings=SETTINGS)


@pytest.mark.parametrize("seed", range(5))
def test_a_stop_is_seen_with_its_length_and_its_place(seed):
    found = stands(a_stop(30, 25, seed), 55)
    assert found.minutes == pytest.approx(25, abs=1)
    assert haversine_km(found.place, at_share(20 / haversine_km(POST, UNIT))) < 0.2


@pytest.mark.parametrize("seed", range(5))
def test_a_stop_is_over_two_positions_after_the_vehicle_has_left(seed):
    assert stands(a_stop(30, 25, seed), 58).minutes < 2


def test_a_vehicle_on_the_move_never_stands_for_longer_than_between_two_positions():
    fixes = drive(0, 120, 0, 45)
    assert max(stands(fixes, now).minutes for now in range(1, 121)) <= 1


def test_positions_far_apart_in_time_are_no_standstill():
    fixes = drive(0, 120, 0, 45)[::20]
    assert stands(fixes, 120).minutes == 0


def test_one_position_that_is_wrong_does_not_end_a_standstill():
    fixes = a_stop(30, 25)
    wrong = Fix(after(54.5), at_share(0.2, north_km=0.9), 10)
    assert stands([*fixes, wrong], 54.6).minutes == pytest.approx(24, abs=1)
    assert stands([*fixes, wrong], 55).minutes == pytest.approx(25, abs=1)


def test_creeping_on_a_bad_track_is_progress():
    assert stands(drive(0, 60, 0.3, 3), 60).minutes < 10  # 3 km/h: on foot


def test_vague_positions_that_jump_about_one_spot_are_a_standstill():
    noise = random.Random(3)
    fixes = [Fix(after(m), at_share(0.3, noise.uniform(-0.4, 0.4)), 400) for m in range(21)]
    assert stands(fixes, 20).minutes == pytest.approx(20)


def test_nothing_stands_where_no_position_came():
    assert standstill([], SETTINGS) is None


def test_a_silent_vehicle_stands_only_as_long_as_it_was_seen():
    fixes = [fix for fix in a_stop(30, 25) if fix.at <= after(40)]
    assert stands(fixes, 200).minutes == pytest.approx(10, abs=1)


def aside(minutes: range, km_h: float = 40) -> list[Fix]:
    """Straight north from a third of the way, away from the corridor and from the unit."""
    return [Fix(after(m), at_share(1 / 3, (m - minutes.start) * km_h / 60), 15) for m in minutes]


def test_driving_away_from_the_corridor_is_seen_with_the_kilometres():
    fixes = [*drive(0, 50, 0, 40), *aside(range(51, 120))]
    found = is_off(fixes, 119)
    assert found.nearest_km == pytest.approx(67, abs=2)
    assert found.km_left > found.nearest_km + 5
    assert after(45) <= found.since <= after(60)
    assert is_off(fixes, 70) is None  # 13 km aside and hardly farther away: perhaps a road


def test_setting_off_the_other_way_is_seen_though_it_is_on_the_line():
    back = drive(0, 60, 0, -40)
    assert is_off(back, 7) is None  # four kilometres and a half: perhaps round a bay
    assert is_off(back, 60)


def test_it_is_over_as_soon_as_the_vehicle_comes_nearer_again():
    out = [*drive(0, 50, 0, 40), *aside(range(51, 120))]
    home = [
        Fix(fix.at + timedelta(minutes=70), out[-1 - i].place, 15) for i, fix in enumerate(out[51:])
    ]
    assert is_off(out, 119)
    assert is_off([*out, *home], 135) is None


def test_a_long_way_round_that_comes_nearer_all_the_time_is_not_off():
    way_round = [Fix(after(m), at_share(m / 120, 45 * m / 120), 15) for m in range(1, 60)]
    assert is_off(way_round, 60) is None


def test_noise_across_the_line_of_the_corridor_is_not_off():
    vague = [Fix(after(m), at_share(0.3, 2.5 * (-1) ** m), 1900) for m in range(1, 60)]
    assert is_off(vague, 60) is None


every_track = st.lists(
    st.builds(
        Fix,
        st.integers(-20, 300).map(after),
        st.builds(Place, st.floats(-2, 0), st.floats(-31, -28)),
        st.none() | st.floats(0, 3000),
    ),
    max_size=25,
)


@given(every_track, st.randoms(use_true_random=False), st.integers(0, 320))
def test_order_and_repetition_of_positions_never_matter(fixes, rng, now):
    disturbed = fixes + fixes[::2]
    rng.shuffle(disturbed)
    assert stands(disturbed, now) == stands(fixes, now)
    assert is_off(disturbed, now) == is_off(fixes, now)


@given(every_track, st.integers(0, 320))
def test_a_standstill_was_seen_at_both_ends_and_not_beyond(fixes, now):
    found = stands(fixes, now)
    if found is not None:
        assert LEFT_AT <= found.since <= found.until <= after(now)
        assert {found.since, found.until} <= {fix.at for fix in fixes}


@given(every_track, st.integers(0, 320))
def test_whoever_is_off_is_farther_from_the_unit_than_before(fixes, now):
    found = is_off(fixes, now)
    if found is not None:
        assert found.km_left > found.nearest_km
        assert found.since <= after(now)


def test_a_journey_that_is_sent_elsewhere_is_not_off_for_what_it_drove_before():
    north = Place(1.0, -30.0)
    fixes = [*drive(0, 50, 0, 40), *aside(range(51, 110))]
    told = {
        "departed_at": LEFT_AT,
        "prior": TravelTime(200, 0.4),
        "origin": POST,
        "destination": UNIT,
        "fixes": fixes,
        "now": after(109),
        "settings": SETTINGS,
    }
    assert arrival_window(**told).off
    elsewhere = told | {"destination": north, "heading_since": after(50)}
    assert arrival_window(**elsewhere).off is None


ROADS = SimulatedDriver()
WITH_ROADS = {code for code, roads in ROADS._roads.items() if roads}
POSTS = sorted(
    site.code for site in SITES if site.kind == "health_post" and site.code in WITH_ROADS
)
UNITS = sorted({unit.site for unit in UNITS_OF_DEMO} & WITH_ROADS)


@pytest.mark.parametrize("start", POSTS)
def test_a_driver_who_keeps_to_the_roads_of_the_demo_is_never_suspected(start):
    """Every way from a post to a unit by road, with noise and stretches of silence."""
    assert UNITS
    for end in UNITS:
        route = ROADS.route(start, end)
        minutes = 60 * sum(
            haversine_km(Place(*a), Place(*b)) for a, b in itertools.pairwise(route)
        ) / 35  # fmt: skip
        told = ROADS.positions(route, LEFT_AT, after(minutes), 60, f"{start}{end}")
        fixes = [
            Fix(one.recorded_at, Place(one.latitude, one.longitude), one.accuracy_m) for one in told
        ]
        for count in range(1, len(fixes), 7):
            track = believable(
                fixes[:count], origin=Place(*route[0]), departed_at=LEFT_AT,
                now=fixes[count - 1].at, settings=SETTINGS,
            )  # fmt: skip
            off = way_off(
                track, origin=Place(*route[0]), destination=Place(*route[-1]), settings=SETTINGS
            )
            assert off is None, f"{start} to {end} after {fixes[count - 1].at - LEFT_AT}"
            assert standstill(track, SETTINGS).minutes < 5
