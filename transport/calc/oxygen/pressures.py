"""Gauge pressures in the units that gauges are read in."""

import math
import re
from enum import StrEnum

from referrals.calc.quantities import PASCAL_PER_BAR, PASCAL_PER_PSI
from referrals.calc.wording import marked, words


class InvalidOxygen(ValueError):
    """A cylinder, pressure, flow or fraction that cannot be."""


class GaugeUnit(StrEnum):
    """What stands on the dial."""

    BAR = "bar"
    PSI = "psi"
    MPA = "MPa"
    KPA = "kPa"


_WORDS = {
    GaugeUnit.BAR: marked("bar"),
    GaugeUnit.PSI: marked("psi"),
    GaugeUnit.MPA: marked("MPa"),
    GaugeUnit.KPA: marked("kPa"),
}

# Exact by definition; the pound-force per square inch as in NIST SP 811.
_PASCALS = {
    GaugeUnit.BAR: PASCAL_PER_BAR,
    GaugeUnit.PSI: PASCAL_PER_PSI,
    GaugeUnit.MPA: 1e6,
    GaugeUnit.KPA: 1e3,
}
_BY_LOWER = {unit.value.lower(): unit for unit in GaugeUnit}
_READING = re.compile(r"\s*(?P<number>\d+(?:\.\d+)?)\s*(?P<unit>[a-z]+)\s*", re.IGNORECASE)


def unit_words(unit: GaugeUnit) -> str:
    """The unit as it is shown."""
    return words(_WORDS[unit])


def in_unit(value: float, unit: GaugeUnit, wanted: GaugeUnit) -> float:
    """A pressure in another unit; the number itself where the unit stays.

    Raises InvalidOxygen for a pressure that is negative or no number.
    """
    refuse_negative(gauge_pressure=value)
    return value if unit is wanted else value * _PASCALS[unit] / _PASCALS[wanted]


def read_pressure(text: str) -> tuple[float, GaugeUnit]:
    """A reading with its unit, such as ``150 bar``, ``1800 psi``, ``15 MPa``, ``15000 kPa``.

    Raises InvalidOxygen for a number without a unit: 15 may be MPa, 150 bar, 1800 psi.
    """
    found = _READING.fullmatch(text)
    unit = _BY_LOWER.get(found["unit"].lower()) if found else None
    if found is None or unit is None:
        raise InvalidOxygen(
            words(
                "a gauge is a number and its unit (%(units)s), not %(found)r",
                units=", ".join(GaugeUnit),
                found=text,
            )
        )
    return float(found["number"]), unit


def refuse_negative(**values: float) -> None:
    """Raise InvalidOxygen unless every value is a finite number from 0 up."""
    for name, value in values.items():
        if not 0.0 <= value < math.inf:
            raise InvalidOxygen(
                words("%(name)s must be a number from 0 up, not %(found)s", name=name, found=value)
            )
