"""Links without an account: short, bound to one thing, and made void by raising its version.

A token is the kind, the number and a 128-bit signature under the service's secret (22 characters
in all that matter for an SMS). Nothing of it is stored, so nothing can be read out of the
database; the old secrets are accepted while ``SECRET_KEY_FALLBACKS`` holds them.
"""

import base64
import hmac
from collections.abc import Iterator
from hashlib import sha256

from django.conf import settings

from referrals.calc.wording import marked, words

NOT_COMPLETE = marked("this link is not complete; open it again from the message")


class InvalidLink(ValueError):
    """The link is not one of ours, or was made void. ``status`` is how a page answers it."""

    status = 404


class LinkOver(InvalidLink):
    """The link was right once and its matter has ended: what is sent through it is still kept."""


def token(kind: str, number: int, version: int = 0) -> str:
    """The token for one thing; ``kind`` is a single letter."""
    return f"{kind}{_in_base36(number)}-{_signature(settings.SECRET_KEY, kind, number, version)}"


def number_in(kind: str, text: str) -> int:
    """The number a token claims, still to be checked with ``require_valid``."""
    head, _, _ = text.partition("-")
    if not head.startswith(kind) or not head[1:].isalnum():
        raise InvalidLink(words(NOT_COMPLETE))
    try:
        return int(head[1:], 36)
    except ValueError as error:
        raise InvalidLink(words(NOT_COMPLETE)) from error


def require_valid(kind: str, text: str, version: int = 0) -> int:
    """The number of a valid token.

    Raises:
        InvalidLink: when the signature does not fit the kind, number and version.
    """
    number = number_in(kind, text)
    given = text.partition("-")[2]
    for secret in _secrets():
        if hmac.compare_digest(given, _signature(secret, kind, number, version)):
            return number
    raise InvalidLink(words("this link is no longer valid; ask the desk for a new one"))


def _secrets() -> Iterator[str]:
    yield settings.SECRET_KEY
    yield from settings.SECRET_KEY_FALLBACKS


def _signature(secret: str, kind: str, number: int, version: int) -> str:
    message = f"littleroad-link:{kind}:{number}:{version}".encode()
    digest = hmac.new(secret.encode(), message, sha256).digest()[:16]
    return base64.urlsafe_b64encode(digest).decode().rstrip("=")


def _in_base36(number: int) -> str:
    digits = "0123456789abcdefghijklmnopqrstuvwxyz"
    text = ""
    while number:
        number, rest = divmod(number, 36)
        text = digits[rest] + text
    return text or "0"
