"""Where the sun stands, against published positions and twilights, and against geometry."""

from datetime import UTC, datetime, timedelta

import pytest

from transport.calc.daylight import is_dark, sun_elevation
from transport.calc.places import Place

OBLIQUITY = 23.44


@pytest.mark.parametrize(
    ("latitude", "moment", "elevation"),
    [
        # March equinox 2024, 20 March 03:06 UTC: overhead at the equator at noon, 90 - 45 at 45 N.
        (0.0, datetime(2024, 3, 20, 12, 7, tzinfo=UTC), 89.8),
        (45.0, datetime(2024, 3, 20, 12, 7, tzinfo=UTC), 45.1),
        # June solstice 2024: overhead on the tropic, never up at 80 S, never down at 80 N.
        (OBLIQUITY, datetime(2024, 6, 20, 12, 2, tzinfo=UTC), 90.0),
        (-80.0, datetime(2024, 6, 20, 12, 2, tzinfo=UTC), 90.0 - 80.0 - OBLIQUITY),
        (80.0, datetime(2024, 6, 20, 0, 2, tzinfo=UTC), 80.0 + OBLIQUITY - 90.0),
        # December solstice at 40 N: 90 - 40 - 23.44.
        (40.0, datetime(2024, 12, 21, 11, 58, tzinfo=UTC), 26.56),
    ],
)
def test_the_noon_and_midnight_sun(latitude, moment, elevation):
    assert sun_elevation(Place(latitude, 0.0), moment) == pytest.approx(elevation, abs=0.2)


def test_a_published_position_is_met():
    # Reda I, Andreas A, Solar position algorithm, NREL/TP-560-34302, table A5.1: topocentric
    # elevation without refraction 39.872046 degrees at 12:30:30, zone -7.
    golden = Place(39.742476, -105.1786)
    moment = datetime(2003, 10, 17, 19, 30, 30, tzinfo=UTC)
    assert sun_elevation(golden, moment) == pytest.approx(39.872046, abs=0.005)


@pytest.mark.parametrize(("day", "minute"), [(1, 4), (2, 6)])
def test_it_is_dark_until_the_published_end_of_the_night(day, minute):
    # Civil dawn in London (51.5 N, 0.1 W) in December 2015, as timeanddate.com lists it.
    london = Place(51.5, -0.12)
    dawn = datetime(2015, 12, day, 7, minute, tzinfo=UTC)
    assert is_dark(london, dawn - timedelta(minutes=2))
    assert not is_dark(london, dawn + timedelta(minutes=2))


@pytest.mark.parametrize("hour", range(0, 24, 3))
def test_where_the_sun_does_not_set_or_rise_it_is_light_or_dark_all_day(hour):
    midsummer = datetime(2024, 6, 20, hour, tzinfo=UTC)
    midwinter = datetime(2024, 12, 21, hour, tzinfo=UTC)
    for longitude in (-180.0, 0.0, 179.9):
        for latitude in (80.0, 90.0):
            assert not is_dark(Place(latitude, longitude), midsummer)
            assert is_dark(Place(latitude, longitude), midwinter)
            assert is_dark(Place(-latitude, longitude), midsummer)


def test_the_winter_noon_beyond_the_polar_circle_is_twilight():
    # 90 - 68 - 23.44: the sun stays 1.4 degrees below the horizon, and one sees the road.
    noon = datetime(2024, 12, 21, 11, 58, tzinfo=UTC)
    assert not is_dark(Place(68.0, 0.0), noon)
    assert is_dark(Place(68.0, 0.0), noon + timedelta(hours=6))


def test_longitude_shifts_the_day():
    noon_in_greenwich = datetime(2024, 3, 20, 12, 0, tzinfo=UTC)
    assert not is_dark(Place(0.0, 0.0), noon_in_greenwich)
    assert is_dark(Place(0.0, 180.0), noon_in_greenwich)
    assert not is_dark(Place(0.0, -80.0), noon_in_greenwich)


def test_twilight_is_not_dark_yet():
    # At the equator on the equinox the sun sets about 18:10 and sinks a degree in four minutes.
    place = Place(0.0, 0.0)
    assert not is_dark(place, datetime(2024, 3, 20, 18, 25, tzinfo=UTC))
    assert is_dark(place, datetime(2024, 3, 20, 18, 45, tzinfo=UTC))
