"""Roads out of an OpenStreetMap file (.osm.pbf, .osm, .osm.bz2 ...), read by osmium.

osmium is an optional extra: nothing else of the service needs it.
"""

from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

from transport.calc.road_network import RoadLine
from transport.calc.road_tags import RoadUse, road_use


class OsmiumMissing(RuntimeError):
    """The optional extra ``roads`` is not installed."""


class NotAnOsmFile(ValueError):
    """The file cannot be read as OpenStreetMap data, or not to its end."""


def road_lines(path: Path) -> Iterator[RoadLine]:
    """Every way that a car may use, cut where a node is not in the file.

    Raises:
        OsmiumMissing: without osmium.
        NotAnOsmFile: with what the reader said.
    """
    try:
        import osmium
    except ImportError as error:
        raise OsmiumMissing from error
    try:
        ways = osmium.FileProcessor(str(path)).with_locations()
        ways = ways.with_filter(osmium.filter.EntityFilter(osmium.osm.WAY))
        for way in ways:
            if isinstance(way, osmium.osm.Way) and "highway" in way.tags:
                use = road_use({tag.k: tag.v for tag in way.tags})
                if use is not None:
                    yield from _runs(way.nodes, use)
    except (RuntimeError, OSError, ValueError) as error:
        raise NotAnOsmFile(str(error)) from error


def map_date(path: Path) -> date | None:
    """Of which day the map is, where the file says it."""
    import osmium

    with osmium.io.Reader(str(path)) as reader:
        said = reader.header().get("osmosis_replication_timestamp")
    try:
        return date.fromisoformat(said[:10])
    except ValueError:
        return None


def _runs(nodes: Any, use: RoadUse) -> Iterator[RoadLine]:
    numbers: list[int] = []
    places: list[tuple[float, float]] = []
    for node in nodes:
        if node.location.valid():
            numbers.append(node.ref)
            places.append((node.lat, node.lon))
            continue
        if len(numbers) > 1:
            yield RoadLine(numbers, places, use)
        numbers, places = [], []
    if len(numbers) > 1:
        yield RoadLine(numbers, places, use)
