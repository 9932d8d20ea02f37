"""Learning travel times from completed journeys: every place borrows from what surrounds it.

The log of (minutes taken / minutes expected without experience) is the sum of

- a level, a slope in log distance, rain, darkness and the kind of vehicle (the network),
- a smooth term over the map, at both ends (roads near each other are alike),
- a term of the place as origin and as destination,
- a term of the corridor, one origin to one destination,
- the journey's own noise.

All terms are normal with mean 0, so that few journeys move an estimate little and many move it
fully: a linear mixed model. How much each kind of term varies is chosen by the journeys
themselves (largest marginal likelihood times a weak prior), so a district with even roads learns
that corridors say little. Sources: Henderson CR, Best linear unbiased estimation and prediction
under a selection model, Biometrics 1975;31:423 (the equations); Rasmussen CE, Williams CKI,
Gaussian processes for machine learning, MIT Press 2006, ch. 2 and 5 (the smooth term, the
likelihood); Huber PJ, Robust estimation of a location parameter, Annals of Mathematical
Statistics 1964;35:73 (outliers).

The spreads that are assumed before any journey are common practice, no source.
"""

import math
from dataclasses import dataclass, fields

import numpy as np
from scipy import sparse
from scipy.linalg import LinAlgError, cholesky, solve_triangular
from scipy.optimize import minimize
from threadpoolctl import threadpool_limits

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
from transport.calc.learned import LearnedTravel, Spreads, network_terms

FIRST_SPREADS = Spreads(
    noise=0.25, corridor=0.2, origin=0.12, destination=0.12, area=0.2, reach_km=25.0
)
"""What is assumed before any journey; natural-log units, except the reach."""
HOW_SURE = Spreads(noise=0.3, corridor=0.4, origin=0.5, destination=0.5, area=0.5, reach_km=0.6)
"""Standard deviation of the log of each of FIRST_SPREADS."""
NETWORK_SPREADS = np.array([0.2, 0.2, 0.25, 0.1] + [0.2] * len(ROAD_TERMS) + [0.1] * len(VEHICLES))
"""Level, slope in log distance, rain, darkness; each of ROAD_TERMS; each kind of vehicle."""

MOST_PLACES = 250
"""Places with terms of their own, the most visited; a rarer place learns from its neighbour's."""
JOURNEYS_FOR_SPREADS = 2000
"""The spreads are chosen from the newest so many; every journey counts in the terms."""
TRIES = 120
HALF_LIFE_DAYS = 4 * 365.25
"""A journey of four years ago counts half: roads change; common practice, no source."""
OUTLYING = 2.5
"""Beyond so many deviations a journey counts less, by the square: a stop for fuel is not a slow
road. Huber's weight would fall with the distance alone and leave its pull as it is; common
practice, no source for the square."""
_TINY = 1e-6


def learn(journeys: Journeys, *, spreads: Spreads | None = None) -> LearnedTravel:
    """What the journeys teach; raises ValueError without any.

    ``spreads`` given are taken as they are: a refit after one more journey need not choose anew.
    """
    if not len(journeys):
        raise ValueError("there is no journey to learn from")
    # The matrices are small: threads would spend longer waiting for each other than reckoning.
    with threadpool_limits(limits=1):
        chosen = spreads or _choose_spreads(journeys)
        return _Equations(journeys, _Places.of(journeys)).solved(chosen)


def _choose_spreads(journeys: Journeys) -> Spreads:
    """The spreads under which the newest journeys are least surprising."""
    newest = np.argsort(journeys.age_days, kind="stable")[:JOURNEYS_FOR_SPREADS]
    sample = journeys.take(newest)
    equations = _Equations(sample, _Places.of(sample))
    start = np.log(_as_array(FIRST_SPREADS))
    doubt = _as_array(HOW_SURE)

    def surprise(logs: Floats) -> float:
        prior = 0.5 * float(np.sum(((logs - start) / doubt) ** 2))
        try:
            return prior - equations.log_likelihood(_as_spreads(np.exp(logs)))
        except LinAlgError:
            return math.inf

    steps = np.vstack([start, start + 0.3 * np.eye(len(start))])
    found = minimize(
        surprise,
        start,
        method="Nelder-Mead",
        options={"maxfev": TRIES, "xatol": 0.05, "fatol": 0.05, "initial_simplex": steps},
    )
    return _as_spreads(np.exp(found.x))


def _as_array(spreads: Spreads) -> Floats:
    return np.array([getattr(spreads, each.name) for each in fields(Spreads)])


def _as_spreads(values: Floats) -> Spreads:
    names = [each.name for each in fields(Spreads)]
    return Spreads(**dict(zip(names, map(float, values), strict=True)))


@dataclass(frozen=True)
class _Places:
    """The places that have terms of their own, and who stands for the others."""

    keys: Integers
    """Of every place that occurs, sorted."""
    stand_in: Integers
    """For each of ``keys``: the position in ``kept`` of itself or of its nearest neighbour."""
    own: Integers
    """For each of ``keys``: 1 where it has terms of its own."""
    kept: Floats
    """Latitude and longitude."""

    @classmethod
    def of(cls, journeys: Journeys) -> "_Places":
        ends = np.concatenate([journeys.origins, journeys.destinations])
        keys, first, counts = np.unique(place_keys(ends), return_index=True, return_counts=True)
        places = ends[first]
        if len(keys) <= MOST_PLACES:
            return cls(keys, np.arange(len(keys)), np.ones(len(keys), dtype=np.int64), places)
        chosen = np.sort(np.argsort(-counts, kind="stable")[:MOST_PLACES])
        kept = places[chosen]
        stand_in = np.argmin(chords_km(on_the_sphere(places), on_the_sphere(kept)), axis=1)
        own = np.zeros(len(keys), dtype=np.int64)
        own[chosen] = 1
        return cls(keys, stand_in, own, kept)

    def positions(self, ends: Floats) -> Integers:
        """Positions in ``keys``."""
        return np.searchsorted(self.keys, place_keys(ends))


class _Equations:
    """The mixed-model equations, with journeys that cannot be told apart put together.

    A cell is one corridor in one kind of weather, light and vehicle. The corridor's own term is
    removed beforehand (absorbed), which leaves terms of the network and of places only.
    """

    def __init__(self, journeys: Journeys, places: _Places) -> None:
        self.journeys = journeys
        self.places = places
        self.log_ratios = journeys.log_ratios
        # Counted from the newest: a quiet year takes nothing away from what is known.
        since_newest = journeys.age_days - journeys.age_days.min()
        self.recency = np.exp2(-since_newest / HALF_LIFE_DAYS)
        origins, destinations = (
            places.positions(journeys.origins),
            places.positions(journeys.destinations),
        )
        kinds = (
            np.rint(journeys.rainy * 2)
            + 3 * np.rint(journeys.dark * 2)
            + 9 * (journeys.vehicles - UNKNOWN_VEHICLE)
        ).astype(np.int64)
        corridors = origins * len(places.keys) + destinations
        self.corridor_keys, corridor_of_row = np.unique(corridors, return_inverse=True)
        most_kinds = 9 * (len(VEHICLES) + 1)
        _cells, first, self.cell_of_row = np.unique(
            corridor_of_row * most_kinds + kinds, return_index=True, return_inverse=True
        )
        self.corridor_of_cell = corridor_of_row[first]
        self.terms = self._terms(first, origins, destinations)
        self.corridors = sparse.csr_matrix(
            (np.ones(len(first)), (np.arange(len(first)), self.corridor_of_cell)),
            shape=(len(first), len(self.corridor_keys)),
        )
        self.chords = chords_km(on_the_sphere(places.kept), on_the_sphere(places.kept))

    def _terms(
        self, rows: Integers, origins: Integers, destinations: Integers
    ) -> sparse.csr_matrix:
        """Cells x terms: the network's, then three for each place (area, as origin, as end)."""
        journeys, places, count = self.journeys, self.places, len(self.places.kept)
        network = network_terms(
            journeys.geodesic_km[rows],
            journeys.rainy[rows],
            journeys.dark[rows],
            journeys.vehicles[rows],
            journeys.roads[rows],
        )
        cells = np.arange(len(rows))
        start, stop = origins[rows], destinations[rows]

        def block(positions: Integers, values: Floats) -> sparse.csr_matrix:
            kept = values > 0
            return sparse.csr_matrix(
                (values[kept], (cells[kept], positions[kept])), shape=(len(rows), count)
            )

        one = np.ones(len(rows))
        area = block(places.stand_in[start], one) + block(places.stand_in[stop], one)
        as_origin = block(places.stand_in[start], places.own[start].astype(float))
        as_end = block(places.stand_in[stop], places.own[stop].astype(float))
        # Most places are only ever left, or only ever reached: no term for what never happens.
        self.left = np.flatnonzero(as_origin.getnnz(axis=0) > 0)
        self.reached = np.flatnonzero(as_end.getnnz(axis=0) > 0)
        return sparse.csr_matrix(
            sparse.hstack([network, area, as_origin[:, self.left], as_end[:, self.reached]])
        )

    def log_likelihood(self, spreads: Spreads) -> float:
        """Log marginal likelihood of the journeys, up to a constant; raises LinAlgError."""
        sums = _Sums(self, self.recency, spreads)
        roots = self._prior_roots(spreads)
        inner = roots.T @ sums.matrix @ roots
        inner[np.diag_indices_from(inner)] += 1.0
        lower = cholesky(inner, lower=True)
        explained = solve_triangular(lower, roots.T @ sums.right_side, lower=True)
        log_determinant = (
            # An old journey is a part of one: its noise is no smaller for that.
            2.0 * float(np.sum(self.recency)) * math.log(spreads.noise)
            + float(np.sum(np.log1p(spreads.corridor**2 * sums.corridor_weights)))
            + 2.0 * float(np.sum(np.log(np.diag(lower))))
        )
        return -0.5 * (sums.squares - float(explained @ explained) + log_determinant)

    def solved(self, spreads: Spreads) -> LearnedTravel:
        """The terms, with outliers weighted down in two further rounds."""
        roots = self._prior_roots(spreads)
        weights = self.recency
        for last_round in (False, False, True):
            sums = _Sums(self, weights, spreads)
            inner = roots.T @ sums.matrix @ roots
            inner[np.diag_indices_from(inner)] += 1.0
            covariance = roots @ np.linalg.solve(inner, roots.T)
            effects = covariance @ sums.right_side
            corridor_effects = sums.corridor_shares * (
                sums.corridor_totals - sums.joint.T @ effects
            )
            if last_round:
                break
            weights = self.recency * self._trust(effects, weights, spreads)
        counted = np.bincount(self.cell_of_row, minlength=len(self.corridor_of_cell))
        return LearnedTravel(
            spreads=spreads,
            journeys=len(self.journeys),
            by_road=float(np.mean(self.journeys.roads[:, 0])),
            places=self.places.kept,
            left=self.left,
            reached=self.reached,
            effects=effects,
            covariance=covariance,
            corridor_ends=self._corridor_ends(),
            corridor_effects=corridor_effects,
            corridor_variances=sums.corridor_shares,
            corridor_counts=np.bincount(
                self.corridor_of_cell, weights=counted, minlength=len(self.corridor_keys)
            ).astype(np.int64),
            joint=sparse.csc_matrix(sums.joint),
        )

    def _trust(self, effects: Floats, weights: Floats, spreads: Spreads) -> Floats:
        """How much each journey counts, 0 to 1, by how far it lies from what the others say.

        The others are all of the network and those of its own corridor without itself: one
        journey alone must not vouch for itself.
        """
        precision = weights / spreads.noise**2
        corridor_of_row = self.corridor_of_cell[self.cell_of_row]
        off = self.log_ratios - (self.terms @ effects)[self.cell_of_row]
        corridors = len(self.corridor_keys)
        totals = np.bincount(corridor_of_row, weights=precision * off, minlength=corridors)
        sums = np.bincount(corridor_of_row, weights=precision, minlength=corridors)
        others = 1.0 / (1.0 / spreads.corridor**2 + sums[corridor_of_row] - precision)
        said = others * (totals[corridor_of_row] - precision * off)
        deviations = np.abs(off - said) / np.sqrt(spreads.noise**2 + others)
        trust: Floats = np.minimum(1.0, (OUTLYING / np.maximum(deviations, _TINY)) ** 2)
        return trust

    def _corridor_ends(self) -> Integers:
        count = len(self.places.keys)
        start, stop = np.divmod(self.corridor_keys, count)
        return np.stack([self.places.keys[start], self.places.keys[stop]], axis=1)

    def _prior_roots(self, spreads: Spreads) -> Floats:
        """A matrix whose product with its transpose is the prior covariance of the terms."""
        count = len(self.places.kept)
        area = np.exp(-self.chords / spreads.reach_km)
        area[np.diag_indices_from(area)] += _TINY
        spread = np.concatenate(
            [
                NETWORK_SPREADS,
                np.zeros(count),
                np.full(len(self.left), spreads.origin),
                np.full(len(self.reached), spreads.destination),
            ]
        )
        roots = np.diag(spread)
        at = slice(len(NETWORK_SPREADS), len(NETWORK_SPREADS) + count)
        roots[at, at] = spreads.area * cholesky(area, lower=True)
        return roots


class _Sums:
    """Weighted sums over the cells, corridors absorbed."""

    def __init__(self, equations: _Equations, weights: Floats, spreads: Spreads) -> None:
        precision = weights / spreads.noise**2
        cells = len(equations.corridor_of_cell)
        by_cell = np.bincount(equations.cell_of_row, weights=precision, minlength=cells)
        told = np.bincount(
            equations.cell_of_row, weights=precision * equations.log_ratios, minlength=cells
        )
        weighted = equations.terms.T @ sparse.diags(by_cell)
        self.corridor_weights: Floats = equations.corridors.T @ by_cell
        self.corridor_totals: Floats = equations.corridors.T @ told
        self.corridor_shares: Floats = 1.0 / (1.0 / spreads.corridor**2 + self.corridor_weights)
        self.joint = (weighted @ equations.corridors).tocsc()
        absorbed = self.joint @ sparse.diags(self.corridor_shares) @ self.joint.T
        self.matrix: Floats = (weighted @ equations.terms - absorbed).toarray()
        self.right_side: Floats = equations.terms.T @ told - self.joint @ (
            self.corridor_shares * self.corridor_totals
        )
        self.squares = float(
            np.sum(precision * equations.log_ratios**2)
            - np.sum(self.corridor_shares * self.corridor_totals**2)
        )
