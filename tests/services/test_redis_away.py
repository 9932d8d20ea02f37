"""Redis frozen, then gone, then back and empty: requests are answered, alerts leave."""

import time
import uuid
from pathlib import Path

import httpx
import pytest
from callers import POSTS
from gateway import Gateway
from servers import wait_until
from stacks import ServerStack

pytestmark = [pytest.mark.services, pytest.mark.timeout(420)]

RAISES = 6
SLOWEST_SECONDS = 10.0
"""Only a bound of sanity: the figure itself is printed."""


def test_requests_and_alerts_do_not_wait_for_redis(tmp_path: Path) -> None:
    with Gateway() as gateway, ServerStack(tmp_path, gateway) as stack:
        usual = _raise_some(stack)
        print(f"\nRedis there: slowest answer {usual:.2f} s")
        stack.redis.freeze()
        _works_without_it(stack, "frozen")
        stack.redis.kill9()
        _works_without_it(stack, "gone")
        stack.redis.empty()
        stack.redis.start()
        wait_until(lambda: stack.readyz()[1].get("broker") == "ok", seconds=30, what="no broker")
        _beat_and_worker_come_back(stack)
        _raise_some(stack)


def _works_without_it(stack: ServerStack, how: str) -> None:
    slowest = _raise_some(stack)
    status, body = stack.readyz()
    print(f"Redis {how}: slowest answer {slowest:.2f} s; {body}")
    assert slowest < SLOWEST_SECONDS
    assert status == 200
    assert body["database"] == "ok"
    assert body["broker"].startswith("does not answer")
    assert body["sweep"] == "ok"


def _raise_some(stack: ServerStack) -> float:
    """Raise referrals; every question must reach the gateway. Gives the slowest answer."""
    slowest, codes = 0.0, []
    for number in range(RAISES):
        token = stack.token(POSTS[number % len(POSTS)])
        headers = {"Authorization": f"Token {token}", "Idempotency-Key": str(uuid.uuid4())}
        begun = time.monotonic()
        answer = httpx.post(f"{stack.url}/api/v1/referrals/", json={}, headers=headers, timeout=30)
        slowest = max(slowest, time.monotonic() - begun)
        assert answer.status_code == 201, answer.text
        assert [offer["stage"] for offer in answer.json()["offers"]] == ["open"]
        codes.append(answer.json()["code"])
        time.sleep(0.3)
    wait_until(lambda: not _unasked(stack, codes), seconds=30, what=f"no question for {codes} left")
    return slowest


def _unasked(stack: ServerStack, codes: list[str]) -> list[str]:
    with stack.gateway.lock:
        texts = [body.get("text", "") for body in stack.gateway.taken]
    asked = [text.partition(":")[0] for text in texts if "Can you take" in text]
    return [code for code in codes if code not in asked]


def _beat_and_worker_come_back(stack: ServerStack) -> None:
    last = "SELECT max(finished_at) FROM referrals_sweeprun WHERE name = 'celery'"
    before = stack.rows(last)[0][0]
    wait_until(
        lambda: stack.rows(last)[0][0] != before, seconds=60, what=f"no task ran:\n{stack.said()}"
    )
    assert stack.readyz()[1]["broker"] == "ok"
