"""How well travel times are learned from a region's journeys, and how fast (P10).

``python tests/benchmarks/travel.py [REGION ...]`` takes folders that hold ``trips.csv`` (date,
rainy, coordinates of both ends, actual_minutes) and prints, for each, how the estimator does on
journeys it has not seen: the mean over seeded shuffles, beside the two straight-line rules. Then,
always, what a refit costs from a thousand to a million journeys, beside a numpy group mean over
the same rows. Needs no database.
"""

import argparse
import csv
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np

from referrals.calc.terms import VehicleKind
from transport.calc.journeys import Journeys, no_roads, place_keys
from transport.calc.learned import LearnedTravel, Trial, try_out
from transport.calc.learning import learn
from transport.calc.places import Place
from transport.calc.road_base import RoadWay
from transport.calc.road_network import RoadNetwork
from transport.calc.road_ways import NetworkRoads
from transport.calc.travel import (
    TravelSettings,
    geodesic_km,
    going_minutes,
    median_road_minutes,
)
from transport.osm_file import road_lines

TEST_ROWS = 400
SETTINGS = TravelSettings()


def main() -> None:
    """The tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("regions", nargs="*", type=Path, metavar="REGION")
    parser.add_argument("--shuffles", type=int, default=20)
    parser.add_argument("--quick", action="store_true", help="three shuffles, 100,000 journeys")
    given = parser.parse_args()
    shuffles = 3 if given.quick else given.shuffles
    for region in given.regions:
        print(f"\n{region.name}: median error, journeys not longer than P90 and P50, P90 / P50")
        trips = read(region / "trips.csv")
        accuracy(trips, shuffles)
        if (region / "roads.osm.pbf").exists():
            print(f"{region.name}, by the road table:")
            roads = NetworkRoads(RoadNetwork.of(road_lines(region / "roads.osm.pbf")))
            ways(roads, region)
            accuracy(by_road(trips, roads), shuffles)
    print("\nrefit: seconds, and times a numpy group mean over the same rows (P10: <= 10)")
    growth((1_000, 10_000, 100_000) if given.quick else (1_000, 10_000, 100_000, 1_000_000))


def read(path: Path) -> Journeys:
    """The journeys of a region, with what the estimator without experience gives for each."""
    rows = list(csv.DictReader(path.open(newline="", encoding="utf-8")))

    def column(name: str) -> np.ndarray:
        return np.array([float(row[name]) for row in rows])

    origins = np.stack([column("origin_lat"), column("origin_lon")], axis=1)
    destinations = np.stack([column("dest_lat"), column("dest_lon")], axis=1)
    km = np.array(
        [
            geodesic_km(Place(*map(float, a)), Place(*map(float, b)))
            for a, b in zip(origins, destinations, strict=True)
        ]
    )
    days = np.array([date.fromisoformat(row["date"][:10]).toordinal() for row in rows])
    return Journeys(
        origins=origins,
        destinations=destinations,
        geodesic_km=km,
        prior_minutes=prior(km, column("rainy")),
        minutes=column("actual_minutes"),
        rainy=column("rainy"),
        dark=np.full(len(rows), 0.5),
        vehicles=np.full(len(rows), -1),
        roads=no_roads(len(rows)),
        age_days=(days.max() - days).astype(float),
    )


def by_road(journeys: Journeys, roads: NetworkRoads) -> Journeys:
    """The same with the minutes of the quickest way; by the straight line where there is none."""
    minutes, terms = journeys.prior_minutes.copy(), journeys.roads.copy()
    for row in range(len(journeys)):
        origin, destination = (
            Place(*map(float, ends[row])) for ends in (journeys.origins, journeys.destinations)
        )
        way = roads.ways_from(origin, [destination])[0]
        if isinstance(way, RoadWay):
            slower = SETTINGS.rainy_factor if journeys.rainy[row] else 1.0
            minutes[row] = going_minutes(way.minutes * slower, SETTINGS.getting_going_minutes)
            terms[row] = (1.0, *way.shares)
    return replace(journeys, prior_minutes=minutes, roads=terms)


def ways(roads: NetworkRoads, region: Path) -> None:
    """Road km beside those of ``od.csv``, and which pairs are answered."""
    off, answered = [], 0
    for row in csv.DictReader((region / "od.csv").open(newline="", encoding="utf-8")):
        way = _way(roads, row)
        if isinstance(way, RoadWay):
            off.append(abs(way.km / float(row["road_km"]) - 1))
            answered += 1
    print(f"  {answered} pairs answered; road km off by {100 * np.median(off):.2f} % (median)")
    if (region / "unreachable.csv").exists():
        rows = list(csv.DictReader((region / "unreachable.csv").open(newline="", encoding="utf-8")))
        wrong = sum(isinstance(_way(roads, row), RoadWay) for row in rows)
        print(f"  of {len(rows)} pairs that no road joins, {wrong} answered")


def _way(roads: NetworkRoads, row: dict[str, str]) -> object:
    origin, destination = (
        Place(float(row[f"{end}_lat"]), float(row[f"{end}_lon"])) for end in ("origin", "dest")
    )
    return roads.ways_from(origin, [destination])[0]


def prior(km: np.ndarray, rainy: np.ndarray) -> np.ndarray:
    """Median minutes without experience, as ``estimate_travel`` has them."""
    cruise = SETTINGS.free_flow_km_h[VehicleKind.AMBULANCE]
    return np.array(
        [
            median_road_minutes(
                each * SETTINGS.detour_factor,
                cruise_km_h=cruise / (SETTINGS.rainy_factor if wet else 1.0),
                getting_going_minutes=SETTINGS.getting_going_minutes,
            )
            for each, wet in zip(km, rainy, strict=True)
        ]
    )


def accuracy(journeys: Journeys, shuffles: int) -> None:
    """After 20, 100 and 400 journeys; in the order of their dates; for posts never seen."""
    count = len(journeys)

    def shuffled(learn_from: int) -> list[Trial]:
        trials = []
        for seed in range(shuffles):
            order = np.random.default_rng(seed).permutation(count)
            learned = learn(journeys.take(order[:learn_from]))
            trials.append(tried(learned, journeys.take(order[-TEST_ROWS:])))
        return trials

    tests = journeys.take(np.random.default_rng(0).permutation(count)[-TEST_ROWS:])
    for name, minutes in (
        ("straight line / 40 km/h", tests.geodesic_km * 1.5),
        ("1.4 x line / 40 km/h", tests.geodesic_km * 1.4 * 1.5),
    ):
        error = float(np.median(np.abs(minutes - tests.minutes) / tests.minutes))
        show(name, error)
    for learn_from in (20, 100, TEST_ROWS):
        show_mean(f"after {learn_from} journeys", shuffled(learn_from))
    in_order = np.argsort(-journeys.age_days, kind="stable")
    learned = learn(journeys.take(in_order[:100]))
    show_mean("first 100 by date, then 401 on", [tried(learned, journeys.take(in_order[400:]))])
    show_mean("posts never seen", [unseen(journeys, seed) for seed in range(shuffles)])


def unseen(journeys: Journeys, seed: int) -> Trial:
    """Learn from 400 journeys of three posts in four, try on the fourth."""
    chance, posts = np.random.default_rng(seed), place_keys(journeys.origins)
    known = np.unique(posts)
    apart = np.isin(posts, chance.choice(known, len(known) // 4, replace=False))
    train = chance.permutation(np.flatnonzero(~apart))[:TEST_ROWS]
    return tried(learn(journeys.take(train)), journeys.take(np.flatnonzero(apart)))


def tried(learned: LearnedTravel, journeys: Journeys) -> Trial:
    """The model on these journeys."""
    return try_out(learned, journeys, prior_sigma=SETTINGS.sigma)


def show_mean(name: str, trials: list[Trial]) -> None:
    """One line: the mean over the trials."""

    def mean(of: Callable[[Trial], float]) -> float:
        return float(np.mean([of(trial) for trial in trials]))

    show(
        name,
        mean(lambda trial: trial.median_error),
        f"P90 {100 * mean(lambda trial: trial.within_p90):5.1f} %   "
        f"P50 {100 * mean(lambda trial: trial.within_p50):5.1f} %   "
        f"width {mean(lambda trial: trial.width):.2f}",
    )


def show(name: str, error: float, rest: str = "") -> None:
    """One line of the table."""
    print(f"  {name:32} {100 * error:5.1f} %   {rest}")


def growth(sizes: tuple[int, ...]) -> None:
    """An invented district of 150 posts and 12 units, with ever more journeys."""
    chance = np.random.default_rng(1)
    posts = np.stack([chance.uniform(-23, -22, 150), chance.uniform(85, 87, 150)], axis=1)
    units = np.stack([chance.uniform(-23, -22, 12), chance.uniform(85, 87, 12)], axis=1)
    for size in sizes:
        starts, stops = chance.integers(150, size=size), chance.integers(12, size=size)
        origins, destinations = posts[starts], units[stops]
        km = 111.2 * np.hypot(*(origins - destinations).T) + 1.0
        rainy = (chance.random(size) < 0.3).astype(float)
        expected = 0.65 + km * 2.24
        journeys = Journeys(
            origins=origins,
            destinations=destinations,
            geodesic_km=km,
            prior_minutes=expected,
            minutes=expected * np.exp(0.25 * chance.standard_normal(size) + 0.2 * rainy),
            rainy=rainy,
            dark=np.full(size, 0.5),
            vehicles=np.zeros(size, dtype=np.int64),
            roads=no_roads(size),
            age_days=chance.uniform(0, 700, size),
        )
        spreads = learn(journeys.take(np.arange(200))).spreads
        began = time.perf_counter()
        learn(journeys, spreads=spreads)
        refit = time.perf_counter() - began
        began = time.perf_counter()
        group_mean(journeys)
        mean = time.perf_counter() - began
        began = time.perf_counter()
        learn(journeys)
        anew = time.perf_counter() - began
        print(
            f"  {size:>9,} journeys: {refit:7.2f} s, {1e6 * refit / size:8.1f} us a journey, "
            f"{refit / mean:6.1f} x the mean; with the spreads chosen anew {anew:6.2f} s"
        )


def group_mean(journeys: Journeys) -> np.ndarray:
    """The mean log ratio of every corridor: the baseline."""
    corridors = place_keys(journeys.origins) * 7919 + place_keys(journeys.destinations)
    _keys, at = np.unique(corridors, return_inverse=True)
    mean: np.ndarray = np.bincount(at, weights=journeys.log_ratios) / np.bincount(at)
    return mean


if __name__ == "__main__":
    main()
