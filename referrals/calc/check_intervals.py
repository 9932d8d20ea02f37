"""How often a baby is checked on the way, by its state; a district sets what differs.

WHO, Managing newborn problems, 2003, C-65 and C-66: every 15 minutes on the road, temperature every
hour, whatever the state. The shortest interval of all states that hold is kept.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from referrals.calc.status import BabyStatus, is_being_ventilated, known_value
from referrals.calc.terms import Breathing, Support
from referrals.calc.thermal import MODERATE_BELOW_C
from referrals.calc.wording import words

LONGEST_MINUTES = 240
"""An interval longer than this is a slip of the finger; common practice, no source."""


class CheckState(StrEnum):
    """A state of the baby for which a district may set intervals of its own."""

    VENTILATED = "ventilated"
    BREATHES_WITH_HELP = "breathes_with_help"
    BREATHES_ALONE = "breathes_alone"
    COLD = "cold"


@dataclass(frozen=True, kw_only=True)
class Intervals:
    """Minutes from one check to the next, and from one temperature to the next."""

    check: float
    temperature: float


def states_of(status: BabyStatus) -> list[CheckState]:
    """The states that hold; a baby of whom it is not known counts as ventilated."""
    ventilated = is_being_ventilated(status)
    if ventilated or (ventilated is None and status.breathing != Breathing.REGULAR):
        states = [CheckState.VENTILATED]
    elif status.breathing == Breathing.REGULAR and status.support in (None, Support.NONE):
        states = [CheckState.BREATHES_ALONE]
    else:
        states = [CheckState.BREATHES_WITH_HELP]
    celsius = known_value(status, "temperature_c")
    if celsius is not None and celsius < MODERATE_BELOW_C:
        states.append(CheckState.COLD)
    return states


def intervals_for(
    status: BabyStatus, settings: Mapping[str, Mapping[str, float]], *, usual: Intervals
) -> Intervals:
    """The intervals of a baby: what the district set for its states, else the usual ones.

    Cold only ever shortens: it stands beside another state.
    """
    first, *more = states_of(status)
    told = settings.get(first.value, {})
    check = told.get("check", usual.check)
    temperature = told.get("temperature", usual.temperature)
    for state in more:
        beside = settings.get(state.value, {})
        check = min(check, beside.get("check", check))
        temperature = min(temperature, beside.get("temperature", temperature))
    return Intervals(check=check, temperature=temperature)


def fault_of(settings: object) -> str:
    """What is wrong with a district's intervals by state, in words; empty if nothing is."""
    if not isinstance(settings, Mapping):
        return words('write it as {"ventilated": {"check": 15, "temperature": 60}}')
    for state, told in settings.items():
        if state not in set(CheckState):
            known = ", ".join(CheckState)
            return words("%(state)s is no state; known are: %(known)s", state=state, known=known)
        if not isinstance(told, Mapping) or not set(told) <= {"check", "temperature"}:
            return words("%(state)s takes check and temperature, in minutes", state=state)
        for value in told.values():
            if not _are_minutes(value):
                return words(
                    "%(state)s: minutes from 1 to %(most)d", state=state, most=LONGEST_MINUTES
                )
    return ""


def _are_minutes(value: Any) -> bool:
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    return is_number and 1 <= value <= LONGEST_MINUTES
