"""What the entries of a referral amount to for its journeys: the stage of each transfer."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from referrals.calc.folding import Event
from transport.calc.stages import FINISHED, TransferStage, furthest

_PREFIX = "transfer_"


@dataclass
class FoldedTransfer:
    """Where one transfer stands by the entries, and the milestones of the vehicle it has now.

    ``stretches`` holds them one by one: a vehicle that a unit turns away at its door goes on.
    """

    stage: TransferStage = TransferStage.WANTED
    stretches: list[set[TransferStage]] = field(default_factory=lambda: [set()])

    def fold(self) -> None:
        """The stage is what the last stretch amounts to."""
        self.stage = furthest(self.stretches[-1])


def fold_transfers(events: Iterable[Event]) -> dict[int, FoldedTransfer]:
    """Each transfer of one referral by its number."""
    transfers: dict[int, FoldedTransfer] = {}
    for kind, body in events:
        if kind == "milestone" and body["applied"]:
            transfer = transfers.setdefault(body["transfer"], FoldedTransfer())
            transfer.stretches[body.get("stretch", 1) - 1].add(TransferStage(body["milestone"]))
            transfer.fold()
        elif kind == "went_on":
            transfer = transfers[body["transfer"]]
            transfer.stretches.append({TransferStage.ON_THE_ROAD})
            transfer.fold()
        elif kind == "milestone_withdrawn":
            transfer = transfers.setdefault(body["transfer"], FoldedTransfer())
            transfer.stretches[-1].discard(TransferStage(body["milestone"]))
            if not transfer.stretches[-1] and len(transfer.stretches) > 1:
                transfer.stretches.pop()
            transfer.fold()
        elif kind == "vehicle_taken_back":
            # A referral has one live transfer at most, so the entry need not name it.
            for transfer in transfers.values():
                if transfer.stage not in FINISHED:
                    transfer.stage, transfer.stretches = TransferStage.WANTED, [set()]
        elif kind.startswith(_PREFIX):
            stage = TransferStage(kind.removeprefix(_PREFIX))
            transfers[body["transfer"]] = _begun(stage, body)
    return transfers


def _begun(stage: TransferStage, body: Mapping[str, Any]) -> FoldedTransfer:
    """A stage as it begins, with what its vehicle had reached before: it met the first one."""
    reached = {TransferStage(each) for each in body.get("reached", ())}
    before: list[set[TransferStage]] = [set() for _ in range(body.get("stretch", 1) - 1)]
    begun = FoldedTransfer(stage, [*before, reached])
    if reached:
        begun.fold()
    return begun
