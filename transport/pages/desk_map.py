"""The desk's map: drawn by the server in two sizes, with a list beneath that says the same.

No tiles and nothing from outside: coast and roads are the district's own, and only as true as
they were when the district was loaded.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from string import ascii_uppercase
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_safe

from referrals import clock
from referrals.models import District
from referrals.pages.doors import page, show, unless_the_same
from transport import on_the_map
from transport.calc.map_drawing import (
    Label,
    Lettering,
    Mark,
    Point,
    Sheet,
    kept_apart,
    labels_for,
    sheet_around,
    thinned,
)
from transport.calc.places import Place
from transport.models import MapLine
from transport.models.maps import COAST
from transport.pages import needs_person
from transport.pages.desk import district_of_desk
from transport.pages.words import CLOSURE_KINDS, QUARTERS, STAGES, VEHICLE_STATES, word

MARGIN = 22.0
SEEN_APART = 1.0
"""Points of a line nearer than this, in units of the sheet, are drawn as one."""


@dataclass(frozen=True)
class Size:
    """One of the two sizes in which the map is drawn; ``words`` says whether names have room."""

    name: str
    width: float
    most_height: float
    symbol: float
    lettering: Lettering
    words: bool


BROAD = Size("broad", 1100, 640, 9, Lettering(letter=7.4, line=18, symbol=10), True)
NARROW = Size("narrow", 344, 420, 7, Lettering(letter=7.2, line=15, symbol=8), False)


@dataclass(frozen=True)
class Thing:
    """Something with a symbol: where, in which words, and its key for where names have no room."""

    symbol: str
    place: Place
    name: str
    key: str
    title: str


@dataclass(frozen=True)
class Drawn:
    """A symbol on the sheet; ``pulled`` when it stands beside its place, with a line to it."""

    thing: Thing
    x: str
    y: str
    true_x: str
    true_y: str
    pulled: bool
    words: str
    label: dict[str, str] | None


@dataclass
class Drawing:
    """The map in one size: everything as numbers that SVG takes."""

    size: Size
    sheet: Sheet
    coasts: list[str] = field(default_factory=list)
    roads: list[tuple[str, str]] = field(default_factory=list)
    crossings: list[tuple[str, str]] = field(default_factory=list)
    trails: list[str] = field(default_factory=list)
    planned: list[str] = field(default_factory=list)
    circles: list[dict[str, str]] = field(default_factory=list)
    closed_ways: list[str] = field(default_factory=list)
    symbols: list[Drawn] = field(default_factory=list)
    bar: dict[str, str] = field(default_factory=dict)

    @property
    def width(self) -> str:
        """The width of the sheet."""
        return _number(self.sheet.width)

    @property
    def height(self) -> str:
        """The height of the sheet."""
        return _number(self.sheet.height)


@page
@require_safe
def index(request: HttpRequest) -> HttpResponse:
    """The whole page."""
    district = district_of_desk(request)
    context = _everything(district, clock.now())
    return show(request, "transport/desk/map.html", context, district=district)


@page
@require_safe
def now(request: HttpRequest) -> HttpResponse:
    """The part of the page that changes; 304 while it is the same."""
    district = district_of_desk(request)
    context = _everything(district, clock.now())
    response = show(request, "transport/desk/map_now.html", context, district=district)
    return unless_the_same(request, response)


def _everything(district: District, now: datetime) -> dict[str, Any]:
    seen, lines = on_the_map.seen_now(district, now), list(district.map_lines.all())
    places, vehicles = _place_keys(seen), _vehicle_keys(seen)
    return {
        "now": now,
        "drawings": _drawings(seen, lines, now),
        "has_map": bool(lines),
        "legend": legend(),
        "waiting": needs_person.open_alerts(district).count(),
        "journeys": [
            {
                "row": each,
                "stage": word(STAGES, each.transfer.stage),
                "where": where_in_words(each.near),
            }
            for each in seen.journeys
        ],
        "vehicles": [
            {
                "row": each,
                "key": vehicles[each.vehicle.pk],
                "state": word(VEHICLE_STATES, each.vehicle.state),
                "where": where_in_words(each.near),
                "age": age_in_words(each.told_at, now),
            }
            for each in seen.vehicles
        ],
        "places": [{"row": each, "key": places[each.site.pk]} for each in seen.places],
        "closures": [
            {"row": each.closure, "kind": word(CLOSURE_KINDS, each.closure.kind)}
            for each in seen.closures
        ],
    }


def where_in_words(near: on_the_map.Near | None) -> str:
    """Where something is for whoever cannot see the map: at a place, or how far from which."""
    if near is None:
        return _("not known where")
    if near.is_there:
        return _("at %s") % near.site
    kilometres = f"{near.km:.1f}" if near.km < 10 else f"{near.km:.0f}"
    return _("%(km)s km %(side)s %(place)s") % {
        "km": kilometres,
        "side": word(QUARTERS, near.quarter),
        "place": near.site,
    }


def age_in_words(told_at: datetime | None, now: datetime) -> str:
    """How old a position is; for one that nobody told, that it is assumed."""
    if told_at is None:
        return _("no position told")
    minutes = max(int((now - told_at).total_seconds() // 60), 0)
    if minutes < 1:
        return _("just now")
    if minutes < 120:
        return ngettext("%d min ago", "%d min ago", minutes) % minutes
    return ngettext("%d h ago", "%d h ago", minutes // 60) % (minutes // 60)


def legend() -> list[tuple[str, str]]:
    """Every kind of symbol with its word."""
    return [
        ("baby", _("mother and baby, with the case code")),
        ("vehicle", _("vehicle, with the age of its position")),
        ("vehicle_silent", _("vehicle that is silent")),
        ("vehicle_assumed", _("vehicle, taken to be at its base: no position told")),
        ("unit", _("receiving unit")),
        ("unit_closed", _("receiving unit, closed")),
        ("post", _("health post")),
        ("landing", _("landing")),
        ("other", _("other place")),
        ("closed", _("reported closed")),
    ]


def _place_keys(seen: on_the_map.Seen) -> dict[int, str]:
    return {each.site.pk: str(count) for count, each in enumerate(seen.places, start=1)}


def _vehicle_keys(seen: on_the_map.Seen) -> dict[int, str]:
    return {
        each.vehicle.pk: ascii_uppercase[count] if count < len(ascii_uppercase) else f"V{count}"
        for count, each in enumerate(seen.vehicles)
    }


def _drawings(seen: on_the_map.Seen, lines: list[MapLine], now: datetime) -> list[Drawing]:
    things = [
        *_things_that_stay(seen),
        *_closed(seen),
        *_babies(seen),
        *_vehicles(seen, now),
    ]
    ways = [tuple(Place(point[1], point[0]) for point in line.points) for line in lines]
    held = [thing.place for thing in things]
    held += [place for way in ways for place in way]
    held += [place for each in seen.journeys for place in (*each.trail, *each.planned)]
    drawings = []
    for size in (BROAD, NARROW):
        sheet = sheet_around(held, width=size.width, most_height=size.most_height, margin=MARGIN)
        if sheet:
            drawings.append(
                _draw(Drawing(size, sheet), seen, list(zip(lines, ways, strict=True)), things)
            )
    return drawings


def _draw(
    drawing: Drawing,
    seen: on_the_map.Seen,
    ways: Iterable[tuple[MapLine, tuple[Place, ...]]],
    things: list[Thing],
) -> Drawing:
    sheet = drawing.sheet
    for line, way in ways:
        if line.kind == COAST:
            drawing.coasts.append(_path(sheet, way) + "Z")
        else:
            drawing.roads.append((line.surface or "unknown", _path(sheet, way)))
    for name, *ends in seen.crossings:
        drawing.crossings.append((name, _path(sheet, ends)))
    for journey in seen.journeys:
        if len(journey.trail) > 1:
            drawing.trails.append(_path(sheet, journey.trail))
        if journey.planned:
            drawing.planned.append(_path(sheet, journey.planned))
    for closure in seen.closures:
        if len(closure.ends) == 1:
            x, y = sheet.at(closure.ends[0])
            radius = closure.radius_km * 1000 / sheet.metres_per_unit
            drawing.circles.append({"x": _number(x), "y": _number(y), "r": _number(radius)})
        else:
            drawing.closed_ways.append(_path(sheet, closure.ends))
    drawing.symbols = _symbols(drawing, things)
    bar = sheet.scale_bar(sheet.width / 4)
    drawing.bar = {
        "x": _number(MARGIN / 2),
        "end": _number(MARGIN / 2 + bar.length),
        "y": _number(sheet.height - 8),
        "words": _("%g km") % (bar.metres / 1000) if bar.metres >= 1000 else _("%g m") % bar.metres,
    }
    return drawing


def _symbols(drawing: Drawing, things: list[Thing]) -> list[Drawn]:
    size, sheet = drawing.size, drawing.sheet
    true = [sheet.at(thing.place) for thing in things]
    spots = kept_apart(true, size.symbol * 2)
    words = [thing.name if size.words else thing.key for thing in things]
    labels = _labels(sheet, size, things, spots, words)
    return [
        Drawn(
            thing=thing,
            x=_number(spot[0]),
            y=_number(spot[1]),
            true_x=_number(at[0]),
            true_y=_number(at[1]),
            pulled=spot != at,
            words=said,
            label=_label(label),
        )
        for thing, at, spot, said, label in zip(things, true, spots, words, labels, strict=True)
    ]


FIRST_LABELLED = ("baby", "vehicle", "vehicle_silent", "closed", "unit", "unit_closed", "post")


def _labels(
    sheet: Sheet, size: Size, things: list[Thing], spots: list[Point], words: list[str]
) -> list[Label | None]:
    """Labels in the order of the things, placed in the order of what matters most."""

    def rank(number: int) -> int:
        kind = things[number].symbol
        return FIRST_LABELLED.index(kind) if kind in FIRST_LABELLED else len(FIRST_LABELLED)

    order = sorted((number for number, said in enumerate(words) if said), key=rank)
    without = [spot for spot, said in zip(spots, words, strict=True) if not said]
    marks = [Mark(spots[number], words[number]) for number in order]
    placed: list[Label | None] = [None] * len(things)
    for number, label in zip(order, labels_for(marks, sheet, size.lettering, without), strict=True):
        placed[number] = label
    return placed


def _things_that_stay(seen: on_the_map.Seen) -> list[Thing]:
    keys = _place_keys(seen)
    return [
        Thing(
            each.kind,
            each.place,
            each.site.name,
            keys[each.site.pk],
            ", ".join([each.site.name, *(unit.name for unit in each.units)]),
        )
        for each in seen.places
    ]


def _closed(seen: on_the_map.Seen) -> list[Thing]:
    found = []
    for each in seen.closures:
        at = each.ends[0]
        if len(each.ends) > 1:
            at = Place(
                sum(end.latitude for end in each.ends) / len(each.ends),
                sum(end.longitude for end in each.ends) / len(each.ends),
            )
        name = _("closed: %s") % each.closure.name
        found.append(Thing("closed", at, name, _("closed"), name))
    return found


def _babies(seen: on_the_map.Seen) -> list[Thing]:
    return [
        Thing(
            "baby",
            each.baby,
            each.transfer.referral.code,
            each.transfer.referral.code,
            f"{each.transfer.referral.code}, {word(STAGES, each.transfer.stage)}",
        )
        for each in seen.journeys
    ]


def _vehicles(seen: on_the_map.Seen, now: datetime) -> list[Thing]:
    keys, found = _vehicle_keys(seen), []
    for each in seen.vehicles:
        if each.place is None:
            continue
        symbol = "vehicle" if each.told_at else "vehicle_assumed"
        if each.is_silent:
            symbol = "vehicle_silent"
        age = age_in_words(each.told_at, now)
        title = f"{each.vehicle.name}, {age}"
        name = title if each.told_at else each.vehicle.name
        found.append(Thing(symbol, each.place, name, keys[each.vehicle.pk], title))
    return found


def _path(sheet: Sheet, places: Iterable[Place]) -> str:
    points = thinned([sheet.at(place) for place in places], SEEN_APART)
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points)


def _label(label: Label | None) -> dict[str, str] | None:
    if label is None:
        return None
    return {"x": _number(label.at[0]), "y": _number(label.at[1]), "anchor": label.anchor}


def _number(value: float) -> str:
    """A number as SVG takes it, whatever the reader's language writes."""
    return f"{value:.1f}"
