"""A travel time as a distribution: shifted log-normal, so that it can be long but never negative.

Travel times of ambulances are close to log-normal around the median law: Budge S, Ingolfsson A,
Zerom D, Empirical analysis of ambulance travel times, Management Science 2010;56:716.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from statistics import NormalDist

_NORMAL = NormalDist()


@dataclass(frozen=True, slots=True)
class TravelTime:
    """Minutes of a journey, or of a part of one.

    ``median_minutes`` is the median of the whole; ``certain_minutes`` of it do not vary (a stated
    loading time, say), the rest is log-normal with ``sigma`` in natural-log units. Raises
    ValueError for negative or infinite minutes, more certain than median ones, or sigma above 3.
    """

    median_minutes: float
    sigma: float
    certain_minutes: float = 0.0

    def __post_init__(self) -> None:
        if not 0.0 <= self.certain_minutes <= self.median_minutes < math.inf:
            raise ValueError(
                "minutes must be finite, not negative, and no more of them certain than in all: "
                f"median {self.median_minutes}, certain {self.certain_minutes}"
            )
        # At 3 the P90 is 47 times the median: whatever that is, it is no travel time.
        if not 0.0 <= self.sigma <= 3.0:
            raise ValueError(f"sigma must be 0 to 3, not {self.sigma}")

    @property
    def varying_minutes(self) -> float:
        """Median of the part that varies, minutes."""
        return self.median_minutes - self.certain_minutes

    @property
    def mean(self) -> float:
        """Expected minutes: certain + m exp(s^2 / 2) (log-normal mean, Aitchison & Brown 1957)."""
        return self.certain_minutes + self.varying_minutes * math.exp(self.sigma**2 / 2)

    @property
    def standard_deviation(self) -> float:
        """Standard deviation in minutes: m exp(s^2 / 2) sqrt(exp(s^2) - 1)."""
        varying_mean = self.varying_minutes * math.exp(self.sigma**2 / 2)
        return varying_mean * math.sqrt(math.expm1(self.sigma**2))

    def quantile(self, probability: float) -> float:
        """Minutes not exceeded with ``probability`` (between 0 and 1, both excluded)."""
        return self._at_score(_NORMAL.inv_cdf(probability))

    @property
    def p10(self) -> float:
        """Minutes not exceeded in one journey of ten."""
        return self.quantile(0.1)

    @property
    def p50(self) -> float:
        """Median minutes."""
        return self.median_minutes

    @property
    def p90(self) -> float:
        """Minutes not exceeded in nine journeys of ten."""
        return self.quantile(0.9)

    def probability_within(self, minutes: float) -> float:
        """Chance, 0 to 1, that the journey takes at most ``minutes``."""
        score = self._score(minutes)
        return 0.5 * math.erfc(-score / math.sqrt(2))

    def probability_beyond(self, minutes: float) -> float:
        """Chance that it takes longer; keeps its digits where it is tiny."""
        return 0.5 * math.erfc(self._score(minutes) / math.sqrt(2))

    def quantile_after(self, probability: float, elapsed_minutes: float) -> float:
        """The same quantile once ``elapsed_minutes`` have passed without arrival.

        Minutes from the start, never less than those elapsed. Where the journey has lasted longer
        than the distribution can tell, the elapsed minutes themselves are returned.
        """
        still_open = self.probability_beyond(elapsed_minutes) * (1.0 - probability)
        if still_open <= 0.0:
            return max(elapsed_minutes, self.median_minutes)
        score = -_NORMAL.inv_cdf(still_open) if still_open < 1.0 else -math.inf
        return max(elapsed_minutes, self._at_score(score))

    def _at_score(self, score: float) -> float:
        return self.certain_minutes + self.varying_minutes * math.exp(score * self.sigma)

    def _score(self, minutes: float) -> float:
        """Standard normal score of ``minutes``; without variation it is a step."""
        beyond_certain = minutes - self.certain_minutes
        if self.sigma == 0.0 or self.varying_minutes == 0.0:
            return math.inf if minutes >= self.median_minutes else -math.inf
        if beyond_certain <= 0.0:
            return -math.inf
        return (math.log(beyond_certain) - math.log(self.varying_minutes)) / self.sigma


def zero() -> TravelTime:
    """No minutes at all: the neutral element of ``add``."""
    return certain(0.0)


def certain(minutes: float) -> TravelTime:
    """Minutes that do not vary."""
    return TravelTime(minutes, 0.0, minutes)


def add(times: Iterable[TravelTime]) -> TravelTime:
    """The sum of independent times as one log-normal with the same mean and variance.

    Source: Fenton LF, The sum of log-normal probability distributions in scatter transmission
    systems, IRE Trans Commun Syst 1960;8:57 (Fenton-Wilkinson moment matching). Certain minutes
    add exactly. Mean and variance are exact; against a seeded Monte Carlo with sigma up to 0.6
    the median and P90 of two to four legs are within 1.5 % and P10 within 5 % (see the tests).
    It grows worse above sigma 1. Legs on the same bad day are not independent: the true spread
    is then wider than this.
    """
    legs = tuple(times)
    certain_minutes = math.fsum(leg.certain_minutes for leg in legs)
    varying_mean = math.fsum(leg.varying_minutes * math.exp(leg.sigma**2 / 2) for leg in legs)
    if varying_mean <= 0.0:
        return certain(certain_minutes)
    deviation = math.hypot(*(leg.standard_deviation for leg in legs))
    sigma_squared = math.log1p((deviation / varying_mean) ** 2)
    varying = varying_mean * math.exp(-sigma_squared / 2)
    return TravelTime(certain_minutes + varying, math.sqrt(sigma_squared), certain_minutes)


def through(median_minutes: float, p90_minutes: float) -> TravelTime:
    """The log-normal with this median and P90; certain where they are the same.

    Raises ValueError where the P90 is below the median, or so far above that it is no travel time.
    """
    if median_minutes == p90_minutes:
        return certain(median_minutes)
    if not 0.0 < median_minutes < p90_minutes:
        raise ValueError(f"a P90 of {p90_minutes} min is below the median of {median_minutes}")
    return TravelTime(median_minutes, math.log(p90_minutes / median_minutes) / _NORMAL.inv_cdf(0.9))
