"""What the tags of an OpenStreetMap way say to a car: whether, which way, how fast.

The tags are those of the OpenStreetMap wiki (Key:highway, Key:oneway, Key:access, Key:maxspeed,
Key:surface). Not looked at: barriers, turn restrictions, hours, weight and width.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from enum import IntEnum
from types import MappingProxyType


class RoadGroup(IntEnum):
    """Roads whose speed a district learns together."""

    MAIN = 0
    MIDDLE = 1
    MINOR = 2
    TRACK = 3


@dataclass(frozen=True, slots=True)
class RoadClass:
    """A class of road, with the km/h of a car over it, paved and unpaved."""

    group: RoadGroup
    paved_km_h: float
    unpaved_km_h: float
    is_paved_untagged: bool = True


ROAD_CLASSES: Mapping[str, RoadClass] = MappingProxyType(
    {
        "motorway": RoadClass(RoadGroup.MAIN, 90.0, 60.0),
        "trunk": RoadClass(RoadGroup.MAIN, 75.0, 45.0),
        "primary": RoadClass(RoadGroup.MAIN, 65.0, 40.0),
        "secondary": RoadClass(RoadGroup.MIDDLE, 55.0, 35.0),
        "tertiary": RoadClass(RoadGroup.MIDDLE, 45.0, 30.0),
        "unclassified": RoadClass(RoadGroup.MINOR, 35.0, 25.0),
        "residential": RoadClass(RoadGroup.MINOR, 28.0, 20.0),
        "road": RoadClass(RoadGroup.MINOR, 30.0, 20.0),
        "service": RoadClass(RoadGroup.MINOR, 15.0, 12.0),
        "living_street": RoadClass(RoadGroup.MINOR, 12.0, 10.0),
        "track": RoadClass(RoadGroup.TRACK, 20.0, 12.0, is_paved_untagged=False),
    }
)
"""Value of ``highway`` (a link is as its road): km/h by day, dry, without traffic.

Common practice, no source; only how they stand to each other decides the way, and the level is
learned from journeys, by group and for unpaved roads. The one published table near it has 50 km/h
for classes A and B and 30 for C and D (western Kenya, Malaria Journal 2017;16:367, Table 1).
"""

PAVED = frozenset(
    {
        "paved", "asphalt", "chipseal", "concrete", "concrete:lanes", "concrete:plates",
        "paving_stones", "sett", "bricks", "metal", "wood",
    }
)  # fmt: skip
"""Values of ``surface`` that count as paved; any other that is given counts as unpaved."""
TRACK_KM_H: Mapping[str, float] = MappingProxyType(
    {"grade1": 25.0, "grade2": 20.0, "grade3": 15.0, "grade4": 10.0, "grade5": 7.0}
)
"""Km/h of a track by ``tracktype``, where it has one; common practice, no source."""
SLOWEST_KM_H = 5.0
_MILE_KM = 1.609344
_NOT_FOR_CARS = frozenset(
    {"no", "private", "agricultural", "forestry", "military", "delivery", "customers"}
)
_MAXSPEED = re.compile(r"\s*(\d{1,3})(?:\.\d+)?\s*(km/h|kmh|kph|mph)?\s*", re.ASCII)


@dataclass(frozen=True, slots=True)
class RoadUse:
    """How a car uses a way."""

    group: RoadGroup
    unpaved: bool
    km_h: float
    forward: bool
    backward: bool


def road_use(tags: Mapping[str, str]) -> RoadUse | None:
    """How a car uses a way with these tags; None: it does not. A ferry is never a road."""
    road = ROAD_CLASSES.get(tags.get("highway", "").removesuffix("_link"))
    if road is None or tags.get("route") == "ferry" or tags.get("area") == "yes":
        return None
    if not _open_to_cars(tags):
        return None
    surface = tags.get("surface")
    paved = road.is_paved_untagged if surface is None else surface.lower() in PAVED
    speed = road.paved_km_h if paved else road.unpaved_km_h
    if road.group is RoadGroup.TRACK:
        speed = TRACK_KM_H.get(tags.get("tracktype", ""), speed)
    limit = _limit_km_h(tags.get("maxspeed", ""))
    if limit is not None:
        speed = max(min(speed, limit), SLOWEST_KM_H)
    forward, backward = _directions(tags)
    return RoadUse(road.group, not paved, speed, forward, backward)


def _open_to_cars(tags: Mapping[str, str]) -> bool:
    """The most particular of the access tags decides; what is open to emergencies is open."""
    if tags.get("emergency") in ("yes", "designated"):
        return True
    for key in ("motorcar", "motor_vehicle", "vehicle", "access"):
        if key in tags:
            return tags[key] not in _NOT_FOR_CARS
    return True


def _limit_km_h(text: str) -> float | None:
    match = _MAXSPEED.fullmatch(text)
    if match is None:
        return None
    return float(match[1]) * (_MILE_KM if match[2] == "mph" else 1.0)


def _directions(tags: Mapping[str, str]) -> tuple[bool, bool]:
    said = tags.get("oneway", "")
    if said in ("yes", "true", "1"):
        return True, False
    if said in ("-1", "reverse"):
        return False, True
    implied = tags.get("highway") == "motorway" or tags.get("junction") in (
        "roundabout",
        "circular",
    )
    return True, said == "no" or not implied
