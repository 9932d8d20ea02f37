"""Quickest ways over a road network, one to many: a RoadBase that reckons."""

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from scipy.sparse.csgraph import dijkstra

from transport.calc.journeys import Floats, Integers
from transport.calc.places import Place
from transport.calc.road_base import NoRoad, RoadAnswer, RoadWay
from transport.calc.road_network import (
    COSTS,
    KM,
    MIDDLE,
    MINOR,
    MINUTES,
    TRACK,
    UNPAVED,
    RoadNetwork,
    Snap,
    costs_a_km,
)

AT_JUNCTION_KM = 0.02
"""So near the end of a one-way piece a place is at the junction, whatever the direction; a
project choice, about what a phone's position is off by."""
_KEPT_JUNCTIONS = 20_000_000
"""So many distances are kept for origins that are asked again, 12 bytes each."""


class NetworkRoads:
    """Answers any pair from the network. The way is that of the least minutes."""

    def __init__(self, network: RoadNetwork) -> None:
        self.network = network
        self._graph, self._arc_keys, self._arc_pieces = network.arcs
        self._a_km = costs_a_km(network)
        origins = max(4, min(512, _KEPT_JUNCTIONS // (2 * network.junctions)))
        self._tree = lru_cache(maxsize=origins)(self._tree_from)
        self._snap = lru_cache(maxsize=65_536)(network.snap)
        self._land = lru_cache(maxsize=65_536)(network.land_of)

    def ways_from(self, origin: Place, destinations: Sequence[Place]) -> list[RoadAnswer]:
        """One answer for each destination; the same place is 0 km away."""
        start = self._snap(origin)
        ends = [self._snap(each) for each in destinations]
        answers: list[RoadAnswer] = [self._off_the_road(origin, each) for each in destinations]
        on_road = [at for at, end in enumerate(ends) if end is not None]
        if start is None or not on_road:
            return answers
        for at, way in zip(on_road, self._ways(start, [ends[at] for at in on_road]), strict=True):
            answers[at] = way
        return answers

    def land_of(self, place: Place) -> int | None:
        """Which roads that hang together are near; None: none within 30 km."""
        return self._land(place)

    def _off_the_road(self, origin: Place, destination: Place) -> NoRoad:
        lands = self._land(origin), self._land(destination)
        apart = None not in lands and lands[0] != lands[1]
        return NoRoad.UNREACHABLE if apart else NoRoad.NOT_NEAR

    def _ways(self, start: Snap, ends: Sequence[Snap | None]) -> list[RoadAnswer]:
        """Over the two ends of the first piece and those of the last; or along one piece."""
        targets = [end for end in ends if end is not None]
        piece = np.array([end.piece for end in targets])
        along = np.array([end.along_km for end in targets])
        best = np.full((len(targets), COSTS), np.inf)
        distances, before, leaving = self._tree(start)
        network = self.network
        for seed in range(len(leaving)):
            for side in (0, 1):
                last_km = along if side == 0 else network.piece_km[piece] - along
                goes = network.forward[piece] if side == 0 else network.backward[piece]
                allowed = goes | (last_km <= AT_JUNCTION_KM)
                nodes = network.ends[piece, side].astype(np.int64)
                minutes = (
                    leaving[seed][MINUTES]
                    + distances[seed][nodes]
                    + last_km * self._a_km[piece, MINUTES]
                )
                sooner = np.flatnonzero(allowed & (minutes < best[:, MINUTES]))
                if len(sooner):
                    ways = self._sums_along(before[seed], nodes[sooner])
                    best[sooner] = (
                        leaving[seed] + ways + last_km[sooner, None] * self._a_km[piece[sooner]]
                    )
        ahead = along - start.along_km
        straight = (piece == start.piece) & np.where(
            ahead >= 0, network.forward[piece], network.backward[piece]
        )
        within = np.abs(ahead)[:, None] * self._a_km[piece]
        closer = straight & (within[:, MINUTES] <= best[:, MINUTES])
        best[closer] = within[closer]
        return [_answer(row) for row in best]

    def _tree_from(self, start: Snap) -> tuple[Floats, Integers, list[Floats]]:
        """Minutes to every junction and the one before it, from each end that can be left by."""
        network, piece = self.network, start.piece
        first, last = network.ends[piece]
        to_first, to_last = start.along_km, float(network.piece_km[piece]) - start.along_km
        seeds = []
        if network.forward[piece] or to_last <= AT_JUNCTION_KM:
            seeds.append((last, to_last))
        if network.backward[piece] or to_first <= AT_JUNCTION_KM:
            seeds.append((first, to_first))
        minutes, before = dijkstra(
            self._graph, indices=[node for node, _km in seeds], return_predecessors=True
        )
        return minutes, before, [km * self._a_km[piece] for _node, km in seeds]

    def _sums_along(self, before: Integers, nodes: Integers) -> Floats:
        """What the way to each junction costs, by walking back along the tree."""
        sums = np.zeros((len(nodes), COSTS))
        rows, here = np.arange(len(nodes)), nodes
        while len(rows):
            previous = before[here].astype(np.int64)
            goes_on = previous >= 0
            rows, here, previous = rows[goes_on], here[goes_on], previous[goes_on]
            keys = previous * self.network.junctions + here
            pieces = self._arc_pieces[np.searchsorted(self._arc_keys, keys)]
            sums[rows] += self.network.piece_km[pieces, None] * self._a_km[pieces]
            here = previous
        return sums


def _answer(costs: Floats) -> RoadAnswer:
    if not np.isfinite(costs[MINUTES]):
        return NoRoad.UNREACHABLE
    minutes = float(costs[MINUTES])
    shares = costs / minutes if minutes > 0 else np.zeros(COSTS)
    return RoadWay(
        km=float(costs[KM]),
        minutes=minutes,
        middle=float(shares[MIDDLE]),
        minor=float(shares[MINOR]),
        track=float(shares[TRACK]),
        unpaved=float(shares[UNPAVED]),
    )
