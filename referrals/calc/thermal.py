"""Temperature classes of a newborn, by either of two published schemes.

The two schemes disagree below 36.5 °C, so every caller names the one it uses, and a stored class
is stored with its scheme.
"""

from enum import StrEnum

from referrals.calc.quantities import Verdict, check_quantity, require_possible
from referrals.calc.wording import marked, words


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


CLASS_WORDS = {
    ThermalClass.SEVERE_HYPOTHERMIA: marked("severe cold"),
    ThermalClass.MODERATE_HYPOTHERMIA: marked("moderate cold"),
    ThermalClass.MILD_HYPOTHERMIA: marked("mild cold"),
    ThermalClass.NORMAL: marked("normal"),
    ThermalClass.HYPERTHERMIA: marked("hot"),
}

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


def classes_of(celsius: float | None) -> dict[str, str]:
    """Return the class of a temperature under each scheme, both as codes.

    Empty for what is not told, and for what no thermometer can read.
    """
    if celsius is None or check_quantity("temperature_c", celsius) is Verdict.IMPOSSIBLE:
        return {}
    return {
        scheme.value: classify_temperature(celsius, scheme=scheme).value for scheme in ThermalScheme
    }


def classes_in_words(celsius: float) -> str:
    """Return the class under each scheme in words, as one where both agree."""
    named = {
        scheme: words(CLASS_WORDS[classify_temperature(celsius, scheme=scheme)])
        for scheme in ThermalScheme
    }
    older, newer = named[ThermalScheme.WHO_1997], named[ThermalScheme.WHO_2003]
    if older == newer:
        return words("%(name)s (WHO, 1997 and 2003)", name=older)
    return words("%(older)s (WHO, 1997), %(newer)s (WHO, 2003)", older=older, newer=newer)
