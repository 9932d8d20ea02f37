"""A road network as arrays: cut at its junctions, snapped to, searched for quickest ways.

Lengths are sums over straight segments on the WGS84 ellipsoid by its radii of curvature at the
middle latitude: within 1 part in 100,000 of the geodesic for segments up to 20 km and latitudes
up to 80 degrees (a test compares them with GeographicLib). Quickest ways: Dijkstra EW, A note on
two problems in connexion with graphs, Numerische Mathematik 1959;1:269, through scipy.
"""

import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.csgraph import connected_components
from scipy.spatial import KDTree

from transport.calc.journeys import Floats, Integers, on_the_sphere
from transport.calc.places import Place
from transport.calc.road_tags import RoadGroup, RoadUse

WITHIN_KM = 1.0
"""A place farther than this from a road is not taken to be on it; a project choice."""
PART_KM = 5.0
"""Roads that lead there and back among each other, in km, for a place to be taken as on them; a
project choice: a car park or a stretch cut off by the edge of the map is shorter."""
LAND_WITHIN_KM = 30.0
"""A place off the road lies on the land of the nearest one within so much; a project choice."""
_SAMPLE_KM = 0.25
_DEGREE = 1e7
# WGS84: equatorial radius in km, and the square of the first eccentricity.
_A_KM, _E2 = 6378.137, 0.00669437999014


class NoRoads(ValueError):
    """There is no road for cars in what was read."""


@dataclass(frozen=True, slots=True)
class RoadLine:
    """One way as read: the numbers and coordinates (latitude, longitude) of its nodes in order."""

    nodes: Sequence[int]
    places: Sequence[tuple[float, float]]
    use: RoadUse


@dataclass(frozen=True, slots=True)
class Snap:
    """The foot of a place on a road: which piece, how far along it, how far off."""

    piece: int
    along_km: float
    off_km: float


def scale_km(latitudes: Floats) -> tuple[Floats, Floats]:
    """Km a radian of latitude, and of longitude, at latitudes in degrees, on WGS84."""
    sine = np.sin(np.radians(latitudes))
    root = np.sqrt(1.0 - _E2 * sine**2)
    return _A_KM * (1.0 - _E2) / root**3, _A_KM / root * np.cos(np.radians(latitudes))


def _turn(degrees: Floats) -> Floats:
    """A difference of longitudes, the short way round."""
    turned: Floats = (degrees + 180.0) % 360.0 - 180.0
    return turned


@dataclass(frozen=True, kw_only=True)
class RoadNetwork:
    """Pieces of road between junctions.

    ``points``: latitude and longitude in 1e-7 degrees; those of piece ``i`` are
    ``starts[i]:starts[i + 1]``. ``ends``: the junctions it joins. ``km_h``, ``group``,
    ``unpaved``, ``forward``, ``backward``: as ``RoadUse``.
    """

    points: NDArray[np.int32]
    starts: NDArray[np.int32]
    ends: NDArray[np.int32]
    km_h: NDArray[np.float32]
    group: NDArray[np.uint8]
    unpaved: NDArray[np.bool_]
    forward: NDArray[np.bool_]
    backward: NDArray[np.bool_]

    @classmethod
    def of(cls, lines: Iterable[RoadLine]) -> "RoadNetwork":
        """Cut ways at the nodes where they meet; raises NoRoads without any."""
        kept = [line for line in lines if len(line.nodes) >= 2]
        if not kept:
            raise NoRoads("there is no road for cars")
        nodes = np.concatenate([np.asarray(line.nodes, dtype=np.int64) for line in kept])
        places = np.concatenate([np.asarray(line.places, dtype=np.float64) for line in kept])
        lengths = np.array([len(line.nodes) for line in kept])
        first = np.concatenate([[0], np.cumsum(lengths)])
        _numbers, node = np.unique(nodes, return_inverse=True)
        cut = np.bincount(node)[node] > 1
        cut[first[:-1]] = cut[first[1:] - 1] = True
        _junctions, junction = np.unique(node[cut], return_inverse=True)
        junction_at = np.full(len(nodes), -1, dtype=np.int64)
        junction_at[cut] = junction
        # Two neighbouring cuts of one way are a piece; the inner ones belong to two.
        at = np.flatnonzero(cut)
        line_of = np.repeat(np.arange(len(kept)), lengths)
        follows = line_of[at[:-1]] == line_of[at[1:]]
        begin, end = at[:-1][follows], at[1:][follows]
        line = line_of[begin]
        counts = end - begin + 1
        starts = np.concatenate([[0], np.cumsum(counts)])
        rows = np.arange(starts[-1]) - np.repeat(starts[:-1] - begin, counts)
        uses = [each.use for each in kept]
        return cls(
            points=np.rint(places[rows] * _DEGREE).astype(np.int32),
            starts=starts.astype(np.int32),
            ends=np.stack([junction_at[begin], junction_at[end]], axis=1).astype(np.int32),
            km_h=np.array([use.km_h for use in uses], dtype=np.float32)[line],
            group=np.array([use.group for use in uses], dtype=np.uint8)[line],
            unpaved=np.array([use.unpaved for use in uses])[line],
            forward=np.array([use.forward for use in uses])[line],
            backward=np.array([use.backward for use in uses])[line],
        )

    @property
    def junctions(self) -> int:
        """How many junctions and ends of roads."""
        return int(self.ends.max()) + 1

    @cached_property
    def degrees(self) -> Floats:
        """Latitude and longitude of the points."""
        return self.points / _DEGREE

    @cached_property
    def _segments(self) -> Integers:
        """Positions of the points at which a segment begins."""
        last = np.zeros(len(self.points), dtype=bool)
        last[self.starts[1:] - 1] = True
        return np.flatnonzero(~last)

    @cached_property
    def _segment_km(self) -> Floats:
        one, other = self.degrees[self._segments], self.degrees[self._segments + 1]
        north, east = scale_km((one[:, 0] + other[:, 0]) / 2)
        return np.hypot(
            np.radians(other[:, 0] - one[:, 0]) * north,
            np.radians(_turn(other[:, 1] - one[:, 1])) * east,
        )

    @cached_property
    def _along(self) -> Floats:
        """Km of road before each point, over all pieces; the gap between two pieces is 0."""
        steps = np.zeros(len(self.points))
        steps[self._segments + 1] = self._segment_km
        return np.cumsum(steps)

    @cached_property
    def piece_km(self) -> Floats:
        """Length of each piece."""
        km: Floats = self._along[self.starts[1:] - 1] - self._along[self.starts[:-1]]
        return km

    @cached_property
    def minutes_a_km(self) -> Floats:
        """Of each piece, at its speed."""
        return 60.0 / self.km_h.astype(np.float64)

    @cached_property
    def arcs(self) -> tuple[sparse.csr_matrix, Integers, Integers]:
        """Junction to junction in minutes; with the keys of the arcs, sorted, and their pieces.

        Of several pieces between the same two junctions the quickest stands.
        """
        count = self.junctions
        pieces = np.concatenate([np.flatnonzero(self.forward), np.flatnonzero(self.backward)])
        turned = np.arange(len(pieces)) >= int(self.forward.sum())
        start = np.where(turned, self.ends[pieces, 1], self.ends[pieces, 0]).astype(np.int64)
        stop = np.where(turned, self.ends[pieces, 0], self.ends[pieces, 1]).astype(np.int64)
        minutes = self.piece_km[pieces] * self.minutes_a_km[pieces]
        keys = start * count + stop
        order = np.lexsort([minutes, keys])
        keys, first = np.unique(keys[order], return_index=True)
        chosen = order[first]
        # A zero would be no arc at all to scipy.
        weights = np.maximum(minutes[chosen], 1e-9)
        graph = sparse.csr_matrix((weights, (start[chosen], stop[chosen])), shape=(count, count))
        return graph, keys, pieces[chosen]

    @cached_property
    def _usable(self) -> NDArray[np.bool_]:
        """Pieces on a part of useful size, in which every road leads there and back."""
        _count, part = connected_components(self.arcs[0], connection="strong")
        one, other = part[self.ends[:, 0]], part[self.ends[:, 1]]
        inside = one == other
        km = np.bincount(one[inside], weights=self.piece_km[inside], minlength=int(part.max()) + 1)
        usable: NDArray[np.bool_] = inside & (km[one] >= PART_KM)
        return usable

    @cached_property
    def land(self) -> Integers:
        """Which roads hang together, whatever their direction: a number for each piece."""
        _count, part = connected_components(self.arcs[0], connection="weak")
        return part[self.ends[:, 0]].astype(np.int64)

    @cached_property
    def _samples(self) -> tuple[KDTree | None, Integers]:
        """A tree of points not farther than _SAMPLE_KM apart, with the segment of each."""
        piece = np.searchsorted(self.starts, self._segments, side="right") - 1
        segments = np.flatnonzero(self._usable[piece])
        if not len(segments):
            return None, segments
        counts = np.ceil(self._segment_km[segments] / _SAMPLE_KM).astype(np.int64)
        counts = np.maximum(counts, 1)
        of = np.repeat(segments, counts)
        before = np.repeat(np.cumsum(counts) - counts, counts)
        share = (np.arange(len(of)) - before + 0.5) / np.repeat(counts, counts)
        one, other = self.degrees[self._segments[of]], self.degrees[self._segments[of] + 1]
        step = np.stack([other[:, 0] - one[:, 0], _turn(other[:, 1] - one[:, 1])], axis=1)
        return KDTree(on_the_sphere(one + step * share[:, None])), of

    def snap(self, place: Place) -> Snap | None:
        """The nearest point of a useful road within WITHIN_KM; None where there is none."""
        found = self._nearest(place, WITHIN_KM)
        return found if found and found.off_km <= WITHIN_KM else None

    def land_of(self, place: Place) -> int | None:
        """The land of the nearest useful road within LAND_WITHIN_KM."""
        found = self._nearest(place, LAND_WITHIN_KM)
        return None if found is None else int(self.land[found.piece])

    def _nearest(self, place: Place, within_km: float) -> Snap | None:
        tree, segment_of = self._samples
        if tree is None:
            return None
        here = on_the_sphere(np.array([[place.latitude, place.longitude]]))[0]
        # The sphere is off by 0.6 % at most; a sample lies within half a step of its segment.
        nearest, _at = tree.query(here, distance_upper_bound=within_km * 1.01 + _SAMPLE_KM)
        if not np.isfinite(nearest):
            return None
        close = tree.query_ball_point(here, nearest * 1.02 + _SAMPLE_KM)
        segments = np.unique(segment_of[close])
        one = self.degrees[self._segments[segments]]
        other = self.degrees[self._segments[segments] + 1]
        north, east = scale_km(np.array([place.latitude]))

        def flat(points: Floats) -> Floats:
            return np.stack(
                [
                    np.radians(points[:, 0] - place.latitude) * north,
                    np.radians(_turn(points[:, 1] - place.longitude)) * east,
                ],
                axis=1,
            )

        start, step = flat(one), flat(other) - flat(one)
        squared = np.sum(step**2, axis=1)
        share = -np.sum(start * step, axis=1) / np.where(squared > 0, squared, 1.0)
        share = np.clip(share, 0.0, 1.0)
        off = np.hypot(*(start + step * share[:, None]).T)
        best = int(np.argmin(off))
        segment = int(segments[best])
        point = int(self._segments[segment])
        piece = int(np.searchsorted(self.starts, point, side="right") - 1)
        along = self._along[point] - self._along[self.starts[piece]]
        return Snap(
            piece,
            float(along + share[best] * self._segment_km[segment]),
            float(off[best]),
        )

    def as_bytes(self) -> bytes:
        """Everything, to be stored."""
        buffer = io.BytesIO()
        arrays = {name: getattr(self, name) for name in self.__dataclass_fields__}
        np.savez_compressed(buffer, **arrays)
        return buffer.getvalue()

    @classmethod
    def from_bytes(cls, stored: bytes) -> "RoadNetwork":
        """Read back what ``as_bytes`` wrote; raises ValueError if it is something else."""
        try:
            with np.load(io.BytesIO(stored), allow_pickle=False) as arrays:
                return cls(**{name: arrays[name] for name in arrays.files})
        except (OSError, KeyError, TypeError, ValueError, EOFError) as error:
            raise ValueError("this is no stored road network") from error


MINUTES, KM, MIDDLE, MINOR, TRACK, UNPAVED = range(6)
COSTS = 6


def costs_a_km(network: RoadNetwork) -> Floats:
    """Pieces x what a km of each costs: minutes, km, minutes by group, minutes unpaved."""
    minutes = network.minutes_a_km
    return np.stack(
        [
            minutes,
            np.ones(len(minutes)),
            minutes * (network.group == RoadGroup.MIDDLE),
            minutes * (network.group == RoadGroup.MINOR),
            minutes * (network.group == RoadGroup.TRACK),
            minutes * network.unpaved,
        ],
        axis=1,
    )
