"""What the tags of a way say to a car."""

import pytest

from transport.calc.road_tags import ROAD_CLASSES, SLOWEST_KM_H, RoadGroup, road_use


def use(**tags: str):
    return road_use({"highway": "secondary"} | tags)


def test_a_plain_road_goes_both_ways_at_the_speed_of_its_class():
    made = use()
    assert (made.forward, made.backward, made.unpaved) == (True, True, False)
    assert made.km_h == ROAD_CLASSES["secondary"].paved_km_h
    assert made.group is RoadGroup.MIDDLE


@pytest.mark.parametrize(
    "tags",
    [
        {"highway": "footway"},
        {"highway": "construction"},
        {"highway": ""},
        {"route": "ferry"},
        {"area": "yes"},
        {"access": "no"},
        {"access": "private"},
        {"motor_vehicle": "no"},
        {"access": "yes", "motorcar": "no"},
    ],
)
def test_what_a_car_may_not_use_is_no_road(tags):
    assert use(**tags) is None


def test_a_ferry_without_a_road_is_no_road():
    assert road_use({"route": "ferry", "motor_vehicle": "yes"}) is None


@pytest.mark.parametrize(
    "tags",
    [
        {"access": "destination"},
        {"access": "permissive"},
        {"access": "no", "motor_vehicle": "yes"},
        {"access": "private", "emergency": "yes"},
    ],
)
def test_the_most_particular_word_decides_and_an_ambulance_goes_where_emergencies_may(tags):
    assert use(**tags) is not None


@pytest.mark.parametrize(
    ("tags", "ways"),
    [
        ({"oneway": "yes"}, (True, False)),
        ({"oneway": "-1"}, (False, True)),
        ({"oneway": "no"}, (True, True)),
        ({"junction": "roundabout"}, (True, False)),
        ({"junction": "roundabout", "oneway": "no"}, (True, True)),
        ({"highway": "motorway"}, (True, False)),
        ({"oneway": "sometimes"}, (True, True)),
    ],
)
def test_one_way_streets(tags, ways):
    made = use(**tags)
    assert (made.forward, made.backward) == ways


@pytest.mark.parametrize(
    ("said", "km_h"),
    [("40", 40.0), ("40 km/h", 40.0), ("20 mph", 32.18688), ("90", 55.0), ("2", SLOWEST_KM_H),
     ("none", 55.0), ("RU:urban", 55.0), ("", 55.0)],
)  # fmt: skip
def test_a_speed_limit_slows_and_never_hurries(said, km_h):
    assert use(maxspeed=said).km_h == pytest.approx(km_h)


def test_unpaved_is_slower_and_said_so():
    for name, road in ROAD_CLASSES.items():
        assert road.unpaved_km_h < road.paved_km_h
        rough = road_use({"highway": name, "surface": "gravel"})
        assert rough.unpaved
        assert rough.km_h == road.unpaved_km_h


def test_a_link_is_as_its_road_and_a_track_is_unpaved_unless_told():
    assert use(highway="primary_link").km_h == ROAD_CLASSES["primary"].paved_km_h
    assert use(highway="track").unpaved
    assert not use(highway="track", surface="asphalt").unpaved
    grades = [use(highway="track", tracktype=f"grade{at}").km_h for at in range(1, 6)]
    assert grades == sorted(grades, reverse=True)
