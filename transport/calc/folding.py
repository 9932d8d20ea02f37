"""What the entries of a referral amount to for its journeys: the stage of each transfer."""

from collections.abc import Iterable
from dataclasses import dataclass, field

from referrals.calc.folding import Event
from transport.calc.stages import FINISHED, TransferStage, furthest

_PREFIX = "transfer_"


@dataclass
class FoldedTransfer:
    """Where one transfer stands by the entries, and the milestones of the vehicle it has now."""

    stage: TransferStage = TransferStage.WANTED
    reached: set[TransferStage] = field(default_factory=set)


def fold_transfers(events: Iterable[Event]) -> dict[int, FoldedTransfer]:
    """Each transfer of one referral by its number."""
    transfers: dict[int, FoldedTransfer] = {}
    for kind, body in events:
        if kind == "milestone" and body["applied"]:
            transfer = transfers.setdefault(body["transfer"], FoldedTransfer())
            transfer.reached.add(TransferStage(body["milestone"]))
            transfer.stage = furthest(transfer.reached)
        elif kind == "milestone_withdrawn":
            transfer = transfers.setdefault(body["transfer"], FoldedTransfer())
            transfer.reached.discard(TransferStage(body["milestone"]))
            transfer.stage = furthest(transfer.reached)
        elif kind == "vehicle_taken_back":
            # A referral has one live transfer at most, so the entry need not name it.
            for transfer in transfers.values():
                if transfer.stage not in FINISHED:
                    transfer.stage, transfer.reached = TransferStage.WANTED, set()
        elif kind.startswith(_PREFIX):
            stage = TransferStage(kind.removeprefix(_PREFIX))
            transfers[body["transfer"]] = FoldedTransfer(stage)
    return transfers
