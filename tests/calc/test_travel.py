"""Places, distances, and the fixed estimator of travel times."""

import math
import random
from statistics import NormalDist

import pytest
from geographiclib.geodesic import Geodesic
from geopy.distance import geodesic
from hypothesis import given, settings
from hypothesis import strategies as st

from referrals.calc.terms import VehicleKind
from transport.calc.travel import (
    InvalidPlace,
    InvalidTravelSettings,
    Place,
    PlaceIndex,
    TravelEstimate,
    TravelSettings,
    estimate_travel,
    fixed_estimator,
    geodesic_km,
    haversine_km,
    median_road_minutes,
    nearest,
    parse_place,
    road_mix_km_h,
    unreachable,
)

KM_PER_MILE = 1.609344
places = st.builds(
    Place, st.floats(-90, 90, allow_nan=False), st.floats(-180, 180, allow_nan=False)
)


def road_estimate(origin: Place, destination: Place, **changes: object) -> TravelEstimate:
    asked = {
        "vehicle": VehicleKind.AMBULANCE,
        "rainy": False,
        "dark": False,
        "settings": TravelSettings(),
    }
    return estimate_travel(origin, destination, **(asked | changes))


# Places


@pytest.mark.parametrize("text", ["-2.5,32.9", " -2.5 , 32.9 ", "-2.50,+32.9"])
def test_a_place_is_read_from_latitude_and_longitude(text: str) -> None:
    assert parse_place(text) == Place(-2.5, 32.9)


@pytest.mark.parametrize(
    "text", ["", "1", "1,2,3", "north,east", "nan,0", "1e1,0", "91,0", "0,181", "1_0,0", "1;2"]
)
def test_text_that_is_no_place_is_refused(text: str) -> None:
    with pytest.raises(InvalidPlace):
        parse_place(text)


@pytest.mark.parametrize("pair", [(90.01, 0), (0, -180.01), (math.nan, 0), (0, math.inf)])
def test_impossible_coordinates_are_refused(pair: tuple[float, float]) -> None:
    with pytest.raises(InvalidPlace, match="degrees"):
        Place(*pair)


# Distances


@pytest.mark.parametrize(
    ("first", "second", "metres", "sphere_metres"),
    [
        # GeodTest: Karney CFF, test set for geodesics, Zenodo 32156 (the second near-antipodal).
        ((36.530042355041, 0), (-48.16427077909777, 5.76234469467651), 9398502.0435, 9434917),
        ((8.226828747671, 0), (-8.516119211674269, 178.68897958262922), 19886305.671, 19867345),
        # Survey pair of Geoscience Australia's published sample calculation.
        (
            (-37.95103341667, 144.42486788889),
            (-37.65282113889, 143.92649552778),
            54972.271,
            54925.5,
        ),
        # Land's End to John o' Groats, as public test suites of geodesics have it.
        ((50.06632, -5.71475), (58.64402, -3.07009), 969954.166, 968876.0),
        # A degree of the equator and of the meridian from there: WGS84 constants (NIMA TR8350.2).
        ((0, 0), (0, 1), 111319.491, 111195.1),
        ((0, 0), (1, 0), 110574.389, 111195.1),
        ((0, 179.5), (0, -179.5), 111319.491, 111195.1),
        # Vincenty's iteration does not converge here (Karney 2013, section 1).
        ((0, 0), (0.5, 179.5), 19936288.579, 19936488),
    ],
)
def test_published_lines_are_met_to_the_millimetre(
    first: tuple[float, float], second: tuple[float, float], metres: float, sphere_metres: float
) -> None:
    line = Place(*first), Place(*second)
    assert geodesic_km(*line) * 1000 == pytest.approx(metres, abs=0.001)
    assert haversine_km(*line) * 1000 == pytest.approx(sphere_metres, abs=0.6)


def degrees(whole: int, minutes: int, seconds: float) -> float:
    return math.copysign(abs(whole) + minutes / 60 + seconds / 3600, whole)


@pytest.mark.parametrize(
    ("major_km", "inverse_flattening", "first", "second", "metres"),
    [
        # Bessel, then four lines on the International ellipsoid, the last two near-antipodal.
        (6377.397155, 299.1528128, degrees(55, 45, 0),
         (-degrees(33, 26, 0), degrees(108, 13, 0)), 14110526.170),
        (6378.388, 297.0, degrees(37, 19, 54.95367),
         (degrees(26, 7, 42.83946), degrees(41, 28, 35.50729)), 4085966.703),
        (6378.388, 297.0, degrees(35, 16, 11.24862),
         (degrees(67, 22, 14.77638), degrees(137, 47, 28.31435)), 8084823.839),
        (6378.388, 297.0, degrees(1, 0, 0),
         (-degrees(0, 59, 53.83076), degrees(179, 17, 48.02997)), 19960000.000),
        (6378.388, 297.0, degrees(1, 0, 0),
         (degrees(1, 1, 15.18952), degrees(179, 46, 17.84244)), 19780006.558),
    ],
)  # fmt: skip
def test_the_library_meets_the_lines_of_vincenty(
    major_km: float,
    inverse_flattening: float,
    first: float,
    second: tuple[float, float],
    metres: float,
) -> None:
    # Vincenty T, Survey Review XXIII 176 (1975), table II. The method is that of ``geodesic_km``,
    # on the ellipsoids of the table.
    flattening = 1 / inverse_flattening
    ellipsoid = (major_km, major_km * (1 - flattening), flattening)
    line = geodesic((first, 0.0), second, ellipsoid=ellipsoid)
    assert line.m == pytest.approx(metres, abs=0.001)


@given(places, places)
def test_geodesics_agree_with_the_reference_library_and_are_symmetric(a: Place, b: Place) -> None:
    # geographiclib: Karney's own implementation.
    inverse = Geodesic.WGS84.Inverse(a.latitude, a.longitude, b.latitude, b.longitude)
    assert geodesic_km(a, b) * 1000 == pytest.approx(inverse["s12"], abs=1e-3)
    assert geodesic_km(b, a) == pytest.approx(geodesic_km(a, b), abs=1e-6)


@given(places, places)
def test_the_sphere_is_within_its_stated_error(a: Place, b: Place) -> None:
    assert haversine_km(a, b) == pytest.approx(geodesic_km(a, b), rel=0.0057, abs=1e-5)


def in_exact_order(origin: Place, sites: list[Place], count: int) -> list[int]:
    def far_km(i: int) -> float:
        site = sites[i]
        return geodesic((origin.latitude, origin.longitude), (site.latitude, site.longitude)).km

    return sorted(range(len(sites)), key=lambda i: (far_km(i), i))[:count]


@given(places, st.lists(places, max_size=40), st.integers(0, 12))
@settings(max_examples=60, deadline=None)
def test_the_nearest_are_those_of_the_plain_geodesic_loop(
    origin: Place, sites: list[Place], count: int
) -> None:
    assert nearest(origin, sites, count) == in_exact_order(origin, sites, count)


@pytest.mark.parametrize(
    "middle", [Place(-1.5, 31.5), Place(0.0, 179.9), Place(89.5, 0.0), Place(-89.9, -120.0)]
)
def test_the_first_ten_of_many_sites_are_exact_everywhere(middle: Place) -> None:
    rng = random.Random(11)
    sites = [near_by(middle, rng) for _ in range(800)]
    index = PlaceIndex(sites)
    for _ in range(5):
        origin = near_by(middle, rng)
        assert nearest(origin, index, 10) == in_exact_order(origin, sites, 10)


def near_by(middle: Place, rng: random.Random) -> Place:
    latitude = min(90.0, max(-90.0, middle.latitude + rng.uniform(-1.5, 1.5)))
    longitude = (middle.longitude + rng.uniform(-1.5, 1.5) + 180) % 360 - 180
    return Place(latitude, longitude)


def test_sites_on_one_ring_where_the_sphere_misleads_are_ordered_exactly() -> None:
    ring = [Place(0.5 * math.sin(a / 10), 0.5 * math.cos(a / 10)) for a in range(63)]
    assert nearest(Place(0, 0), ring, 10) == in_exact_order(Place(0, 0), ring, 10)
    by_sphere = sorted(range(63), key=lambda i: haversine_km(Place(0, 0), ring[i]))
    assert by_sphere[:10] != in_exact_order(Place(0, 0), ring, 10)


def test_only_a_few_of_many_sites_are_looked_at() -> None:
    rng = random.Random(3)
    index = PlaceIndex([near_by(Place(-1.5, 31.5), rng) for _ in range(5000)])
    assert 10 <= len(index.near(Place(-1.5, 31.5), 10)) < 20


# From distance to minutes


@pytest.mark.parametrize(("miles", "minutes"), [(1.5, 3.2), (2.5, 4.9), (0.38, 1.30)])
def test_the_published_time_and_distance_law_is_met(miles: float, minutes: float) -> None:
    # T = 0.65 + 1.70 D: RAND R-1449 (Kolesar, Walker, Hausner 1975) as printed in rating pages.
    found = median_road_minutes(
        miles * KM_PER_MILE, cruise_km_h=60 / 1.70 * KM_PER_MILE, getting_going_minutes=0.65
    )
    assert found == pytest.approx(minutes, abs=0.05)


def test_the_two_branches_of_the_law_meet_with_equal_slope() -> None:
    # Larson RC, Odoni AR, Urban Operations Research (1981), section 3.7.2.
    def minutes(km: float) -> float:
        return median_road_minutes(km, cruise_km_h=60, getting_going_minutes=2)

    before, at, after = minutes(1.999), minutes(2.0), minutes(2.001)
    assert at == pytest.approx(4.0)
    assert (at - before) == pytest.approx(after - at, rel=1e-3)


def test_a_road_half_main_half_minor_takes_the_time_of_both() -> None:
    # 50 and 30 km/h: Malaria Journal 2017;16:367, Table 1. 50 km of each take 1 h + 1 h 40.
    assert road_mix_km_h(0.5) == pytest.approx(100 / (50 / 50 + 50 / 30))
    assert road_mix_km_h(1) == pytest.approx(50)
    with pytest.raises(InvalidTravelSettings):
        road_mix_km_h(1.1)


def test_an_estimate_follows_from_its_stated_inputs() -> None:
    made = road_estimate(Place(-2.5, 32.9), Place(-2.0, 33.4))
    # 78.42198 km: WGS84 geodesic, computed with geographiclib.
    assert made.geodesic_km == pytest.approx(78.42198, abs=1e-5)
    assert made.road_km == pytest.approx(1.4 * 78.42198, abs=1e-4)
    assert made.p50_minutes == pytest.approx(0.65 + 1.4 * 78.42198 / 37.5 * 60, abs=1e-3)
    assert made.p90_minutes == pytest.approx(
        made.p50_minutes * math.exp(0.5 * NormalDist().inv_cdf(0.9))
    )
    assert made.method == "geodesic_detour"
    assert made.inputs["detour_factor"] == 1.4


@given(
    places,
    places,
    st.sampled_from(VehicleKind),
    st.booleans(),
    st.sampled_from([True, False, None]),
)
def test_quantiles_never_cross(
    a: Place, b: Place, vehicle: VehicleKind, rainy: bool, dark: bool | None
) -> None:
    made = road_estimate(a, b, vehicle=vehicle, rainy=rainy, dark=dark)
    assert 0 <= made.p10_minutes <= made.p50_minutes <= made.p90_minutes


@given(st.floats(0, 80), st.floats(0, 80), st.floats(0, 90))
def test_more_distance_is_never_earlier(first: float, second: float, extra: float) -> None:
    near, far = sorted((first, second))
    to_near = road_estimate(Place(0, 0), Place(near, 0), extra_minutes=extra)
    to_far = road_estimate(Place(0, 0), Place(far, 0), extra_minutes=extra)
    assert to_near.p10_minutes <= to_far.p10_minutes
    assert to_near.p50_minutes <= to_far.p50_minutes
    assert to_near.p90_minutes <= to_far.p90_minutes


def test_rain_darkness_and_known_delays_only_make_it_later() -> None:
    home, town = Place(-2.5, 32.9), Place(-2.0, 33.4)
    night = TravelSettings(darkness_factor=1.3)
    plain = road_estimate(home, town, settings=night)
    assert road_estimate(home, town, settings=night, rainy=True).p50_minutes > plain.p50_minutes
    assert road_estimate(home, town, settings=night, dark=True).p50_minutes > plain.p50_minutes
    delayed = road_estimate(home, town, settings=night, extra_minutes=25)
    assert delayed.p10_minutes == pytest.approx(plain.p10_minutes + 25)


def test_not_knowing_whether_it_is_dark_lies_between_and_is_less_sure() -> None:
    home, town = Place(-2.5, 32.9), Place(-2.0, 33.4)
    night = TravelSettings(darkness_factor=1.3)
    day, dark, unknown = (
        road_estimate(home, town, settings=night, dark=dark) for dark in (False, True, None)
    )
    assert day.p50_minutes < unknown.p50_minutes < dark.p50_minutes
    assert unknown.distribution.sigma > day.distribution.sigma


def test_a_boat_has_its_own_way_and_speed() -> None:
    by_boat = road_estimate(Place(0, 0), Place(0, 0.2), vehicle=VehicleKind.BOAT)
    assert by_boat.road_km == pytest.approx(1.2 * by_boat.geodesic_km)
    assert by_boat.inputs["free_flow_km_h"] == 15


@pytest.mark.parametrize(
    "wrong",
    [
        {"detour_factor": 0.9},
        {"rainy_factor": 0.5},
        {"darkness_factor": math.nan},
        {"sigma": 0},
        {"sigma": 1.5},
        {"getting_going_minutes": -1},
        {"free_flow_km_h": {VehicleKind.AMBULANCE: 40.0}},
        {"free_flow_km_h": dict.fromkeys(VehicleKind, 0.0)},
    ],
)
def test_settings_that_cannot_be_true_are_refused(wrong: dict[str, object]) -> None:
    with pytest.raises(InvalidTravelSettings):
        TravelSettings(**wrong)


def test_a_place_without_a_way_has_no_minutes() -> None:
    none = unreachable(geodesic_km=12.0, method="road_table", inputs={}, model_version="t")
    assert none.p10_minutes is none.p50_minutes is none.p90_minutes is None
    assert none.as_dict()["reachable"] is False
    assert none.as_dict()["road_km"] is None


def test_the_estimator_handed_on_gives_the_same_answer() -> None:
    home, town = Place(-2.5, 32.9), Place(-2.0, 33.4)
    handed_on = fixed_estimator(TravelSettings())
    made = handed_on(home, town, vehicle=VehicleKind.AMBULANCE, rainy=False, dark=False)
    assert made == road_estimate(home, town)
