"""The map of a district: distances against geopy, and nothing drawn over anything else."""

import itertools
import math

import pytest
from geopy.distance import geodesic
from hypothesis import assume, given
from hypothesis import strategies as st

from transport.calc.map_drawing import (
    Lettering,
    Mark,
    Sheet,
    kept_apart,
    labels_for,
    metres_per_degree,
    quarter,
    sheet_around,
    thinned,
)
from transport.calc.places import Place

DISTRICT = [Place(-22.85, 85.45), Place(-22.15, 86.6)]
WIDE = {"width": 1100.0, "most_height": 640.0, "margin": 40.0}
latitudes = st.floats(-70, 70)
longitudes = st.floats(-180, 180)
inside = st.tuples(st.floats(0, 1100), st.floats(0, 600))


def sheet(places=DISTRICT) -> Sheet:
    made = sheet_around(places, **WIDE)
    assert made is not None
    return made


@given(latitudes, longitudes)
def test_a_degree_is_as_long_as_geopy_says(latitude, longitude):
    east, north = metres_per_degree(latitude)
    half = 0.005
    across = geodesic((latitude, longitude - half), (latitude, longitude + half)).m
    along = geodesic((latitude - half, longitude), (latitude + half, longitude)).m
    assert east * 2 * half == pytest.approx(across, rel=1e-4)
    assert north * 2 * half == pytest.approx(along, rel=1e-4)


@given(latitudes, longitudes, st.floats(0.05, 1.5), st.floats(0.05, 1.5))
def test_the_scale_bar_is_as_long_as_geopy_says(latitude, longitude, tall, broad):
    """Laid through the middle of the sheet, eastward and northward, over the whole bar."""
    places = [Place(latitude - tall / 2, -180.0), Place(latitude + tall / 2, -180.0 + broad)]
    made = sheet(places)
    bar = made.scale_bar(250)
    assert bar.length <= 250
    assert float(f"{bar.metres:e}".split("e")[0]) in (1, 2, 5)
    east, north = metres_per_degree(made.middle.latitude)
    degrees_east = bar.length * made.metres_per_unit / east
    degrees_north = bar.length * made.metres_per_unit / north
    at = made.middle
    eastward = geodesic((at.latitude, at.longitude), (at.latitude, at.longitude + degrees_east))
    northward = geodesic(
        (at.latitude - degrees_north / 2, at.longitude),
        (at.latitude + degrees_north / 2, at.longitude),
    )
    assert eastward.m == pytest.approx(bar.metres, rel=2e-3)
    assert northward.m == pytest.approx(bar.metres, rel=2e-3)


@given(st.lists(st.tuples(st.floats(-1, 1), st.floats(-1, 1)), min_size=2, max_size=12))
def test_distances_on_the_sheet_of_a_district_are_those_on_the_ground(offsets):
    """Two places of a district anywhere on the sheet, to one part in fifty."""
    places = [Place(-22.5 + north / 2, 86.0 + east / 2) for north, east in offsets]
    made = sheet([*places, *DISTRICT])
    for one, other in itertools.pairwise(places):
        drawn = math.dist(made.at(one), made.at(other)) * made.metres_per_unit
        true = geodesic((one.latitude, one.longitude), (other.latitude, other.longitude)).m
        assert drawn == pytest.approx(true, rel=0.02, abs=1)


@given(st.lists(st.tuples(latitudes, st.floats(-20, 20)), min_size=1, max_size=9), longitudes)
def test_every_place_stands_on_the_sheet_wherever_the_district_lies(offsets, longitude):
    def at(east: float) -> float:
        return (longitude + east + 180) % 360 - 180

    places = [Place(north / 10, at(east)) for north, east in offsets]
    made = sheet(places)
    assert made.height <= 640.0 + 1e-6
    for place in places:
        x, y = made.at(place)
        assert 39 <= x <= 1061
        assert 39 <= y <= made.height - 39


def test_a_district_on_both_sides_of_the_antimeridian_is_one_piece():
    made = sheet([Place(0, 179.5), Place(0, -179.5)])
    assert made.at(Place(0, 179.5))[0] == pytest.approx(40)
    assert made.at(Place(0, -179.5))[0] == pytest.approx(1060)


def test_east_is_right_and_north_is_up():
    made = sheet()
    assert made.at(Place(-22.5, 86.2))[0] > made.at(Place(-22.5, 86.0))[0]
    assert made.at(Place(-22.3, 86.0))[1] < made.at(Place(-22.5, 86.0))[1]


def test_without_a_place_there_is_no_sheet_and_one_place_has_room_around_it():
    assert sheet_around([], **WIDE) is None
    alone = sheet([Place(10, 10)])
    assert alone.at(Place(10, 10)) == (550.0, alone.height / 2)
    assert alone.scale_bar(250).metres >= 100


@given(st.lists(inside, max_size=40), st.floats(0.5, 30))
def test_a_thinned_line_keeps_its_ends_and_strays_no_farther_than_asked(points, apart):
    kept = thinned(points, apart)
    assert kept[:1] == points[:1]
    assert kept[-1:] == points[-1:]
    for one, other in itertools.pairwise(kept[:-1]):
        assert math.dist(one, other) >= apart
    for point in points:
        assert min(math.dist(point, each) for each in kept) <= apart


@given(st.lists(inside, max_size=20), st.floats(1, 30))
def test_no_symbol_covers_another_and_the_first_stays_in_its_place(points, apart):
    drawn = kept_apart(points, apart)
    assert len(drawn) == len(points)
    assert drawn[:1] == points[:1]
    for one, other in itertools.combinations(drawn, 2):
        assert math.dist(one, other) >= apart


@given(st.lists(st.tuples(inside, st.text("abc", min_size=1, max_size=20)), max_size=15))
def test_no_words_cover_a_symbol_or_other_words_or_leave_the_sheet(told):
    made, how = sheet(), Lettering(letter=7.0, line=16.0, symbol=8.0)
    marks = [Mark(at, words) for at, words in told]
    labels = labels_for(marks, made, how)
    boxes = []
    for mark, label in zip(marks, labels, strict=True):
        if label is None:
            continue
        wide = len(mark.words) * 7.0
        left = label.at[0] - wide * {"start": 0, "middle": 0.5, "end": 1}[label.anchor]
        boxes.append((left, label.at[1] - 12, left + wide, label.at[1] + 4))
        assert left >= 0
        assert left + wide <= made.width
    symbols = [(x - 8, y - 8, x + 8, y + 8) for x, y in (mark.at for mark in marks)]
    for one, other in [*itertools.combinations(boxes, 2), *itertools.product(boxes, symbols)]:
        apart_across = one[2] <= other[0] + 1e-6 or other[2] <= one[0] + 1e-6
        apart_along = one[3] <= other[1] + 1e-6 or other[3] <= one[1] + 1e-6
        assert apart_across or apart_along


def test_words_stand_beside_their_symbol_where_there_is_room():
    how = Lettering(letter=7.0, line=16.0, symbol=8.0)
    [label] = labels_for([Mark((500.0, 300.0), "Post")], sheet(), how)
    assert label is not None
    assert (label.anchor, label.at[0]) == ("start", 511.0)
    [at_the_edge] = labels_for([Mark((1090.0, 300.0), "Post")], sheet(), how)
    assert at_the_edge is not None
    assert at_the_edge.anchor == "end"


@given(latitudes, longitudes, st.floats(0, 360), st.floats(2, 40))
def test_the_direction_is_the_nearest_of_eight(latitude, longitude, bearing, km):
    names = ("n", "ne", "e", "se", "s", "sw", "w", "nw")
    assume(abs(bearing % 45 - 22.5) > 1)
    there = geodesic(kilometers=km).destination((latitude, longitude), bearing)
    told = quarter(Place(latitude, longitude), Place(there.latitude, there.longitude))
    assert told == names[round(bearing / 45) % 8]
