"""Temperature classes of a newborn, by either of two published schemes.

The two schemes disagree below 36.5 °C, so every caller names the one it uses, and a stored class
is stored with its scheme.
"""

from enum import StrEnum

from referrals.calc.quantities import require_possible


class ThermalScheme(StrEnum):
    """Who drew the lines between the classes."""

    WHO_1997 = "who_1997"
    WHO_2003 = "who_2003"


class ThermalClass(StrEnum):
    """How cold or hot a newborn is, coldest first."""

    SEVERE_HYPOTHERMIA = "severe_hypothermia"
    MODERATE_HYPOTHERMIA = "moderate_hypothermia"
    MILD_HYPOTHERMIA = "mild_hypothermia"
    NORMAL = "normal"
    HYPERTHERMIA = "hyperthermia"


SEVERE_BELOW_C = 32.0
MODERATE_BELOW_C = 36.0
NORMAL_FROM_C = 36.5
NORMAL_TO_C = 37.5

# The classes below normal, coldest first, each with the temperature it stays below (°C).
_COLD_CLASSES: dict[ThermalScheme, tuple[tuple[float, ThermalClass], ...]] = {
    # WHO, Thermal protection of the newborn: a practical guide, WHO/RHT/MSM/97.2.
    ThermalScheme.WHO_1997: (
        (SEVERE_BELOW_C, ThermalClass.SEVERE_HYPOTHERMIA),
        (MODERATE_BELOW_C, ThermalClass.MODERATE_HYPOTHERMIA),
        (NORMAL_FROM_C, ThermalClass.MILD_HYPOTHERMIA),
    ),
    # WHO, Managing newborn problems, 2003, F-70: no mild class.
    ThermalScheme.WHO_2003: (
        (SEVERE_BELOW_C, ThermalClass.SEVERE_HYPOTHERMIA),
        (NORMAL_FROM_C, ThermalClass.MODERATE_HYPOTHERMIA),
    ),
}


def classify_temperature(celsius: float, *, scheme: ThermalScheme) -> ThermalClass:
    """Return the class of an axillary temperature in °C under ``scheme``.

    The guides print classes for readings with one decimal (36.0-36.4, then 36.5-37.5). Between
    two printed classes a finer reading falls to the side away from normal: 36.45 is cold and
    37.55 is hot; nothing is rounded. Normal is 36.5-37.5 in both schemes (WHO-1997; WHO-2003
    F-69). Raises ``ImpossibleQuantity`` for what no thermometer can read.
    """
    celsius = require_possible("temperature_c", celsius)
    for below, thermal_class in _COLD_CLASSES[scheme]:
        if celsius < below:
            return thermal_class
    return ThermalClass.NORMAL if celsius <= NORMAL_TO_C else ThermalClass.HYPERTHERMIA
