"""What is proposed for each journey that wants a vehicle, and why, in words.

A proposal sends nothing: a person does, and may send another vehicle.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from referrals.calc.wording import words
from transport.calc.assignment import NONE, Choice, next_best, steady
from transport.calc.vehicle_costs import (
    Cell,
    Going,
    Wanted,
    costs_in,
    lack_words,
    weight_words,
)

EXPLAINED = 3
"""Of how many nearer vehicles it is said why they do not go."""


@dataclass(frozen=True, kw_only=True)
class Proposal:
    """The vehicle for one journey (None: none is left that can go).

    ``saves``: expected minutes to care, weighted, that it is better than the next vehicle nobody
    else needs, or than none. ``reasons``: in words, the chosen vehicle first.
    """

    journey: str
    vehicle: str | None
    cell: Cell | None
    saves: float
    pinned: bool
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class Proposals:
    """One for each journey, in their order; what they cost in all, and the least possible.

    Both in expected minutes to care, each counted by its weight.
    """

    each: tuple[Proposal, ...]
    total: float
    least: float


@dataclass(frozen=True, kw_only=True)
class Before:
    """What was proposed by the last time and what people have pinned: vehicles by journey.

    ``threshold``: weighted minutes that a change must save before an earlier proposal is changed.
    """

    proposed: Mapping[str, str] = field(default_factory=dict)
    pinned: Mapping[str, str] = field(default_factory=dict)
    threshold: float = 0.0


def propose(
    wanted: Sequence[Wanted],
    going: Sequence[Going],
    cells: Sequence[Sequence[Cell]],
    before: Before,
) -> Proposals:
    """Choose over all journeys together; ``cells`` hold a row a journey, a column a vehicle.

    Earlier proposals and pins of journeys or vehicles that are not there any more do not count.

    Raises:
        ValueError: when one vehicle is pinned to two journeys.
    """
    if not wanted:
        return Proposals((), 0.0, 0.0)
    costs = np.array(costs_in(cells, wanted), dtype=float).reshape(len(wanted), len(going))
    without = np.array([each.without for each in wanted])
    choice = steady(
        costs,
        without,
        earlier=_numbers(before.proposed, wanted, going),
        pinned=_numbers(before.pinned, wanted, going),
        threshold=before.threshold,
    )
    told = _Telling(wanted, going, cells, choice, set(_numbers(before.pinned, wanted, going)))
    others = next_best(choice, costs, without)
    each = tuple(told.proposal(row, others[row]) for row in range(len(wanted)))
    return Proposals(each, choice.total, choice.optimum)


def _numbers(
    by_key: Mapping[str, str], wanted: Sequence[Wanted], going: Sequence[Going]
) -> dict[int, int]:
    rows = {each.key: number for number, each in enumerate(wanted)}
    columns = {each.key: number for number, each in enumerate(going)}
    return {
        rows[journey]: columns[vehicle]
        for journey, vehicle in by_key.items()
        if journey in rows and vehicle in columns
    }


@dataclass(frozen=True)
class _Telling:
    """Everything that the words are made from."""

    wanted: Sequence[Wanted]
    going: Sequence[Going]
    cells: Sequence[Sequence[Cell]]
    choice: Choice
    pinned: set[int]

    def proposal(self, row: int, other: float) -> Proposal:
        column = int(self.choice.columns[row])
        wanted = self.wanted[row]
        if column == NONE:
            return Proposal(
                journey=wanted.key,
                vehicle=None,
                cell=None,
                saves=0.0,
                pinned=False,
                reasons=tuple(self._why_none(row)),
            )
        cell = self.cells[row][column]
        cost = wanted.weight * cell.minutes if cell.minutes is not None else wanted.without
        return Proposal(
            journey=wanted.key,
            vehicle=self.going[column].key,
            cell=cell,
            saves=max(float(other) - cost, 0.0),
            pinned=row in self.pinned,
            reasons=tuple(self._why(row, column, cell)),
        )

    def _why(self, row: int, column: int, cell: Cell) -> Iterator[str]:
        vehicle = self.going[column]
        if row in self.pinned:
            yield words("%(vehicle)s: kept for this journey by a person", vehicle=vehicle.name)
        yield from cell.cannot
        if vehicle.until_free.p50 > 0.0:
            yield words("%(vehicle)s is not ready again yet", vehicle=vehicle.name)
        yield from lack_words(cell.lacks, vehicle.name)
        if row in self.pinned:
            return
        nearer = sorted(
            (each, other)
            for other in range(len(self.going))
            if other != column and (each := _expected(self.cells[row][other])) < _expected(cell)
        )
        for _minutes, other in nearer[:EXPLAINED]:
            yield self._although(row, column, other)
        if not nearer:
            yield words("%(vehicle)s is the soonest with the baby", vehicle=vehicle.name)
        if self.choice.given_up[row] > 0.0:
            yield words(
                "%(vehicle)s was proposed before; a change now would save too little "
                "(%(minutes)s min)",
                vehicle=vehicle.name,
                minutes=f"{self.choice.given_up[row]:.1f}",
            )

    def _although(self, row: int, column: int, other: int) -> str:
        """Why a vehicle that is with the baby sooner does not go."""
        chosen, nearer = self.going[column].name, self.going[other].name
        return words(
            "%(vehicle)s, although %(nearer)s is nearer: %(why)s",
            vehicle=chosen,
            nearer=nearer,
            why=self._against(row, other, self.cells[row][column]),
        )

    def _against(self, row: int, other: int, chosen: Cell | None) -> str:
        cell, nearer = self.cells[row][other], self.going[other]
        if cell.cannot:
            return ", ".join(cell.cannot)
        more = [code for code in cell.lacks if chosen is None or code not in chosen.lacks]
        if chosen and more and _later(cell, chosen):
            return ", ".join(lack_words(more, nearer.name))
        goes_for = self._goes_for(other)
        if goes_for is not None:
            if goes_for in self.pinned:
                return words(
                    "%(vehicle)s is kept for %(code)s by a person",
                    vehicle=nearer.name,
                    code=self.wanted[goes_for].key,
                )
            return words(
                "%(vehicle)s is needed more for %(code)s",
                vehicle=nearer.name,
                code=self.wanted[goes_for].key,
            )
        if chosen and _later(cell, chosen):
            return words("%(vehicle)s would be later at the unit", vehicle=nearer.name)
        return words("a change would save too little")

    def _goes_for(self, column: int) -> int | None:
        rows = np.flatnonzero(self.choice.columns == column)
        return int(rows[0]) if len(rows) else None

    def _why_none(self, row: int) -> Iterator[str]:
        yield words("No vehicle is left that can go. Ring for a car, a motorcycle or a boat now.")
        order = sorted(range(len(self.going)), key=lambda i: (_expected(self.cells[row][i]), i))
        for other in order[: 2 * EXPLAINED]:
            yield self._against(row, other, None)


def _later(cell: Cell, chosen: Cell) -> bool:
    """Whether one counts as later at the unit than the one chosen, with what each lacks."""
    first, second = cell.minutes, chosen.minutes
    return first is not None and (second is None or first > second)


def _expected(cell: Cell) -> float:
    """Expected minutes until it is with the baby."""
    return float("inf") if cell.baby_expected is None else cell.baby_expected


def why_it_counts(wanted: Wanted) -> str:
    """How much a minute of this journey counts, with the reasons."""
    return words(
        "A minute here counts %(weight)s: %(why)s",
        weight=f"{wanted.weight:g}",
        why="; ".join(weight_words(wanted)),
    )
