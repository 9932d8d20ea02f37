"""SMS and voice calls through whatever HTTP gateway a district has, described in settings."""

import json
import ssl
from collections.abc import Mapping
from functools import cache
from string import Template

import httpx
from django.utils.translation import gettext as _

from referrals.channels.base import Message, Refused, TryLater

PASSING = {408, 425, 429}
"""Answers below 500 after which another attempt may work (RFC 9110, RFC 6585, RFC 8470)."""


class HttpGateway:
    """A gateway with a URL, a method, a body template and an authorisation header."""

    def __init__(self, settings: Mapping[str, str], *, timeout_seconds: float) -> None:
        self.url = settings["url"]
        self.method = settings["method"]
        self.body = Template(settings["body"])
        self.authorization = settings["authorization"]
        self.timeout = httpx.Timeout(timeout_seconds, connect=min(timeout_seconds, 5.0))

    def send(self, message: Message) -> str:
        """Hand the message to the gateway; see ``Channel.send``."""
        if not self.url:
            raise Refused(_("no gateway is set for this channel (see README, Settings)"))
        if not message.to:
            raise Refused(_("no number is known for this contact"))
        try:
            answer = httpx.request(
                self.method,
                self.url,
                content=self._filled(message),
                headers=self._headers(message),
                timeout=self.timeout,
                verify=_trusted(),
            )
        except httpx.HTTPError as error:
            raise TryLater(f"{type(error).__name__}: {error}"[:200]) from error
        if answer.status_code >= 500 or answer.status_code in PASSING:
            raise TryLater(_("the gateway answered %d") % answer.status_code)
        if answer.status_code >= 400:
            raise Refused(
                _("the gateway answered %(status)d: %(text)s")
                % {"status": answer.status_code, "text": answer.text[:120]}
            )
        return _provider_id(answer)

    def _filled(self, message: Message) -> str:
        # Values go in as JSON string contents, so that a quote or a line end cannot break the body.
        quoted = {
            "to": json.dumps(message.to)[1:-1],
            "text": json.dumps(message.text)[1:-1],
            "id": json.dumps(message.key)[1:-1],
        }
        return self.body.safe_substitute(quoted)

    def _headers(self, message: Message) -> dict[str, str]:
        headers = {"Content-Type": "application/json", "Idempotency-Key": message.key}
        if self.authorization:
            headers["Authorization"] = self.authorization
        return headers


@cache
def _trusted() -> ssl.SSLContext:
    """Whom to trust, read once: it takes longer than sending the message."""
    return httpx.create_ssl_context()


def _provider_id(answer: httpx.Response) -> str:
    try:
        found = answer.json()
    except ValueError:
        return ""
    return str(found.get("id", ""))[:120] if isinstance(found, dict) else ""
