"""What was sent and could not be used is kept as it came, and a person looks at it."""

import json
from typing import IO, Any

from django.utils.translation import gettext as _
from rest_framework import exceptions
from rest_framework.parsers import JSONParser
from rest_framework.request import Request

from referrals import clock
from referrals.calc.terms import EntryChannel
from referrals.models import KeptInput


class CarefulJSONParser(JSONParser):
    """JSON that can be stored as it is: no lone surrogates, no NUL, no bottomless nesting."""

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,
        parser_context: Any = None,
    ) -> Any:
        """The parsed body.

        Raises:
            ParseError: when it is not JSON, or holds text that no database stores.
        """
        try:
            data = super().parse(stream, media_type, parser_context)
            text = json.dumps(data, ensure_ascii=False)
            text.encode()
        except exceptions.ParseError as error:
            raise exceptions.ParseError(_unreadable()) from error
        except (RecursionError, UnicodeEncodeError, ValueError) as error:
            raise exceptions.ParseError(_unreadable()) from error
        if "\\u0000" in text and _holds_nul(data):
            raise exceptions.ParseError(_unreadable())
        return data


def keep(request: Request, caller: str, problem: str) -> None:
    """Keep the raw body of a request that could not be used."""
    keep_text(request, caller, problem, raw_body(request))


def keep_text(request: Request, caller: str, problem: str, text: str) -> None:
    """Keep one part of what was sent."""
    KeptInput.objects.create(
        received_at=clock.now(),
        channel=EntryChannel.API.value,
        caller=caller,
        path=request.path[:300],
        body=text,
        problem=problem[:400],
    )


def raw_body(request: Request) -> str:
    """The bytes as they came, as text that any database stores."""
    body = request._request.body
    return body.decode("utf-8", "backslashreplace").replace("\x00", "\\x00")


def _unreadable() -> str:
    return str(
        _("This is not JSON that can be read. Correct it and send it again under a new key.")
    )


def _holds_nul(data: Any) -> bool:
    if isinstance(data, str):
        return "\x00" in data
    if isinstance(data, dict):
        return any(_holds_nul(name) or _holds_nul(value) for name, value in data.items())
    return isinstance(data, list) and any(_holds_nul(value) for value in data)
