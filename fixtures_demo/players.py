"""The people of the demo, each with a token and a phone, acting over real HTTP."""

import time
import uuid
from collections.abc import Callable
from typing import Any

import httpx
from rest_framework.authtoken.models import Token

from fixtures_demo.phones.models import PhoneMessage
from referrals import clock
from referrals.models import Staff

PATIENCE_SECONDS = 25.0


class Unexpected(Exception):
    """An answer that the journey cannot go on from."""


class Player:
    """One person with an account: every call goes over HTTP with that person's token."""

    def __init__(self, url: str, username: str) -> None:
        self.staff = Staff.objects.get(username=username)
        token, _ = Token.objects.get_or_create(user=self.staff)
        self.http = httpx.Client(
            base_url=f"{url}/api/v1",
            headers={"Authorization": f"Token {token.key}"},
            timeout=20,
        )

    def get(self, path: str, **query: Any) -> Any:
        """The JSON at a path."""
        return _answer(self.http.get(path, params=query))

    def post(self, path: str, body: dict[str, Any] | None = None) -> Any:
        """Send a body under a fresh key; the device's clock goes with it."""
        told = {"happened_at": clock.now().isoformat(), **(body or {})}
        return _answer(
            self.http.post(path, json=told, headers={"Idempotency-Key": str(uuid.uuid4())})
        )

    def newest_message(self, containing: str) -> PhoneMessage | None:
        """The newest SMS on this person's phone that holds some words."""
        return newest_message(self.staff.phone.as_e164, containing)


class Driver(Player):
    """A driver without an account: all there is, is the link in the SMS."""

    def __init__(self, url: str, phone: str, containing: str) -> None:
        message = wait_for(
            lambda: newest_message(phone, containing), what=f"the driver's SMS on {phone}"
        )
        link = message.text.split()[-1]
        page = httpx.get(link, follow_redirects=True, timeout=20)
        if "/d/" not in page.url.path:
            raise Unexpected(f"the driver's link led to {page.url.path} ({page.status_code})")
        self.token = page.url.path.split("/d/", 1)[1].strip("/")
        self.http = httpx.Client(
            base_url=f"{url}/api/v1",
            headers={"Authorization": f"Driver {self.token}"},
            timeout=20,
        )


def newest_message(phone: str, containing: str) -> PhoneMessage | None:
    """The newest text on a phone that holds some words."""
    return (
        PhoneMessage.objects.filter(to=phone, kind="sms", text__contains=containing)
        .order_by("-pk")
        .first()
    )


def wait_for(look: Callable[[], Any], *, what: str, seconds: float = PATIENCE_SECONDS) -> Any:
    """Look until something is there."""
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        if found := look():
            return found
        time.sleep(0.05)
    raise Unexpected(f"{what} did not come within {seconds:g} s")


def _answer(answer: httpx.Response) -> Any:
    if answer.status_code >= 400:
        raise Unexpected(
            f"{answer.request.method} {answer.request.url.path} answered "
            f"{answer.status_code}: {answer.text[:300]}"
        )
    return answer.json() if answer.content else None
