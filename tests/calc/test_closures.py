"""What a reported closure does to the travel estimate: later and wider, never earlier."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from referrals.calc.terms import VehicleKind
from transport.calc.closures import (
    ClosedPlace,
    ClosureKind,
    ClosureSettings,
    around_closures,
    closures_of,
    km_from_way,
    middle,
    slowed,
)
from transport.calc.places import Place, haversine_km
from transport.calc.travel import TravelSettings, TravelTime, fixed_estimator, unreachable

AMBULANCE, BOAT = VehicleKind.AMBULANCE, VehicleKind.BOAT
WEST, EAST, HALF_WAY = Place(0, 0), Place(0, 0.4), Place(0, 0.2)
PLAIN = fixed_estimator(TravelSettings())
PROBABILITIES = (0.001, 0.01, 0.1, 0.5, 0.9, 0.99, 0.999)


def closed(place, *, radius=2.0, kind=ClosureKind.ROAD, other=None):
    return ClosedPlace("Ford of Nessa", kind, place, radius, other)


def estimated(closures, *, origin=WEST, destination=EAST, vehicle=AMBULANCE, **settings):
    around = around_closures(PLAIN, closures, ClosureSettings(**settings))
    return around(origin, destination, vehicle=vehicle, rainy=False, dark=False)


def test_a_way_past_a_closure_is_later_and_wider_and_says_why():
    before, after = estimated([]), estimated([closed(HALF_WAY)])
    assert after.p50_minutes == pytest.approx(1.5 * before.p50_minutes)
    assert after.p90_minutes - after.p10_minutes > before.p90_minutes - before.p10_minutes
    assert after.distribution.sigma > before.distribution.sigma
    assert closures_of(after) == ("Ford of Nessa",)
    assert after.inputs["closure_minutes"] == pytest.approx(before.p50_minutes / 2)
    assert after.method == "geodesic_detour+closures"
    assert after.reachable


def test_a_way_elsewhere_is_as_it_was():
    # 0.1 degree beside the way is 11 km.
    assert estimated([closed(Place(0.1, 0.2))]) == estimated([])
    # Beyond the end of the way: the great circle goes on, the way does not.
    assert estimated([closed(Place(0, 0.5))]) == estimated([])


def test_the_distance_from_a_way_is_that_to_the_nearest_point_of_it():
    assert km_from_way(Place(0.1, 0.2), WEST, EAST) == pytest.approx(11.12, abs=0.01)
    assert km_from_way(Place(0, 0.5), WEST, EAST) == pytest.approx(11.12, abs=0.01)
    assert km_from_way(Place(0.1, 0), WEST, WEST) == pytest.approx(11.12, abs=0.01)
    assert km_from_way(HALF_WAY, WEST, EAST) == pytest.approx(0, abs=1e-6)


def test_a_way_across_the_date_line_is_met_too():
    ends = Place(-17, 179.8), Place(-17, -179.8)
    assert km_from_way(Place(-17, 180), *ends) < 0.1
    assert middle(*ends).longitude == pytest.approx(180) or middle(
        *ends
    ).longitude == pytest.approx(-180)


def test_the_road_between_two_places_is_closed_for_those_who_drive_along_it():
    road = closed(Place(0, 0.1), other=Place(0, 0.3))
    assert closures_of(estimated([road])) == ("Ford of Nessa",)
    assert estimated([road], origin=Place(0, 0.1), destination=Place(0, 0.3)).inputs["closures"]
    across = estimated([road], origin=Place(-0.1, 0.28), destination=Place(0.1, 0.28))
    assert closures_of(across) == ()
    to_one_end = estimated([road], origin=WEST, destination=Place(0, 0.1))
    assert closures_of(to_one_end) == ()


def test_a_landing_touches_boats_alone_and_a_road_none():
    landing = closed(EAST, kind=ClosureKind.LANDING)
    assert closures_of(estimated([landing])) == ()
    assert closures_of(estimated([landing], vehicle=BOAT)) == ("Ford of Nessa",)
    assert closures_of(estimated([closed(HALF_WAY)], vehicle=BOAT)) == ()
    passed = closed(HALF_WAY, kind=ClosureKind.LANDING)
    assert closures_of(estimated([passed], vehicle=BOAT)) == ()


def test_a_stated_wait_is_not_stretched():
    around = around_closures(PLAIN, [closed(HALF_WAY)], ClosureSettings())
    how = {"vehicle": AMBULANCE, "rainy": False, "dark": False}
    at_once, later = around(WEST, EAST, **how), around(WEST, EAST, extra_minutes=30, **how)
    assert later.p50_minutes - at_once.p50_minutes == pytest.approx(30)


def test_no_known_way_stays_no_known_way():
    def no_way(origin, destination, **how):
        return unreachable(geodesic_km=1, method="none", inputs={}, model_version="1")

    around = around_closures(no_way, [closed(HALF_WAY)], ClosureSettings())
    assert not around(WEST, EAST, vehicle=AMBULANCE, rainy=False, dark=None).reachable


@pytest.mark.parametrize("settings", [{"factor": 0.9}, {"factor": 9}, {"sigma": -1}])
def test_settings_that_cannot_be_are_refused(settings):
    with pytest.raises(ValueError, match="no closure costs"):
        ClosureSettings(**settings)


def test_a_closure_without_extent_is_refused():
    with pytest.raises(ValueError, match="above 0 km"):
        closed(WEST, radius=0)


near = st.floats(-0.5, 0.5, allow_nan=False)
places = st.builds(Place, near, near)
closures = st.lists(
    st.builds(
        ClosedPlace,
        st.just("x"),
        st.sampled_from(ClosureKind),
        places,
        st.floats(0.1, 50),
        st.none() | places,
    ),
    max_size=5,
)


@given(
    closures,
    closures,
    places,
    places,
    st.sampled_from([AMBULANCE, BOAT]),
    st.floats(1, 5),
    st.floats(0, 1),
)
def test_another_closure_never_makes_anything_earlier_nor_unreachable(
    some, more, origin, destination, vehicle, factor, sigma
):
    settings = {"factor": factor, "sigma": sigma}
    ends = {"origin": origin, "destination": destination, "vehicle": vehicle}
    before, after = (estimated(closures, **ends, **settings) for closures in (some, [*some, *more]))
    assert after.reachable
    for probability in PROBABILITIES:
        early, late = (each.distribution.quantile(probability) for each in (before, after))
        assert late >= early * (1 - 1e-6)
    assert after.distribution.mean >= before.distribution.mean * (1 - 1e-9)
    assert set(closures_of(before)) <= set(closures_of(after))


@given(st.floats(0, 500), st.floats(0.05, 1), st.integers(1, 9), st.floats(1, 5), st.floats(0, 1))
def test_the_spread_in_minutes_never_shrinks(median, sigma, count, factor, more):
    time = TravelTime(median, sigma)
    after = slowed(time, count, ClosureSettings(factor=factor, sigma=more))
    assert after.standard_deviation >= time.standard_deviation * (1 - 1e-9)


@given(places, places, places)
def test_no_point_is_farther_from_a_way_than_from_its_ends(point, origin, destination):
    ends = min(haversine_km(point, origin), haversine_km(point, destination))
    assert km_from_way(point, origin, destination) <= ends + 1e-6
