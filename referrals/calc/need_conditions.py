"""The shape of a rule, and the conditions on a status that rules are made of.

A condition answers ``True``, ``False`` or, where the facts are not known, ``None``. An unknown
fact leaves the answer open unless the known ones settle it, so that learning it can never overturn
a settled ``False``.
"""

from collections.abc import Callable
from dataclasses import dataclass, fields
from typing import Generic, TypeVar

from referrals.calc.status import (
    BabyStatus,
    MotherStatus,
    is_being_ventilated,
    known_value,
    lowest_heart_rate_band,
)
from referrals.calc.terms import (
    Breathing,
    Capability,
    Colour,
    GlucoseUnit,
    HeartRateBand,
    Support,
    Urgency,
)
from referrals.calc.thermal import ThermalClass, ThermalScheme, classify_temperature

StatusT = TypeVar("StatusT", BabyStatus, MotherStatus)
Answer = bool | None
Condition = Callable[[BabyStatus | MotherStatus], Answer]
BabyCondition = Callable[[BabyStatus], Answer]


@dataclass(frozen=True, kw_only=True)
class NeedRule(Generic[StatusT]):
    """One row: when it applies, what it calls for, how soon, and who says so.

    ``capabilities`` must be there; a unit without a ``preferred_capabilities`` stays a candidate,
    with a reason against it. ``limit_minutes`` counts from birth. ``facts`` are the fields read.
    """

    code: str
    words: str
    source: str
    applies: Callable[[StatusT], Answer]
    capabilities: frozenset[Capability]
    urgency: Urgency
    facts: tuple[str, ...]
    preferred_capabilities: frozenset[Capability] = frozenset()
    limit_minutes: float | None = None


def below(field: str, limit: float) -> Condition:
    """Return the condition that a measured field is below ``limit``, in the field's own unit."""

    def condition(status: BabyStatus | MotherStatus) -> Answer:
        value = known_value(status, field)
        return None if value is None else bool(value < limit)

    return condition


def above(field: str, limit: float) -> Condition:
    """Return the condition that a measured field is above ``limit``, in the field's own unit."""

    def condition(status: BabyStatus | MotherStatus) -> Answer:
        value = known_value(status, field)
        return None if value is None else bool(value > limit)

    return condition


def at_least(field: str, limit: float) -> Condition:
    """Return the condition that a measured field is ``limit`` or more, in the field's own unit."""

    def condition(status: BabyStatus | MotherStatus) -> Answer:
        value = known_value(status, field)
        return None if value is None else bool(value >= limit)

    return condition


def one_of(field: str, *values: object) -> Condition:
    """Return the condition that a field holds one of ``values``."""

    def condition(status: BabyStatus | MotherStatus) -> Answer:
        value = known_value(status, field)
        return None if value is None else value in values

    return condition


def either(*conditions: Callable[[StatusT], Answer]) -> Callable[[StatusT], Answer]:
    """Return the condition that one of several holds: one that holds settles it."""

    def condition(status: StatusT) -> Answer:
        answers = [each(status) for each in conditions]
        return True if True in answers else None if None in answers else False

    return condition


def both(*conditions: Callable[[StatusT], Answer]) -> Callable[[StatusT], Answer]:
    """Return the condition that all of several hold: one that does not hold settles it."""

    def condition(status: StatusT) -> Answer:
        answers = [each(status) for each in conditions]
        return False if False in answers else None if None in answers else True

    return condition


def glucose_below(*, mg_dl: float, mmol_l: float) -> BabyCondition:
    """Return the condition that glucose is below a limit printed in both units.

    Compared in the unit in which it was read: the printed pairs are not exact conversions. With
    the unit unknown the answer is given only where both units agree.
    """
    limits = {GlucoseUnit.MG_DL: mg_dl, GlucoseUnit.MMOL_L: mmol_l}

    def condition(status: BabyStatus) -> Answer:
        value = known_value(status, "glucose")
        if value is None:
            return None
        units = [status.glucose_unit] if status.glucose_unit else list(GlucoseUnit)
        answers = {bool(value < limits[unit]) for unit in units}
        return answers.pop() if len(answers) == 1 else None

    return condition


def heart_rate_band_in(*bands: HeartRateBand) -> BabyCondition:
    """Return the condition on the heart rate, felt or counted; if both are known, the lower."""

    def condition(status: BabyStatus) -> Answer:
        band = lowest_heart_rate_band(status)
        return None if band is None else band in bands

    return condition


def thermal_class_in(*classes: ThermalClass) -> BabyCondition:
    """Return the condition on the temperature class of WHO-1997, the finer scheme."""

    def condition(status: BabyStatus) -> Answer:
        celsius = known_value(status, "temperature_c")
        if celsius is None:
            return None
        return classify_temperature(celsius, scheme=ThermalScheme.WHO_1997) in classes

    return condition


# Lowest SpO2 (%) at a minute after birth, right hand: AHA algorithm 2015, unchanged 2020.
SPO2_FLOOR_FROM_MINUTE = ((1, 60), (2, 65), (3, 70), (4, 75), (5, 80), (10, 85))
# After ten minutes, and at an unknown age: ERC guidelines 2021, value from memory. For babies
# under 32 weeks WHO (Oxygen therapy for children, 2016) has 88; the higher floor is kept for all.
SPO2_FLOOR_LATER = 90


def spo2_floor(minutes_since_birth: float | None) -> float:
    """Return the SpO2 in % below which a baby of that age counts as short of oxygen."""
    if minutes_since_birth is None or minutes_since_birth > SPO2_FLOOR_FROM_MINUTE[-1][0]:
        return SPO2_FLOOR_LATER
    floors = [floor for minute, floor in SPO2_FLOOR_FROM_MINUTE if minutes_since_birth >= minute]
    return floors[-1] if floors else SPO2_FLOOR_FROM_MINUTE[0][1]


def spo2_is_low(status: BabyStatus) -> Answer:
    """Return whether SpO2 is below the floor for the age; the strictest floor if age is unknown."""
    spo2 = known_value(status, "spo2")
    if spo2 is None:
        return None
    return bool(spo2 < spo2_floor(known_value(status, "minutes_since_birth")))


BABY_FACTS = tuple(field.name for field in fields(BabyStatus))


def nothing_is_known(status: BabyStatus) -> bool:
    """Return whether no field holds a value that can be true."""
    return all(known_value(status, field) is None for field in BABY_FACTS)


def breathing_is_unknown(status: BabyStatus) -> bool:
    """Return whether it is not known if the baby breathes or is being ventilated."""
    breathes = status.breathing is not None or known_value(status, "respiratory_rate") is not None
    return not (breathes or is_being_ventilated(status))


not_breathing: BabyCondition = either(
    one_of("breathing", Breathing.NONE), below("respiratory_rate", 1)
)
slow_or_gasping: BabyCondition = either(
    one_of("breathing", Breathing.SLOW_OR_GASPING), below("respiratory_rate", 20)
)
needs_breaths: BabyCondition = either(is_being_ventilated, not_breathing, slow_or_gasping)
blue_or_pale = one_of("colour", Colour.BLUE_OR_PALE)
gets_oxygen = one_of(
    "support",
    Support.OXYGEN_BY_PRONGS,
    Support.BAG_AND_MASK_OXYGEN,
    Support.CPAP,
    Support.VENTILATOR,
)
