"""Many equally likely days, for questions about several ways at once: who waits, what is sooner.

Each way of a plan has its own coordinate and all share one for the day; with both, a way's minutes
on every day are known, and sums, the later of two, waits and comparisons are plain arithmetic.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from transport.calc.sums import SAME_DAY
from transport.calc.travel_time import TravelTime

Minutes = NDArray[np.float64]

DAYS = 4096
_WAYS = 5


@lru_cache(maxsize=8)
def _scores(correlation: float) -> Any:
    """Standard normal scores, of shape (ways, days), of which any two ways are so correlated.

    Evenly spread points, not random ones: the additive recurrence of Roberts M, The unreasonable
    effectiveness of quasirandom sequences, 2018, whose steps are powers of the root of
    x^(d+1) = x + 1.
    """
    dimensions = _WAYS + 1
    root = 1.5
    for _ in range(60):
        root = (1.0 + root) ** (1.0 / (dimensions + 1))
    steps = root ** -np.arange(1.0, dimensions + 1)
    points = (0.5 + np.outer(steps, np.arange(1, DAYS + 1))) % 1.0
    own = ndtri(np.clip(points, 1e-9, 1.0 - 1e-9))
    return math.sqrt(correlation) * own[0] + math.sqrt(1.0 - correlation) * own[1:]


def on_each_day(time: TravelTime, way: int, correlation: float = SAME_DAY) -> Minutes:
    """The minutes of one way on each day; their mean is that of ``time``.

    ``way`` (0 to 4) tells apart what varies by itself: the same vehicle on the same road has the
    same number.
    """
    if time.sigma == 0.0 or time.varying_minutes == 0.0:
        return np.full(DAYS, time.median_minutes)
    factors = np.exp(time.sigma * _scores(correlation)[way])
    share = (time.mean - time.certain_minutes) / float(factors.mean())
    return np.asarray(time.certain_minutes + share * factors)


@dataclass(frozen=True)
class Drawn:
    """A time known on each of the days, ``minutes`` in rising order.

    Against a large random sample, median and P90 of sums and of the later of two are within 1 %,
    P10 within 2 % (see the tests).
    """

    minutes: tuple[float, ...]

    @classmethod
    def of(cls, minutes: Minutes) -> "Drawn":
        """From the minutes of each day, in any order."""
        return cls(tuple(np.sort(minutes).tolist()))

    @property
    def mean(self) -> float:
        """Expected minutes."""
        return math.fsum(self.minutes) / len(self.minutes)

    @property
    def standard_deviation(self) -> float:
        """Minutes."""
        return float(np.std(self.minutes))

    @property
    def p10(self) -> float:
        """Minutes not exceeded on one day of ten."""
        return self.quantile(0.1)

    @property
    def p50(self) -> float:
        """Median minutes."""
        return self.quantile(0.5)

    @property
    def p90(self) -> float:
        """Minutes not exceeded on nine days of ten."""
        return self.quantile(0.9)

    def quantile(self, probability: float) -> float:
        """Minutes not exceeded with ``probability`` (between 0 and 1, both excluded)."""
        if not 0.0 < probability < 1.0:
            raise ValueError(f"a quantile is asked for a chance between 0 and 1, not {probability}")
        return float(np.quantile(self.minutes, probability))

    def probability_within(self, minutes: float) -> float:
        """Chance, 0 to 1, of at most ``minutes``."""
        return float(np.searchsorted(self.minutes, minutes, side="right")) / len(self.minutes)

    def probability_beyond(self, minutes: float) -> float:
        """Chance, 0 to 1, of more than ``minutes``."""
        return 1.0 - self.probability_within(minutes)


def share_of(days: Sequence[bool] | NDArray[np.bool_]) -> float:
    """On what share of the days something is so, 0 to 1."""
    return float(np.mean(days))
