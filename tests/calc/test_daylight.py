"""Where the sun stands, against the geometry of the equinox and the solstices."""

from datetime import UTC, datetime

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
    assert sun_elevation(Place(latitude, 0.0), moment) == pytest.approx(elevation, abs=0.3)


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
