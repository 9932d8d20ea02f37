"""The coast and the roads of the invented district, as GeoJSON (RFC 7946).

Both start from a few hand-placed points in kilometres from the centre; seeded bends are then
added until they look like land. All shapes are checked by ``tests/rules/test_demo_district.py``.
"""

import math
from collections.abc import Sequence
from itertools import pairwise
from random import Random
from typing import NamedTuple

from fixtures_demo.district_tables import CENTRE_LATITUDE, CENTRE_LONGITUDE, SITES

# WGS 84 ellipsoid (NGA.STND.0036): equatorial radius in km, flattening.
EQUATORIAL_RADIUS_KM = 6378.137
FLATTENING = 1 / 298.257223563

Point = tuple[float, float]


class Road(NamedTuple):
    """A road between two sites, by the kilometre points it passes."""

    name: str
    surface: str
    origin: str
    destination: str
    via: tuple[Point, ...] = ()


# Corner points in kilometres, counter-clockwise from the eastern cape; the notch is Orlime Bay.
MAIN_ISLAND: tuple[Point, ...] = (
    *(
        (47.6, 2.8),
        (44.8, 14.0),
        (33.6, 21.7),
        (22.4, 26.6),
        (11.2, 29.4),
        (4.2, 25.2),
        (1.4, 15.4),
        (-2.8, 14.0),
        (-7.0, 18.2),
    ),
    *(
        (-11.2, 28.0),
        (-22.4, 30.8),
        (-33.6, 26.6),
        (-42.0, 18.2),
        (-47.6, 8.4),
        (-49.0, -2.8),
        (-43.4, -12.6),
        (-37.8, -16.8),
    ),
    *(
        (-39.2, -25.2),
        (-35.0, -32.2),
        (-29.4, -29.4),
        (-25.2, -21.0),
        (-18.2, -21.0),
        (-8.4, -25.2),
        (2.8, -28.0),
    ),
    *((14.0, -26.6), (23.8, -23.8), (33.6, -19.6), (42.0, -11.2)),
)
SEFTIMA_ISLET: tuple[Point, ...] = (
    (55.2, 21.5),
    (54.3, 23.4),
    (52.7, 22.8),
    (52.1, 20.9),
    (53.6, 20.1),
)
COASTS = {"Taluvesi Island": MAIN_ISLAND, "Seftima Islet": SEFTIMA_ISLET}

ROADS = (
    Road("Hospital Street", "paved", "ORL", "YRD"),
    Road("Landing Street", "paved", "ORL", "QAY"),
    Road("North Shore Road", "paved", "YRD", "COR", ((17.5, 22.4),)),
    Road("Cape Road", "gravel", "COR", "HUR", ((31.0, 16.4),)),
    Road("Hurrowen Lane", "gravel", "HUR", "THO", ((40.6, 9.8),)),
    Road("Inner Road", "gravel", "COR", "THO", ((26.6, 12.6), (33.6, 9.8))),
    Road("Bay Road", "paved", "ORL", "SAL", ((7.7, 19.6), (5.6, 13.3), (0.0, 10.5))),
    Road("West Bay Road", "gravel", "SAL", "ISV", ((-9.1, 14.0), (-14.0, 19.6))),
    Road("Long Beach Road", "gravel", "ISV", "KES", ((-29.4, 21.0), (-37.8, 15.4))),
    Road("Ridge Road", "track", "SAL", "MRW", ((-4.9, 4.2),)),
    Road("South Ridge Road", "track", "MRW", "BAN", ((-4.2, -9.8), (1.4, -16.8))),
    Road("Old Salt Path", "track", "MRW", "NAV", ((-19.6, -7.0),)),
    Road("West Road", "gravel", "KES", "NAV", ((-42.0, -2.8), (-36.4, -9.8))),
    Road("Point Road", "track", "NAV", "PEL", ((-33.6, -19.6),)),
    Road(
        "South Shore Road", "gravel", "NAV", "BAN", ((-19.6, -16.8), (-8.4, -18.9), (-1.4, -21.0))
    ),
    Road("Market Road", "paved", "BAN", "QUI", ((12.6, -21.0),)),
    Road("Mallow Road", "gravel", "QUI", "DUM", ((25.2, -16.8),)),
    Road("East Road", "gravel", "DUM", "THO", ((37.8, -5.6),)),
    Road("Quarry Road", "gravel", "YRD", "QUI", ((14.0, 12.6), (9.8, 1.4), (15.4, -8.4))),
    Road("Islet Path", "track", "LND", "SEF"),
)


def kilometres_per_degree(*, latitude: float) -> Point:
    """Return (km a degree of longitude, km a degree of latitude) at a latitude in degrees.

    Radii of curvature of the WGS 84 ellipsoid, as in any textbook of geodesy (for example
    Snyder, USGS Professional Paper 1395, equations 4-18 and 4-20).
    """
    eccentricity_squared = FLATTENING * (2 - FLATTENING)
    sine = math.sin(math.radians(latitude))
    root = math.sqrt(1 - eccentricity_squared * sine * sine)
    prime_vertical_km = EQUATORIAL_RADIUS_KM / root
    meridian_km = EQUATORIAL_RADIUS_KM * (1 - eccentricity_squared) / root**3
    east = math.radians(prime_vertical_km * math.cos(math.radians(latitude)))
    return east, math.radians(meridian_km)


def to_lon_lat(point_km: Point) -> Point:
    """Turn kilometres from the centre into (longitude, latitude), 5 decimals (about a metre)."""
    east_km, north_km = kilometres_per_degree(latitude=CENTRE_LATITUDE)
    longitude = CENTRE_LONGITUDE + point_km[0] / east_km
    return round(longitude, 5), round(CENTRE_LATITUDE + point_km[1] / north_km, 5)


def line_km(line: Sequence[Point]) -> float:
    """Return the length in km of a line of (longitude, latitude) points a few km apart."""
    total_km = 0.0
    for (west, south), (east, north) in pairwise(line):
        east_km, north_km = kilometres_per_degree(latitude=(south + north) / 2)
        total_km += math.hypot((east - west) * east_km, (north - south) * north_km)
    return total_km


def bend(line: Sequence[Point], *, sway: float, longest_km: float, random: Random) -> list[Point]:
    """Halve every leg longer than ``longest_km``, pushing each middle sideways by up to ``sway``.

    ``sway`` is a share of the leg's length. Midpoint displacement: common practice, no source.
    """
    bent = [line[0]]
    for (x0, y0), (x1, y1) in pairwise(line):
        if math.hypot(x1 - x0, y1 - y0) <= longest_km:
            bent.append((x1, y1))
            continue
        push = sway * (2 * random.random() - 1)
        middle = ((x0 + x1) / 2 - push * (y1 - y0), (y0 + y1) / 2 + push * (x1 - x0))
        for half in ([(x0, y0), middle], [middle, (x1, y1)]):
            bent += bend(half, sway=sway, longest_km=longest_km, random=random)[1:]
    return bent


def _feature(kind: str, coordinates: object, properties: dict[str, object]) -> dict[str, object]:
    geometry = {"type": kind, "coordinates": coordinates}
    return {"type": "Feature", "properties": properties, "geometry": geometry}


def coast_features(*, seed: str) -> list[dict[str, object]]:
    """Return one Polygon feature for each island; exterior ring closed, counter-clockwise."""
    features = []
    for name, corners in COASTS.items():
        random = Random(f"{seed}:coast:{name}")
        closed = [*corners, corners[0]]
        bent = bend(closed, sway=0.14, longest_km=1.2, random=random)
        ring = [to_lon_lat(point) for point in bent]
        features.append(_feature("Polygon", [ring], {"name": name}))
    return features


def road_features(*, seed: str) -> list[dict[str, object]]:
    """Return one LineString feature for each road, with its length ``road_km`` along the line."""
    places = {site.code: (site.east_km, site.north_km) for site in SITES}
    features = []
    for road in ROADS:
        random = Random(f"{seed}:road:{road.name}")
        sway = 0.1 if road.surface == "paved" else 0.26
        corners = [places[road.origin], *road.via, places[road.destination]]
        bent = bend(corners, sway=sway, longest_km=0.8, random=random)
        line = [to_lon_lat(point) for point in bent]
        properties: dict[str, object] = {
            "name": road.name,
            "surface": road.surface,
            "from": road.origin,
            "to": road.destination,
            "road_km": round(line_km(line), 2),
        }
        features.append(_feature("LineString", line, properties))
    return features
