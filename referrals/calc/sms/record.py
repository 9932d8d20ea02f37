"""What was read in a message, as plain records."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class NotRead:
    """Words as they were typed that are not understood, and what to write instead, if known."""

    words: str
    hint: str = ""


@dataclass(frozen=True)
class Moment:
    """A time as told: so many minutes ago, or by the clock of the place."""

    minutes_ago: float | None = None
    clock: tuple[int, int] | None = None


@dataclass(frozen=True, kw_only=True)
class BabyRead:
    """What is told of one baby: facts by the names of the record, and what does not change."""

    facts: dict[str, Any] = field(default_factory=dict)
    sex: str = ""
    weight_guessed: bool | None = None
    born: Moment | None = None
    ventilated_since: Moment | None = None


@dataclass(frozen=True, kw_only=True)
class Reading:
    """A whole message. ``babies`` is by birth order; nothing is told of those it does not hold.

    Under ``None`` stands what was told without saying of which baby.
    """

    calls: bool = False
    new: bool = False
    corrects: bool = False
    babies: Mapping[int | None, BabyRead] = field(default_factory=dict)
    how_many: int | None = None
    mother: Mapping[str, Any] = field(default_factory=dict)
    alone: bool | None = None
    oxygen_bar: float | None = None
    milestone: str = ""
    position: tuple[float, float] | None = None
    codes: tuple[str, ...] = ()
    grave: tuple[str, ...] = ()
    not_read: tuple[NotRead, ...] = ()
    used: tuple[str, ...] = ()

    @property
    def has_facts(self) -> bool:
        """Whether anything about mother or baby is understood."""
        return bool(self.babies or self.mother or self.how_many or self.alone is not None)
