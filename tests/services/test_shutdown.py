"""How the commands begin and end, seen from outside: codes, sentences, no leftovers."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import httpx
import pytest
from servers import free_port, wait_until
from stacks import MANAGE, ROOT, children, is_alive, of_folder, wait_while, words_of

pytestmark = [pytest.mark.services, pytest.mark.timeout(300)]

STOP_SECONDS = 5.0
ENTRY_KEYS = {"seq", "kind", "actor", "channel", "happened_at", "received_at", "hash"}
RECORD_KEYS = {
    "referral", "transfer_stage", "chain_verified", "babies", "alerts", "estimates", "entries",
}  # fmt: skip


def _environment(data: Path) -> dict[str, str]:
    kept = {
        name: value
        for name, value in os.environ.items()
        if not name.startswith(("LITTLEROAD_", "DATABASE_URL", "REDIS_URL", "DJANGO_"))
    }
    return kept | {"LITTLEROAD_DATA_DIR": str(data)}


def _run(*words: str, data: Path, seconds: float = 280) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, *words], cwd=ROOT, env=_environment(data), capture_output=True, text=True,
        timeout=seconds, stdin=subprocess.DEVNULL,
    )  # fmt: skip


class Command:
    """A command of the service that goes on until it is told to end."""

    def __init__(self, *words: str, data: Path) -> None:
        data.mkdir(parents=True, exist_ok=True)
        self.data, self.port = data, 0
        self.out, self.err = data / "out.txt", data / "err.txt"
        with self.out.open("wb") as out, self.err.open("wb") as err:
            self.process = subprocess.Popen(
                [sys.executable, MANAGE, *words, "--data", str(data)], cwd=ROOT,
                env=_environment(data), stdin=subprocess.DEVNULL, stdout=out, stderr=err,
                start_new_session=True,
            )  # fmt: skip

    def wait_for_line(self, seconds: float = 120) -> str:
        """The first line it prints."""
        what = "the command printed nothing"
        wait_until(lambda: "\n" in self.out.read_text(), seconds=seconds, what=what)
        return self.out.read_text().splitlines()[0]

    def sweep(self) -> int:
        """The sweep process it keeps beside itself."""
        wait_until(lambda: bool(self._sweeps()), seconds=30, what="no sweep came up")
        return self._sweeps()[0]

    def end(self, how: signal.Signals) -> float:
        """Send it a signal; gives the seconds until it has gone."""
        begun = time.monotonic()
        self.process.send_signal(how)
        self.process.wait(90)
        return time.monotonic() - begun

    def clear(self) -> None:
        """Leave nothing behind, however the test went."""
        for pid in of_folder(self.data):
            os.kill(pid, signal.SIGKILL)
        self.process.wait(10)

    def _sweeps(self) -> list[int]:
        return [pid for pid in children(self.process.pid) if "sweep" in words_of(pid)]


@pytest.fixture
def demo(tmp_path: Path):
    """A demo with its journey under way."""
    port = free_port()
    command = Command("demo", "--json", "--port", str(port), data=tmp_path / "demo")
    command.port = port
    yield command
    command.clear()


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_ends_the_demo_and_everything_it_started(demo: Command, how: signal.Signals):
    told = json.loads(demo.wait_for_line())
    assert set(told) == {"url", "links", "tokens"}
    assert httpx.get(f"{told['url']}/healthz", timeout=10).json() == {"alive": True}
    sweep = demo.sweep()
    took = demo.end(how)
    print(f"\n{how.name}: ended {demo.process.returncode} after {took:.2f} s")
    assert took < STOP_SECONDS
    assert demo.process.returncode == 0
    assert not is_alive(sweep)
    assert of_folder(demo.data) == []
    said = demo.err.read_text()
    assert "Traceback" not in said, said
    assert "cannot schedule new futures" not in said, said


def test_the_sweep_goes_when_the_demo_is_killed(demo: Command):
    demo.wait_for_line()
    sweep = demo.sweep()
    demo.process.kill()
    demo.process.wait(10)
    print(f"\nthe sweep went after {wait_while(lambda: is_alive(sweep), seconds=3):.2f} s")
    assert not is_alive(sweep)


def test_a_signal_while_the_demo_still_sets_up_says_nothing_strange(demo: Command):
    wait_until(
        lambda: "database" in demo.err.read_text(), seconds=60, what="the demo did not start"
    )
    demo.end(signal.SIGINT)
    assert demo.process.returncode != 0 or demo.out.read_text()
    assert "Traceback" not in demo.err.read_text(), demo.err.read_text()


@pytest.mark.parametrize("command", ["demo", "serve"])
def test_a_taken_port_is_one_sentence(command: str, tmp_path: Path):
    import socket

    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        run = _run(MANAGE, command, "--port", port, "--data", str(tmp_path), data=tmp_path)
    assert run.returncode == 2
    assert run.stdout == ""
    assert len(run.stderr.strip().splitlines()) == 1, run.stderr
    assert f"Port {port} is taken" in run.stderr


@pytest.mark.parametrize("speed", ["fast", "0", "-3", "nan", "inf", "100000"])
def test_a_speed_that_is_none_is_refused(speed: str, tmp_path: Path):
    words = ("demo", f"--speed={speed}", "--data", str(tmp_path), "--port", "0")
    run = _run(MANAGE, *words, data=tmp_path)
    assert run.returncode == 2, run.stderr
    assert run.stdout == ""
    assert "Traceback" not in run.stderr
    assert "speed" in run.stderr


def test_serve_without_a_district_says_what_to_do(tmp_path: Path):
    port = free_port()
    command = Command("serve", "--port", str(port), data=tmp_path)
    try:
        assert command.wait_for_line() == f"http://127.0.0.1:{port}"
        wait_until(
            lambda: "import_district" in command.err.read_text(),
            seconds=20,
            what="serve did not say what to do",
        )
        assert httpx.get(f"http://127.0.0.1:{port}/readyz", timeout=10).status_code == 200
        assert command.end(signal.SIGTERM) < STOP_SECONDS
        assert command.process.returncode == 0
    finally:
        command.clear()


def test_an_old_python_is_told_so(tmp_path: Path):
    code = (
        "import runpy, sys; sys.version_info = (3, 9, 2, 'final', 0); "
        f"sys.argv = ['manage.py', 'demo']; runpy.run_path({MANAGE!r}, run_name='__main__')"
    )
    run = _run("-c", code, data=tmp_path)
    assert run.returncode == 2
    assert run.stdout == ""
    assert len(run.stderr.strip().splitlines()) == 1, run.stderr
    assert "3.11" in run.stderr
    assert "3.9" in run.stderr


def test_the_headless_demo_plays_one_journey_and_prints_its_record(tmp_path: Path):
    run = _run(MANAGE, "demo", "--headless", "--data", str(tmp_path), data=tmp_path)
    assert run.returncode == 0, run.stderr[-3000:]
    record: dict[str, Any] = json.loads(run.stdout)  # anything beside the document fails here
    assert set(record) == RECORD_KEYS
    assert record["transfer_stage"] == "handed_over"
    assert record["chain_verified"] is True
    assert record["babies"] == [{"code": f"{record['referral']}-1", "ending": "handed_over"}]
    assert record["alerts"]
    assert record["estimates"]
    entries = record["entries"]
    assert all(set(entry) == ENTRY_KEYS for entry in entries)
    assert [entry["seq"] for entry in entries] == list(range(1, len(entries) + 1))
    hashes = [entry["hash"] for entry in entries]
    assert len(set(hashes)) == len(hashes)
    assert all(len(one) == 64 and int(one, 16) >= 0 for one in hashes)
    kinds = [entry["kind"] for entry in entries]
    assert kinds[0] == "raised"
    assert kinds.count("checked") >= 1
    assert {"unit_asked", "accepted", "milestone", "closed"} <= set(kinds)
    assert "Traceback" not in run.stderr, run.stderr
    assert "cannot schedule new futures" not in run.stderr
