"""The joint choice of vehicles beside scipy's solve alone (P8), and one journey changed.

``python tests/benchmarks/assignment.py`` makes districts of invented places, 100 x 100 to
2,000 x 2,000 journeys and vehicles. ``afresh``: from a matrix of costs to the choice. ``steady``:
the same with the choice of a minute before, after every cost has moved a little, so that many
small swaps are weighed against the threshold. Each total is compared with the optimum that scipy
finds. Then, with the estimates in it, one journey changed beside all of them anew. Needs no
database.
"""

import argparse
import sys
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np
from scipy.optimize import linear_sum_assignment

from referrals.calc.terms import Urgency, VehicleKind
from transport.calc.assignment import NONE, steady
from transport.calc.places import Place
from transport.calc.proposals import Before, propose
from transport.calc.travel import TravelSettings, fixed_estimator
from transport.calc.vehicle_costs import Cell, Going, Wanted, Ways, cell_of

SIZES = (100, 200, 500, 1_000, 2_000)
WITH_ESTIMATES = (20, 50, 100)
GOAL = 3.0
THRESHOLD = 5.0
ESTIMATE = fixed_estimator(TravelSettings())


def main() -> None:
    """Both tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="up to 500, and few repeats")
    quick = parser.parse_args().quick
    print("milliseconds, the quickest of several; ratios are to scipy alone (P8: <= 3)")
    print("   size    scipy   afresh  ratio   steady  ratio  goal met  exact  swaps kept back")
    for size in SIZES[:3] if quick else SIZES:
        choices(size, times=51 if size <= 200 else 3 if quick or size > 1_000 else 7)
    print("\nwith travel estimates, milliseconds: all anew, one journey changed")
    print("   size  all anew  changed  ratio  same choice")
    for size in WITH_ESTIMATES[:2] if quick else WITH_ESTIMATES:
        changed(size)


def choices(size: int, times: int) -> None:
    """One line of the first table."""
    random = np.random.default_rng(size)
    before, without = costs(size, random)
    now = before * random.normal(1.0, 0.02, before.shape).clip(0.9, 1.1)
    first = steady(before, without)
    earlier = {row: int(column) for row, column in enumerate(first.columns) if column != NONE}
    saved = np.minimum(now - without[:, None], 0.0)

    def afresh() -> object:
        return steady(now, without)

    def again() -> object:
        return steady(now, without, earlier=earlier, threshold=THRESHOLD)

    taken = in_turns([lambda: linear_sum_assignment(saved), afresh, again], times)
    alone, fresh, kept = (min(each) for each in taken)
    rows, columns = linear_sum_assignment(saved)
    optimum = float(without.sum() + saved[rows, columns].sum())
    made, held = steady(now, without), steady(now, without, earlier=earlier, threshold=THRESHOLD)
    exact = abs(made.total - optimum) < 1e-6 * optimum
    back = int((held.given_up > 0).sum())
    assert held.total <= optimum + THRESHOLD * back + 1e-6
    met = "yes" if max(fresh, kept) <= GOAL * alone else "no"
    print(
        f"{size:7,} {alone:8.2f} {fresh:8.2f} {fresh / alone:6.2f} {kept:8.2f} {kept / alone:6.2f}"
        f"  <= {GOAL:g} {met:>3}  {'yes' if exact else 'no':>5} {back:6}"
    )


def costs(size: int, random: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Weighted minutes between places in a square of 200 km; a tenth of the pairs cannot be."""
    posts, bases = random.uniform(0, 200, (2, size, 2))
    km = np.linalg.norm(posts[:, None] - bases[None], axis=2)
    weights = random.choice([0.2, 0.5, 1.0], size)
    lacking = random.choice([0.0, 60.0], size, p=[0.8, 0.2])
    minutes = km * 1.4 / 35 * 60 + 80 + lacking
    minutes[random.random((size, size)) < 0.1] = np.inf
    return weights[:, None] * minutes, weights * 1570.0


def changed(size: int) -> None:
    """One line of the second table: the row of one journey is worked out again, or every row."""
    random = np.random.default_rng(size)
    points = random.uniform(-1, 1, (3, size, 2))
    posts, bases, units = ([Place(*map(float, at)) for at in each] for each in points)
    wanted = [Wanted(key=f"J{i}", urgency=list(Urgency)[i % 3]) for i in range(size)]
    going = [Going(key=f"V{i}", name=f"V{i}", kind=VehicleKind.AMBULANCE) for i in range(size)]

    def row_of(i: int) -> list[Cell]:
        road = _way(posts[i], units[i])
        return [
            cell_of(
                wanted[i],
                vehicle,
                Ways(to_baby=_way(base, posts[i]), road=road, loading_minutes=10.0),
            )
            for vehicle, base in zip(going, bases, strict=True)
        ]

    cells = [row_of(i) for i in range(size)]
    wanted[0] = Wanted(key="J0", urgency=Urgency.VENTILATED, babies=2)
    results = []

    def all_anew() -> None:
        results.append(propose(wanted, going, [row_of(i) for i in range(size)], Before()))

    def one_row() -> None:
        results.append(propose(wanted, going, [row_of(0), *cells[1:]], Before()))

    whole, part = (min(each) for each in in_turns([all_anew, one_row], 3))
    same = all(each.each == results[0].each for each in results)
    print(f"{size:7,} {whole:9.1f} {part:8.1f} {part / whole:6.3f}  {'yes' if same else 'no'}")


def _way(start: Place, goal: Place):
    return ESTIMATE(start, goal, vehicle=VehicleKind.AMBULANCE, rainy=False, dark=False)


def in_turns(things: list[Callable[[], object]], times: int) -> list[list[float]]:
    """Milliseconds of each, taken in turns so that a busy moment falls on all of them."""
    taken: list[list[float]] = [[] for _ in things]
    for turn in range(times + 1):
        for kept, thing in zip(taken, things, strict=True):
            begun = time.perf_counter()
            thing()
            if turn:  # the first turn only warms up
                kept.append((time.perf_counter() - begun) * 1000)
    return taken


if __name__ == "__main__":
    main()
