"""Whether a baby breathes worse than before, by the readings of its breathing alone."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from referrals.calc.terms import Breathing

BEST_FIRST = (
    Breathing.REGULAR,
    Breathing.VENTILATED,
    Breathing.SLOW_OR_GASPING,
    Breathing.NONE,
)
"""A baby that is ventilated has breaths; one that gasps or does not breathe has too few of them
(common practice, no source)."""


@dataclass(frozen=True, kw_only=True)
class BreathingTold:
    """One reading: when it was true, its place among readings of that moment, and what was seen."""

    at: datetime
    sequence: int
    breathing: Breathing


@dataclass(frozen=True, kw_only=True)
class Worse:
    """The reading that was worse than the one ``before``; it stands until one is better."""

    reading: BreathingTold
    before: BreathingTold


def worse_than_before(readings: Iterable[BreathingTold]) -> Worse | None:
    """The last turn for the worse, unless a later reading is better; in any order of arrival."""
    turn: Worse | None = None
    last: BreathingTold | None = None
    for reading in sorted(readings, key=lambda each: (each.at, each.sequence)):
        if last and _rank(reading) > _rank(last):
            turn = Worse(reading=reading, before=last)
        elif turn and _rank(reading) < _rank(turn.reading):
            turn = None
        last = reading
    return turn


def _rank(reading: BreathingTold) -> int:
    return BEST_FIRST.index(reading.breathing)
