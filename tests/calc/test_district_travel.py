"""What a district says about its roads, and the travel settings that come of it."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from referrals.calc.road_settings import ROAD_SURFACES, SURFACES, faults_of
from referrals.calc.terms import VehicleKind
from transport.calc.district_travel import is_rainy_month, travel_settings
from transport.calc.travel import TravelSettings

AMBULANCE, BOAT = VehicleKind.AMBULANCE, VehicleKind.BOAT


def test_a_district_that_says_nothing_has_the_fixed_numbers():
    made, fixed = travel_settings({}, detour_factor=1.4), TravelSettings()
    assert made.free_flow_km_h == pytest.approx(dict(fixed.free_flow_km_h))
    assert made.rainy_factor == pytest.approx(fixed.rainy_factor)
    assert made.darkness_factor == fixed.darkness_factor
    assert made.model_version == "fixed-1"


def test_the_speed_over_a_mix_is_the_harmonic_mean_by_length():
    said = {"speeds_km_h": {"paved": 60, "track": 20}, "road_shares": {"paved": 0.5, "track": 0.5}}
    # 1 km: half a minute paved, one and a half on the track, so 30 km/h.
    assert travel_settings(said, detour_factor=1.4).free_flow_km_h[AMBULANCE] == pytest.approx(30)


def test_rain_slows_each_surface_by_the_time_spent_on_it():
    said = {
        "speeds_km_h": {"paved": 60, "track": 20}, "road_shares": {"paved": 0.5, "track": 0.5},
        "rain_factors": {"paved": 1.0, "track": 2.0, "sea": 1.3},
    }  # fmt: skip
    made = travel_settings(said, detour_factor=1.4)
    # Dry 0.5 + 1.5 min, wet 0.5 + 3 min.
    assert made.rainy_for(AMBULANCE) == pytest.approx(3.5 / 2)
    assert made.rainy_for(BOAT) == 1.3


def test_a_boat_goes_at_the_speed_of_the_sea():
    made = travel_settings({"speeds_km_h": {"sea": 30}}, detour_factor=1.4)
    assert made.free_flow_km_h[BOAT] == 30


def test_only_the_months_named_are_rainy():
    said = {"rainy_months": [12, 1]}
    assert [month for month in range(1, 13) if is_rainy_month(said, month)] == [1, 12]
    assert not is_rainy_month({}, 1)


@pytest.mark.parametrize(
    ("said", "key"),
    [
        ({"speeds_km_h": {"paved": 0}}, "speeds_km_h"),
        ({"speeds_km_h": {"paved": True}}, "speeds_km_h"),
        ({"rain_factors": {"sea": 9}}, "rain_factors"),
        ({"road_shares": {"sea": 1}}, "road_shares"),
        ({"road_shares": {"paved": 0.9}}, "road_shares"),
        ({"night_factor": float("nan")}, "night_factor"),
        ({"rainy_months": [1.5]}, "rainy_months"),
        ({"colour": "blue"}, "colour"),
    ],
)
def test_what_cannot_be_is_refused_by_its_key(said, key):
    assert list(faults_of(said)) == [key]


def test_something_that_is_no_object_is_refused():
    assert faults_of([])
    assert faults_of("fast")


numbers = {"allow_nan": False, "allow_infinity": False}
speeds = st.dictionaries(st.sampled_from(SURFACES), st.floats(1, 150, **numbers))
factors = st.dictionaries(st.sampled_from(SURFACES), st.floats(1, 5, **numbers))
shares = st.dictionaries(
    st.sampled_from(ROAD_SURFACES), st.floats(0.1, 1, **numbers), min_size=1
).map(lambda parts: {k: part / sum(parts.values()) for k, part in parts.items()})


@given(speeds, factors, shares, st.floats(1, 5, **numbers), st.floats(1, 5, **numbers))
def test_whatever_is_let_in_gives_settings_that_can_be_used(speed, rain, share, night, detour):
    said = {
        "speeds_km_h": speed, "rain_factors": rain, "road_shares": share, "night_factor": night,
    }  # fmt: skip
    assert faults_of(said) == {}
    made = travel_settings(said, detour_factor=detour)
    assert 1 <= made.free_flow_km_h[AMBULANCE] <= 150
    assert 1 <= made.rainy_for(AMBULANCE) <= 5
