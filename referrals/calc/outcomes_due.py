"""Which outcome a unit owes the post that called, and from when: a day, a week, until it is over.

After the first day as the district says; after a week; then until the baby has left the unit or has
died, since a back-referral goes out on discharge or death (WHO, Managing newborn problems, 2003,
C-64). How often, and for how long it is asked for, is common practice, no source.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from referrals.calc.terms import OutcomeMoment, OutcomeState

FIRST_WEEK = timedelta(days=7)
ASKED_FOR_DISCHARGE = tuple(timedelta(days=days) for days in (28, 42, 56))
"""When it is asked for whether the baby has left, from the handover on: first at the end of the
newborn weeks, then every two weeks; common practice, no source."""
GIVEN_UP_AFTER = timedelta(days=70)
"""Two weeks after the last time nothing is owed any more; common practice, no source."""
NEARLY_DUE = timedelta(hours=6)
"""So long before an outcome falls due, what is told counts for it on a form; common practice, no
source."""

ENDING_STATES = frozenset({OutcomeState.GONE_HOME, OutcomeState.TRANSFERRED_ON, OutcomeState.DIED})
ENDING_MOMENTS = frozenset({OutcomeMoment.AT_DISCHARGE, OutcomeMoment.DEATH})

STATES_AT = {
    OutcomeMoment.AT_DISCHARGE: frozenset(
        {OutcomeState.IMPROVING, OutcomeState.GONE_HOME, OutcomeState.TRANSFERRED_ON}
    ),
    OutcomeMoment.DEATH: frozenset({OutcomeState.DIED}),
}
"""The states that can be told of a moment; of the others every state can."""


@dataclass(frozen=True)
class ToldOutcome:
    """An outcome that stands; without a moment it tells how the baby was at any time."""

    told_at: datetime
    state: OutcomeState | None
    moment: OutcomeMoment | None = None

    @property
    def ends(self) -> bool:
        """Whether nothing is owed after it: the baby is not at the unit any more."""
        return self.state in ENDING_STATES or self.moment in ENDING_MOMENTS


@dataclass(frozen=True, order=True)
class OwedOutcome:
    """An outcome that the post waits for; ``time`` counts how often one moment is asked for."""

    due_at: datetime
    moment: OutcomeMoment
    time: int = 1


def goes_with(moment: str, state: str) -> bool:
    """Whether a state can be told of a moment: who is still in care has not left."""
    return all(state in states for named, states in STATES_AT.items() if named == moment)


def owed_outcomes(
    handed_over_at: datetime, told: Iterable[ToldOutcome], first_after: timedelta, now: datetime
) -> list[OwedOutcome]:
    """What is owed: at most one that is due now, then those to come, the soonest first.

    Of several that were missed only the last is asked for, since the newer news holds the older.
    """
    standing = list(told)
    if any(row.ends for row in standing) or now >= handed_over_at + GIVEN_UP_AFTER:
        return []
    slots = _slots(handed_over_at, first_after)
    missing = [
        slot
        for number, slot in enumerate(slots)
        if not any(_holds(row, slot, first=number == 0) for row in standing)
    ]
    due = [slot for slot in missing if slot.due_at <= now]
    # What was missed before an outcome that is told by now is not asked for any more.
    reached = [slot for slot in slots if slot.due_at <= now]
    due = due[-1:] if due and due[-1] == reached[-1] else []
    return due + [slot for slot in missing if slot.due_at > now]


def moment_to_tell(owed: Iterable[OwedOutcome], now: datetime) -> OutcomeMoment | None:
    """The moment of which an outcome told now most likely tells."""
    near = [row for row in owed if row.due_at <= now + NEARLY_DUE]
    return min(near).moment if near else None


def _slots(handed_over_at: datetime, first_after: timedelta) -> list[OwedOutcome]:
    """Every time at which something falls due; a district may ask late for the first news."""
    week = max(FIRST_WEEK, first_after)
    slots = [OwedOutcome(handed_over_at + week, OutcomeMoment.AT_7_DAYS)]
    if first_after < week:
        slots.insert(0, OwedOutcome(handed_over_at + first_after, OutcomeMoment.AT_24_HOURS))
    slots += [
        OwedOutcome(handed_over_at + after, OutcomeMoment.AT_DISCHARGE, time)
        for time, after in enumerate(ASKED_FOR_DISCHARGE, start=1)
        if after > week
    ]
    return slots


def _holds(row: ToldOutcome, slot: OwedOutcome, *, first: bool) -> bool:
    """Whether an outcome answers what falls due then; a named moment counts whenever it comes."""
    if row.moment is OutcomeMoment.AT_24_HOURS:
        return slot.moment is OutcomeMoment.AT_24_HOURS
    if row.moment is OutcomeMoment.AT_7_DAYS:
        return slot.moment is not OutcomeMoment.AT_DISCHARGE
    return first or slot.due_at <= row.told_at
