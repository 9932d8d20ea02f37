"""Which numbers are possible for each measured quantity, and every unit conversion, once.

Three answers are given for a number: *possible* (stored), *unusual* (stored, but read back to the
person who sent it) and *impossible* (refused with a sentence). Bounds are wide on purpose: a rare
true value must never be refused, only a slip of the finger.
"""

from dataclasses import dataclass
from enum import StrEnum

WHO_2003 = "WHO, Managing newborn problems, 2003"
COMMON_PRACTICE = "common practice, no source"

# Molar mass of glucose, 180.156 g/mol, as the mg/dL that make one mmol/L.
GLUCOSE_MG_DL_PER_MMOL_L = 18.0156
# One pound-force per square inch in pascal: NIST Special Publication 811, appendix B.
PASCAL_PER_PSI = 6894.757293168361
PASCAL_PER_BAR = 100_000.0
BAR_PER_MEGAPASCAL = 10.0


class Verdict(StrEnum):
    """What a number is worth before anybody has confirmed it."""

    POSSIBLE = "possible"
    UNUSUAL = "unusual"
    IMPOSSIBLE = "impossible"


@dataclass(frozen=True)
class Bounds:
    """The limits of one quantity, both ends included, in ``unit``.

    Outside ``possible_*`` a value is refused; outside ``unusual_*`` it is read back.
    ``source`` names where the unusual limits come from; the possible ones are a matter of
    instruments and of common practice unless the source says more.
    """

    name: str
    unit: str
    possible_low: float
    possible_high: float
    unusual_low: float
    unusual_high: float
    source: str

    def sentence(self) -> str:
        """Return the words that say which values can be entered, with the unit."""
        unit = f" {self.unit}" if self.unit else ""
        return f"{self.name} must be from {self.possible_low:g} to {self.possible_high:g}{unit}"


class ImpossibleQuantity(ValueError):
    """A number that cannot be true; the message names the bounds and the unit.

    ``field`` is the key in ``QUANTITIES``, for the form or the message that has to show it.
    """

    def __init__(self, *, field: str, value: object) -> None:
        super().__init__(f"{value!s} is not possible: {QUANTITIES[field].sentence()}.")
        self.field = field


_MEMORY = "value from memory"

# fmt: off
QUANTITIES: dict[str, Bounds] = {
    "temperature_c": Bounds(
        "temperature", "°C", 20, 45, 32, 39,
        f"{WHO_2003}, F-70 (severe cold below 32), F-73 (above 39 from heat)"),
    "heart_rate": Bounds(
        "heart rate", "/min", 0, 350, 60, 180,
        f"2020 AHA guidelines, Part 5 (below 60); {WHO_2003}, F-5 (above 180)"),
    "respiratory_rate": Bounds(
        "breathing rate", "/min", 0, 150, 20, 90, f"{WHO_2003}, P-3 and F-49"),
    "spo2": Bounds(
        "SpO2", "%", 0, 100, 60, 100, "AHA algorithm 2015 (60 to 65 at one minute)"),
    "oxygen_flow_l_min": Bounds(
        "oxygen flow", "L/min", 0, 30, 0, 10, f"{_MEMORY} (bag and mask: 5 to 10 L/min)"),
    "fio2": Bounds(
        "oxygen fraction", "", 0.21, 1, 0.21, 1, "share of oxygen in air and in pure oxygen"),
    "weight_g": Bounds("weight", "g", 200, 8000, 500, 5000, COMMON_PRACTICE),
    "gestation_weeks": Bounds("gestation", "weeks", 20, 46, 24, 42, COMMON_PRACTICE),
    "glucose_mg_dl": Bounds(
        "glucose", "mg/dL", 0, 900, 25, 200, f"{WHO_2003}, F-91; high end: {COMMON_PRACTICE}"),
    "glucose_mmol_l": Bounds(
        "glucose", "mmol/L", 0, 50, 1.1, 11, f"{WHO_2003}, F-91; high end: {COMMON_PRACTICE}"),
    "systolic_mmhg": Bounds("systolic pressure", "mmHg", 0, 300, 80, 180, COMMON_PRACTICE),
    "diastolic_mmhg": Bounds("diastolic pressure", "mmHg", 0, 200, 40, 120, COMMON_PRACTICE),
    "oxygen_bar": Bounds(
        "oxygen pressure", "bar", 0, 330, 0, 230, f"{_MEMORY} (filled to 137, 230 or 300 bar)"),
    "oxygen_psi": Bounds(
        "oxygen pressure", "psi", 0, 4800, 0, 2400, f"{_MEMORY} (filled to about 2200 psi)"),
    "minutes": Bounds(
        "time", "minutes", 0, 86_400, 0, 40_320, "WHO: newborn means the first 28 days"),
}
# fmt: on


def check_quantity(name: str, value: float) -> Verdict:
    """Return what ``value`` is worth for the quantity ``name`` (a key of ``QUANTITIES``).

    Both ends of a range belong to it. What is not a finite number is impossible.
    An unknown name raises ``KeyError``: it is an error in the program, not in the reading.
    """
    bounds = QUANTITIES[name]
    if not bounds.possible_low <= value <= bounds.possible_high:
        return Verdict.IMPOSSIBLE
    if bounds.unusual_low <= value <= bounds.unusual_high:
        return Verdict.POSSIBLE
    return Verdict.UNUSUAL


def require_possible(name: str, value: float) -> float:
    """Return ``value`` unchanged as a float, or raise ``ImpossibleQuantity``."""
    if check_quantity(name, value) is Verdict.IMPOSSIBLE:
        raise ImpossibleQuantity(field=name, value=value)
    return float(value)


def glucose_mg_dl_to_mmol_l(mg_dl: float) -> float:
    """Convert glucose in mg/dL to mmol/L by molar mass. For showing, not for thresholds:

    the thresholds that WHO prints in both units are not exact conversions of each other.
    """
    return mg_dl / GLUCOSE_MG_DL_PER_MMOL_L


def glucose_mmol_l_to_mg_dl(mmol_l: float) -> float:
    """Convert glucose in mmol/L to mg/dL by molar mass."""
    return mmol_l * GLUCOSE_MG_DL_PER_MMOL_L


def psi_to_bar(psi: float) -> float:
    """Convert a pressure in pound-force per square inch to bar (NIST SP 811)."""
    return psi * PASCAL_PER_PSI / PASCAL_PER_BAR


def bar_to_psi(bar: float) -> float:
    """Convert a pressure in bar to pound-force per square inch (NIST SP 811)."""
    return bar * PASCAL_PER_BAR / PASCAL_PER_PSI


def megapascal_to_bar(megapascal: float) -> float:
    """Convert a pressure in MPa, as some gauges read, to bar (exact by definition)."""
    return megapascal * BAR_PER_MEGAPASCAL
