"""Which numbers are possible for each measured quantity, and every unit conversion, once.

Three answers are given for a number: *possible* (stored), *unusual* (stored, but read back to the
person who sent it) and *impossible* (refused with a sentence). Bounds are wide on purpose: a rare
true value must never be refused, only a slip of the finger.
"""

from dataclasses import dataclass
from enum import StrEnum

from referrals.calc.wording import marked, words

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
        low, high = f"{self.possible_low:g}", f"{self.possible_high:g}"
        return words(
            "%(quantity)s must be from %(low)s to %(high)s",
            quantity=words(self.name),
            low=low,
            high=f"{high} {words(self.unit)}" if self.unit else high,
        )


class ImpossibleQuantity(ValueError):
    """A number that cannot be true; the message names the bounds and the unit.

    ``field`` is the key in ``QUANTITIES``, for the form or the message that has to show it.
    """

    def __init__(self, *, field: str, value: object) -> None:
        super().__init__(
            words(
                "%(value)s is not possible: %(bounds)s.",
                value=value,
                bounds=QUANTITIES[field].sentence(),
            )
        )
        self.field = field


_MEMORY = "value from memory"

# fmt: off
QUANTITIES: dict[str, Bounds] = {
    "temperature_c": Bounds(
        marked("temperature"), marked("°C"), 20, 45, 32, 39,
        f"{WHO_2003}, F-70 (severe cold below 32), F-73 (above 39 from heat)"),
    "heart_rate": Bounds(
        marked("heart rate"), marked("/min"), 0, 350, 60, 180,
        f"2020 AHA guidelines, Part 5 (below 60); {WHO_2003}, F-5 (above 180)"),
    "respiratory_rate": Bounds(
        marked("breathing rate"), marked("/min"), 0, 150, 20, 90, f"{WHO_2003}, P-3 and F-49"),
    "spo2": Bounds(
        marked("SpO2"), marked("%"), 0, 100, 60, 100,
        "AHA algorithm 2015 (60 to 65 at one minute)"),
    "oxygen_flow_l_min": Bounds(
        marked("oxygen flow"), marked("L/min"), 0, 30, 0, 10,
        f"{_MEMORY} (bag and mask: 5 to 10 L/min)"),
    "fio2": Bounds(
        marked("oxygen fraction"), "", 0.21, 1, 0.21, 1,
        "share of oxygen in air and in pure oxygen"),
    "capillary_refill_s": Bounds(
        marked("time to refill"), marked("s"), 0, 30, 0, 6,
        f"{WHO_2003}, F-5 (above 3 is slow); high end: {COMMON_PRACTICE}"),
    "baby_systolic_mmhg": Bounds(
        marked("upper blood pressure of the baby"), marked("mmHg"), 0, 200, 20, 100,
        COMMON_PRACTICE),
    "room_c": Bounds(
        marked("room temperature"), marked("°C"), -20, 55, 10, 40, COMMON_PRACTICE),
    "weight_g": Bounds(marked("weight"), marked("g"), 200, 8000, 500, 5000, COMMON_PRACTICE),
    "gestation_weeks": Bounds(
        marked("gestation"), marked("weeks"), 20, 46, 24, 42, COMMON_PRACTICE),
    "glucose_mg_dl": Bounds(
        marked("glucose"), marked("mg/dL"), 0, 900, 25, 200,
        f"{WHO_2003}, F-91; high end: {COMMON_PRACTICE}"),
    "glucose_mmol_l": Bounds(
        marked("glucose"), marked("mmol/L"), 0, 50, 1.1, 11,
        f"{WHO_2003}, F-91; high end: {COMMON_PRACTICE}"),
    "systolic_mmhg": Bounds(
        marked("systolic pressure"), marked("mmHg"), 0, 300, 80, 180, COMMON_PRACTICE),
    "diastolic_mmhg": Bounds(
        marked("diastolic pressure"), marked("mmHg"), 0, 200, 40, 120, COMMON_PRACTICE),
    "age_years": Bounds(marked("age"), marked("years"), 8, 70, 14, 50, COMMON_PRACTICE),
    "oxygen_bar": Bounds(
        marked("oxygen pressure"), marked("bar"), 0, 330, 0, 230,
        f"{_MEMORY} (filled to 137, 230 or 300 bar)"),
    "oxygen_psi": Bounds(
        marked("oxygen pressure"), marked("psi"), 0, 4800, 0, 2400,
        f"{_MEMORY} (filled to about 2200 psi)"),
    "minutes": Bounds(
        marked("time"), marked("minutes"), 0, 86_400, 0, 40_320,
        "WHO: newborn means the first 28 days"),
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
