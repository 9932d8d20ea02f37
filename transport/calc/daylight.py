"""Whether it is dark at a place and time, from where the sun stands."""

from datetime import datetime

from astral import Observer
from astral.sun import elevation

from transport.calc.places import Place

# Civil twilight ends with the sun 6 degrees below the horizon: until then one sees the ground
# without lamps (US Naval Observatory, "Rise, set, and twilight definitions").
DARK_BELOW_DEGREES = -6.0


def sun_elevation(place: Place, moment: datetime) -> float:
    """Degrees of the sun above the horizon, without refraction, at sea level.

    Good to 0.03 degrees, within a quarter of a degree of the poles to 0.25. Defined everywhere and
    always, also where the sun does not set or rise. Source: the solar calculator of NOAA after
    Meeus J, Astronomical Algorithms, through astral.
    """
    observer = Observer(place.latitude, place.longitude, 0.0)
    return elevation(observer, moment, with_refraction=False)


def is_dark(place: Place, moment: datetime) -> bool:
    """Whether one needs lamps to see the road."""
    return sun_elevation(place, moment) < DARK_BELOW_DEGREES
