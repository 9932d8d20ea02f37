"""Numbers as they are typed, with their units, into values of the record; never out of bounds."""

import re
from collections.abc import Sequence
from typing import Any

from referrals.calc import wording
from referrals.calc.quantities import QUANTITIES, Verdict, check_quantity, psi_to_bar
from referrals.calc.sms import words
from referrals.calc.sms.record import Moment
from referrals.calc.sms.words import Measure

_NUMBER = re.compile(r"\d+(?:[.,]\d+)?")
_CLOCK = re.compile(r"([01]?\d|2[0-3])[:.]([0-5]\d)|([01]\d|2[0-3])([0-5]\d)")
_WEEKS_AND_DAYS = re.compile(r"(\d\d)\+([0-6])")
_DEGREES = re.compile(r"([-+]?\d{1,3}(?:[.,]\d+)?)([nsew]?)")


class BadNumber(ValueError):
    """A number that does not fit its name; the message says what would."""


def values_of(measure: Measure, numbers: Sequence[str], unit: str) -> dict[str, Any]:
    """The slots and values of one measure.

    Raises:
        BadNumber: when a number cannot be what its name says.
    """
    if measure.slot == "pressure":
        return _pressure(numbers)
    number = numbers[0]
    if measure.slot in ("born", "ventilated_since"):
        return {measure.slot: _moment(number, unit)}
    if measure.slot == "gestation_weeks" and (parts := _WEEKS_AND_DAYS.fullmatch(number)):
        weeks = int(parts[1]) + int(parts[2]) / 7
        return {measure.slot: _bounded("gestation_weeks", round(weeks, 2))}
    value = _plain_number(number, whole=measure.whole)
    if measure.slot == "weight_g":
        return {measure.slot: _grams(number, value, unit)}
    if measure.slot == "glucose":
        if unit not in ("mg", "mmol"):
            raise BadNumber(wording.words("mg or mmol after it"))
        code = f"{unit}_{'dl' if unit == 'mg' else 'l'}"
        return {"glucose": _bounded(f"glucose_{code}", value), "glucose_unit": code}
    if measure.slot == "fio2":
        return {"fio2": _bounded("fio2", round(value / 100, 4) if unit or value > 1 else value)}
    if measure.slot == "oxygen_bar" and unit == "psi":
        return {"oxygen_bar": round(psi_to_bar(_bounded("oxygen_psi", value)), 1)}
    return {measure.slot: _bounded(measure.slot, int(value) if measure.whole else value)}


def _plain_number(text: str, *, whole: bool) -> float:
    if not _NUMBER.fullmatch(text) or len(text) > 9:
        raise BadNumber("")
    if whole and not text.isdigit():
        raise BadNumber(wording.words("a whole number"))
    return float(text.replace(",", "."))


def _bounded(quantity: str, value: float) -> Any:
    if check_quantity(quantity, value) is Verdict.IMPOSSIBLE:
        bounds = QUANTITIES[quantity]
        raise BadNumber(
            wording.words(
                "%(low)s to %(high)s",
                low=f"{bounds.possible_low:g}",
                high=f"{bounds.possible_high:g}",
            )
        )
    return value


def _grams(typed: str, value: float, unit: str) -> int:
    """Grams; a number too small for grams is kilograms, and no number can be both."""
    most_kg = QUANTITIES["weight_g"].possible_high / 1000
    in_kg = unit.startswith("k") or (not unit and value <= most_kg)
    if not in_kg and not typed.isdigit():
        raise BadNumber(wording.words("in whole grams"))
    return int(_bounded("weight_g", round(value * 1000 if in_kg else value)))


def _pressure(numbers: Sequence[str]) -> dict[str, Any]:
    parts = [part for each in numbers for part in each.split("/")]
    if len(parts) > 2:
        raise BadNumber(wording.words("as in 110/70"))
    upper = int(_bounded("systolic_mmhg", _plain_number(parts[0], whole=True)))
    if len(parts) == 1:
        return {"systolic_mmhg": upper}
    lower = int(_bounded("diastolic_mmhg", _plain_number(parts[1], whole=True)))
    if lower > upper:
        raise BadNumber(wording.words("the upper one first"))
    return {"systolic_mmhg": upper, "diastolic_mmhg": lower}


def _moment(number: str, unit: str) -> Moment:
    clock = _CLOCK.fullmatch(number)
    if clock and not unit:
        hours, minutes = (part for part in clock.groups() if part is not None)
        return Moment(clock=(int(hours), int(minutes)))
    minutes_ago = _plain_number(number, whole=True) * words.MINUTES_OF.get(unit, 1.0)
    return Moment(minutes_ago=_bounded("minutes", minutes_ago))


def degrees_apart(token: str) -> list[str]:
    """Latitude and longitude written together with a comma between their decimals."""
    head, comma, tail = token.partition(",")
    return [head, tail] if comma and "." in head and "." in tail else [token]


def position_of(numbers: Sequence[str]) -> tuple[float, float]:
    """A place, as latitude and longitude in degrees.

    Raises:
        BadNumber: when it is not one.
    """
    wanted = wording.words("as in pos -22.41 85.93")
    parts = [_DEGREES.fullmatch(each) for each in numbers]
    if len(parts) != 2 or not parts[0] or not parts[1]:
        raise BadNumber(wanted)
    values = []
    for part, sides, most in ((parts[0], "ns", 90), (parts[1], "ew", 180)):
        degrees = float(part[1].replace(",", "."))
        if (part[2] and part[2] not in sides) or abs(degrees) > most:
            raise BadNumber(wanted)
        values.append(-abs(degrees) if part[2] in ("s", "w") else degrees)
    return values[0], values[1]
