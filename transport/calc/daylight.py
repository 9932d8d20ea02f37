"""Whether it is dark at a place and time, from where the sun stands."""

import math
from datetime import UTC, datetime

from transport.calc.places import Place

# Civil twilight ends with the sun 6 degrees below the horizon: until then one sees the ground
# without lamps (US Naval Observatory, "Rise, set, and twilight definitions").
DARK_BELOW_DEGREES = -6.0
_J2000 = datetime(2000, 1, 1, 12, tzinfo=UTC)


def sun_elevation(place: Place, moment: datetime) -> float:
    """Degrees of the sun above the horizon, without refraction; good to about 0.1 degree.

    Source: low-precision formulas for the sun, The Astronomical Almanac, page C5 (1950 to 2050;
    value from memory); sidereal time from the same page.
    """
    days = (moment - _J2000).total_seconds() / 86_400
    anomaly = math.radians(357.528 + 0.9856003 * days)
    longitude = math.radians(
        280.460 + 0.9856474 * days + 1.915 * math.sin(anomaly) + 0.020 * math.sin(2 * anomaly)
    )
    obliquity = math.radians(23.439 - 0.0000004 * days)
    ascension = math.atan2(math.cos(obliquity) * math.sin(longitude), math.cos(longitude))
    declination = math.asin(math.sin(obliquity) * math.sin(longitude))
    sidereal = math.radians(280.46062 + 360.9856474 * days + place.longitude)
    latitude = math.radians(place.latitude)
    sine = math.sin(latitude) * math.sin(declination) + math.cos(latitude) * math.cos(
        declination
    ) * math.cos(sidereal - ascension)
    return math.degrees(math.asin(max(-1.0, min(1.0, sine))))


def is_dark(place: Place, moment: datetime) -> bool:
    """Whether one needs lamps to see the road."""
    return sun_elevation(place, moment) < DARK_BELOW_DEGREES
