"""What to try, one after the other, when the chest does not move with the breaths; and the beat.

Order from WHO, Managing newborn problems, 2003, P-1 to P-3 (the first four); the words are ours.
None of it is asked of the one who ventilates: a helper reads it aloud.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from referrals.calc.wording import marked

WHO_2003 = "WHO, Managing newborn problems, 2003"

BEAT_PER_MINUTE = 40
BEAT_SLOWEST, BEAT_FASTEST, BEAT_STEP = 30, 60, 5
"""Breaths a minute: about 40 by WHO 2003, P-3; 30 by ERC 2021 (value from memory) and up to 60 by
the AHA guideline are within reach. A third of each breath is the squeeze: common practice, no
source."""
BEAT_SOURCE = f"{WHO_2003}, P-3 (40); ERC 2021, value from memory (30); AHA guideline (40 to 60)"

SAME_TRY = timedelta(minutes=10)
"""Steps tried within this time of each other are one row of them; common practice, no source."""


@dataclass(frozen=True, kw_only=True)
class ChestStep:
    """One thing to try, as it is read aloud."""

    code: str
    words: str
    source: str


CHEST_STEPS = (
    ChestStep(
        code="head",
        words=marked(
            "Lay the head level, chin a little up. A folded cloth under the shoulders. Two breaths."
        ),
        source=f"{WHO_2003}, P-1",
    ),
    ChestStep(
        code="seal",
        words=marked(
            "Set the mask again: over chin, mouth and nose, not the eyes. Press all round. Two "
            "breaths."
        ),
        source=f"{WHO_2003}, P-2",
    ),
    ChestStep(
        code="clear",
        words=marked(
            "Look in the mouth. Clear it, then the nose, not deep. Keep the mouth a little open. "
            "Two breaths."
        ),
        source=f"{WHO_2003}, P-2",
    ),
    ChestStep(
        code="harder",
        words=marked("Squeeze harder, until the chest lifts. Two breaths."),
        source=f"{WHO_2003}, P-3",
    ),
    ChestStep(
        code="other",
        words=marked(
            "Another mask, another bag or another pair of hands. Ring, and say what was tried."
        ),
        source="value from memory",
    ),
)
STEP_OF = {step.code: step for step in CHEST_STEPS}


@dataclass(frozen=True)
class Tried:
    """One step that somebody tried, and whether the chest moved then."""

    code: str
    at: datetime
    chest_moves: bool


def next_step(tried: Iterable[Tried], now: datetime) -> ChestStep | None:
    """The step to read out now: the first not tried in this row; ``None`` after the last.

    The row begins anew once the chest moved, or when nothing was tried for a while.
    """
    row: list[Tried] = []
    for each in sorted(tried, key=lambda one: one.at):
        if row and each.at - row[-1].at > SAME_TRY:
            row = []
        row = [] if each.chest_moves else [*row, each]
    if row and now - row[-1].at > SAME_TRY:
        row = []
    done = {each.code for each in row}
    return next((step for step in CHEST_STEPS if step.code not in done), None)
