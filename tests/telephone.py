"""The gateway in the tests: what people write and ring comes in at the real door."""

import itertools
from typing import Any

from django.conf import settings
from django.http import HttpResponse
from django.test import Client

from referrals.models import Delivery, Staff

_numbers = itertools.count(1)


class Telephone:
    """A gateway with the right token, unless another one is given."""

    def __init__(self, authorization: str | None = None) -> None:
        told = f"Bearer {settings.INBOUND_TOKENS[0]}" if authorization is None else authorization
        self.client = Client(headers={"authorization": told} if told else {})

    def post(self, path: str, body: Any, *, form: bool = False) -> HttpResponse:
        """Something for one of the three addresses."""
        kind = "application/x-www-form-urlencoded" if form else "application/json"
        return self.client.post(f"/api/v1/inbound/{path}/", body, content_type=kind)

    def sms(self, sender: Staff | str, text: str, **more: str) -> HttpResponse:
        """Somebody writes."""
        return self.post("sms", self._from(sender, **more) | {"text": text})

    def ring(self, sender: Staff | str, **more: str) -> HttpResponse:
        """Somebody rings and hangs up."""
        return self.post("missed_calls", self._from(sender, **more))

    def report(self, delivery: Delivery, state: str, **more: str) -> HttpResponse:
        """What became of a message of ours."""
        return self.post(
            "reports", {"message": f"littleroad-{delivery.pk}", "state": state, **more}
        )

    @staticmethod
    def _from(sender: Staff | str, **more: str) -> dict[str, str]:
        number = sender if isinstance(sender, str) else sender.phone.as_e164
        return {"id": f"in-{next(_numbers)}", "sender": number, **more}


def answers_to(sender: Staff | str) -> list[str]:
    """The SMS that went back to a number, oldest first."""
    number = sender if isinstance(sender, str) else sender.phone.as_e164
    rows = Delivery.objects.filter(alert__kind="answer", channel="sms", address=number)
    return list(rows.order_by("pk").values_list("message", flat=True))
