"""How long a vehicle stands without a unit before the desk may send it toward one."""

from collections.abc import Mapping
from typing import Any

from referrals.calc.terms import Urgency
from referrals.calc.wording import words

DEFAULT_MINUTES = {Urgency.VENTILATED: 10.0, Urgency.URGENT: 20.0, Urgency.STABLE: 60.0}
"""From the raise, by urgency; common practice, no source, for a district to set."""


def default_minutes() -> dict[str, float]:
    """A new district's limits."""
    return {urgency.value: minutes for urgency, minutes in DEFAULT_MINUTES.items()}


def fault_of(limits: Any) -> str:
    """What is wrong with limits in minutes by urgency, in words; empty where nothing is."""
    known = [urgency.value for urgency in Urgency]
    if not isinstance(limits, Mapping) or not set(limits) <= set(known):
        return words(
            "must be minutes by urgency (%(known)s), not %(found)r",
            known=", ".join(known),
            found=limits,
        )
    for urgency, minutes in limits.items():
        number = isinstance(minutes, (int, float)) and not isinstance(minutes, bool)
        if not (number and 0 < minutes <= 24 * 60):
            return words(
                "%(urgency)s must be above 0 and at most %(most)d minutes, not %(found)r",
                urgency=urgency,
                most=24 * 60,
                found=minutes,
            )
    return ""


def minutes_for(limits: Mapping[str, float], urgency: Urgency) -> float:
    """The limit for an urgency; one that the district does not state is the default."""
    return float(limits.get(urgency.value, DEFAULT_MINUTES[urgency]))
