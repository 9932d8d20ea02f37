"""The steps of a meeting by name, as forms and the API tell them."""

from collections.abc import Callable, Mapping

from referrals.acting import By
from transport import meetings, milestones
from transport.calc.stages import TransferStage
from transport.models import Transfer

Step = Callable[[By, Transfer, str], object]


def _second(milestone: TransferStage) -> Step:
    """A milestone told for the second vehicle."""

    def tell(by: By, transfer: Transfer, words: str) -> object:
        meeting = transfer.standing_meeting()
        number = meeting.assignment if meeting else None
        return milestones.reach(by, transfer, milestone, assignment=number) if meeting else transfer

    return tell


MEETING_STEPS: Mapping[str, Step] = {
    "first_there": lambda by, transfer, words: meetings.reach_meeting(by, transfer),
    "not_there": lambda by, transfer, words: meetings.reach_meeting(by, transfer, undo=True),
    "second_left": _second(TransferStage.COLLECTING),
    "second_there": _second(TransferStage.AT_ORIGIN),
    "moved_over": lambda by, transfer, words: meetings.move_over(by, transfer, witness=words),
    "not_moved": lambda by, transfer, words: meetings.move_back(by, transfer),
    "drive_on": lambda by, transfer, words: meetings.drive_on(by, transfer, why=words),
}
"""``moved_over`` takes the name of the witness as its words, ``drive_on`` the reason."""
