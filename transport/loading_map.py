"""``coast.geojson`` and ``roads.geojson``: what a map is drawn from. Both may be missing.

GeoJSON (RFC 7946): a FeatureCollection, longitude before latitude, in degrees of WGS84.
"""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from referrals.calc.road_settings import SURFACES
from transport.calc.map_drawing import fault_of_line
from transport.models.maps import COAST, ROAD, MapLine
from transport.tables import Fault

AREAS = {"Polygon": 1, "MultiPolygon": 2}
LINES = {"LineString": 0, "MultiLineString": 1}
"""Kinds of geometry, and how deep in their coordinates the lines are."""


def read_map(folder: Path, faults: list[Fault]) -> list[MapLine]:
    """The lines of both files; every fault is noted with its feature, counted from 1."""
    return [
        *_lines(folder / "coast.geojson", COAST, AREAS, faults),
        *_lines(folder / "roads.geojson", ROAD, LINES, faults),
    ]


def _lines(
    path: Path, kind: str, geometries: dict[str, int], faults: list[Fault]
) -> Iterator[MapLine]:
    for number, feature in enumerate(_features(path, faults), start=1):
        where = f"feature {number}"
        geometry, about = _object(feature, "geometry"), _object(feature, "properties")
        told = str(geometry.get("type", ""))
        if told not in geometries:
            sentence = f"must be {' or '.join(geometries)}, not {told or 'without geometry'}"
            faults.append(Fault(path.name, 0, where, sentence))
            continue
        surface = about.get("surface") or ""
        if kind == ROAD and surface and surface not in SURFACES:
            sentence = f"{surface!r} is no surface; known are {', '.join(SURFACES)}"
            faults.append(Fault(path.name, 0, where, sentence))
            continue
        for line in _opened(geometry.get("coordinates"), geometries[told]):
            problem = fault_of_line(line, closed=kind == COAST)
            if problem:
                faults.append(Fault(path.name, 0, where, problem))
                continue
            yield MapLine(
                kind=kind,
                name=str(about.get("name") or "")[:120],
                surface=surface if kind == ROAD else "",
                points=[point[:2] for point in line],
            )


def _features(path: Path, faults: list[Fault]) -> list[Any]:
    if not path.exists():
        return []
    try:
        body = json.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as error:
        faults.append(Fault(path.name, 0, "", f"cannot be read: {error.strerror}"))
        return []
    except ValueError as error:
        faults.append(Fault(path.name, 0, "", f"is not JSON: {error}"))
        return []
    features = body.get("features") if isinstance(body, dict) else None
    if not isinstance(features, list):
        faults.append(Fault(path.name, 0, "", "must be a GeoJSON FeatureCollection"))
        return []
    return features


def _object(feature: Any, key: str) -> dict[str, Any]:
    value = feature.get(key) if isinstance(feature, dict) else None
    return value if isinstance(value, dict) else {}


def _opened(coordinates: Any, depth: int) -> Iterator[Any]:
    """The lines inside coordinates that hold lists of lists of them."""
    if depth == 0 or not isinstance(coordinates, list):
        yield coordinates
        return
    for each in coordinates:
        yield from _opened(each, depth - 1)
