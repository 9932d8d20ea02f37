"""Short codes that people read aloud, type on a keypad and write on a band.

The alphabet leaves out 0 O 1 I L 5 S, which are mistaken for one another. A code changes at least
twice between letters and digits (as in K7Q4), so that it can be told from a number (2346), from a
labelled number (W2346), from a number with a unit (234G) and from a word, wherever it stands in a
message; and it never looks like a power of ten (2E34), which table programs rewrite.
"""

import random
import re
import unicodedata
from collections.abc import Callable
from typing import NewType

from referrals.calc.wording import words

ALPHABET = "ABCDEFGHJKMNPQRTUVWXYZ2346789"
SHORTEST_CODE = 4
LONGEST_CODE = 8
ONE_TIME_LENGTH = 6

CaseCode = NewType("CaseCode", str)

_READS_AS_SOMETHING_ELSE = re.compile(r"[A-Z]*\d*|\d*[A-Z]*|\d+E\d+")
# Above the last whole multiple of the alphabet, a byte would favour the first letters.
_FAIR_BYTES = 256 - 256 % len(ALPHABET)


class InvalidCode(ValueError):
    """A text that cannot be a code; the message repeats it and says why."""


def reads_as_something_else(code: str) -> bool:
    """Return whether a text could be taken for a number, a measured value or a word."""
    return _READS_AS_SOMETHING_ELSE.fullmatch(code) is not None


def make_code(random: random.Random, length: int = SHORTEST_CODE) -> CaseCode:
    """Return a new case code of ``length`` characters, drawn evenly from all allowed ones.

    Uniqueness is the caller's: on a clash draw again, and grow ``length`` when clashes are common.
    """
    _require_length(length)
    while True:
        code = "".join(random.choice(ALPHABET) for _ in range(length))
        if not reads_as_something_else(code):
            return CaseCode(code)


def one_time_code(random_bytes: Callable[[int], bytes]) -> str:
    """Return six characters that prove an acceptance sent by SMS.

    ``random_bytes`` gives that many bytes fit for secrets, as ``secrets.token_bytes`` does.
    """
    while True:
        fair = [byte for byte in random_bytes(4 * ONE_TIME_LENGTH) if byte < _FAIR_BYTES]
        code = "".join(ALPHABET[byte % len(ALPHABET)] for byte in fair[:ONE_TIME_LENGTH])
        if len(code) == ONE_TIME_LENGTH and not reads_as_something_else(code):
            return code


def normalise_code(text: str) -> CaseCode:
    """Return the code in ``text`` as it is stored: capitals, no spaces, no hyphens.

    Takes either case, full-width characters and the digits of any script. Pass one code only: two
    pieces side by side would be read as one. Raises ``InvalidCode``.
    """
    code = "".join(_plain(character) for character in unicodedata.normalize("NFKC", text)).upper()
    if not SHORTEST_CODE <= len(code) <= LONGEST_CODE:
        raise InvalidCode(
            words(
                "'%(text)s' is not a code: a code has %(shortest)d to %(longest)d characters.",
                text=text,
                shortest=SHORTEST_CODE,
                longest=LONGEST_CODE,
            )
        )
    if strange := sorted(set(code) - set(ALPHABET)):
        raise InvalidCode(
            words(
                "'%(text)s' is not a code: codes never hold %(strange)s.",
                text=text,
                strange=" ".join(strange),
            )
        )
    if reads_as_something_else(code):
        raise InvalidCode(
            words("'%(text)s' is not a code: letters and digits are mixed, as in K7Q4.", text=text)
        )
    return CaseCode(code)


def is_on_band(told: str, *, code: str, birth_order: int, only_baby: bool) -> bool:
    """Return whether what was read from a band is this baby's: case code, then birth order.

    Hyphens and spaces may be left out, and with ``only_baby`` so may the birth order.
    """
    plain = "".join(_plain(character) for character in unicodedata.normalize("NFKC", told)).upper()
    return plain == f"{code}{birth_order}" or (only_baby and plain == code)


def _plain(character: str) -> str:
    """Drop spaces, dashes and invisible marks; write a digit of any script as 0-9."""
    if character.isspace() or unicodedata.category(character) in {"Pd", "Cf"}:
        return ""
    return str(unicodedata.decimal(character, character))


def _require_length(length: int) -> None:
    if not SHORTEST_CODE <= length <= LONGEST_CODE:
        raise ValueError(f"a code has {SHORTEST_CODE} to {LONGEST_CODE} characters, not {length}")
