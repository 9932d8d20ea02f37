"""The stages of a transfer, every step between them, and how reported milestones are folded.

Milestones are facts from a phone that may have been offline: they are kept in whatever order they
arrive, and the stage is the furthest one reached. Assigning, standing down and handing over are
commitments of people and go by the table.
"""

from collections.abc import Iterable
from enum import StrEnum

from referrals.calc.states import NotPossible
from referrals.calc.wording import words


class TransferStage(StrEnum):
    """Where the journey of a referral stands."""

    WANTED = "wanted"
    ASSIGNED = "assigned"
    COLLECTING = "collecting"
    AT_ORIGIN = "at_origin"
    ON_THE_ROAD = "on_the_road"
    ARRIVED = "arrived"
    HANDED_OVER = "handed_over"
    STOOD_DOWN = "stood_down"


MILESTONES = (
    TransferStage.COLLECTING,
    TransferStage.AT_ORIGIN,
    TransferStage.ON_THE_ROAD,
    TransferStage.ARRIVED,
)
"""What a driver reports, in the order of the road."""

FINISHED = frozenset({TransferStage.HANDED_OVER, TransferStage.STOOD_DOWN})
WITH_VEHICLE = (TransferStage.ASSIGNED, *MILESTONES)

_COMMITMENTS = frozenset(
    {
        TransferStage.ASSIGNED,
        TransferStage.WANTED,
        TransferStage.STOOD_DOWN,
        TransferStage.HANDED_OVER,
    }
)
TRANSFER_STEPS: dict[TransferStage, frozenset[TransferStage]] = {
    TransferStage.WANTED: frozenset({TransferStage.ASSIGNED, TransferStage.STOOD_DOWN}),
    # A vehicle may break down anywhere: until the handover another one can be assigned.
    TransferStage.ASSIGNED: _COMMITMENTS | set(MILESTONES),
    # Milestones come in any order, and one pressed by mistake is withdrawn: any leads to any.
    **{stage: _COMMITMENTS | set(MILESTONES) - {stage} for stage in MILESTONES},
    TransferStage.HANDED_OVER: frozenset(),
    TransferStage.STOOD_DOWN: frozenset({TransferStage.WANTED}),
}


def furthest(milestones: Iterable[TransferStage]) -> TransferStage:
    """The stage that a set of reported milestones amounts to, in any order."""
    reached = set(milestones)
    for stage in reversed(MILESTONES):
        if stage in reached:
            return stage
    return TransferStage.ASSIGNED


def next_milestone(stage: TransferStage) -> TransferStage | None:
    """The one button the driver sees; nothing when all are pressed or there is no vehicle."""
    if stage is TransferStage.ASSIGNED:
        return MILESTONES[0]
    if stage in MILESTONES[:-1]:
        return MILESTONES[MILESTONES.index(stage) + 1]
    return None


def require_milestone(text: str) -> TransferStage:
    """The milestone of that name.

    Raises:
        NotPossible: naming the four there are.
    """
    for stage in MILESTONES:
        if stage.value == text:
            return stage
    raise NotPossible(
        words(
            "%(text)r is not a milestone. Possible: %(possible)s.",
            text=text,
            possible=", ".join(MILESTONES),
        ),
        code="unknown_milestone",
    )
