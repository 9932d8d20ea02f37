"""What was learned from completed journeys, and the estimator that uses it.

Kept as arrays, so that a model can be stored, compared with the one before it and read back.
"""

import io
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from functools import cached_property
from statistics import NormalDist
from typing import Any, Unpack

import numpy as np
from scipy import sparse

from referrals.calc.terms import VehicleKind
from transport.calc.journeys import (
    ROAD_TERMS,
    UNKNOWN_VEHICLE,
    VEHICLES,
    Floats,
    Integers,
    Journeys,
    chords_km,
    on_the_sphere,
    place_keys,
)
from transport.calc.places import Place
from transport.calc.travel import How, TravelEstimate, TravelEstimator
from transport.calc.travel_time import TravelTime

METHOD = "learned"
LINE_SPREAD = 0.25
"""How much road km / straight km varies about its median, in logs: what a journey of which only
the straight line is known is less sure by, in a model of roads. Ballou RH et al., Transportation
Research A 2002;36:843 has 1.12 to 2.10 between countries (values from memory)."""
USUAL_KM = 30.0
"""The distance at which the slope in log distance changes nothing."""
NETWORK_TERMS = 4 + len(ROAD_TERMS) + len(VEHICLES)
_NETWORK = NETWORK_TERMS
_TINY = 1e-6


@dataclass(frozen=True, kw_only=True)
class Spreads:
    """How much each kind of term varies, as a standard deviation of the log of the minutes.

    ``reach_km``: how far apart two places are when their areas still have exp(-1) in common.
    """

    noise: float
    corridor: float
    origin: float
    destination: float
    area: float
    reach_km: float


def network_terms(
    km: Floats, rainy: Floats, dark: Floats, vehicles: Integers, roads: Floats
) -> sparse.csr_matrix:
    """Rows x the terms of the whole network: level, distance, rain, darkness, roads, vehicles.

    Darkness that is not known stands half-way.
    """
    rows = np.arange(len(km))
    known = vehicles != UNKNOWN_VEHICLE
    kinds = sparse.csr_matrix(
        (np.ones(int(known.sum())), (rows[known], vehicles[known])), shape=(len(km), len(VEHICLES))
    )
    slope = np.log(np.maximum(km, 0.1) / USUAL_KM)
    columns = np.stack([np.ones(len(km)), slope, rainy, dark], axis=1)
    together = [sparse.csr_matrix(columns), sparse.csr_matrix(roads), kinds]
    return sparse.csr_matrix(sparse.hstack(together))


def road_terms(inputs: Mapping[str, Any]) -> list[float]:
    """What an estimate by road has for each of ROAD_TERMS; by the straight line 0 of all."""
    shares = inputs.get("road_shares")
    return [0.0] * len(ROAD_TERMS) if shares is None else [1.0, *shares]


@dataclass(frozen=True, kw_only=True)
class Learned:
    """What experience says of one journey: how much longer, how sure, from how many journeys."""

    log_factor: float
    sigma: float
    on_this_corridor: int


@dataclass(frozen=True, kw_only=True)
class LearnedTravel:
    """The terms of the mixed model (see ``learning``) with their joint uncertainty.

    ``effects`` and ``covariance``: network terms, the area of each of ``places`` (latitude,
    longitude), then those ``left`` as origins and those ``reached`` as destinations (positions in
    ``places``). ``by_road``: share of the journeys whose way by road was known. Corridors apart,
    by the keys of their ends; ``joint`` ties them to the other terms.
    """

    spreads: Spreads
    journeys: int
    by_road: float
    places: Floats
    left: Integers
    reached: Integers
    effects: Floats
    covariance: Floats
    corridor_ends: Integers
    corridor_effects: Floats
    corridor_variances: Floats
    corridor_counts: Integers
    joint: sparse.csc_matrix

    @cached_property
    def _place_of_key(self) -> dict[int, int]:
        return {int(key): at for at, key in enumerate(place_keys(self.places))}

    @cached_property
    def _term_as_origin(self) -> dict[int, int]:
        start = _NETWORK + len(self.places)
        return {int(place): start + at for at, place in enumerate(self.left)}

    @cached_property
    def _term_as_destination(self) -> dict[int, int]:
        start = _NETWORK + len(self.places) + len(self.left)
        return {int(place): start + at for at, place in enumerate(self.reached)}

    @cached_property
    def _corridor_of_ends(self) -> dict[tuple[int, int], int]:
        return {(int(a), int(b)): at for at, (a, b) in enumerate(self.corridor_ends)}

    @cached_property
    def _points(self) -> Floats:
        return on_the_sphere(self.places)

    @cached_property
    def _area_inverse(self) -> Floats:
        area = np.exp(-chords_km(self._points, self._points) / self.spreads.reach_km)
        area[np.diag_indices_from(area)] += _TINY
        return np.linalg.inv(area)

    def about(
        self,
        origin: Place,
        destination: Place,
        *,
        km: float,
        rainy: float,
        dark: float,
        vehicle: VehicleKind | None,
        roads: Sequence[float],
    ) -> Learned:
        """What experience says of one journey over ``km`` geodesic; ``roads`` as in Journeys."""
        terms = np.zeros(len(self.effects))
        kind = UNKNOWN_VEHICLE if vehicle is None else VEHICLES.index(vehicle)
        network = network_terms(
            np.array([km]),
            np.array([rainy]),
            np.array([dark]),
            np.array([kind]),
            np.array([roads], dtype=float),
        )
        terms[:_NETWORK] = network.toarray()[0]
        start = np.array([[origin.latitude, origin.longitude]])
        stop = np.array([[destination.latitude, destination.longitude]])
        variance = self.spreads.noise**2
        variance += self._add_area(terms, start) + self._add_area(terms, stop)
        variance += self._add_own(terms, start, self._term_as_origin, self.spreads.origin)
        variance += self._add_own(terms, stop, self._term_as_destination, self.spreads.destination)
        log_factor = float(terms @ self.effects)
        ends = (int(place_keys(start)[0]), int(place_keys(stop)[0]))
        corridor = self._corridor_of_ends.get(ends)
        if corridor is None:
            variance += self.spreads.corridor**2
            if not roads[0]:
                variance += self.by_road * LINE_SPREAD**2
        else:
            log_factor += float(self.corridor_effects[corridor])
            share = float(self.corridor_variances[corridor])
            variance += share
            terms -= share * self.joint[:, [corridor]].toarray()[:, 0]
        variance += float(terms @ self.covariance @ terms)
        return Learned(
            log_factor=log_factor,
            sigma=math.sqrt(variance),
            on_this_corridor=0 if corridor is None else int(self.corridor_counts[corridor]),
        )

    def _add_area(self, terms: Floats, place: Floats) -> float:
        """Put the area of a place into the terms; answer the variance nothing is known of."""
        at = self._place_of_key.get(int(place_keys(place)[0]))
        if at is not None:
            terms[_NETWORK + at] += 1.0
            return 0.0
        alike = np.exp(-chords_km(on_the_sphere(place), self._points)[0] / self.spreads.reach_km)
        shares = self._area_inverse @ alike
        terms[_NETWORK : _NETWORK + len(self.places)] += shares
        return float(max(0.0, 1.0 - float(alike @ shares)) * self.spreads.area**2)

    def _add_own(self, terms: Floats, place: Floats, known: dict[int, int], spread: float) -> float:
        """The same for the place's own term in one role."""
        at = self._place_of_key.get(int(place_keys(place)[0]))
        term = None if at is None else known.get(at)
        if term is None:
            return spread**2
        terms[term] += 1.0
        return 0.0

    def as_bytes(self) -> bytes:
        """Everything, to be stored."""
        joint = self.joint.tocoo()
        buffer = io.BytesIO()
        np.savez_compressed(
            buffer,
            meta=np.array(
                json.dumps(
                    {"journeys": self.journeys, "by_road": self.by_road, **asdict(self.spreads)}
                )
            ),
            places=self.places,
            left=self.left,
            reached=self.reached,
            effects=self.effects,
            covariance=self.covariance.astype(np.float32),
            corridor_ends=self.corridor_ends,
            corridor_effects=self.corridor_effects,
            corridor_variances=self.corridor_variances,
            corridor_counts=self.corridor_counts,
            joint_rows=joint.row.astype(np.int64),
            joint_columns=joint.col.astype(np.int64),
            joint_values=joint.data,
        )
        return buffer.getvalue()

    @classmethod
    def from_bytes(cls, stored: bytes) -> "LearnedTravel":
        """Read back what ``as_bytes`` wrote; raises ValueError if it is something else."""
        try:
            with np.load(io.BytesIO(stored), allow_pickle=False) as arrays:
                read: dict[str, Any] = {name: arrays[name] for name in arrays.files}
            meta = json.loads(str(read.pop("meta")))
            journeys, by_road = int(meta.pop("journeys")), float(meta.pop("by_road"))
            rows, columns = read.pop("joint_rows"), read.pop("joint_columns")
            joint = sparse.csc_matrix(
                (read.pop("joint_values"), (rows, columns)),
                shape=(len(read["effects"]), len(read["corridor_effects"])),
            )
            read["covariance"] = read["covariance"].astype(np.float64)
            return cls(
                spreads=Spreads(**meta), journeys=journeys, by_road=by_road, joint=joint, **read
            )
        except (OSError, KeyError, TypeError, ValueError, EOFError) as error:
            raise ValueError("this is no stored travel model") from error


def learned_estimator(
    learned: LearnedTravel, base: TravelEstimator, *, model_version: str
) -> TravelEstimator:
    """The base estimator, corrected by experience; what it finds unreachable stays so."""

    def estimate(origin: Place, destination: Place, **how: Unpack[How]) -> TravelEstimate:
        first = base(origin, destination, **how)
        if first.distribution is None:
            return first
        said = learned.about(
            origin,
            destination,
            km=first.geodesic_km,
            rainy=float(how["rainy"]),
            dark=0.5 if how["dark"] is None else float(how["dark"]),
            vehicle=how["vehicle"],
            roads=road_terms(first.inputs),
        )
        varying = first.distribution.varying_minutes * math.exp(said.log_factor)
        certain = first.distribution.certain_minutes
        return TravelEstimate(
            first.geodesic_km,
            first.road_km,
            f"{METHOD}_{first.method}",
            True,
            {
                **first.inputs,
                "prior_p50_minutes": first.p50_minutes,
                "learned_factor": math.exp(said.log_factor),
                "sigma": said.sigma,
                "journeys_learned_from": learned.journeys,
                "journeys_on_this_corridor": said.on_this_corridor,
            },
            model_version,
            TravelTime(varying + certain, min(said.sigma, 1.0), certain),
        )

    return estimate


@dataclass(frozen=True, kw_only=True)
class Trial:
    """How an estimator did on journeys that it had not seen.

    ``median_error``: median of |estimated - taken| / taken, 0 to infinity. ``log_error``: mean of
    the absolute log ratio. ``within_p50``, ``within_p90``: share of journeys not longer.
    ``width``: median of P90 / P50.
    """

    journeys: int
    median_error: float
    log_error: float
    within_p50: float
    within_p90: float
    width: float


def off_by(learned: LearnedTravel | None, journeys: Journeys) -> Floats:
    """Log of (estimated median / minutes taken) of each journey; None: without experience."""
    return _medians_and_sigmas(learned, journeys, 0.0)[0] - journeys.log_ratios


def try_out(learned: LearnedTravel | None, journeys: Journeys, *, prior_sigma: float) -> Trial:
    """Try a model on held-back journeys; None is the estimator without experience."""
    factors, sigmas = _medians_and_sigmas(learned, journeys, prior_sigma)
    off = factors - journeys.log_ratios
    ninety = NormalDist().inv_cdf(0.9)
    return Trial(
        journeys=len(journeys),
        median_error=float(np.median(np.abs(np.expm1(off)))),
        log_error=float(np.mean(np.abs(off))),
        within_p50=float(np.mean(off >= 0)),
        within_p90=float(np.mean(off + ninety * sigmas >= 0)),
        width=float(np.median(np.exp(ninety * sigmas))),
    )


def _medians_and_sigmas(
    learned: LearnedTravel | None, journeys: Journeys, prior_sigma: float
) -> tuple[Floats, Floats]:
    if learned is None:
        return np.zeros(len(journeys)), np.full(len(journeys), prior_sigma)
    said = [
        learned.about(
            Place(*map(float, journeys.origins[row])),
            Place(*map(float, journeys.destinations[row])),
            km=float(journeys.geodesic_km[row]),
            rainy=float(journeys.rainy[row]),
            dark=float(journeys.dark[row]),
            vehicle=_kind(int(journeys.vehicles[row])),
            roads=journeys.roads[row],
        )
        for row in range(len(journeys))
    ]
    return np.array([each.log_factor for each in said]), np.array([each.sigma for each in said])


def _kind(position: int) -> VehicleKind | None:
    return None if position == UNKNOWN_VEHICLE else VEHICLES[position]
