"""P3: from the press of the button to the first message in the hands of the SMS gateway.

A real service (``manage.py serve``) and a real gateway over loopback. The clock starts before the
POST and stops when the gateway has the message that names the case. Beside it, in turns, a Celery
task that does nothing, on the same kind of worker and broker. On SQLite the broker is inside the
process; on PostgreSQL it is Redis where REDIS_URL names one or a server can be started here.
"""

import http.client
import json
import os
import random
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

import common
from common import Line

TIMES = 80
BAGGED = {"breathing": "ventilated", "support": "bag_and_mask_oxygen", "oxygen_flow_l_min": 5.0}


class Arrivals(list[dict[str, Any]]):
    """The messages a gateway has taken, each with the moment it came."""

    def append(self, body: dict[str, Any]) -> None:
        """Keep one."""
        super().append({**body, "came_at": time.perf_counter()})


def measure() -> list[Line]:
    """All lines of one database."""
    common.setup()
    from gateway import Gateway

    token = make_district()
    broker = os.environ.get("LITTLEROAD_BENCHMARK_REDIS", "")
    with ExitStack() as stack:
        gateway = stack.enter_context(Gateway(taken=Arrivals()))
        gateway.desk = desk_numbers()
        noop = stack.enter_context(no_op(broker))
        port = stack.enter_context(service(gateway.url, broker))
        times = _in_turns(lambda: raise_one(port, token, gateway), noop)
    alerts, questions, answers, noops = times
    where = "Redis" if broker else "broker inside the process"
    return [
        Line(
            what=f"P3 raise to gateway, p95; {where}",
            measured=common.p95(alerts), baseline=common.p95(noops), at_most=4,
            note=f"p50 {common.median(alerts):.1f} / {common.median(noops):.1f} ms; "
            f"answer to the POST p50 {common.median(answers):.1f} ms",
        ),
        Line(
            what="   the same, to the phone of the unit that is asked",
            measured=common.p95(questions), baseline=common.p95(noops),
            note=f"p50 {common.median(questions):.1f} ms",
        ),
    ]  # fmt: skip


def _in_turns(
    raising: Callable[[], tuple[float, float, float]], noop: Callable[[], float]
) -> list[list[float]]:
    rows = []
    chance = random.Random(5)
    for _ in range(common.repeats(TIMES) + 3):
        # Nothing may fall into step with a poll or a sweep.
        time.sleep(chance.uniform(0.02, 0.12))
        raised = raising()
        time.sleep(chance.uniform(0.02, 0.12))
        rows.append((*raised, noop()))
    return [list(column) for column in zip(*rows[3:], strict=True)]


def make_district() -> str:
    """The demo's district and the token of an attendant's device."""
    from django.db import connections
    from rest_framework.authtoken.models import Token

    from fixtures_demo.load import load_district
    from referrals import clock
    from referrals.models import Staff

    load_district(clock.now())
    token = Token.objects.create(user=Staff.objects.get(username="tomasi.bellaqua"))
    connections.close_all()
    return token.key


def desk_numbers() -> set[str]:
    """The numbers of the desk's people."""
    from referrals.models import Contact

    return {each.address for each in Contact.objects.filter(district__isnull=False)}


def raise_one(port: int, token: str, gateway: Any) -> tuple[float, float, float]:
    """Milliseconds from the POST to the first message, the unit's message, and the answer."""
    headers = {
        "Authorization": f"Token {token}",
        "Content-Type": "application/json",
        "Idempotency-Key": f"raise-{time.time_ns()}",
    }
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    begun = time.perf_counter()
    connection.request("POST", "/api/v1/referrals/", json.dumps({"babies": [BAGGED]}), headers)
    answer = connection.getresponse()
    body = json.loads(answer.read())
    answered = time.perf_counter()
    connection.close()
    assert answer.status == 201, body
    first, question = _messages(gateway, body["code"])
    return tuple((moment - begun) * 1000 for moment in (first, question, answered))


def _messages(gateway: Any, code: str) -> tuple[float, float]:
    """When the first message about a case came, and the first to somebody else than the desk."""
    deadline = time.monotonic() + 20
    while time.monotonic() < deadline:
        with gateway.lock:
            came = [each for each in gateway.taken if code in each["text"]]
        asked = [each["came_at"] for each in came if each["to"] not in gateway.desk]
        if asked:
            return min(each["came_at"] for each in came), min(asked)
        time.sleep(0.002)
    raise TimeoutError(f"no question about {code} within 20 s")


@contextmanager
def service(gateway_url: str, broker: str) -> Iterator[int]:
    """The whole service as it is run for real, on the database of this run."""
    from servers import free_port, wait_until

    port = free_port()
    server = subprocess.Popen(
        [sys.executable, str(common.ROOT / "manage.py"), "serve", "--port", str(port)],
        env=_for_real(broker) | {"LITTLEROAD_SMS_URL": gateway_url}, stdout=sys.stderr,
    )  # fmt: skip
    try:
        wait_until(lambda: _is_ready(port), seconds=60, what="the service was not ready")
        yield port
    finally:
        server.terminate()
        server.wait(20)


def _is_ready(port: int) -> bool:
    try:
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=2)
        connection.request("GET", "/readyz")
        return connection.getresponse().status == 200
    except OSError:
        return False


def _for_real(broker: str) -> dict[str, str]:
    """The environment of this run without the demo, whose messages stay inside it."""
    demo = ("LITTLEROAD_DEMO", "LITTLEROAD_SECRET_KEY")
    kept = {name: value for name, value in os.environ.items() if name not in demo}
    return kept | {"LITTLEROAD_SECRET_KEY": "of-this-benchmark-alone", "REDIS_URL": broker}


@contextmanager
def no_op(broker: str) -> Iterator[Callable[[], float]]:
    """A process beside the service, with a worker of its own on queues of its own."""
    from referrals.project.embedded import WORKER_THREADS

    # Another number, so that neither worker takes the other's tasks.
    own = f"{broker.rsplit('/', 1)[0]}/1" if broker else ""
    process = subprocess.Popen(
        [sys.executable, str(Path(__file__).with_name("noop.py")), str(WORKER_THREADS)],
        env=os.environ | {"REDIS_URL": own},
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    stdin, stdout = process.stdin, process.stdout
    assert stdin is not None
    assert stdout is not None

    def once() -> float:
        stdin.write("once\n")
        stdin.flush()
        return float(stdout.readline())

    try:
        assert stdout.readline() == "ready\n"
        yield once
    finally:
        stdin.close()
        try:
            process.wait(10)
        except subprocess.TimeoutExpired:
            process.kill()


if __name__ == "__main__":
    common.main(measure, "From raise to alert")
