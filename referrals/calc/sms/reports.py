"""What a gateway reports about a message, in the words gateways use."""

from enum import StrEnum


class Reported(StrEnum):
    """Where a message is, by its gateway."""

    QUEUED = "queued"
    SENT = "sent"
    DELIVERED = "delivered"
    FAILED = "failed"


# The states of a delivery receipt in SMPP 3.4, 5.2.28 and appendix B, values from memory.
_SMPP = {
    "enroute": Reported.SENT,
    "accepted": Reported.SENT,
    "acceptd": Reported.SENT,
    "delivrd": Reported.DELIVERED,
    "expired": Reported.FAILED,
    "deleted": Reported.FAILED,
    "undeliverable": Reported.FAILED,
    "undeliv": Reported.FAILED,
    "rejected": Reported.FAILED,
    "rejectd": Reported.FAILED,
    "unknown": Reported.SENT,
}
_WORDS = {state.value: state for state in Reported} | _SMPP


def reported_state(word: str) -> Reported | None:
    """The state that a gateway's word means; nothing for a word nobody knows."""
    return _WORDS.get(word.strip().lower())
