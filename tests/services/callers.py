"""Clients as phones are: each thing told has a key of its own and is sent until it is answered.

A caller keeps its own history; what the service holds is compared with that and never with what
the service says of itself.
"""

import contextlib
import itertools
import random
import threading
import time
import uuid
from collections import Counter
from dataclasses import dataclass, field
from typing import Any

import httpx

POSTS = ("wezi.oranday", "tomasi.bellaqua")
DESK = "leena.morrastad"
ROAD = ("collecting", "at_origin", "on_the_road", "arrived")


@dataclass
class Submission:
    """One thing told: its key and body, every try, and the final answer."""

    kind: str
    path: str
    body: dict[str, Any]
    token: str
    key: str = field(default_factory=lambda: str(uuid.uuid4()))
    tries: int = 0
    status: int | None = None
    answer: Any = None
    in_flight: int = 0

    @property
    def done(self) -> bool:
        """Answered with a yes."""
        return self.status is not None and self.status < 300


class Caller(threading.Thread):
    """A post and the desk beside it, telling one journey after the other until it is stopped."""

    def __init__(self, url: str, post: str, desk: str, seed: int) -> None:
        super().__init__(name=f"caller {seed}", daemon=True)
        self.http = httpx.Client(base_url=f"{url}/api/v1", timeout=25)
        self.post_token, self.desk_token = post, desk
        self.chance = random.Random(seed)
        self.numbers = itertools.count(seed * 100_000)
        self.history: list[Submission] = []
        self.stopping = threading.Event()
        self.slowest = 0.0
        self.fault: BaseException | None = None

    def run(self) -> None:
        """One journey after the other."""
        try:
            while not self.stopping.is_set():
                self._journey()
        except BaseException as fault:  # shown by the test, which waits for this thread
            self.fault = fault

    def send_what_is_left(self, seconds: float) -> None:
        """Send whatever got no final answer, under the same keys, until it has one."""
        deadline = time.monotonic() + seconds
        while left := [one for one in self.history if one.status is None]:
            assert time.monotonic() < deadline, f"no answer to {left[:3]}"
            for one in left:
                self._try(one)
            time.sleep(0.3)

    def tell(self, kind: str, path: str, body: dict[str, Any], token: str) -> Submission:
        """Tell one thing; one that is stuck is left for later and the next is told."""
        one = Submission(kind, path, body, token)
        self.history.append(one)
        for attempt in range(1, 9):
            self._try(one)
            if one.status is not None or one.in_flight > 3 or self.stopping.is_set():
                break
            time.sleep(self.chance.uniform(0.05, min(1.0, 0.1 * 2**attempt)))
        return one

    def get(self, path: str, **query: Any) -> Any:
        """What stands at a path; nothing while the service is away."""
        with contextlib.suppress(httpx.HTTPError, ValueError):
            headers = {"Authorization": f"Token {self.desk_token}"}
            answer = self.http.get(path, params=query, headers=headers)
            return answer.json() if answer.status_code == 200 else None
        return None

    def _try(self, one: Submission) -> None:
        headers = {"Authorization": f"Token {one.token}", "Idempotency-Key": one.key}
        one.tries += 1
        begun = time.monotonic()
        try:
            answer = self.http.post(one.path, json=one.body, headers=headers)
            told = answer.json()
        except (httpx.HTTPError, ValueError):
            return
        self.slowest = max(self.slowest, time.monotonic() - begun)
        in_flight = answer.status_code == 409 and told.get("code") == "in_flight"
        one.in_flight += in_flight
        if answer.status_code < 500 and not in_flight:
            one.status, one.answer = answer.status_code, told
            if self.chance.random() < 0.1:  # the answer was lost on the way: the same once more
                again = self._again(one, headers)
                assert again is None or again == one.status, f"{one} was answered {again} later"

    def _again(self, one: Submission, headers: dict[str, str]) -> int | None:
        try:
            status = self.http.post(one.path, json=one.body, headers=headers).status_code
        except httpx.HTTPError:
            return None
        return status if status < 500 else None

    def _journey(self) -> None:
        note = f"note {next(self.numbers)}"
        raised = self.tell("raise", "/referrals/", {"note": note}, self.post_token)
        if not raised.done:
            return
        code, transfer = raised.answer["code"], raised.answer["transfer"]["id"]
        for _ in range(self.chance.randint(1, 3)):
            body = {
                "note": f"note {next(self.numbers)}",
                "heart_rate": self.chance.randint(60, 160),
                "breathing": "ventilated",
            }
            self.tell("observe", f"/referrals/{code}/observations/", body, self.post_token)
        accepted = self._accept(code)
        if self.chance.random() < 0.6:
            self._drive(code, transfer, hand_over=accepted)

    def _accept(self, code: str) -> bool:
        offers = self.get(f"/referrals/{code}/offers/") or []
        wanted = next((offer for offer in offers if offer["stage"] == "open"), None)
        if wanted is None or self.chance.random() < 0.3:
            return False
        one = self.tell("accept", f"/offers/{wanted['id']}/accept/", {}, self.desk_token)
        return one.done

    def _drive(self, code: str, transfer: int, *, hand_over: bool) -> None:
        number = next(self.numbers)
        car = {"name": f"Car {number}", "kind": "car", "driver_name": "A driver",
               "driver_phone": "+12025550199"}  # fmt: skip
        found = self.tell("vehicle", "/vehicles/", car, self.desk_token)
        if not found.done:
            return
        sent = self.tell(
            "assign", f"/transfers/{transfer}/assign/", {"vehicle": found.answer["code"]},
            self.desk_token,
        )  # fmt: skip
        if not sent.done:
            return
        for milestone in ROAD if hand_over else ROAD[:2]:
            path = f"/transfers/{transfer}/milestones/"
            self.tell("milestone", path, {"milestone": milestone}, self.post_token)
        if hand_over:
            for side in ("giver", "receiver"):
                body = {"side": side, "name": side, "band_checked": True}
                path = f"/transfers/{transfer}/handover/"
                self.tell("handover", path, body, self.desk_token)


def counts(callers: list[Caller]) -> dict[str, int]:
    """How many things of each kind were answered with a yes."""
    return dict(Counter(one.kind for caller in callers for one in caller.history if one.done))
