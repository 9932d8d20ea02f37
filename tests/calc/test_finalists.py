"""Which of many units are worked out: never without one that could be the best."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from transport.calc.finalists import box_around, finalists, haversines_km
from transport.calc.places import SPHERE_SLACK, Place, haversine_km

latitudes, longitudes = st.floats(-89, 89), st.floats(-180, 180)
rows = st.lists(st.tuples(st.integers(0, 2), st.floats(0, 500)), max_size=60)


@given(latitudes, longitudes, st.lists(st.tuples(latitudes, longitudes), min_size=1, max_size=9))
def test_distances_at_once_are_those_one_by_one(latitude, longitude, places):
    here = Place(latitude, longitude)
    at_once = haversines_km(here, [lat for lat, _ in places], [lon for _, lon in places])
    one_by_one = [haversine_km(here, Place(*place)) for place in places]
    assert at_once.tolist() == pytest.approx(one_by_one, rel=1e-9, abs=1e-6)


@given(rows, st.sets(st.integers(0, 59)), st.integers(0, 20))
def test_of_each_sort_none_nearer_is_left_out(rows, named, limit):
    named = {at for at in named if at < len(rows)}
    chosen = set(finalists([lacks for lacks, _ in rows], [km for _, km in rows], named, limit))
    assert named <= chosen
    for at in set(range(len(rows))) - chosen:
        lacks, km = rows[at]
        nearer = [i for i in chosen if rows[i][0] == lacks and rows[i][1] * SPHERE_SLACK < km]
        sorts = len({each for each, _ in rows})
        assert limit == 0 or len(nearer) >= -(-limit // sorts) - 1


def test_what_the_sphere_cannot_tell_from_the_last_one_is_taken_too():
    assert finalists([0] * 4, [10.0, 20.0, 20.1, 30.0], [], 2) == [0, 1, 2]


def test_where_there_are_few_all_are_taken():
    assert list(finalists([1, 0], [900.0, 1.0], [], 5)) == [0, 1]


@given(st.floats(-60, 60), st.floats(-170, 170), st.floats(0, 360), st.floats(1, 400))
def test_no_place_of_the_circle_is_outside_the_box(latitude, longitude, bearing, radius_km):
    """The end of a great circle at a bearing: Aviation Formulary (value from memory)."""
    here, box = Place(latitude, longitude), box_around(Place(latitude, longitude), radius_km)
    angle, at, course = radius_km / 6371.0088, math.radians(latitude), math.radians(bearing)
    north = math.asin(
        math.sin(at) * math.cos(angle) + math.cos(at) * math.sin(angle) * math.cos(course)
    )
    east = math.atan2(
        math.sin(course) * math.sin(angle) * math.cos(at),
        math.cos(angle) - math.sin(at) * math.sin(north),
    )
    place = Place(math.degrees(north), longitude + math.degrees(east))
    assert haversine_km(here, place) == pytest.approx(radius_km, rel=1e-6)
    assert box.south - 1e-9 <= place.latitude <= box.north + 1e-9
    assert box.west - 1e-9 <= place.longitude <= box.east + 1e-9


@pytest.mark.parametrize("place", [Place(89.9, 0), Place(0, 179.9), Place(0, -179.9)])
def test_there_is_no_box_over_a_pole_or_the_180th_meridian(place):
    assert box_around(place, 50) is None
