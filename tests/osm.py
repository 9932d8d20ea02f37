"""Small OpenStreetMap files, written for a test: XML, which the same reader takes."""

import json
from collections.abc import Iterable, Mapping
from pathlib import Path
from xml.sax.saxutils import quoteattr

Point = tuple[float, float]
Way = tuple[Iterable[int], Mapping[str, str]]

DEMO = Path(__file__).resolve().parents[1] / "fixtures_demo" / "district"
HIGHWAYS = {"paved": "secondary", "gravel": "unclassified", "track": "track"}


def osm_xml(nodes: Mapping[int, Point], ways: Iterable[Way]) -> str:
    """The document: nodes by number (latitude, longitude), ways as node numbers and tags."""
    lines = ['<?xml version="1.0" encoding="UTF-8"?>', '<osm version="0.6" generator="a test">']
    lines += [
        f'<node id="{number}" version="1" lat="{latitude:.7f}" lon="{longitude:.7f}"/>'
        for number, (latitude, longitude) in sorted(nodes.items())
    ]
    for at, (members, tags) in enumerate(ways, start=1):
        lines.append(f'<way id="{at}" version="1">')
        lines += [f'<nd ref="{number}"/>' for number in members]
        lines += [f"<tag k={quoteattr(k)} v={quoteattr(v)}/>" for k, v in tags.items()]
        lines.append("</way>")
    return "\n".join([*lines, "</osm>", ""])


def demo_roads() -> str:
    """The roads of the demo district, as they are drawn on its map."""
    drawn = json.loads((DEMO / "roads.geojson").read_text(encoding="utf-8"))["features"]
    numbers: dict[Point, int] = {}
    ways: list[Way] = []
    for feature in drawn:
        surface = feature["properties"]["surface"]
        members = [
            numbers.setdefault((latitude, longitude), len(numbers) + 1)
            for longitude, latitude in feature["geometry"]["coordinates"]
        ]
        tags = {"highway": HIGHWAYS[surface], "name": feature["properties"]["name"]}
        ways.append((members, tags | ({} if surface == "track" else {"surface": surface})))
    return osm_xml({number: point for point, number in numbers.items()}, ways)
