"""The words and numbers of a message, each apart, as they are compared with the vocabulary."""

import re
import unicodedata
from collections.abc import Sequence

from referrals.calc.codes import InvalidCode, normalise_code
from referrals.calc.sms import words

# Marks between two digits, or before the first digit of a word, may be part of a number: they
# stay, and ".5" or "36.,2" is then no number at all. Everywhere else they only part words.
_MARKS = "[.,:/+&]"
_SEPARATOR = re.compile(
    rf"""[;=!?"'()*#|~_°]|(?<![\s\d.,:/+&]){_MARKS}+|{_MARKS}+(?![\d.,:/+&])|-(?!\d)|(?<=[^\W\d])-"""
)
_SPACED = re.compile(r"(<=|>=|<|>|%)")
_PART = re.compile(r"\d+(?:[.,]\d+)?|[^\W\d_]+")


def tokens_of(text: str) -> list[str]:
    """Small letters, the digits of any script as 0-9, punctuation only inside numbers."""
    plain = unicodedata.normalize("NFKC", text).lower().replace("≤", "<=").replace("≥", ">=")
    plain = "".join(str(unicodedata.decimal(each, each)) for each in plain)
    chunks = _SPACED.sub(r" \1 ", _SEPARATOR.sub(" ", f" {plain}")).split()
    return [part for chunk in chunks for part in _parts_of(chunk)]


def _parts_of(chunk: str) -> list[str]:
    """Words and numbers written together, apart: only if each part has its meaning there."""
    parts = _PART.findall(chunk)
    if len(parts) < 2 or "".join(parts) != chunk or chunk in words.VOCABULARY:
        return [chunk]
    if code_in(chunk) and not any(part in words.BY_NAME for part in parts):
        return [chunk]  # 4H7D is a code, not four hours and seven days
    return parts if _all_fit(parts) else [chunk]


def _all_fit(parts: Sequence[str]) -> bool:
    """Whether parts are names with a number each, numbers with a unit, or both in turn."""
    place = 0
    while place < len(parts):
        name = words.BY_NAME.get(parts[place])
        if name or parts[place] in words.SECTIONS:
            place += 1
            if place == len(parts) or not parts[place][0].isdigit():
                return False
            place += 1
            if name and place < len(parts) and parts[place] in name.units:
                place += 1
        elif parts[place][0].isdigit() and place + 1 < len(parts):
            if parts[place + 1] not in words.UNITS:
                return False
            place += 2
        else:
            return False
    return True


def code_in(token: str) -> str:
    """The code that a token is, or nothing."""
    try:
        return str(normalise_code(token))
    except InvalidCode:
        return ""


def is_number(token: str) -> bool:
    """Whether a token begins like a number and is no code; it may still be none."""
    return token.lstrip("+-.,:/&")[:1].isdigit() and not code_in(token)
