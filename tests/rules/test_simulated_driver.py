"""The simulated driver keeps to the invented roads and tells positions as a phone does."""

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest

from fixtures_demo.driver import SimulatedDriver, along
from transport.calc.travel import Place, geodesic_km

START = datetime(2025, 3, 1, 4, 0, tzinfo=UTC)
HOUR = START + timedelta(hours=1)


@pytest.fixture(scope="module")
def driver() -> SimulatedDriver:
    """One driver knows all roads."""
    return SimulatedDriver()


def km(a: tuple[float, float], b: tuple[float, float]) -> float:
    return geodesic_km(Place(*a), Place(*b))


def length(route: list[tuple[float, float]]) -> float:
    return sum(km(a, b) for a, b in pairwise(route))


def test_a_route_joins_two_sites_by_road(driver):
    route = driver.route("PEL", "ORL")
    straight = km(route[0], route[-1])
    assert route[0] == pytest.approx((-22.75285, 85.67346))
    assert route[-1] == pytest.approx((-22.27243, 86.09524))
    assert straight < length(route) < 3 * straight
    assert max(km(a, b) for a, b in pairwise(route)) < 1.0  # no jump from road to road


def test_the_way_back_is_the_way_there(driver):
    assert driver.route("ORL", "PEL") == driver.route("PEL", "ORL")[::-1]


def test_where_no_road_leads_it_is_the_straight_line(driver):
    assert len(driver.route("SEF", "ORL")) == 2


def test_a_site_nobody_knows_is_an_error(driver):
    with pytest.raises(KeyError):
        driver.route("PEL", "XXX")


def test_positions_run_from_start_to_end_near_the_road(driver):
    route = driver.route("PEL", "ORL")
    fixes = driver.positions(route, START, HOUR, 30, "a")
    assert (fixes[0].recorded_at, fixes[-1].recorded_at) == (START, HOUR)
    assert all(a.recorded_at < b.recorded_at for a, b in pairwise(fixes))
    for fix, end in ((fixes[0], route[0]), (fixes[-1], route[-1])):
        assert km((fix.latitude, fix.longitude), end) < 0.05
    for fix in fixes:
        assert min(km((fix.latitude, fix.longitude), point) for point in route) < 0.6


def test_the_phone_is_silent_for_a_while(driver):
    fixes = driver.positions(driver.route("PEL", "ORL"), START, HOUR, 30, "a")
    longest = max(b.recorded_at - a.recorded_at for a, b in pairwise(fixes))
    assert longest >= timedelta(minutes=4)
    assert len(fixes) > 80


def test_the_same_seed_is_the_same_drive(driver):
    route = driver.route("NAV", "KES")
    one, same, other = (driver.positions(route, START, HOUR, 30, seed) for seed in "aab")
    assert one == same != other


def test_the_car_never_drives_backwards(driver):
    route = [(0.0, 0.0), (0.0, 1.0)]
    for seed in "abcdefgh":
        east = [fix.longitude for fix in driver.positions(route, START, HOUR, 60, seed)]
        assert all(b - a > -0.001 for a, b in pairwise(east))  # 0.001 degree: noise of the fix


def test_a_drive_takes_time(driver):
    with pytest.raises(ValueError, match="takes time"):
        driver.positions([(0.0, 0.0), (0.0, 1.0)], START, START, 30, "a")


def test_a_point_along_a_route_shares_out_its_length():
    assert along([(0.0, 0.0), (0.0, 1.0), (0.0, 4.0)], 0.5) == pytest.approx((0.0, 2.0))
    assert along([(1.0, 1.0), (1.0, 1.0)], 0.3) == (1.0, 1.0)
