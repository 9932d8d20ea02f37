"""When two vehicles that drive toward the same place have both arrived, and who waits how long.

``wait_for_each_other`` is for a plan: both ways on the same days (see ``scenarios``). ``meet`` is
for a meeting under way: two times taken as independent; on the same bad day they are not, and the
true meeting is then less spread and the later of the two less late than this.
"""

import math
from dataclasses import dataclass

import numpy as np

from transport.calc.scenarios import Drawn, Minutes, share_of
from transport.calc.travel_time import TravelTime, certain

_STEPS = 200
_MIDPOINTS = tuple((step + 0.5) / _STEPS for step in range(_STEPS))


@dataclass(frozen=True, slots=True)
class Meeting:
    """Both vehicles at one place: ``time`` until the later is there, and the chances of waiting.

    ``first_waits`` is the chance, 0 to 1, that the first vehicle stands there longer than the
    stated minutes before the second comes, ``second_waits`` the other way round.
    """

    time: TravelTime
    first_waits: float
    second_waits: float


@dataclass(frozen=True, slots=True)
class Wait:
    """Of one vehicle for the other: the chance, 0 to 1, of more than the stated minutes, and how
    long it likely is then (median; None where it never is)."""

    chance: float
    minutes: float | None


@dataclass(frozen=True, slots=True)
class Waiting:
    """Both at one place: ``minutes`` of each day until the later is there, and who waits."""

    minutes: Minutes
    first: Wait
    second: Wait

    @property
    def time(self) -> Drawn:
        """Until both are there."""
        return Drawn.of(self.minutes)


def wait_for_each_other(first: Minutes, second: Minutes, *, waiting_minutes: float) -> Waiting:
    """Two vehicles whose minutes on the same days are known (see ``scenarios.on_each_day``)."""
    return Waiting(
        np.maximum(first, second),
        _wait(second - first, waiting_minutes),
        _wait(first - second, waiting_minutes),
    )


def _wait(minutes: Minutes, waiting_minutes: float) -> Wait:
    longer = minutes[minutes > waiting_minutes]
    likely = float(np.median(longer)) if len(longer) else None
    return Wait(share_of(minutes > waiting_minutes), likely)


def meet(first: TravelTime, second: TravelTime, *, waiting_minutes: float) -> Meeting:
    """The later of two independent times, as one log-normal with its mean and variance.

    Mean and mean square are integrated over 200 equally likely values of each time, with the
    distribution of the other: E[max] = E[a P(B <= a)] + E[b P(A <= b)]. Against a seeded Monte
    Carlo the mean is within 1 % and P90 within 5 % (see the tests).
    """
    mean = square = first_waits = second_waits = 0.0
    for probability in _MIDPOINTS:
        a, b = first.quantile(probability), second.quantile(probability)
        a_is_later, b_is_later = second.probability_within(a), first.probability_within(b)
        mean += (a * a_is_later + b * b_is_later) / _STEPS
        square += (a * a * a_is_later + b * b * b_is_later) / _STEPS
        first_waits += second.probability_beyond(a + waiting_minutes) / _STEPS
        second_waits += first.probability_beyond(b + waiting_minutes) / _STEPS
    at_least = max(first.mean, second.mean)
    time = _matched(max(mean, at_least), square)
    return Meeting(time, min(first_waits, 1.0), min(second_waits, 1.0))


def _matched(mean: float, square: float) -> TravelTime:
    if mean <= 0.0:
        return certain(0.0)
    variance = max(square - mean * mean, 0.0)
    sigma = min(math.sqrt(math.log1p(variance / (mean * mean))), 3.0)
    return TravelTime(mean * math.exp(-(sigma**2) / 2), sigma)
