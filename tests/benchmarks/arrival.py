"""How often the window holds the arrival, and what the watch notices, on simulated drives.

``python tests/benchmarks/arrival.py [REGION ...]`` takes folders that hold ``roads.osm.pbf`` and
``od.csv`` (coordinates of both ends; nothing else of it is read) and lets vehicles drive along
their real roads; without a folder they drive along invented winding ones. The phone is that of
``tests/tracks.py``: off by 10 to 30 m, one position in a hundred by kilometres, silent for many
minutes, late, twice and out of order. Reading the roads needs ``osmium``. Needs no database.
"""

import argparse
import csv
import itertools
import math
import random
import statistics
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np
import tracks
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra
from scipy.spatial import KDTree
from tracks import Drive, Road

from transport.calc.arrival import ArrivalWindow, WayLeft, arrival_window
from transport.calc.places import Place
from transport.calc.track import ArrivalSettings
from transport.calc.travel_time import TravelTime

SETTINGS = ArrivalSettings()
WATCHED = 100
SPEEDS = {
    "motorway": 80, "trunk": 70, "primary": 60, "secondary": 50, "tertiary": 40,
    "unclassified": 30, "residential": 25, "living_street": 15, "service": 15, "track": 15,
    "road": 25,
}  # fmt: skip
"""km/h by which the quickest way is found; common practice, no source."""


@dataclass(frozen=True)
class Seen:
    """One look at one drive: its window, when it truly arrived (minutes), when it was looked at."""

    window: ArrivalWindow
    truth: float
    at: float

    def minutes(self, quantile: str) -> float:
        """A quantile of the window, minutes after departure."""
        found: float = (getattr(self.window, quantile) - tracks.LEFT_AT).total_seconds() / 60
        return found


def main() -> None:
    """The tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("regions", nargs="*", type=Path, metavar="REGION")
    parser.add_argument("--drives", type=int, default=400)
    given = parser.parse_args()
    invented = random.Random(1)
    roads = [tracks.winding_road(invented, invented.uniform(20, 160)) for _ in range(given.drives)]
    show("invented winding roads", roads)
    for region in given.regions:
        show(region.name, real_roads(region, given.drives))


def show(name: str, roads: Sequence[Road]) -> None:
    """All figures of one set of roads."""
    detours = sorted(road.km / road.line_km for road in roads)
    print(f"\n{name}: {len(roads)} drives, road km / straight km {statistics.median(detours):.2f}")
    print("  quarter of the way        in P90   in P50   in P10   P90-P50 min  error min  left min")
    table("straight line", roads, lambda road: road.line_km, lambda road: None)
    table("along the road", roads, lambda road: road.km, lambda road: road.km_left)
    watch(roads[:WATCHED])


def table(
    name: str,
    roads: Sequence[Road],
    length: Callable[[Road], float],
    measure: Callable[[Road], WayLeft | None],
) -> None:
    """Coverage by quarter of the way; the estimate has learned from as many other drives."""
    rate, sigma = learned(roads, length)
    quarters: list[list[Seen]] = [[], [], [], []]
    for i, road in enumerate(roads):
        rng = random.Random(f"drive {i}")
        made = tracks.drive(road, rng)
        came = tracks.told_by_phone(made, rng)
        prior = TravelTime(rate * length(road), sigma)
        for number, quarter in enumerate(quarters):
            at = made.minutes_at(road.km * (number + rng.random()) / 4)
            quarter.append(look(made, came, at, prior, measure(road)))
    for number, quarter in enumerate(quarters):
        line = "   ".join(f"{held(quarter, each):5.1f}%" for each in ("p90", "p50", "p10"))
        widths = statistics.median(seen.minutes("p90") - seen.minutes("p50") for seen in quarter)
        error = statistics.median(abs(seen.minutes("p50") - seen.truth) for seen in quarter)
        left = statistics.median(seen.truth - seen.at for seen in quarter)
        print(f"  {name:15} {number + 1}         {line}   {widths:10.1f} {error:10.1f} {left:9.0f}")


def learned(roads: Sequence[Road], length: Callable[[Road], float]) -> tuple[float, float]:
    """Minutes a km and their spread, from one earlier drive on each road."""
    logs = [
        math.log(tracks.drive(road, random.Random(f"before {i}")).whole_minutes / length(road))
        for i, road in enumerate(roads)
    ]
    return math.exp(statistics.mean(logs)), statistics.stdev(logs)


def watch(roads: Sequence[Road]) -> None:
    """What the watch would raise with a district's own limits left as they are.

    Good drives are those of the table; a stop longer than the limit is a true standstill. The unit
    is told anew as soon as its time has moved by the limit, or by a third of what is left.
    """
    rate, sigma = learned(roads, lambda road: road.line_km)
    raised = dict.fromkeys(("standing", "off the way", "silent", "arrival moved"), 0)
    hours, true_stops = 0.0, 0
    for i, road in enumerate(roads):
        rng = random.Random(f"watched {i}")
        made = tracks.drive(road, rng)
        came = tracks.told_by_phone(made, rng)
        prior = TravelTime(rate * road.line_km, sigma)
        hours += made.whole_minutes / 60
        told, open_now = prior.p50, set[str]()
        for at in range(2, int(made.whole_minutes), 2):
            seen = look(made, came, at, prior, None)
            signs = signs_of(seen)
            left = seen.minutes("p50") - at
            if abs(seen.minutes("p50") - told) > max(SLIP_MINUTES, left * SLIP_SHARE):
                told = seen.minutes("p50")
                raised["arrival moved"] += 1
            for sign in signs - open_now:
                stop = sign == "standing" and stood_at(made, seen)
                true_stops += stop
                raised[sign] += not stop
            open_now = signs
    per_drive = ", ".join(f"{name} {count / len(roads):.2f}" for name, count in raised.items())
    print(f"  raised in a good drive of {hours / len(roads):.1f} h: {per_drive}")
    print(f"  true stops of {STANDING_MINUTES} min noticed: {true_stops} in {len(roads)} drives")
    late = sorted(filter(None, (broken_down(road, i) for i, road in enumerate(roads))))
    middle, worst = late[len(late) // 2], late[-1]
    print(f"  breakdown noticed after {middle:.0f} min (latest {worst:.0f}), {len(late)} drives")
    ways = [turned_round(road, i) for i, road in enumerate(roads) if road.line_km > 25]
    found = sorted(km for km in ways if km is not None)
    if found:
        print(
            f"  turned round half-way, line over 25 km: noticed in {len(found)} of {len(ways)}, "
            f"after {found[len(found) // 2]:.0f} km back (90 %: {found[len(found) * 9 // 10]:.0f})"
        )


SLIP_MINUTES, STANDING_MINUTES, SILENT_MINUTES = 20, 15, 10
"""The defaults of a district."""
SLIP_SHARE = 1 / 3
"""That of ``transport/concerns_on_the_road.py``, which needs a database."""


def signs_of(seen: Seen) -> set[str]:
    """What would be raised at this look."""
    window = seen.window
    found = {
        "standing": window.standing is not None and window.standing.minutes >= STANDING_MINUTES,
        "off the way": window.off is not None,
        "silent": window.silent_minutes > SILENT_MINUTES,
    }
    return {name for name, is_so in found.items() if is_so}


def stood_at(made: Drive, seen: Seen) -> bool:
    """Whether the vehicle truly moved less than a kilometre in that time."""
    standing = seen.window.standing
    assert standing is not None
    since, until = (
        (moment - tracks.LEFT_AT).total_seconds() / 60
        for moment in (standing.since, standing.until)
    )
    return made.km_at(until) - made.km_at(since) < 1.0


def broken_down(road: Road, number: int) -> float | None:
    """Minutes from a breakdown until it is noticed."""
    rng = random.Random(f"broken {number}")
    at_km = rng.uniform(0.2, 0.8) * road.km
    made = tracks.drive(road, rng, standstill=(at_km, 60))
    came = tracks.told_by_phone(made, rng, gaps=1)
    begun = made.minutes_at(at_km)
    for at in range(int(begun) + 1, int(begun) + 61):
        if "standing" in signs_of(look(made, came, at, TravelTime(60, 0.4), None)):
            return at - begun
    return None


def turned_round(road: Road, number: int) -> float | None:
    """Kilometres driven back until it is noticed; nothing when it is home before."""
    rng = random.Random(f"turned {number}")
    half = len(road.points) // 2
    back = [*road.points[: half + 1], *reversed(road.points[:half])]
    made = tracks.drive(Road.through(back), rng)
    came = tracks.told_by_phone(made, rng, gaps=1)
    # Where it goes is the end of the road it was meant to take.
    meant = replace(made, road=Road.through([*back, road.points[-1]]))
    for at in range(int(made.minutes_at(made.road.km / 2)), int(made.whole_minutes), 2):
        if "off the way" in signs_of(look(meant, came, at, TravelTime(60, 0.4), None)):
            return made.km_at(at) - made.road.km / 2
    return None


def held(quarter: Sequence[Seen], quantile: str) -> float:
    """Per cent of arrivals not later than this quantile."""
    return 100 * statistics.mean(seen.truth <= seen.minutes(quantile) for seen in quarter)


def look(
    made: Drive,
    came: Sequence[tracks.Told],
    at: float,
    prior: TravelTime,
    measure: WayLeft | None,
) -> Seen:
    """The window at a minute of a drive."""
    window = arrival_window(
        departed_at=tracks.LEFT_AT,
        prior=prior,
        origin=made.road.points[0],
        destination=made.road.points[-1],
        fixes=tracks.known_at(came, at),
        now=tracks.after(at),
        settings=SETTINGS,
        way_left=measure,
    )
    return Seen(window, made.whole_minutes, at)


def real_roads(region: Path, count: int) -> list[Road]:
    """The quickest ways between pairs of a region, as lines."""
    points, network = read_network(region / "roads.osm.pbf")
    rows = list(csv.DictReader((region / "od.csv").open(newline="", encoding="utf-8")))
    rows = random.Random(1).sample(rows, min(count, len(rows)))
    tree = KDTree(points)
    starts, ends = (
        tree.query([[float(row[f"{end}_lat"]), float(row[f"{end}_lon"])] for row in rows])[1]
        for end in ("origin", "dest")
    )
    targets, place_of = np.unique(ends, return_inverse=True)
    minutes, came_from = dijkstra(network, indices=targets, return_predecessors=True)
    roads = []
    for start, row in zip(starts, place_of, strict=True):
        if not math.isfinite(minutes[row, start]):
            continue
        way, at = [], start
        while at >= 0:
            way.append(Place(*map(float, points[at])))
            at = came_from[row, at]
        if len(way) > 2:
            roads.append(dense(way))
    return roads


def dense(way: Sequence[Place]) -> Road:
    """The same line with a point every 250 m."""
    road = Road.through(way)
    steps = max(round(road.km / 0.25), 2)
    return Road.through([road.at(road.km * i / steps) for i in range(steps + 1)])


def read_network(path: Path) -> tuple[np.ndarray, csr_array]:
    """Coordinates of the road nodes, and minutes between neighbours, both ways."""
    import osmium

    number: dict[int, int] = {}
    points: list[tuple[float, float]] = []
    edges: list[tuple[int, int, float]] = []
    for way in osmium.FileProcessor(str(path), osmium.osm.WAY | osmium.osm.NODE).with_locations():
        speed = way.is_way() and SPEEDS.get(way.tags.get("highway", "").removesuffix("_link"))
        if not speed:
            continue
        nodes = [node for node in way.nodes if node.location.valid()]
        for node in nodes:
            if node.ref not in number:
                number[node.ref] = len(points)
                points.append((node.lat, node.lon))
        for a, b in itertools.pairwise(nodes):
            km = tracks.haversine_km(Place(a.lat, a.lon), Place(b.lat, b.lon))
            edges.append((number[a.ref], number[b.ref], max(km, 1e-6) / speed * 60))
    one, other, minutes = zip(*edges, strict=True)
    size = (len(points), len(points))
    shortest = csr_array((minutes, (one, other)), shape=size)
    return np.array(points), shortest.maximum(shortest.T)


if __name__ == "__main__":
    main()
