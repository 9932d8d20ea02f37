"""What is known of a baby or a mother at one moment, and the words for it.

Every field may be unknown (``None``). Readings arrive late, twice and out of order, so the current
status is a fold in which the newest value of each field wins, whatever the order of arrival.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from referrals.calc.quantities import Verdict, check_quantity, require_possible
from referrals.calc.terms import (
    Bleeding,
    Breathing,
    Colour,
    Consciousness,
    GlucoseUnit,
    HeartRateBand,
    Placenta,
    Response,
    Support,
)
from referrals.calc.wording import marked, words


@dataclass(frozen=True, kw_only=True)
class BabyStatus:
    """What is known of one baby. Rates a minute, temperature in °C, SpO2 in %, age in minutes,
    the time until pressed skin is pink again in seconds.

    ``glucose`` is in ``glucose_unit``; it is never converted before it is compared.
    """

    breathing: Breathing | None = None
    support: Support | None = None
    heart_rate: int | None = None
    heart_rate_band: HeartRateBand | None = None
    respiratory_rate: int | None = None
    minutes_since_birth: float | None = None
    minutes_ventilated: float | None = None
    weight_g: float | None = None
    gestation_weeks: float | None = None
    temperature_c: float | None = None
    spo2: float | None = None
    colour: Colour | None = None
    response: Response | None = None
    glucose: float | None = None
    glucose_unit: GlucoseUnit | None = None
    convulsions: bool | None = None
    capillary_refill_s: float | None = None


@dataclass(frozen=True, kw_only=True)
class MotherStatus:
    """What is known of the mother. Pressures in mmHg."""

    bleeding: Bleeding | None = None
    placenta: Placenta | None = None
    systolic_mmhg: float | None = None
    diastolic_mmhg: float | None = None
    consciousness: Consciousness | None = None


# The quantity whose limits hold for each measured field; glucose depends on its unit.
_QUANTITY_OF = {
    "heart_rate": "heart_rate",
    "respiratory_rate": "respiratory_rate",
    "minutes_since_birth": "minutes",
    "minutes_ventilated": "minutes",
    "weight_g": "weight_g",
    "gestation_weeks": "gestation_weeks",
    "temperature_c": "temperature_c",
    "spo2": "spo2",
    "oxygen_flow_l_min": "oxygen_flow_l_min",
    "fio2": "fio2",
    "capillary_refill_s": "capillary_refill_s",
    "systolic_mmhg": "systolic_mmhg",
    "diastolic_mmhg": "diastolic_mmhg",
}
_GLUCOSE_QUANTITY = {GlucoseUnit.MG_DL: "glucose_mg_dl", GlucoseUnit.MMOL_L: "glucose_mmol_l"}


def quantity_of(field: str, *, glucose_unit: GlucoseUnit | None = None) -> str | None:
    """Return the key in ``QUANTITIES`` that bounds a field, or ``None`` for words and flags.

    Glucose without a unit gets the wider bounds, those of mg/dL.
    """
    if field == "glucose":
        return _GLUCOSE_QUANTITY[glucose_unit or GlucoseUnit.MG_DL]
    return _QUANTITY_OF.get(field)


def known_value(status: BabyStatus | MotherStatus, field: str) -> Any:
    """Return the value of a field, or ``None`` if it is unknown or cannot be true.

    Doors refuse impossible numbers. One that came in all the same is left out here instead of
    raising, so that a typing error never stops a referral.
    """
    value = getattr(status, field)
    quantity = quantity_of(field, glucose_unit=getattr(status, "glucose_unit", None))
    if value is None or quantity is None:
        return value
    return None if check_quantity(quantity, value) is Verdict.IMPOSSIBLE else value


VENTILATING_SUPPORT = frozenset(
    {Support.BAG_AND_MASK_AIR, Support.BAG_AND_MASK_OXYGEN, Support.VENTILATOR}
)


def is_being_ventilated(status: BabyStatus) -> bool | None:
    """Return whether breaths are being given now, by hand or by machine; CPAP gives none.

    One sign of it is enough, so contradictory entries count as ventilated. ``None`` means that it
    cannot be told: treat that as ventilated wherever the answer shortens a wait.
    """
    if status.breathing == Breathing.VENTILATED or status.support in VENTILATING_SUPPORT:
        return True
    return None if status.breathing is None or status.support is None else False


def heart_rate_band_of(rate: float) -> HeartRateBand:
    """Return the band of a counted heart rate, beats a minute.

    Lines at 60 and 100: 2020 AHA guidelines, Part 5, Circulation 2020;142(S2). Raises
    ``ImpossibleQuantity``.
    """
    rate = require_possible("heart_rate", rate)
    if rate == 0:
        return HeartRateBand.NONE_DETECTED
    if rate < 60:
        return HeartRateBand.UNDER_60
    return HeartRateBand.FROM_60_TO_99 if rate < 100 else HeartRateBand.AT_LEAST_100


def lowest_heart_rate_band(status: BabyStatus) -> HeartRateBand | None:
    """Return the lower of the felt band and the band of the counted rate, if either is known."""
    rate = known_value(status, "heart_rate")
    bands = {heart_rate_band_of(rate)} if rate is not None else set()
    if status.heart_rate_band is not None:
        bands.add(status.heart_rate_band)
    return next((band for band in HeartRateBand if band in bands), None)


_BREATHING_WORDS = {
    Breathing.REGULAR: marked("breathing regularly"),
    Breathing.SLOW_OR_GASPING: marked("breathing slowly or gasping"),
    Breathing.NONE: marked("not breathing"),
    Breathing.VENTILATED: marked("being ventilated"),
}
_SUPPORT_WORDS = {
    Support.NONE: marked("no support"),
    Support.OXYGEN_BY_PRONGS: marked("oxygen by prongs"),
    Support.BAG_AND_MASK_AIR: marked("bag and mask with air"),
    Support.BAG_AND_MASK_OXYGEN: marked("bag and mask with oxygen"),
    Support.CPAP: marked("CPAP"),
    Support.VENTILATOR: marked("ventilator"),
}
_HEART_RATE_BAND_WORDS = {
    HeartRateBand.NONE_DETECTED: marked("no heartbeat detected"),
    HeartRateBand.UNDER_60: marked("heart rate under 60/min"),
    HeartRateBand.FROM_60_TO_99: marked("heart rate 60-99/min"),
    HeartRateBand.AT_LEAST_100: marked("heart rate at least 100/min"),
}
_COLOUR_WORDS = {
    Colour.PINK: marked("pink"),
    Colour.BLUE_HANDS_AND_FEET: marked("blue hands and feet"),
    Colour.BLUE_OR_PALE: marked("blue or pale"),
}
_RESPONSE_WORDS = {
    Response.VIGOROUS: marked("responds vigorously"),
    Response.WEAK: marked("responds weakly"),
    Response.NONE: marked("does not respond"),
}
_GLUCOSE_WORDS = {
    None: marked("glucose %(value)s (unit not known)"),
    GlucoseUnit.MG_DL: marked("glucose %(value)s mg/dL"),
    GlucoseUnit.MMOL_L: marked("glucose %(value)s mmol/L"),
}
_CONVULSION_WORDS = {True: marked("convulsions"), False: marked("no convulsions")}


def summary_in_words(status: BabyStatus) -> str:
    """Return one line in handover order: who and how supported, background, then findings.

    Unknown fields are left out; the felt heart rate band is left out beside a counted rate.
    """
    band = status.heart_rate_band if status.heart_rate is None else None
    phrases = (
        _age_in_words(status.minutes_since_birth),
        _measured(marked("%(value)s g"), status.weight_g),
        _breathing_in_words(status),
        words(_SUPPORT_WORDS[status.support]) if status.support else None,
        _measured(marked("%(value)s weeks"), status.gestation_weeks),
        _measured(marked("heart rate %(value)s/min"), status.heart_rate),
        words(_HEART_RATE_BAND_WORDS[band]) if band else None,
        _measured(marked("breathing rate %(value)s/min"), status.respiratory_rate),
        _measured(marked("SpO2 %(value)s %%"), status.spo2),
        _measured(marked("%(value)s °C"), status.temperature_c),
        _measured(_GLUCOSE_WORDS[status.glucose_unit], status.glucose),
        words(_COLOUR_WORDS[status.colour]) if status.colour else None,
        _measured(marked("pink again after %(value)s s"), status.capillary_refill_s),
        words(_RESPONSE_WORDS[status.response]) if status.response else None,
        words(_CONVULSION_WORDS[status.convulsions]) if status.convulsions is not None else None,
    )
    return ", ".join(phrase for phrase in phrases if phrase) or words("nothing known yet")


def _breathing_in_words(status: BabyStatus) -> str | None:
    """Return how the baby breathes, and for how long it has been ventilated."""
    breathing = words(_BREATHING_WORDS[status.breathing]) if status.breathing else None
    if status.minutes_ventilated is None:
        return breathing
    minutes = int(status.minutes_ventilated)
    if status.breathing is Breathing.VENTILATED:
        return words("being ventilated for %(minutes)d min", minutes=minutes)
    ventilated = words("ventilated for %(minutes)d min", minutes=minutes)
    return ", ".join(part for part in (breathing, ventilated) if part)


def _measured(sentence: str, value: float | None) -> str | None:
    return None if value is None else words(sentence, value=_number(value))


def _number(value: float) -> str:
    """Write a number as it was read: no needless decimals, never a power of ten."""
    return f"{value:.2f}".rstrip("0").rstrip(".")


def _age_in_words(minutes: float | None) -> str | None:
    """Return the age in whole minutes under two hours, then hours and minutes, then days.

    An age below zero comes from a phone clock that is off, and is left out.
    """
    if minutes is None or minutes < 0:
        return None
    whole = int(minutes)
    if whole < 120:
        return words("%(minutes)d min old", minutes=whole)
    if whole < 48 * 60:
        return words("%(hours)d h %(minutes)d min old", hours=whole // 60, minutes=whole % 60)
    return words("%(days)d days old", days=whole // (24 * 60))


_STAMPS = frozenset({"at", "sequence"})
BESIDE = {"glucose": "glucose_unit", "support": "support_since"}
"""What is one fact with another: the value, and what stands beside it."""


def fold_readings(readings: Iterable[Mapping[str, Any]]) -> dict[str, tuple[Any, Any]]:
    """Return for each field its newest known value and the time of that value.

    A reading maps fields to values and carries ``at`` (when it was true) and ``sequence`` (the
    order within one device, 0 if left out). The newest value that is not ``None`` wins by
    (``at``, ``sequence``). Of two equally new values the one later in text order wins: an
    arbitrary rule, but the same whatever the order of arrival. A glucose value and its unit are
    one fact: a value without a unit never takes the unit of an older one. So are a support and
    since when it has been in use.
    """
    newest: dict[str, tuple[tuple[Any, int, str], Any]] = {}
    for reading in readings:
        for field, value in _facts_of(reading).items():
            rank = (reading["at"], reading.get("sequence") or 0, repr(value))
            if field not in newest or rank > newest[field][0]:
                newest[field] = (rank, value)
    folded = {field: (value, rank[0]) for field, (rank, value) in newest.items()}
    return _apart(folded)


def _facts_of(reading: Mapping[str, Any]) -> dict[str, Any]:
    """Return the known fields of one reading, what stands beside a value as one with it."""
    facts = {
        field: value
        for field, value in reading.items()
        if value is not None and field not in _STAMPS
    }
    for field, beside in BESIDE.items():
        told = facts.pop(beside, None)
        if field in facts:
            facts[field] = (facts[field], told)
    return facts


def _apart(folded: dict[str, tuple[Any, Any]]) -> dict[str, tuple[Any, Any]]:
    """Return the folded facts with each value and what stands beside it as two fields again."""
    for field, beside in BESIDE.items():
        if field in folded:
            (value, told), at = folded[field]
            folded[field] = (value, at)
            if told is not None:
                folded[beside] = (told, at)
    return folded
