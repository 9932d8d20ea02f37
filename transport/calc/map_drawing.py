"""A map of a district on a flat sheet: where things stand on it, how long a kilometre is.

Equirectangular with the cosine of the middle latitude: good for a district, whose shape and
distances are then right to about a part in a thousand; never for measuring a journey.
"""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from referrals.calc.wording import words
from transport.calc.places import Place

# WGS84: semi-major axis in metres, and first eccentricity squared (NIMA TR8350.2, 3rd edition).
SEMI_MAJOR_M = 6_378_137.0
ECCENTRICITY_SQUARED = 6.69437999014e-3
LEAST_EXTENT_M = 2_000.0
"""A district of one place is drawn with so much around it."""
NICE = (1, 2, 5)

Point = tuple[float, float]


def metres_per_degree(latitude: float) -> tuple[float, float]:
    """Metres of one degree of longitude and of one of latitude, at a latitude.

    Radii of curvature of the WGS84 ellipsoid; formula from memory, checked against geopy.
    """
    sine = math.sin(math.radians(latitude))
    flat = 1.0 - ECCENTRICITY_SQUARED * sine * sine
    across = SEMI_MAJOR_M / math.sqrt(flat)
    along = SEMI_MAJOR_M * (1.0 - ECCENTRICITY_SQUARED) / flat**1.5
    east = across * max(math.cos(math.radians(latitude)), 0.01)
    return math.radians(east), math.radians(along)


@dataclass(frozen=True, slots=True)
class ScaleBar:
    """A line of ``length`` units on the sheet is so many ``metres`` on the ground."""

    metres: float
    length: float


@dataclass(frozen=True, slots=True)
class Sheet:
    """The sheet: its size in units, and how the Earth is laid onto it (north is up)."""

    width: float
    height: float
    middle: Place
    metres_per_unit: float

    def at(self, place: Place) -> Point:
        """Where a place stands: x to the right, y downward."""
        east, north = metres_per_degree(self.middle.latitude)
        x = _turn(place.longitude - self.middle.longitude) * east / self.metres_per_unit
        y = (place.latitude - self.middle.latitude) * north / self.metres_per_unit
        return self.width / 2 + x, self.height / 2 - y

    def scale_bar(self, longest: float) -> ScaleBar:
        """The longest round distance (1, 2 or 5 and zeros) that is at most ``longest`` units."""
        most = longest * self.metres_per_unit
        ten = 10.0 ** math.floor(math.log10(most))
        metres = max(nice * ten for nice in NICE if nice * ten <= most)
        return ScaleBar(metres, metres / self.metres_per_unit)


def sheet_around(
    places: Iterable[Place], *, width: float, most_height: float, margin: float
) -> Sheet | None:
    """The sheet that just holds all places; nothing when there is none.

    A district on both sides of the antimeridian is drawn in one piece.
    """
    held = list(places)
    if not held:
        return None
    turns = [_turn(place.longitude - held[0].longitude) for place in held]
    west, east = min(turns), max(turns)
    south = min(place.latitude for place in held)
    north = max(place.latitude for place in held)
    middle = Place((south + north) / 2, _turn(held[0].longitude + (west + east) / 2))
    east_m, north_m = metres_per_degree(middle.latitude)
    across = max((east - west) * east_m, LEAST_EXTENT_M)
    upward = max((north - south) * north_m, LEAST_EXTENT_M)
    per_unit = max(across / (width - 2 * margin), upward / (most_height - 2 * margin))
    return Sheet(width, upward / per_unit + 2 * margin, middle, per_unit)


def fault_of_line(points: Any, *, closed: bool) -> str:
    """What is wrong with a line of [longitude, latitude] in degrees; empty where nothing is."""
    fewest = 4 if closed else 2  # RFC 7946, section 3.1.6: a ring has four positions or more
    if not isinstance(points, list) or len(points) < fewest:
        return words("must have at least %(count)s positions", count=fewest)
    for point in points:
        if not _is_position(point):
            return words("%(told)s is no longitude and latitude in degrees", told=repr(point))
    if closed and points[0] != points[-1]:
        return words("a coast must end where it begins")
    return ""


def _is_position(point: Any) -> bool:
    if not isinstance(point, list) or len(point) < 2:
        return False
    numbers = all(
        isinstance(each, int | float) and not isinstance(each, bool) for each in point[:2]
    )
    return numbers and abs(point[0]) <= 180 and abs(point[1]) <= 90


def thinned(points: Sequence[Point], apart: float) -> list[Point]:
    """A line without the points too near the one before to be seen; both ends stay."""
    kept = list(points[:1])
    for point in points[1:-1]:
        if math.dist(point, kept[-1]) >= apart:
            kept.append(point)
    return [*kept, points[-1]] if len(points) > 1 else kept


def kept_apart(points: Sequence[Point], apart: float) -> list[Point]:
    """Where symbols are drawn so that none covers another; what comes first stays in its place."""
    taken: list[Point] = []
    for point in points:
        free = (spot for spot in _around(point, apart) if _is_free(spot, taken, apart))
        taken.append(next(free))
    return taken


def _around(point: Point, apart: float) -> Iterator[Point]:
    """The point itself, then spots in wider and wider rings around it, without end."""
    yield point
    ring = 0
    while True:
        ring += 1
        for turn in range(8 * ring):
            angle = math.tau * turn / (8 * ring)
            # A hair wider than asked, so that rounding never brings two spots too near.
            reach = ring * apart * 1.001
            yield point[0] + reach * math.cos(angle), point[1] + reach * math.sin(angle)


def _is_free(spot: Point, taken: Iterable[Point], apart: float) -> bool:
    return all(math.dist(spot, other) >= apart for other in taken)


@dataclass(frozen=True, slots=True)
class Mark:
    """A symbol with its words, ``letters`` wide enough for them at the size they are drawn in."""

    at: Point
    words: str


@dataclass(frozen=True, slots=True)
class Lettering:
    """How words are drawn: width of a letter, height of a line, half a symbol, all in units."""

    letter: float
    line: float
    symbol: float


@dataclass(frozen=True, slots=True)
class Label:
    """Where words begin (``start``), end (``end``) or have their middle, on their base line."""

    at: Point
    anchor: str


_Box = tuple[float, float, float, float]


def labels_for(
    marks: Sequence[Mark], sheet: Sheet, lettering: Lettering, others: Sequence[Point] = ()
) -> list[Label | None]:
    """A place for the words of each mark where they cover nothing, the first mark first.

    Nothing where there is no room: whatever has no label stands in the list below the map.
    ``others`` are symbols without words, which are not covered either.
    """
    half = lettering.symbol
    taken = [
        (x - half, y - half, x + half, y + half) for x, y in [*(mark.at for mark in marks), *others]
    ]
    made: list[Label | None] = []
    for mark in marks:
        found = next(
            (
                (label, box)
                for label, box in _spots(mark, lettering)
                if _is_inside(box, sheet) and not any(_meet(box, other) for other in taken)
            ),
            None,
        )
        made.append(found[0] if found else None)
        if found:
            taken.append(found[1])
    return made


def _spots(mark: Mark, lettering: Lettering) -> Iterator[tuple[Label, _Box]]:
    (x, y), wide = mark.at, len(mark.words) * lettering.letter
    up, down = lettering.line * 0.75, lettering.line * 0.25
    gap = lettering.symbol + 3
    level = y + up / 2 - down / 2
    for base in (level, y - gap, y + gap + up):
        beside = base == level
        for anchor, edge in (("start", x + gap * beside), ("end", x - gap * beside)):
            left = edge if anchor == "start" else edge - wide
            yield Label((edge, base), anchor), (left, base - up, left + wide, base + down)
        if not beside:
            yield (
                Label((x, base), "middle"),
                (x - wide / 2, base - up, x + wide / 2, base + down),
            )


def _is_inside(box: _Box, sheet: Sheet) -> bool:
    left, top, right, bottom = box
    return left >= 0 and top >= 0 and right <= sheet.width and bottom <= sheet.height


def _meet(one: _Box, other: _Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _turn(degrees: float) -> float:
    """Degrees of longitude from -180 to 180."""
    return (degrees + 180.0) % 360.0 - 180.0


def quarter(origin: Place, place: Place) -> str:
    """Toward which of eight directions a place lies: n, ne, e, se, s, sw, w, nw."""
    east_m, north_m = metres_per_degree((origin.latitude + place.latitude) / 2)
    east = _turn(place.longitude - origin.longitude) * east_m
    north = (place.latitude - origin.latitude) * north_m
    turn = math.degrees(math.atan2(east, north)) % 360.0
    return ("n", "ne", "e", "se", "s", "sw", "w", "nw")[round(turn / 45.0) % 8]
