"""A ferry or boat leg joins two road parts: chosen where no road is, or where it is sooner."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from referrals.calc.terms import VehicleKind
from transport.calc.closures import ClosedPlace, ClosureKind, ClosureSettings, around_closures
from transport.calc.legs import (
    Ground,
    Hours,
    Landing,
    Leg,
    across_legs,
    crossing_time,
    leg_of,
    leg_words,
    open_legs,
    ways_of,
)
from transport.calc.places import Place
from transport.calc.travel import TravelSettings, fixed_estimator
from transport.calc.travel_time import add, certain

AMBULANCE, BOAT = VehicleKind.AMBULANCE, VehicleKind.BOAT
POST, QUAY = Place(0, 0.30), Place(0, 0.28)  # on the islet
PIER, TOWN = Place(0, 0.10), Place(0, 0.0)  # on the mainland
GROUND = Ground([(POST, "Islet"), (QUAY, "Islet"), (PIER, ""), (TOWN, "")])
FERRY = Leg(
    "Ferry", Landing("Quay", QUAY, "Islet"), Landing("Pier", PIER), crossing_time(40, 60), 20,
    frozenset({AMBULANCE}),
)  # fmt: skip
PLAIN = fixed_estimator(TravelSettings())
HOW = {"vehicle": AMBULANCE, "rainy": False, "dark": False}


def estimated(legs=(FERRY,), origin=POST, destination=TOWN, minute=600.0, **how):
    across = across_legs(PLAIN, GROUND, legs, minute_of_day=minute)
    return across(origin, destination, **(HOW | how))


class TestWay:
    def test_the_parts_add_up_to_one_distribution_and_are_kept(self):
        made = estimated()
        there, on = PLAIN(POST, QUAY, **HOW), PLAIN(PIER, TOWN, **HOW)
        whole = add((there.distribution, certain(20), FERRY.crossing, on.distribution))
        assert made.distribution == whole
        assert made.method == "geodesic_detour+leg"
        assert [step["what"] for step in made.inputs["steps"]] == [
            "road", "waiting", "crossing", "road",
        ]  # fmt: skip
        assert made.inputs["steps"][2]["p90_minutes"] == pytest.approx(60)
        assert made.road_km == pytest.approx(there.road_km + 20.0 + on.road_km, abs=0.1)
        assert made.p50_minutes < made.p90_minutes

    def test_the_words_tell_each_step(self):
        said = leg_words(estimated().inputs)
        assert said.startswith("over Ferry: road to Quay about ")
        assert "waiting 20 min, crossing about 40 min, road from Pier about " in said

    def test_without_a_leg_for_it_an_islet_is_not_reached(self):
        back = estimated(origin=TOWN, destination=POST)
        for made in (estimated(()), estimated(vehicle=VehicleKind.CAR), back):
            assert not made.reachable
            assert made.p50_minutes is made.road_km is None
            assert made.method == "geodesic_detour+leg"
            assert "no road joins" in made.inputs["no_way"]

    def test_where_a_road_joins_both_the_leg_must_be_sooner(self):
        bay = replace(FERRY, start=Landing("Quay", PIER), end=Landing("Far", TOWN))
        far = Place(0.9, 0.05)
        slow = replace(bay, crossing=crossing_time(900, 1000))
        fast = replace(bay, crossing=crossing_time(1, 2), waiting_minutes=0)
        plain = PLAIN(PIER, TOWN, **HOW)
        assert estimated((slow,), PIER, TOWN) == plain
        assert leg_of(estimated((fast,), PIER, TOWN)) == "Ferry"
        assert estimated((slow, fast), PIER, far) == PLAIN(PIER, far, **HOW)

    def test_of_two_legs_the_sooner(self):
        quick = replace(FERRY, name="Launch", crossing=crossing_time(10, 12))
        assert leg_of(estimated((FERRY, quick))) == "Launch"

    def test_a_boat_goes_from_site_to_site_as_its_legs_do_and_straight_from_the_sea(self):
        boat = replace(FERRY, name="Boat", kinds=frozenset({BOAT}))
        made = estimated((FERRY, boat), vehicle=BOAT)
        assert leg_of(made) == "Boat"
        # The way to the landing is a road's: a boat does not drive.
        assert made.inputs["steps"][0]["p50_minutes"] == PLAIN(POST, QUAY, **HOW).p50_minutes
        at_sea = Place(0, 0.19)
        assert leg_of(estimated((boat,), at_sea, vehicle=BOAT)) is None
        assert leg_of(estimated((FERRY,), vehicle=BOAT)) is None

    def test_a_known_wait_is_added_as_it_is(self):
        plain = estimated()
        assert estimated(extra_minutes=30).p50_minutes - plain.p50_minutes == pytest.approx(30)
        assert estimated(extra_minutes=30).p90_minutes - plain.p90_minutes == pytest.approx(30)

    def test_without_legs_and_lands_nothing_is_wrapped(self):
        assert across_legs(PLAIN, Ground([(TOWN, "")]), (), minute_of_day=0) is PLAIN

    def test_far_from_every_site_is_mainland(self):
        assert GROUND.land_of(Place(0.01, 0.29)) == "Islet"
        assert GROUND.land_of(Place(20, 0.3)) == ""

    def test_the_ways_of_an_estimate_are_its_roads_and_the_crossing_of_a_boat(self):
        assert ways_of(estimated(), POST, TOWN, AMBULANCE) == [
            (POST, QUAY, AMBULANCE), (QUAY, PIER, BOAT), (PIER, TOWN, AMBULANCE),
        ]  # fmt: skip
        plain = PLAIN(PIER, TOWN, **HOW)
        assert ways_of(plain, PIER, TOWN, AMBULANCE) == [(PIER, TOWN, AMBULANCE)]


class TestHours:
    DAY = Hours(360, 1080)

    @pytest.mark.parametrize(
        ("minute", "until", "left"),
        [(360, 0, 720), (1080, 0, 0), (1081, 719, 0), (359, 1, 0), (0, 360, 0)],
    )
    def test_by_day(self, minute, until, left):
        assert self.DAY.minutes_until_running(minute) == until
        assert self.DAY.minutes_left(minute) == left

    def test_over_midnight(self):
        night = Hours(1200, 300)
        assert night.minutes_until_running(1300) == night.minutes_until_running(100) == 0
        assert night.minutes_until_running(600) == 600

    def test_a_leg_that_does_not_run_yet_is_waited_for(self):
        by_day = replace(FERRY, hours=self.DAY)
        early = estimated((by_day,), minute=60)
        there = PLAIN(POST, QUAY, **HOW).p50_minutes
        assert early.inputs["steps"][1]["p50_minutes"] == pytest.approx(300 - there)
        always = estimated((replace(by_day, hours=None),))
        assert estimated((by_day,), minute=600).distribution == always.distribution
        # What passes before it sets off counts for the clock and not for the journey.
        later = estimated((by_day,), minute=0, after_minutes=60)
        assert later.distribution == early.distribution

    def test_the_chance_to_miss_the_last_one_is_said(self):
        by_day = replace(FERRY, hours=self.DAY)
        there = PLAIN(POST, QUAY, **HOW).p50_minutes
        late = estimated((by_day,), minute=1080 - 20 - there - 1)
        assert 0.05 < late.inputs["chance_missed"] < 0.5
        assert "chance to miss the last one of the day" in leg_words(late.inputs)
        assert "chance" not in leg_words(estimated((by_day,)).inputs)


class TestClosures:
    def test_a_closed_landing_shuts_the_leg(self):
        at_pier = ClosedPlace("Pier", ClosureKind.LANDING, PIER, 1.0)
        elsewhere = replace(at_pier, place=TOWN)
        road = replace(at_pier, kind=ClosureKind.ROAD)
        assert open_legs([FERRY], [at_pier]) == []
        assert open_legs([FERRY], [elsewhere, road]) == [FERRY]
        between = replace(at_pier, place=Place(5, 5), other=QUAY)
        assert open_legs([FERRY], [between]) == []

    def test_a_road_closed_before_the_landing_is_met_by_that_part(self):
        ford = ClosedPlace("Ford", ClosureKind.ROAD, Place(0, 0.05), 2.0)
        slower = around_closures(PLAIN, [ford], ClosureSettings())
        made = across_legs(slower, GROUND, [FERRY], minute_of_day=600)(POST, TOWN, **HOW)
        assert made.inputs["closures"] == ["Ford"]
        assert made.inputs["closure_minutes"] > 0
        assert made.method == "geodesic_detour+closures+leg"
        assert made.p50_minutes > estimated().p50_minutes


@pytest.mark.parametrize("minutes", [(0, 10), (10, 9), (10, 201), (-1, 5)])
def test_a_crossing_that_cannot_be_is_refused(minutes):
    with pytest.raises(ValueError, match="median of a crossing"):
        crossing_time(*minutes)


@pytest.mark.parametrize("wait", [-1, 1440])
def test_a_wait_that_cannot_be_is_refused(wait):
    with pytest.raises(ValueError, match="below a day"):
        replace(FERRY, waiting_minutes=wait)


def test_hours_that_cannot_be_are_refused():
    with pytest.raises(ValueError, match="from 0 to below 1440"):
        Hours(0, 1440)


degrees = st.floats(-0.4, 0.4)
anywhere = st.builds(Place, degrees, degrees)
land = st.sampled_from(["", "Islet"])
hours = st.none() | st.builds(Hours, st.floats(0, 1439), st.floats(0, 1439))
some_legs = st.lists(
    st.builds(
        lambda start, end, a, b, median, more, wait, runs, kinds: Leg(
            "L", Landing("A", start, a), Landing("B", end, b), crossing_time(median, median * more),
            wait, kinds, runs,
        ),
        anywhere, anywhere, land, land, st.floats(1, 300), st.floats(1, 5), st.floats(0, 300),
        hours, st.frozensets(st.sampled_from(VehicleKind), min_size=1),
    ),
    max_size=4,
)  # fmt: skip
minute = st.floats(0, 1439)
kind = st.sampled_from([AMBULANCE, VehicleKind.MOTORCYCLE])


@given(some_legs, anywhere, anywhere, minute, kind)
def test_a_leg_never_makes_it_later_unless_it_is_the_only_way(legs, origin, end, at, vehicle):
    with_legs = estimated(legs, origin, end, at, vehicle=vehicle)
    without = estimated((), origin, end, at, vehicle=vehicle)
    if without.reachable:
        assert with_legs.reachable
        assert with_legs.distribution.mean <= without.distribution.mean
    if leg_of(with_legs) is None:
        assert with_legs == without


@given(some_legs, anywhere, anywhere, minute, kind, st.floats(0, 600))
def test_more_waiting_is_never_earlier(legs, origin, end, at, vehicle, more):
    longer = [replace(leg, waiting_minutes=min(leg.waiting_minutes + more, 1439)) for leg in legs]
    before, after = (estimated(each, origin, end, at, vehicle=vehicle) for each in (legs, longer))
    assert before.reachable == after.reachable
    if before.reachable:
        assert after.distribution.mean >= before.distribution.mean - 1e-6


@given(some_legs, anywhere, anywhere, minute, st.floats(0, 300))
def test_setting_off_later_never_arrives_earlier(legs, origin, end, at, later):
    before = estimated(legs, origin, end, at)
    after = estimated(legs, origin, end, at, after_minutes=later)
    assert before.reachable == after.reachable
    if before.reachable:
        assert later + after.distribution.mean >= before.distribution.mean - 1e-6
