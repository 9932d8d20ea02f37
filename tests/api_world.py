"""Devices that talk to the API as people's phones do: a caller, keys of their own, JSON."""

import itertools
import json
from typing import Any

from django.http import HttpResponse
from django.test import Client
from rest_framework.authtoken.models import Token

from referrals.models import Staff
from transport import driver_links
from transport.models import Transfer

API = "/api/v1/"
_numbers = itertools.count(1)


class Device:
    """One caller's device. Every POST gets a new key unless one is given."""

    def __init__(self, authorization: str = "") -> None:
        self.client = Client(headers={"authorization": authorization} if authorization else {})

    def get(self, path: str, **query: Any) -> HttpResponse:
        """GET below the API."""
        return self.client.get(API + path, query)

    def post(
        self, path: str, body: Any = None, *, key: str | None = "new", raw: bytes | None = None
    ) -> HttpResponse:
        """POST JSON below the API; ``key=None`` leaves the key out."""
        headers = {}
        if key is not None:
            headers["idempotency-key"] = f"device-{next(_numbers)}" if key == "new" else key
        data = raw if raw is not None else json.dumps({} if body is None else body)
        return self.client.post(API + path, data, content_type="application/json", headers=headers)


def device_of(username: str) -> Device:
    """The device of a person with an account."""
    token, _ = Token.objects.get_or_create(user=Staff.objects.get(username=username))
    return Device(f"Token {token.key}")


def driver_device(transfer: Transfer) -> Device:
    """The phone that opened the driver's link."""
    return Device(f"Driver {driver_links.token_for(transfer)}")
