"""What is normal for a newborn, as bands to draw readings in; each with its source."""

from dataclasses import dataclass

from referrals.calc.thermal import NORMAL_FROM_C, NORMAL_TO_C
from referrals.calc.wording import marked


@dataclass(frozen=True, kw_only=True)
class NormalBand:
    """From ``low`` to ``high``, both included, in the unit of the reading."""

    low: float
    high: float
    source: str


TEMPERATURE = NormalBand(
    low=NORMAL_FROM_C,
    high=NORMAL_TO_C,
    source=marked("WHO, Thermal protection of the newborn, WHO/RHT/MSM/97.2"),
)
HEART_RATE = NormalBand(
    low=100,
    high=180,
    source=marked(
        "2020 AHA guidelines, Part 5 (at least 100); WHO, Managing newborn problems, 2003, F-5 "
        "(above 180 is a sign of shock)"
    ),
)

# Right hand, by full minutes since birth: AHA algorithm 2015, unchanged in 2020.
SPO2_BY_MINUTE: tuple[tuple[float, float, float], ...] = (
    (1, 60, 65), (2, 65, 70), (3, 70, 75), (4, 75, 80), (5, 80, 85), (10, 85, 95),
)  # fmt: skip
SPO2_BY_MINUTE_SOURCE = marked("AHA algorithm 2015, right hand, by minutes since birth")
AFTER_MINUTES = 15.0
"""From then on the band of a baby on oxygen is drawn (common practice, no source)."""
PRETERM_WEEKS = 32.0
SPO2_PRETERM = NormalBand(
    low=88,
    high=95,
    source=marked("WHO, Oxygen therapy for children, 2016: preterm under 32 weeks on oxygen"),
)
SPO2_ON_OXYGEN = NormalBand(
    low=90, high=95, source=marked("while oxygen is given; value from memory")
)


def spo2_target(minutes_since_birth: float, gestation_weeks: float | None = None) -> NormalBand:
    """Return the SpO2 band, %, at an age in minutes.

    In the first quarter of an hour the row of the last full minute printed holds (before the
    first minute, that of the first); from then on that of a baby on oxygen. Sources disagree at
    5 minutes, where the upper end here is the lower end of the European one.
    """
    if minutes_since_birth < AFTER_MINUTES:
        reached = [row for row in SPO2_BY_MINUTE if row[0] <= minutes_since_birth]
        _minute, low, high = reached[-1] if reached else SPO2_BY_MINUTE[0]
        return NormalBand(low=low, high=high, source=SPO2_BY_MINUTE_SOURCE)
    if gestation_weeks is not None and gestation_weeks < PRETERM_WEEKS:
        return SPO2_PRETERM
    return SPO2_ON_OXYGEN
