"""What the entries of a referral amount to: its stage, its offers' stages, its babies' endings.

The rows are written with the entries; folding the entries again must come to the same.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from referrals.calc.states import OfferStage, ReferralStage

Event = tuple[str, Mapping[str, Any]]
"""Kind and body of one entry, in the order of the chain."""


@dataclass
class Folded:
    """Where a referral stands by its entries; offers by their number, endings by birth order."""

    stage: ReferralStage = ReferralStage.RAISED
    offers: dict[int, OfferStage] = field(default_factory=dict)
    endings: dict[int, str] = field(default_factory=dict)

    @property
    def is_placed(self) -> bool:
        """Whether an acceptance stands."""
        return OfferStage.ACCEPTED in self.offers.values()


def fold(events: Iterable[Event]) -> Folded:
    """Go through the entries of one referral from the first to the last."""
    folded = Folded()
    for kind, body in events:
        step = _STEPS.get(kind)
        if step:
            step(folded, body)
    return folded


def _asked(folded: Folded, body: Mapping[str, Any]) -> None:
    folded.offers[body["offer"]] = OfferStage.OPEN
    if folded.stage is ReferralStage.RAISED:
        folded.stage = ReferralStage.ASKING


def _accepted(folded: Folded, body: Mapping[str, Any]) -> None:
    folded.offers[body["offer"]] = OfferStage.ACCEPTED
    folded.stage = ReferralStage.PLACED


def _declined(folded: Folded, body: Mapping[str, Any]) -> None:
    _no_longer(folded, body["offer"], OfferStage.DECLINED)


def _withdrawn(folded: Folded, body: Mapping[str, Any]) -> None:
    _no_longer(folded, body["offer"], OfferStage.WITHDRAWN)


def _lapsed(folded: Folded, body: Mapping[str, Any]) -> None:
    _no_longer(folded, body["offer"], OfferStage.LAPSED)


def _no_longer(folded: Folded, offer: int, stage: OfferStage) -> None:
    was_placed = folded.is_placed
    folded.offers[offer] = stage
    if was_placed and not folded.is_placed and folded.stage is ReferralStage.PLACED:
        folded.stage = ReferralStage.ASKING


def _ended(folded: Folded, body: Mapping[str, Any]) -> None:
    folded.endings[body["baby"]] = body["ending"]


def _reversed(folded: Folded, body: Mapping[str, Any]) -> None:
    folded.endings.pop(body["baby"], None)


def _closed(folded: Folded, body: Mapping[str, Any]) -> None:
    folded.stage = ReferralStage.CLOSED


def _reopened(folded: Folded, body: Mapping[str, Any]) -> None:
    folded.stage = ReferralStage.PLACED if folded.is_placed else ReferralStage.ASKING


_STEPS = {
    "unit_asked": _asked,
    "accepted": _accepted,
    "declined": _declined,
    "withdrawn": _withdrawn,
    "lapsed": _lapsed,
    "ended": _ended,
    "ending_reversed": _reversed,
    "closed": _closed,
    "reopened": _reopened,
}
