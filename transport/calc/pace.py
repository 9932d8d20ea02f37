"""What the pace of a journey so far says of the rest of it.

The logarithm of a journey's minutes over those expected is the sum of two parts: one for the whole
journey (this driver, this road, this weather), which every kilometre shows again, and one for each
short stretch (a village, a hill, a stop), which says nothing of the next. The first has a normal
prior from the estimate; what is observed has the noise of the second. The posterior is the
conjugate normal update with known variance: Gelman A et al., Bayesian Data Analysis, 3rd ed.,
section 2.5. Stretches are independent, so the variance of their mean falls with their number; and
since it is the mean of a log-normal that is in proportion to the way, a part of a journey has a
median below its share of the median of the whole, by half the difference of the variances.
"""

import math
from dataclasses import dataclass

from transport.calc.travel_time import TravelTime

Z90 = 1.2815515655446004
"""Score of the P90 of the standard normal distribution."""


@dataclass(frozen=True, slots=True)
class Pace:
    """How a journey differs from its estimate: spread of the journey, spread of short stretches.

    ``journey_sigma`` and ``local_sigma`` in natural-log units; ``local_minutes`` is the length of
    a stretch in minutes of the estimate.
    """

    prior_minutes: float
    journey_sigma: float
    local_sigma: float
    local_minutes: float

    @classmethod
    def of(cls, prior: TravelTime, *, local_sigma: float, local_minutes: float) -> "Pace":
        """Split the spread of an estimate, so that nothing observed gives the estimate back."""
        whole = math.log(prior.p90 / prior.p50) / Z90 if prior.p50 > 0.0 else 0.0
        local_variance = local_sigma**2 * local_minutes / (prior.p50 + local_minutes)
        # At least a quarter of the variance is the journey's: a sure estimate can be wrong too.
        journey = math.sqrt(max(whole**2 - local_variance, whole**2 / 4))
        return cls(prior.p50, journey, local_sigma, local_minutes)

    def rest(
        self, share_left: float, elapsed_minutes: float, *, winding_sigma: float = 0.0
    ) -> TravelTime:
        """The rest of the way: ``share_left`` (0 on) of the expected minutes are still to drive.

        ``elapsed_minutes`` were needed for the others; with none of them driven yet, or more left
        than at the start, the estimate alone speaks. ``winding_sigma`` is how wrong the share can
        be where the road is not known: the error of the logarithm of what is left grows with the
        share done, that of what is done with the share left.
        """
        left, done = self.prior_minutes * share_left, self.prior_minutes * (1.0 - share_left)
        log_pace, weight = 0.0, 0.0
        if done > 0.0 and elapsed_minutes > 0.0:
            noise = (
                self.local_sigma**2 * self.local_minutes / done + (winding_sigma * share_left) ** 2
            )
            weight = self.journey_sigma**2 / (self.journey_sigma**2 + noise)
            log_pace = weight * math.log(elapsed_minutes / done)
        local = self._local_variance(left)
        skew = (local - self._local_variance(self.prior_minutes)) / 2
        winding = winding_sigma * max(1.0 - share_left, 0.0)
        sigma = math.sqrt(self.journey_sigma**2 * (1.0 - weight) + local + winding**2)
        return TravelTime(left * math.exp(log_pace - max(skew, 0.0)), sigma)

    def _local_variance(self, minutes: float) -> float:
        """Of the log of a part that is expected to take so long."""
        return self.local_sigma**2 * self.local_minutes / (minutes + self.local_minutes)
