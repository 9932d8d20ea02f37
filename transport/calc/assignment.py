"""Which vehicle for which journey, over all of them at once: exact, and steady in time.

The choice is the one of least total cost, found by ``scipy.optimize.linear_sum_assignment`` (a
shortest augmenting path method: Crouse DF, On implementing 2D rectangular assignment algorithms,
IEEE Trans Aerosp Electron Syst 2016;52:1679). Journeys and vehicles may both stay without a match.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

Costs = NDArray[np.float64]
Columns = NDArray[np.intp]

NONE = -1
"""Stands for a journey that gets no vehicle."""


@dataclass(frozen=True)
class Choice:
    """The column of each row (``NONE`` without one), and what it costs in all.

    ``optimum``: the least total that any choice has with the same pins. ``given_up``: for a row
    whose earlier column was kept, what the swap that it stands in the way of would have saved,
    which is below the threshold; 0 for the others.
    """

    columns: Columns
    total: float
    optimum: float
    given_up: Costs


def best(costs: Costs, without: Costs) -> Columns:
    """Return the column of each row in the choice of least total cost.

    ``costs``: one row a journey, one column a vehicle; ``inf`` where it cannot be. ``without``:
    what a row costs that gets none, finite. A pair that costs as much is not made.
    """
    # No saving is negative, so a choice of as many pairs as fit is also the best of any size.
    saved = np.minimum(costs - without[:, None], 0.0)
    rows, columns = linear_sum_assignment(saved)
    chosen = np.full(len(without), NONE, dtype=np.intp)
    used = saved[rows, columns] < 0.0
    chosen[rows[used]] = columns[used]
    return chosen


def total_of(columns: Columns, costs: Costs, without: Costs) -> float:
    """What a choice costs in all."""
    return float(_costs_of(columns, costs, without).sum())


def steady(
    costs: Costs,
    without: Costs,
    *,
    earlier: Mapping[int, int] | None = None,
    pinned: Mapping[int, int] | None = None,
    threshold: float = 0.0,
) -> Choice:
    """Return the best choice that changes an earlier one only where that is worth it.

    ``earlier`` and ``pinned`` hold columns by row. A pin always stands, whatever it costs. The
    optimum and the best choice that keeps every earlier pair still possible differ in separate
    chains of swaps; each chain that saves at least ``threshold`` is taken, each other one is left
    as it was. So a chain that is left costs less than the threshold, and what is new gets the best
    that the kept pairs leave.

    Raises:
        ValueError: when one column is pinned to two rows.
    """
    pinned = pinned or {}
    if len(set(pinned.values())) < len(pinned):
        raise ValueError("one vehicle is pinned to two journeys")
    free = _with_fixed(costs, without, pinned)
    standing = {
        row: column
        for row, column in (earlier or {}).items()
        if row not in pinned and column not in pinned.values() and costs[row, column] < without[row]
    }
    nothing = np.zeros(len(without))
    optimum = total_of(free, costs, without)
    if threshold <= 0.0 or all(free[row] == column for row, column in standing.items()):
        return Choice(free, optimum, optimum, nothing)
    kept = _with_fixed(costs, without, {**standing, **pinned})
    chosen, given_up = _swapped_where_worth_it(kept, free, costs, without, threshold)
    given_up = np.where(np.isin(np.arange(len(without)), list(standing)), given_up, 0.0)
    return Choice(chosen, total_of(chosen, costs, without), optimum, given_up)


def next_best(choice: Choice, costs: Costs, without: Costs) -> Costs:
    """Return what each row would cost with the best column that no row has; or with none."""
    taken = np.zeros(costs.shape[1], dtype=bool)
    taken[choice.columns[choice.columns != NONE]] = True
    if taken.all():
        return without.copy()
    return np.minimum(costs[:, ~taken].min(axis=1), without)


def _with_fixed(costs: Costs, without: Costs, fixed: Mapping[int, int]) -> Columns:
    """The best choice with some pairs made already."""
    if not fixed:
        return best(costs, without)
    rows = np.delete(np.arange(costs.shape[0]), list(fixed))
    columns = np.delete(np.arange(costs.shape[1]), list(fixed.values()))
    found = best(costs[np.ix_(rows, columns)], without[rows])
    chosen = np.full(costs.shape[0], NONE, dtype=np.intp)
    matched = found != NONE
    chosen[rows[matched]] = columns[found[matched]]
    for row, column in fixed.items():
        chosen[row] = column
    return chosen


def _swapped_where_worth_it(
    kept: Columns, free: Columns, costs: Costs, without: Costs, threshold: float
) -> tuple[Columns, Costs]:
    """Take each chain of swaps that saves enough; also what the others would have saved, by row."""
    count, many = costs.shape
    changed = np.flatnonzero(kept != free)
    ends = np.concatenate([kept[changed], free[changed]])
    rows = np.concatenate([changed, changed])[ends != NONE]
    ends = ends[ends != NONE] + count
    graph = coo_array((np.ones(len(rows)), (rows, ends)), shape=(count + many, count + many))
    _, chain = connected_components(graph, directed=False)
    saved = _costs_of(kept, costs, without) - _costs_of(free, costs, without)
    by_chain = np.bincount(chain[changed], weights=saved[changed], minlength=count + many)
    worth = by_chain[chain[:count]] >= threshold
    differs = kept != free
    chosen = np.where(worth & differs, free, kept)
    given_up = np.where(~worth & differs, by_chain[chain[:count]], 0.0)
    return chosen, given_up


def _costs_of(columns: Columns, costs: Costs, without: Costs) -> Costs:
    paid = without.astype(float)
    rows = np.flatnonzero(columns != NONE)
    made = costs[rows, columns[rows]]
    # A pin may stand where no cost is known: it then counts as if nothing came.
    paid[rows] = np.where(np.isfinite(made), made, paid[rows])
    return paid
