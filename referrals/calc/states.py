"""The stages of a referral and of an offer, and every step that is allowed between them.

The tables are data: pages show what is possible now from them, tests walk them, and the
database refuses any other word.
"""

from collections.abc import Mapping
from enum import StrEnum
from typing import TypeVar

from referrals.calc.spelled import spelled
from referrals.calc.wording import words

S = TypeVar("S", bound=StrEnum)


class ReferralStage(StrEnum):
    """Where a referral stands."""

    RAISED = "raised"
    ASKING = "asking"
    PLACED = "placed"
    CLOSED = "closed"


class OfferStage(StrEnum):
    """Where the question to one unit stands."""

    OPEN = "open"
    ACCEPTED = "accepted"
    DECLINED = "declined"
    LAPSED = "lapsed"
    WITHDRAWN = "withdrawn"


REFERRAL_STEPS: dict[ReferralStage, frozenset[ReferralStage]] = {
    ReferralStage.RAISED: frozenset({ReferralStage.ASKING, ReferralStage.CLOSED}),
    ReferralStage.ASKING: frozenset({ReferralStage.PLACED, ReferralStage.CLOSED}),
    # Back to asking when the unit can no longer take the baby, or the baby is taken elsewhere.
    ReferralStage.PLACED: frozenset({ReferralStage.ASKING, ReferralStage.CLOSED}),
    # An ending entered in error is reversed with a reason, and the search goes on.
    ReferralStage.CLOSED: frozenset({ReferralStage.ASKING, ReferralStage.PLACED}),
}

OFFER_STEPS: dict[OfferStage, frozenset[OfferStage]] = {
    OfferStage.OPEN: frozenset(
        {OfferStage.ACCEPTED, OfferStage.DECLINED, OfferStage.LAPSED, OfferStage.WITHDRAWN}
    ),
    # A late decline after an acceptance takes the acceptance back, loudly.
    OfferStage.ACCEPTED: frozenset({OfferStage.DECLINED, OfferStage.WITHDRAWN}),
    OfferStage.DECLINED: frozenset({OfferStage.ACCEPTED}),
    OfferStage.LAPSED: frozenset({OfferStage.ACCEPTED, OfferStage.DECLINED}),
    OfferStage.WITHDRAWN: frozenset(),
}


class NotPossible(Exception):
    """A step that is not allowed now; the message says what is possible instead."""

    def __init__(self, sentence: str, *, code: str = "not_possible_now") -> None:
        super().__init__(sentence)
        self.sentence = sentence
        self.code = code


def require_step(steps: Mapping[S, frozenset[S]], seen: S, wanted: S, *, what: str) -> None:
    """Refuse a step that the table does not hold.

    Raises:
        NotPossible: with a sentence that names the stage and what is possible from it.
    """
    if wanted in steps[seen]:
        return
    possible = ", ".join(spelled(step) for step in sorted(steps[seen]))
    raise NotPossible(
        words(
            "%(what)s is %(seen)s and cannot become %(wanted)s. Possible now: %(possible)s.",
            what=what,
            seen=spelled(seen),
            wanted=spelled(wanted),
            possible=possible or words("nothing more"),
        )
    )
