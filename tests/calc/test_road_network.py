"""Roads as a network: lengths, feet on the road, quickest ways."""

import math

import networkx
import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import assume, given
from hypothesis import strategies as st

from transport.calc.places import Place
from transport.calc.road_base import NoRoad, RoadWay
from transport.calc.road_network import (
    PART_KM,
    WITHIN_KM,
    NoRoads,
    RoadLine,
    RoadNetwork,
    scale_km,
)
from transport.calc.road_rows import key_of, packed, place_at, unpacked
from transport.calc.road_tags import RoadGroup, RoadUse
from transport.calc.road_ways import NetworkRoads

ROAD = RoadUse(RoadGroup.MIDDLE, False, 60.0, True, True)
ONE_WAY = RoadUse(RoadGroup.MIDDLE, False, 60.0, True, False)
DEGREE_KM = 111.19492664


def line(*nodes: int, at: dict[int, tuple[float, float]], use: RoadUse = ROAD) -> RoadLine:
    return RoadLine(list(nodes), [at[node] for node in nodes], use)


def roads(*lines: RoadLine) -> NetworkRoads:
    return NetworkRoads(RoadNetwork.of(lines))


def way(found: NetworkRoads, start: tuple[float, float], end: tuple[float, float]):
    return found.ways_from(Place(*start), [Place(*end)])[0]


def km(start: tuple[float, float], end: tuple[float, float]) -> float:
    return Geodesic.WGS84.Inverse(*start, *end)["s12"] / 1000


@given(
    latitude=st.floats(-80, 80),
    longitude=st.floats(-180, 180),
    bearing=st.floats(0, 360),
    length=st.floats(0.01, 20),
)
def test_a_segment_is_as_long_as_its_geodesic(latitude, longitude, bearing, length):
    """GeographicLib, Karney 2013; the error that the module states."""
    end = Geodesic.WGS84.Direct(latitude, longitude, bearing, length * 1000)
    assume(abs(end["lat2"]) <= 80)
    points = {1: (latitude, longitude), 2: (end["lat2"], end["lon2"])}
    network = RoadNetwork.of([line(1, 2, at=points)])
    # Coordinates are kept to 1e-7 degrees, 1 cm.
    assert network.piece_km[0] == pytest.approx(length, rel=1e-5, abs=3e-5)


def test_the_scale_of_a_degree_is_that_of_the_tables():
    """110.574 km of latitude and 111.320 of longitude at the equator, WGS84; value from memory."""
    north, east = scale_km(np.array([0.0]))
    assert math.radians(1) * north[0] == pytest.approx(110.574, abs=0.001)
    assert math.radians(1) * east[0] == pytest.approx(111.320, abs=0.001)


# A road of 0.2 degrees along a parallel, with a side road north at its middle.
POINTS = {1: (-22.5, 86.0), 2: (-22.5, 86.1), 3: (-22.5, 86.2), 4: (-22.4, 86.1)}
FORK = roads(line(1, 2, 3, at=POINTS), line(2, 4, at=POINTS))


def test_ways_are_cut_where_they_meet():
    assert len(FORK.network.km_h) == 3
    assert FORK.network.junctions == 4


def test_a_way_begins_and_ends_at_the_foot_on_the_road_not_at_a_junction():
    middle = (-22.5, 86.05)
    found = way(FORK, (-22.497, 86.05), (-22.45, 86.1))
    assert found.km == pytest.approx(
        km(middle, POINTS[2]) + km(POINTS[2], (-22.45, 86.1)), rel=1e-4
    )
    assert found.minutes == pytest.approx(found.km)
    assert found.middle == pytest.approx(1.0)


def test_along_one_piece_the_way_is_straight():
    found = way(FORK, (-22.5, 86.02), (-22.5, 86.07))
    assert found.km == pytest.approx(km((-22.5, 86.02), (-22.5, 86.07)), rel=1e-4)
    assert way(FORK, (-22.5, 86.07), (-22.5, 86.02)).km == pytest.approx(found.km)


@pytest.mark.parametrize(("off_km", "near"), [(0.0, True), (0.95, True), (1.05, False)])
def test_a_place_is_on_the_road_within_a_kilometre_of_it_and_no_farther(off_km, near):
    assert WITHIN_KM == 1.0
    end = Geodesic.WGS84.Direct(-22.5, 86.13, 180, off_km * 1000)
    snap = FORK.network.snap(Place(end["lat2"], end["lon2"]))
    assert (snap is not None) is near
    if snap:
        assert snap.off_km == pytest.approx(off_km, abs=1e-3)
        assert snap.along_km == pytest.approx(km(POINTS[2], (-22.5, 86.13)), rel=1e-4)


def test_a_place_off_the_road_is_said_to_be_so():
    assert way(FORK, (-22.52, 86.05), POINTS[3]) is NoRoad.NOT_NEAR
    assert way(FORK, POINTS[3], (10.0, 20.0)) is NoRoad.NOT_NEAR


def test_a_car_park_beside_the_post_is_passed_over_for_the_road_behind_it():
    points = POINTS | {8: (-22.502, 86.049), 9: (-22.502, 86.051)}
    with_park = roads(line(1, 2, 3, at=points), line(2, 4, at=points), line(8, 9, at=points))
    found = way(with_park, (-22.5021, 86.05), POINTS[3])
    assert found.km == pytest.approx(way(FORK, (-22.5, 86.05), POINTS[3]).km, rel=1e-4)


def test_a_network_of_nothing_but_a_yard_answers_nobody():
    points = {1: (0.0, 0.0), 2: (0.0, 0.01)}
    assert km(*points.values()) < PART_KM
    assert way(roads(line(1, 2, at=points)), points[1], points[2]) is NoRoad.NOT_NEAR


def test_no_road_at_all_is_refused():
    with pytest.raises(NoRoads):
        RoadNetwork.of([])


ISLANDS = {1: (0.0, 0.0), 2: (0.0, 0.2), 3: (0.0, 0.3), 4: (0.0, 0.5)}


def test_two_islands_are_not_joined_and_a_hut_in_the_hills_is_on_one_of_them():
    both = roads(line(1, 2, at=ISLANDS), line(3, 4, at=ISLANDS))
    assert way(both, ISLANDS[1], ISLANDS[4]) is NoRoad.UNREACHABLE
    assert way(both, (0.05, 0.1), ISLANDS[4]) is NoRoad.UNREACHABLE
    assert way(both, (0.05, 0.1), ISLANDS[2]) is NoRoad.NOT_NEAR


def test_a_one_way_street_is_driven_one_way():
    corners = {1: (0.0, 0.0), 2: (0.0, 0.1), 3: (0.1, 0.1), 4: (0.1, 0.0)}
    ring = roads(line(1, 2, 3, 4, 1, at=corners, use=ONE_WAY))
    there, back = (0.0, 0.02), (0.0, 0.08)
    short = way(ring, there, back)
    assert short.km == pytest.approx(km(there, back), rel=1e-4)
    around = sum(km(corners[a], corners[b]) for a, b in ((1, 2), (2, 3), (3, 4), (4, 1)))
    assert way(ring, back, there).km == pytest.approx(around - short.km, rel=1e-4)


def test_a_road_that_only_leads_away_is_not_snapped_to():
    corners = POINTS | {5: (-22.45, 86.18)}
    found = roads(
        line(1, 2, 3, at=corners),
        line(2, 4, at=corners),
        line(3, 5, at=corners, use=ONE_WAY),
    )
    assert found.network.snap(Place(*corners[5])) is None


def test_across_the_180th_meridian():
    points = {1: (-17.0, 179.9), 2: (-17.0, -179.9)}
    over = roads(line(1, 2, at=points))
    assert way(over, points[1], points[2]).km == pytest.approx(km(points[1], points[2]), rel=1e-5)
    assert way(over, (-17.001, 179.95), (-17.001, -179.95)).km == pytest.approx(
        km((-17.0, 179.95), (-17.0, -179.95)), rel=1e-4
    )


def test_the_quicker_way_is_taken_though_it_is_longer():
    points = {1: (0.0, 0.0), 2: (0.0, 0.2), 3: (0.05, 0.1)}
    track = RoadUse(RoadGroup.TRACK, True, 15.0, True, True)
    found = way(
        roads(line(1, 2, at=points, use=track), line(1, 3, 2, at=points)), points[1], points[2]
    )
    assert found.km > km(points[1], points[2])
    assert (found.track, found.unpaved) == (0.0, 0.0)


def test_the_shares_are_those_of_the_minutes():
    points = {1: (0.0, 0.0), 2: (0.0, 0.1), 3: (0.0, 0.2)}
    gravel = RoadUse(RoadGroup.MINOR, True, 20.0, True, True)
    found = way(
        roads(line(1, 2, at=points), line(2, 3, at=points, use=gravel)), points[1], points[3]
    )
    assert found.shares == pytest.approx((0.25, 0.75, 0.0, 0.75))


def test_the_worked_example_of_the_textbook():
    """Cormen, Leiserson, Rivest, Stein, Introduction to Algorithms, Dijkstra's algorithm, the
    figure with the vertices s, t, x, y, z; values from memory."""
    at = {"s": (0.0, 0.0), "t": (0.1, 0.1), "x": (0.1, 0.3), "y": (-0.1, 0.1), "z": (-0.1, 0.3)}
    minutes = {
        "st": 10, "sy": 5, "tx": 1, "ty": 2, "yt": 3, "yx": 9, "yz": 2, "xz": 4, "zx": 6, "zs": 7,
    }  # fmt: skip
    number = {name: at_ for at_, name in enumerate(at)}
    lines = [
        RoadLine(
            [number[a], number[b]],
            [at[a], at[b]],
            RoadUse(RoadGroup.MAIN, False, km(at[a], at[b]) * 60 / told, True, False),
        )
        for (a, b), told in minutes.items()
    ]
    answers = roads(*lines).ways_from(Place(*at["s"]), [Place(*at[name]) for name in "tyxz"])
    assert [each.minutes for each in answers] == pytest.approx([8, 5, 9, 7], rel=1e-4)


@st.composite
def networks(draw: st.DrawFn) -> list[tuple[int, int, float, bool]]:
    """A ring of roads both ways, so that nothing is cut off, and others across it."""
    count = draw(st.integers(3, 9))
    speed = st.floats(10, 90)
    ring = [(at, (at + 1) % count, draw(speed), False) for at in range(count)]
    ends = st.tuples(st.integers(0, count - 1), st.integers(0, count - 1))
    across = draw(st.lists(st.tuples(ends, speed, st.booleans()), max_size=12))
    return ring + [(a, b, km_h, one_way) for (a, b), km_h, one_way in across if a != b]


def corner(at: int) -> tuple[float, float]:
    """No three on a line, none within 5 km of another."""
    return 0.4 * math.sin(2.1 * at) + 0.02 * at, 0.4 * math.cos(2.1 * at) + 0.03 * at


def built(drawn: list[tuple[int, int, float, bool]]) -> NetworkRoads:
    return roads(
        *(
            RoadLine(
                [a, b],
                [corner(a), corner(b)],
                RoadUse(RoadGroup.MIDDLE, False, km_h, True, not one_way),
            )
            for a, b, km_h, one_way in drawn
        )
    )


@given(networks())
def test_quickest_ways_are_those_of_networkx(drawn):
    graph = networkx.MultiDiGraph()
    for a, b, km_h, one_way in drawn:
        minutes = km(corner(a), corner(b)) * 60 / km_h
        graph.add_edge(a, b, minutes=minutes)
        if not one_way:
            graph.add_edge(b, a, minutes=minutes)
    found = built(drawn)
    for start in graph.nodes:
        expected = networkx.single_source_dijkstra_path_length(graph, start, weight="minutes")
        others = sorted(expected)
        answers = found.ways_from(Place(*corner(start)), [Place(*corner(at)) for at in others])
        assert [each.minutes for each in answers] == pytest.approx(
            [expected[at] for at in others], rel=1e-4, abs=1e-3
        )


@given(networks(), st.floats(0, 1), st.floats(0, 1))
def test_without_one_way_streets_the_way_back_is_as_long(drawn, one, other):
    found = built([(a, b, km_h, False) for a, b, km_h, _one_way in drawn])
    start, end = (
        tuple(np.array(corner(at)) * (1 - part) + np.array(corner(at + 1)) * part)
        for at, part in ((0, one), (1, other))
    )
    there, back = way(found, start, end), way(found, end, start)
    assert there.minutes == pytest.approx(back.minutes, rel=1e-6, abs=1e-6)


@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_farther_along_the_road_is_never_sooner(one, other):
    near, far = sorted([one, other])
    start = POINTS[1]
    ways = [way(FORK, start, (-22.5, 86.0 + 0.2 * part)) for part in (near, far)]
    assert ways[0].minutes <= ways[1].minutes + 1e-6


def test_a_network_is_read_back_as_it_was_written():
    again = RoadNetwork.from_bytes(FORK.network.as_bytes())
    assert np.array_equal(again.points, FORK.network.points)
    assert way(NetworkRoads(again), POINTS[1], POINTS[4]) == way(FORK, POINTS[1], POINTS[4])
    with pytest.raises(ValueError, match="no stored road network"):
        RoadNetwork.from_bytes(b"something else")


@given(
    st.dictionaries(
        st.tuples(st.integers(-90_000_000, 90_000_000), st.integers(-180_000_000, 180_000_000)),
        st.one_of(
            st.sampled_from([NoRoad.UNREACHABLE, NoRoad.NOT_NEAR]),
            st.builds(
                RoadWay,
                st.floats(0, 3000, width=32),
                st.floats(0, 6000, width=32),
                *[st.floats(0, 1)] * 4,
            ),
        ),
        max_size=5,
    )
)
def test_a_row_is_read_back_as_it_was_written(ways):
    again = unpacked(packed(ways))
    assert again.keys() == ways.keys()
    for key, told in ways.items():
        if isinstance(told, NoRoad):
            assert again[key] is told
        else:
            assert (again[key].km, again[key].minutes) == (told.km, told.minutes)
            assert again[key].shares == pytest.approx(told.shares, abs=0.002)


def test_a_spoilt_row_is_refused_and_a_place_keeps_its_key():
    with pytest.raises(ValueError, match="no stored row"):
        unpacked(b"something else")
    place = Place(-22.27243, 86.09524)
    assert place_at(key_of(place)) == place
