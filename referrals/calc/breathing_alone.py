"""How long a baby that was ventilated has been seen to breathe alone, from its readings."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from referrals.calc.status import VENTILATING_SUPPORT
from referrals.calc.terms import Breathing, Support


@dataclass(frozen=True, kw_only=True)
class BreathReading:
    """What one reading says of the breathing; what it does not say is ``None``."""

    at: datetime
    breathing: Breathing | None = None
    support: Support | None = None

    @property
    def shows_ventilation(self) -> bool:
        """Whether breaths were given, by hand or by machine."""
        return self.breathing is Breathing.VENTILATED or self.support in VENTILATING_SUPPORT

    @property
    def shows_help(self) -> bool:
        """Whether the baby was helped to breathe, or did not breathe well; oxygen is help too."""
        helped = self.support not in (None, Support.NONE)
        return helped or self.breathing not in (None, Breathing.REGULAR)

    @property
    def shows_alone(self) -> bool:
        """Whether the baby was seen to breathe regularly, with no help told beside it."""
        return self.breathing is Breathing.REGULAR and not self.shows_help


def alone_since(readings: Iterable[BreathReading]) -> datetime | None:
    """When the baby was first seen to breathe alone after the last reading that shows help.

    ``None`` when no such reading has come: hours without a reading are not hours of watching.
    Readings at the same moment that contradict each other count as help. This way of counting is
    common practice, no source.
    """
    rows = list(readings)
    helped = max((row.at for row in rows if row.shows_help), default=None)
    alone = (row.at for row in rows if row.shows_alone and (helped is None or row.at > helped))
    return min(alone, default=None)
