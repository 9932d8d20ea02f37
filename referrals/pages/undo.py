"""'Done', with the button that takes it back: shown once, on the next page, without a script."""

from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest


def done(request: HttpRequest, words: object, undo: str = "", **fields: object) -> None:
    """Say what was done; ``undo`` is the address that takes it back, ``fields`` what it needs.

    The address travels with the message, which is signed, so that nobody else can put one there.
    """
    messages.success(request, str(words), extra_tags=f"{undo}?{urlencode(fields)}" if undo else "")
