"""Which items of a score follow from readings that were told anyway.

Only what a reading says outright is taken over; a person confirms it, and what does not follow
stays open. Equivalences between the words of a reading and those of a score are our own reading
of the tables (common practice, no source).
"""

from collections.abc import Callable, Mapping
from typing import Any

from referrals.calc.scores import ScoreKind, Told
from referrals.calc.status import VENTILATING_SUPPORT
from referrals.calc.terms import (
    Breathing,
    Colour,
    GlucoseUnit,
    HeartRateBand,
    Response,
    Support,
)

Known = Mapping[str, Any]
"""Values by the name of their fact, all of about one time."""

FRESH_MINUTES = 30.0
"""Older readings are not taken over into a score (common practice, no source)."""
AT_THE_MINUTE = 1.0
"""A reading belongs to a set minute after birth when it lies this near to it, in minutes."""

_NO_BREATHS = {Breathing.NONE, Breathing.SLOW_OR_GASPING, Breathing.VENTILATED}


def _number(fact: str) -> Callable[[Known], Told | None]:
    return lambda known: Told(value=known[fact], quantity=fact) if fact in known else None


def _trips_respiratory(known: Known) -> Told | None:
    """A baby being bagged counts as severe: it has no breaths of its own."""
    breathing, support = known.get("breathing"), known.get("support")
    if breathing in _NO_BREATHS or support in VENTILATING_SUPPORT:
        return Told(value="severe")
    rate, spo2 = known.get("respiratory_rate"), known.get("spo2")
    if (rate is not None and rate > 60) or (spo2 is not None and spo2 < 85):
        return Told(value="moderate")
    if breathing == Breathing.REGULAR and rate is not None and spo2 is not None:
        return Told(value="none")
    return None


def _trips_response(known: Known) -> Told | None:
    if known.get("convulsions"):
        return Told(value="none")
    return _word(
        known,
        "response",
        {Response.VIGOROUS: "vigorous", Response.WEAK: "lethargic", Response.NONE: "none"},
    )


def _glucose(known: Known) -> Told | None:
    units = {
        GlucoseUnit.MG_DL.value: "glucose_mg_dl",
        GlucoseUnit.MMOL_L.value: "glucose_mmol_l",
    }
    quantity = units.get(known.get("glucose_unit", ""))
    if quantity is None or "glucose" not in known:
        return None
    return Told(value=known["glucose"], quantity=quantity)


def _word(known: Known, fact: str, means: Mapping[Any, str]) -> Told | None:
    found = means.get(known.get(fact))
    return Told(value=found) if found is not None else None


def _apgar_heart(known: Known) -> Told | None:
    rate = known.get("heart_rate")
    if rate is not None:
        return Told(value="0" if rate == 0 else "1" if rate < 100 else "2")
    return _word(
        known,
        "heart_rate_band",
        {
            HeartRateBand.NONE_DETECTED: "0",
            HeartRateBand.UNDER_60: "1",
            HeartRateBand.FROM_60_TO_99: "1",
            HeartRateBand.AT_LEAST_100: "2",
        },
    )


_FROM_READINGS: Mapping[ScoreKind, Mapping[str, Callable[[Known], Told | None]]] = {
    ScoreKind.TRIPS: {
        "temperature": _number("temperature_c"),
        "respiratory": _trips_respiratory,
        "response": _trips_response,
    },
    ScoreKind.TOPS: {
        "temperature": _number("temperature_c"),
        "oxygenation": _number("spo2"),
        "perfusion": _number("capillary_refill_s"),
        "sugar": _glucose,
    },
    ScoreKind.APGAR: {
        "colour": lambda known: _word(
            known,
            "colour",
            {Colour.BLUE_OR_PALE: "0", Colour.BLUE_HANDS_AND_FEET: "1", Colour.PINK: "2"},
        ),
        "heart_rate": _apgar_heart,
        "reflex": lambda known: _word(
            known, "response", {Response.NONE: "0", Response.WEAK: "1", Response.VIGOROUS: "2"}
        ),
        "breathing": lambda known: _word(
            known, "breathing", {Breathing.NONE: "0", Breathing.SLOW_OR_GASPING: "1"}
        ),
    },
    ScoreKind.SILVERMAN: {},
}
"""Signs of effort (Silverman-Andersen), tone and a good cry are in no reading."""

FACTS_OF: Mapping[str, tuple[str, ...]] = {
    "temperature": ("temperature_c",),
    "respiratory": ("breathing", "support", "respiratory_rate", "spo2"),
    "response": ("convulsions", "response"),
    "oxygenation": ("spo2",),
    "perfusion": ("capillary_refill_s",),
    "sugar": ("glucose",),
    "colour": ("colour",),
    "heart_rate": ("heart_rate", "heart_rate_band"),
    "reflex": ("response",),
    "breathing": ("breathing",),
}
"""From which facts an item follows; the newest of them says who saw it and when."""


def findings_from(kind: ScoreKind, known: Known) -> dict[str, Told]:
    """Return the items of a score that follow from what is known, by item."""
    found = {code: follows(known) for code, follows in _FROM_READINGS[kind].items()}
    return {code: told for code, told in found.items() if told is not None}


def help_given(known: Known) -> bool | None:
    """Return whether the baby was helped to breathe; ``None`` while nobody has told."""
    if known.get("breathing") == Breathing.VENTILATED:
        return True
    support = known.get("support")
    return None if support is None else support != Support.NONE
