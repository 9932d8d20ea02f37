"""The answer of a unit by SMS: ``yes CODE``, or ``no CODE`` and a reason."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from referrals.calc.codes import ONE_TIME_LENGTH
from referrals.calc.sms import words
from referrals.calc.sms.tokens import code_in, tokens_of
from referrals.calc.terms import DeclineReason

_DOOR = re.compile(r"\b(?:door|entrance)\b[\s:]*(.*)", re.IGNORECASE | re.DOTALL)
LONGEST_DOOR = 120


@dataclass(frozen=True, kw_only=True)
class Answer:
    """A yes or a no. ``codes`` are what could be the one-time code; a secret decides which is.

    ``door`` is the entrance as it was typed, for a unit that has no usual one.
    """

    yes: bool
    codes: tuple[str, ...] = ()
    reason: DeclineReason | None = None
    door: str = ""
    not_read: str = ""


def read_answer(text: str) -> Answer | None:
    """The answer in a message that begins with a yes or a no; nothing in any other."""
    named = _DOOR.search(text)
    door = " ".join(named[1].split())[:LONGEST_DOOR] if named else ""
    tokens = tokens_of(text[: named.start()] if named else text)
    if not tokens or tokens[0] not in words.YES | words.NO:
        return None
    rest = tokens[1:]
    codes = _codes_in(rest)
    reasons = [words.REASONS[token] for token in rest if token in words.REASONS]
    known = set(words.REASONS) | words.FILLERS
    strange = [token for token in rest if token not in known and not _is_piece(token, codes)]
    return Answer(
        yes=tokens[0] in words.YES,
        codes=codes,
        reason=reasons[0] if len(set(reasons)) == 1 else None,
        door=door,
        not_read=" ".join(strange),
    )


def _codes_in(tokens: Sequence[str]) -> tuple[str, ...]:
    """Every one-time code there could be: a word, or two neighbours typed with a space."""
    pairs = [first + second for first, second in pairwise(tokens)]
    found = [code_in(each) for each in (*tokens, *pairs)]
    return tuple(dict.fromkeys(code for code in found if len(code) == ONE_TIME_LENGTH))


def _is_piece(token: str, codes: Sequence[str]) -> bool:
    return bool(code_in(token)) or any(token.upper() in code for code in codes)
