"""Two senders on one database, one of them killed again and again, and a gateway with faults.

Nothing may be lost; what is sent twice, because a sender died between the gateway's answer and
its own mark, stays below a tenth and carries the same id.
"""

import random
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pytest
from gateway import Gateway
from stacks import MANAGE, PYTHON, EmbeddedStack, Process, ServerStack, Stack, wait_while

pytestmark = [pytest.mark.services, pytest.mark.timeout(420)]

SEED = 31415
REFERRALS, NOTICES = 24, 24
KILL_SECONDS = 60.0
Owed = tuple[int, str]
FAULTS = {"refuses": 0.10, "hangs": 0.03, "answer_lost": 0.03, "hang_seconds": 1.6}
MESSAGES = (
    "SELECT d.id, d.alert_id, d.address FROM referrals_delivery d "
    "JOIN referrals_alert a ON a.id = d.alert_id "
    "WHERE d.channel = 'sms' AND a.kind IN ('question', 'pump_test')"
)


@pytest.mark.parametrize("kind", [EmbeddedStack, ServerStack], ids=["sqlite", "postgresql"])
def test_no_first_message_is_lost_and_few_go_twice(kind: type[Stack], tmp_path: Path) -> None:
    with Gateway(**FAULTS, seed=SEED) as gateway:
        stack = kind(tmp_path, gateway, LITTLEROAD_LOG_LEVEL="INFO")
        try:
            stack.prepare()
            _run(stack, "make_alerts.py", str(REFERRALS), str(NOTICES))
            assert len(_owed(stack)) >= 200
            _pump(stack, gateway)
        finally:
            stack.stop()


def _pump(stack: Stack, gateway: Gateway) -> None:
    chance = random.Random(SEED)
    owed = set(_owed(stack).values())
    pumps = [_pump_process(stack, number) for number in range(2)]
    begun, kills = time.monotonic(), 0
    try:
        while time.monotonic() - begun < KILL_SECONDS and _unheard(stack, gateway, owed):
            pump = pumps[kills % 2]
            if not _sends_within(pump, 60, lambda: bool(_unheard(stack, gateway, owed))):
                break
            time.sleep(chance.uniform(0.5, 1.5))
            pump.kill9()
            kills += 1
            pump.log.unlink()
            pump.start()
        # The leases of the killed run out; then everybody has to have been told.
        wait_while(lambda: bool(_unheard(stack, gateway, owed)), seconds=90)
    finally:
        for pump in pumps:
            pump.stop()
    _figures(stack, gateway, owed, kills, time.monotonic() - begun)


def _figures(stack: Stack, gateway: Gateway, owed: set[Owed], kills: int, seconds: float) -> None:
    lost = _unheard(stack, gateway, owed)
    with gateway.lock:
        times = Counter(body["id"] for body in gateway.taken)
    twice = sum(times.values()) - len(times)
    print(
        f"\nseed {SEED}, {stack.__class__.__name__}: {len(owed)} first messages, {kills} kills, "
        f"{len(lost)} lost, {len(times)} messages taken, {twice} of them again "
        f"({twice / len(times):.1%}), {seconds:.0f} s"
    )
    assert lost == set()
    assert kills >= 5
    assert twice < len(times) / 10


def _pump_process(stack: Stack, number: int) -> Process:
    log = stack.folder / f"pump-{number}.log"
    pump = Process(f"pump {number}", [PYTHON, MANAGE, "sweep"], stack.environment, log)
    pump.start()
    return pump


def _sends_within(pump: Process, seconds: float, more: Callable[[], bool]) -> bool:
    """Wait until a new sender sends: killed before that, it would prove nothing."""
    deadline = time.monotonic() + seconds
    while "HTTP Request" not in pump.said():
        assert time.monotonic() < deadline, f"{pump.name} sent nothing: {pump.said()}"
        if not more():
            return False
        time.sleep(0.2)
    return True


def _owed(stack: Stack) -> dict[str, Owed]:
    """Which message is for whom about what; a step of a ladder renews one that still waits."""
    return {f"littleroad-{number}": (alert, to) for number, alert, to in stack.rows(MESSAGES)}


def _unheard(stack: Stack, gateway: Gateway, owed: set[Owed]) -> set[Owed]:
    """Who was to be told first and has been told nothing yet."""
    with gateway.lock:
        taken = {body["id"] for body in gateway.taken}
    return owed - {one for number, one in _owed(stack).items() if number in taken}


def _run(stack: Stack, script: str, *words: str) -> None:
    path = Path(__file__).with_name(script)
    made = Process(
        script, [PYTHON, str(path), *words], stack.environment, stack.folder / "made.log"
    )
    made.start()
    assert made.running is not None
    assert made.running.wait(180) == 0, made.said()
