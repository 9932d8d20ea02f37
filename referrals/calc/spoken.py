"""A written message made fit for a telephone voice: no address, nothing run together."""

import re

from referrals.calc.wording import words

_ADDRESS = re.compile(r"\bhttps?://\S+")
_NUMBER = re.compile(r"\+\d[\d ]{5,}\d")
_FROM_TO = re.compile(r"(\d+)\s*-\s*(\d+)")
_MINUTES = re.compile(r"(\d+) min\b")
_PLACE = re.compile(r"-?\d+\.\d{3,},-?\d+\.\d{3,}")


def spoken(text: str, code: str) -> str:
    """The message with the case code and telephone numbers letter by letter, and ranges in words.

    Coordinates, which nobody writes down from a voice, are left out with web addresses.
    """
    text = _PLACE.sub("", _ADDRESS.sub("", text))
    text = _NUMBER.sub(lambda found: letters(found.group()), text)
    if code:
        of_baby = re.compile(rf"\b{re.escape(code)}(?:-(\d+))?\b")
        text = of_baby.sub(lambda found: letters(code + (found.group(1) or "")), text)
    text = _FROM_TO.sub(
        lambda found: words("%(low)s to %(high)s", low=found.group(1), high=found.group(2)), text
    )
    text = _MINUTES.sub(lambda found: words("%(number)s minutes", number=found.group(1)), text)
    return " ".join(text.split()).rstrip(":").rstrip()


def letters(text: str) -> str:
    """Letters and digits one by one, with a pause between them."""
    return ", ".join(sign for sign in text if sign.isalnum())
