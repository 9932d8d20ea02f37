"""kill -9 of every process of the service while clients work; then everything is counted.

The clients' own histories are compared with what the API answers afterwards. A storm lasts a
fixed time and its moments come from a seed that is printed.
"""

import csv
import itertools
import random
import time
from collections import Counter
from pathlib import Path

import pytest
from callers import DESK, POSTS, Caller, Submission, counts
from gateway import Gateway
from servers import wait_until
from stacks import DISTRICT, EmbeddedStack, ServerStack, Stack, is_alive, wait_while

pytestmark = [pytest.mark.services, pytest.mark.timeout(420)]

SEED = 20261
FAULTS = {"refuses": 0.05, "answer_lost": 0.03}
CALLERS = 6
ORPHAN_SECONDS = 3.0
# A claim of a process that died belongs to nobody after 60 s; repeats get through then.
LEFT_SECONDS = 100.0


def test_the_embedded_service_killed_again_and_again_loses_nothing(tmp_path: Path) -> None:
    with Gateway(**FAULTS) as gateway, EmbeddedStack(tmp_path, gateway) as stack:
        names = ["sweep", "serve", "sweep", "serve", "sweep"]
        callers = _storm(stack, names, seed=SEED)
        _everything_is_as_told(stack, callers)


def test_servers_and_workers_killed_one_after_another_lose_nothing(tmp_path: Path) -> None:
    names = ["web worker", "worker", "redis", "web", "beat", "sweep", "postgresql",
             "web worker", "postgresql", "web worker"]  # fmt: skip
    with Gateway(**FAULTS) as gateway, ServerStack(tmp_path, gateway) as stack:
        callers = _storm(stack, names, seed=SEED + 1)
        _everything_is_as_told(stack, callers)
        _beat_and_worker_still_turn(stack)


def _storm(stack: Stack, names: list[str], *, seed: int) -> list[Caller]:
    """Clients at work while processes are killed and started again; what is left is then sent."""
    chance = random.Random(seed)
    desk = stack.token(DESK)
    posts = itertools.cycle([stack.token(post) for post in POSTS])
    callers = [
        Caller(stack.url, post, desk, seed + number)
        for number, post in zip(range(CALLERS), posts, strict=False)
    ]
    for caller in callers:
        caller.start()
    print(f"\nseed {seed}: {', '.join(names)}")
    assert set(names) == set(stack.kinds)
    for name in names:
        time.sleep(chance.uniform(0.8, 2.5))
        _kill_and_restart(stack, name, pause=chance.uniform(0.1, 0.6))
    time.sleep(2)
    for caller in callers:
        caller.stopping.set()
    for caller in callers:
        caller.join(60)
        assert caller.fault is None, f"{caller.fault!r}\n{stack.said()}"
        assert not caller.is_alive()
    print(f"answered with yes: {counts(callers)}")
    for caller in callers:
        caller.send_what_is_left(LEFT_SECONDS)
    return callers


def _kill_and_restart(stack: Stack, name: str, *, pause: float) -> None:
    beside = stack.sweep_pid() if isinstance(stack, EmbeddedStack) and name == "serve" else None
    stack.kill9(name)
    if beside:
        took = wait_while(lambda: is_alive(beside), seconds=ORPHAN_SECONDS)
        assert not is_alive(beside), "the sweep outlived the service that started it"
        print(f"killed {name}; its sweep went after {took:.2f} s")
    time.sleep(pause)
    stack.restart(name)
    stack.wait_until_ready()


def _everything_is_as_told(stack: Stack, callers: list[Caller]) -> None:
    told = [one for caller in callers for one in caller.history]
    tries = sum(one.tries for one in told)
    print(
        f"{len(told)} submissions in {tries} tries; slowest {max(c.slowest for c in callers):.1f} s"
    )
    refused = Counter((one.kind, one.status) for one in told if not one.done)
    print(f"refused: {dict(refused)}")
    assert all(one.status in (200, 201, 409) for one in told), refused
    assert len(counts(callers)) >= 7, "the storm left no time for whole journeys"
    _referrals_are_stored_once(callers[0], told)
    _facts_are_stored_once(callers[0], told)
    _questions_reached_somebody(stack, callers[0])
    assert "whole" in stack.manage("verify_timeline")
    assert "hold" in stack.manage("check_invariants", "--grace", "0.5")
    assert stack.readyz()[1].get("sweep") == "ok", stack.readyz()


def _referrals_are_stored_once(reader: Caller, told: list[Submission]) -> None:
    raised = [one.answer["code"] for one in told if one.kind == "raise" and one.done]
    assert len(raised) == len(set(raised))
    listed = [row["code"] for row in _all(reader, "/referrals/")]
    # More would be a raise stored twice, fewer one lost: every raise has its answer by now.
    assert sorted(listed) == sorted(raised)


def _facts_are_stored_once(reader: Caller, told: list[Submission]) -> None:
    done = [one for one in told if one.done]
    codes = [one.answer["code"] for one in done if one.kind == "raise"]
    stored = [
        row["note"]
        for code in codes
        for row in reader.get(f"/referrals/{code}/observations/")
        if row["note"]
    ]
    assert sorted(stored) == sorted(one.body["note"] for one in done if one.kind == "observe")
    vehicles = [row["name"] for row in _all(reader, "/vehicles/") if row["name"].startswith("Car")]
    assert sorted(vehicles) == sorted(one.body["name"] for one in done if one.kind == "vehicle")
    entries = Counter(
        entry["kind"] for code in codes for entry in reader.get(f"/referrals/{code}/entries/")
    )
    told_of = Counter(one.kind for one in done)
    assert entries["raised"] == told_of["raise"]
    assert entries["accepted"] == told_of["accept"]
    assert entries["milestone"] == told_of["milestone"]


def _questions_reached_somebody(stack: Stack, reader: Caller) -> None:
    offers = {row["id"]: row for row in _all(reader, "/offers/")}
    questions = [row for row in _all(reader, "/alerts/", all=1) if row["kind"] == "question"]
    assert len(questions) == len(offers), "a question without its alert, or two of one"
    numbers = _numbers_of_units()

    def unheard() -> list[str]:
        with stack.gateway.lock:
            taken = {(one["to"], one.get("text", one.get("say", ""))[:4]) for one in (
                stack.gateway.taken
            )}  # fmt: skip
        return [
            offer["referral"]
            for offer in offers.values()
            if offer["stage"] == "open"
            and not any((to, offer["referral"][:4]) in taken for to in numbers[offer["unit"]])
        ]

    still_open = sum(offer["stage"] == "open" for offer in offers.values())
    print(f"{len(offers)} questions, {still_open} still open, {len(stack.gateway.taken)} messages")
    assert still_open
    # The lease of a sender that was killed has to run out first.
    wait_until(lambda: not unheard(), seconds=30, what=f"nobody was told of {unheard()}")


def _numbers_of_units() -> dict[str, set[str]]:
    with (Path(DISTRICT) / "people.csv").open() as people:
        phones = {row["username"]: row["phone"] for row in csv.DictReader(people)}
    numbers: dict[str, set[str]] = {}
    with (Path(DISTRICT) / "contacts.csv").open() as contacts:
        for row in csv.DictReader(contacts):
            numbers.setdefault(row["owner"], set()).add(phones[row["username"]])
    return numbers


def _beat_and_worker_still_turn(stack: Stack) -> None:
    last = "SELECT max(finished_at) FROM referrals_sweeprun WHERE name = 'celery'"
    before = stack.rows(last)[0][0]
    wait_until(
        lambda: stack.rows(last)[0][0] != before,
        seconds=30,
        what=f"beat and worker did not sweep after {before}\n{stack.said()}\n",
    )


def _all(reader: Caller, path: str, **query: int) -> list[dict]:
    rows: list[dict] = []
    while True:
        page = reader.get(path, limit=100, offset=len(rows), **query)
        assert page is not None, path
        rows += page["results"]
        if len(rows) >= page["count"]:
            return rows
