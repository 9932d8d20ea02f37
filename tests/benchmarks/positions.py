"""P5: positions from a driver's phone, against plain views that insert the same rows unasked.

The service's side is the whole way: the link is checked, the journey looked up, every position
validated, stored once by its key, and the vehicle's last place moved on. Taken in this process by
Django's test client, and over loopback from a gunicorn with two sync workers. The sweep works the
arrival window out once a minute, however many positions came; the last lines do it after each
request, on the track of a journey of two hours.
"""

import http.client
import itertools
import json
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import common
from common import Line

MANY = 100
WORKERS = 2
CLIENTS = 2
_numbers = itertools.count(1)


@dataclass(frozen=True)
class Journey:
    """The journey that positions are told of, and the driver's link."""

    pk: int
    token: str

    @property
    def api(self) -> str:
        """The service's own address."""
        return f"/api/v1/transfers/{self.pk}/positions/"


def measure() -> list[Line]:
    """All lines of one database."""
    common.setup()
    from django.conf import settings

    settings.ROOT_URLCONF = "plain"
    journey = make_journey()
    return with_arrival(journey) + in_process(journey) + over_loopback(journey)


def make_journey() -> Journey:
    """A vehicle on the road in the demo's district."""
    from world import a_journey

    from fixtures_demo.load import load_district
    from referrals import clock
    from referrals.models import Unit
    from transport import driver_links
    from transport.calc.stages import TransferStage

    now = clock.now()
    load_district(now)
    begun = now - timedelta(hours=1)
    transfer = a_journey(begun, Unit.objects.get(code="ORL-NB"), stage=TransferStage.ON_THE_ROAD)
    return Journey(transfer.pk, driver_links.token_for(transfer))


def with_arrival(journey: Journey) -> list[Line]:
    """The arrival window after each request, as the sweep works it out once a minute."""
    from referrals import clock
    from transport import tracking
    from transport.models import Position, Transfer

    ours, post = in_this_process(journey)

    def measured(what: str, rows: int, body: Callable[[], bytes], plain: str, times: int) -> Line:
        a_track(journey)

        def update() -> None:
            ours(body())
            Transfer.objects.filter(pk=journey.pk).update(window_at=None)
            assert tracking.refresh_windows(clock.now())

        taken, bare = common.side_by_side(
            update, lambda: post(f"/plain/{plain}/{journey.pk}/", body()), times=times, warm_up=1
        )
        return _rates(f"{what} with its arrival, in process", rows, taken, bare, None)

    lines = [
        measured("one position", 1, one_position, "one", common.repeats(60)),
        # Few times: each makes the track of the next a hundred positions longer.
        measured(f"batch of {MANY}", MANY, many_positions, "many", 5),
    ]
    Position.objects.filter(transfer=journey.pk).delete()
    return lines


def a_track(journey: Journey) -> None:
    """Two hours of positions, one a minute, and nothing else."""
    from transport.models import Position

    Position.objects.filter(transfer=journey.pk).delete()
    told = [_told() for _ in range(120)]
    now = datetime.now(UTC)
    Position.objects.bulk_create(
        Position(
            transfer_id=journey.pk, assignment=1, key=one["key"],
            recorded_at=now - timedelta(minutes=120 - minute / 2), received_at=now,
            latitude=one["latitude"], longitude=one["longitude"], accuracy_m=one["accuracy_m"],
        )
        for minute, one in enumerate(told)
    )  # fmt: skip


Post = Callable[..., None]


def in_this_process(journey: Journey) -> tuple[Callable[[bytes], None], Post]:
    """The service's own view, and any view, through Django's test client."""
    from django.test import Client

    client = Client(headers={"host": "127.0.0.1"})

    def post(path: str, body: bytes, **headers: str) -> None:
        answer = client.post(path, body, content_type="application/json", headers=headers)
        assert answer.status_code == 200, answer.content

    def ours(body: bytes) -> None:
        post(journey.api, body, authorization=f"Driver {journey.token}")

    return ours, post


def in_process(journey: Journey) -> list[Line]:
    """Both views in this process, in turns."""
    ours, post = in_this_process(journey)
    one, plain_one = common.side_by_side(
        lambda: ours(one_position()),
        lambda: post(f"/plain/one/{journey.pk}/", one_position()),
        times=common.repeats(200),
    )
    many, plain_many = common.side_by_side(
        lambda: ours(many_positions()),
        lambda: post(f"/plain/many/{journey.pk}/", many_positions()),
        times=common.repeats(60),
    )
    return [
        _rates("one position, in process", 1, one, plain_one, 0.6),
        _rates(f"batch of {MANY}, in process", MANY, many, plain_many, 0.5),
    ]


def _rates(
    what: str, rows: int, ours: list[float], plain: list[float], at_least: float | None
) -> Line:
    return Line(
        what=f"P5 {what}",
        measured=rows * 1000 / common.median(ours),
        baseline=rows * 1000 / common.median(plain),
        unit="rows/s",
        at_least=at_least,
        note=f"p95 {common.p95(ours):.1f} / {common.p95(plain):.1f} ms",
    )


def over_loopback(journey: Journey) -> list[Line]:
    """Both views from one gunicorn, in blocks that take turns."""
    blocks, size = (2, 40) if common.quick() else (4, 160)
    with gunicorn() as port:
        caller = {"Authorization": f"Driver {journey.token}"}
        one = _blocks(
            blocks, size,
            lambda n: Load(port, journey.api, one_position, caller).run(n),
            lambda n: Load(port, f"/plain/one/{journey.pk}/", one_position, {}).run(n),
        )  # fmt: skip
        many = _blocks(
            blocks, size // 5,
            lambda n: Load(port, journey.api, many_positions, caller).run(n),
            lambda n: Load(port, f"/plain/many/{journey.pk}/", many_positions, {}).run(n),
        )  # fmt: skip
    where = f"gunicorn sync {WORKERS}"
    return [
        _loaded(f"P5 one position, {where}", 1, one, 0.6),
        _loaded(f"P5 batch of {MANY}, {where}", MANY, many, 0.5),
    ]


Block = tuple[float, list[float]]


def _blocks(count: int, size: int, *loads: Callable[[int], Block]) -> list[list[Block]]:
    for load in loads:
        load(20)
    taken: list[list[Block]] = [[] for _ in loads]
    for _ in range(count):
        for kept, load in zip(taken, loads, strict=True):
            kept.append(load(size))
    return taken


def _loaded(what: str, rows: int, taken: list[list[Block]], at_least: float) -> Line:
    ours, plain = (common.median([rate for rate, _ in blocks]) for blocks in taken)
    late, late_plain = (
        common.p95([each for _, times in blocks for each in times]) for blocks in taken
    )
    return Line(
        what=what, measured=rows * ours, baseline=rows * plain, unit="rows/s", at_least=at_least,
        note=f"p95 {late:.1f} / {late_plain:.1f} ms, {CLIENTS} clients",
    )  # fmt: skip


@dataclass(frozen=True)
class Load:
    """A few clients that post one after the other, each its share."""

    port: int
    path: str
    body: Callable[[], bytes]
    headers: dict[str, str]

    def run(self, count: int) -> Block:
        """Requests a second, and the milliseconds of each."""
        times: list[float] = []
        threads = [
            threading.Thread(target=self._post, args=(count // CLIENTS, times))
            for _ in range(CLIENTS)
        ]
        begun = time.perf_counter()
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        seconds = time.perf_counter() - begun
        assert len(times) == count // CLIENTS * CLIENTS, "some requests were not answered with 200"
        return len(times) / seconds, times

    def _post(self, count: int, times: list[float]) -> None:
        for _ in range(count):
            body = self.body()
            begun = time.perf_counter()
            connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
            headers = {"Content-Type": "application/json", **self.headers}
            connection.request("POST", self.path, body, headers)
            answer = connection.getresponse()
            text = answer.read()
            connection.close()
            assert answer.status == 200, text
            times.append((time.perf_counter() - begun) * 1000)


@contextmanager
def gunicorn() -> Iterator[int]:
    """Two sync workers on the database of this run."""
    from servers import answers, free_port, wait_until

    port = free_port()
    here = str(common.ROOT / "tests" / "benchmarks")
    server = subprocess.Popen(
        [sys.executable, "-m", "gunicorn", "plain_server:application", "--pythonpath", here,
         "--workers", str(WORKERS), "--bind", f"127.0.0.1:{port}", "--log-level", "error"],
        stdout=sys.stderr,
    )  # fmt: skip
    try:
        wait_until(lambda: answers(port), seconds=30, what="gunicorn did not answer")
        yield port
    finally:
        server.terminate()
        server.wait(15)


def one_position() -> bytes:
    """One position as a phone tells it, with a key never used before."""
    return json.dumps(_told()).encode()


def many_positions() -> bytes:
    """A batch of them."""
    return json.dumps({"positions": [_told() for _ in range(MANY)]}).encode()


def _told() -> dict[str, Any]:
    number = next(_numbers)
    return {
        "key": f"phone-{number}",
        "happened_at": datetime.now(UTC).isoformat(),
        "latitude": -22.4 + number % 1000 / 10_000,
        "longitude": 85.9,
        "accuracy_m": 12.0,
    }


if __name__ == "__main__":
    common.main(measure, "Position intake")
