"""Published scores of a newborn: points by item, a total only when every item is known.

The tables stand in ``score_tables.py``, each with its source. A score is shown with what it was
published for; nothing here says what should be done.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from referrals.calc.quantities import QUANTITIES, require_possible
from referrals.calc.wording import counted, words


class ScoreKind(StrEnum):
    """The scores there are."""

    TRIPS = "trips"
    TOPS = "tops"
    APGAR = "apgar"
    SILVERMAN = "silverman"


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One way an item can be found, in words, with its points."""

    code: str
    words: str
    points: int


@dataclass(frozen=True, kw_only=True)
class Item:
    """One item of a score: either ``findings`` to choose from, or a number with ``points_of``.

    ``quantity`` is the key in ``QUANTITIES`` that bounds the number; ``other_units`` gives, for a
    value that may be read in another unit, that unit's quantity. ``points_of`` takes the number
    and the name of its quantity.
    """

    code: str
    words: str
    findings: tuple[Finding, ...] = ()
    quantity: str = ""
    other_units: tuple[str, ...] = ()
    points_of: Callable[[float, str], int] | None = None
    points_in_words: str = ""

    @property
    def is_measured(self) -> bool:
        """Whether it is a number."""
        return bool(self.quantity)

    @property
    def quantities(self) -> tuple[str, ...]:
        """Every quantity in which its number may be told, the usual one first."""
        return (self.quantity, *self.other_units) if self.quantity else ()


@dataclass(frozen=True, kw_only=True)
class Band:
    """What a range of totals was called where the score was published, both ends included."""

    low: int
    high: int
    words: str


@dataclass(frozen=True, kw_only=True)
class Score:
    """One published score. ``published_for`` and ``source`` are shown wherever it is."""

    kind: ScoreKind
    name: str
    items: tuple[Item, ...]
    lowest: int
    highest: int
    higher_is_worse: bool
    direction: str
    published_for: str
    source: str
    bands: tuple[Band, ...] = ()
    minutes: tuple[int, ...] = ()
    asks_for_help_given: bool = False

    def item(self, code: str) -> Item:
        """The item of that code; ``KeyError`` when there is none."""
        return {item.code: item for item in self.items}[code]


class NotAFinding(ValueError):
    """A value that the item does not know; ``field`` is the item's code."""

    def __init__(self, field: str, sentence: str) -> None:
        super().__init__(sentence)
        self.field = field


@dataclass(frozen=True, kw_only=True)
class Told:
    """What was found of one item: the code of a finding, or a number in a quantity's unit."""

    value: str | float
    quantity: str = ""


@dataclass(frozen=True, kw_only=True)
class Counted:
    """The points by item, and the total; ``total`` is ``None`` as long as an item is missing."""

    points: Mapping[str, int]
    missing: tuple[str, ...]
    total: int | None
    band: str = ""


def points_of(item: Item, told: Told) -> int:
    """Return the points of one item.

    Raises:
        NotAFinding: for a word or a unit that the item does not have.
        ImpossibleQuantity: for a number outside its possible bounds.
    """
    if item.points_of is None:
        return _points_of_word(item, told.value)
    quantity = told.quantity or item.quantity
    if quantity not in item.quantities:
        known = ", ".join(words(QUANTITIES[name].unit) for name in item.quantities)
        raise NotAFinding(item.code, words("the unit must be one of: %(known)s", known=known))
    if isinstance(told.value, bool) or not isinstance(told.value, int | float):
        raise NotAFinding(item.code, words("%(value)s is not a number", value=told.value))
    return item.points_of(require_possible(quantity, told.value), quantity)


def _points_of_word(item: Item, value: Any) -> int:
    for finding in item.findings:
        if finding.code == value:
            return finding.points
    known = ", ".join(finding.code for finding in item.findings)
    raise NotAFinding(
        item.code,
        words(
            "%(value)s is not a word for %(item)s; known are: %(known)s",
            value=value,
            item=item.code,
            known=known,
        ),
    )


def count(score: Score, told: Mapping[str, Told]) -> Counted:
    """Return what a score comes to. Nothing is ever filled in for an item that is missing.

    Raises:
        NotAFinding: for an item, a word or a unit that the score does not have.
        ImpossibleQuantity: for a number outside its possible bounds.
    """
    codes = [item.code for item in score.items]
    for code in told:
        if code not in codes:
            known = ", ".join(codes)
            sentence = words(
                "there is no item %(item)s; known are: %(known)s", item=code, known=known
            )
            raise NotAFinding(code, sentence)
    points = {
        item.code: points_of(item, told[item.code]) for item in score.items if item.code in told
    }
    missing = tuple(code for code in codes if code not in points)
    if missing:
        return Counted(points=points, missing=missing, total=None)
    total = sum(points.values())
    return Counted(points=points, missing=(), total=total, band=_band_of(score, total))


def _band_of(score: Score, total: int) -> str:
    return next((band.words for band in score.bands if band.low <= total <= band.high), "")


def named(score: Score, *, minute: int | None = None, assisted: bool | None = None) -> str:
    """Return the name of a score with its minute, and 'assisted' where help was given."""
    name = words(score.name)
    if minute is not None:
        name = words("%(score)s at %(minute)d min", score=name, minute=minute)
    return words("%(score)s, assisted", score=name) if assisted else name


def in_words(
    score: Score,
    counted_: Counted,
    *,
    minute: int | None = None,
    assisted: bool | None = None,
) -> str:
    """Return one line: the total within its range and its band, or which items are missing."""
    name = named(score, minute=minute, assisted=assisted)
    if counted_.total is None:
        items = "; ".join(words(score.item(code).words) for code in counted_.missing)
        return counted(
            "%(score)s: no number, one item is missing: %(items)s",
            "%(score)s: no number, %(count)d items are missing: %(items)s",
            len(counted_.missing),
            score=name,
            items=items,
        )
    said = words(
        "%(score)s: %(total)d (%(lowest)d to %(highest)d, %(direction)s)",
        score=name,
        total=counted_.total,
        lowest=score.lowest,
        highest=score.highest,
        direction=words(score.direction),
    )
    return f"{said}, {words(counted_.band)}" if counted_.band else said


def below(limit: Mapping[str, float], points: int = 1) -> Callable[[float, str], int]:
    """Points for a number below the limit of its quantity, else none."""
    return lambda value, quantity: points if value < limit[quantity] else 0


def above(limit: float, points: int = 1) -> Callable[[float, str], int]:
    """Points for a number above a limit, else none."""
    return lambda value, quantity: points if value > limit else 0


def stepped(
    steps: tuple[tuple[float, int], ...], *, rounded: int = 0
) -> Callable[[float, str], int]:
    """Points of the first step whose upper end the number does not pass; half goes up.

    The published tables print whole steps of the instrument, so the number is first read as the
    table prints it, with ``rounded`` decimals.
    """

    def points(value: float, quantity: str) -> int:
        scale = 10**rounded
        read = math.floor(value * scale + 0.5 + 1e-9) / scale
        return next(given for highest, given in steps if read <= highest)

    return points
