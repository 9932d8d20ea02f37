"""One thing that was looked at, and what it means."""

from dataclasses import dataclass
from enum import Enum


class Judgement(Enum):
    """How bad it is: ``fault`` may lose or delay an alert; ``caution`` is for a person to judge."""

    GOOD = "good"
    CAUTION = "caution"
    FAULT = "fault"


@dataclass(frozen=True, kw_only=True)
class Finding:
    """What was looked at, what was found, why it matters and how to mend it.

    ``why`` and ``mend`` are empty where nothing is wrong.
    """

    subject: str
    judgement: Judgement
    found: str
    why: str = ""
    mend: str = ""


def good(subject: str, found: str) -> Finding:
    """Nothing to do."""
    return Finding(subject=subject, judgement=Judgement.GOOD, found=found)


def caution(subject: str, found: str, *, why: str, mend: str) -> Finding:
    """Something a person should know and may leave."""
    return Finding(subject=subject, judgement=Judgement.CAUTION, found=found, why=why, mend=mend)


def fault(subject: str, found: str, *, why: str, mend: str) -> Finding:
    """Something that may lose or delay an alert."""
    return Finding(subject=subject, judgement=Judgement.FAULT, found=found, why=why, mend=mend)
