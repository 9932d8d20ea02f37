"""``manage.py demo`` as a process of its own: started, asked where it is, and stopped whole."""

import json
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

MANAGE = Path(__file__).resolve().parent.parent / "manage.py"
NOT_FOR_THE_DEMO = ("DATABASE_URL", "REDIS_URL", "DJANGO_SETTINGS_MODULE")
SECONDS_TO_START, SECONDS_TO_STOP = 120.0, 20.0


class DemoFailed(Exception):
    """The demo did not start, or did not stop as it should."""


@dataclass(frozen=True)
class Demo:
    """A demo that answers: its address, a sign-in link and a token a role, and its processes."""

    url: str
    links: dict[str, str]
    tokens: dict[str, str]
    data: Path
    process: subprocess.Popen[str]

    def family(self) -> set[int]:
        """The ids of the process and of everything it has started."""
        return _family(self.process.pid)


@contextmanager
def running_demo(port: int, data: Path, *, speed: float) -> Iterator[Demo]:
    """A demo on a port, with its clock ``speed`` times faster; stopped as Ctrl-C stops it."""
    process = subprocess.Popen(
        [sys.executable, MANAGE, "demo", "--port", str(port), "--data", data,
         "--json", "--speed", str(speed)],
        stdout=subprocess.PIPE,
        stderr=(data / "progress.txt").open("w"),
        text=True,
        env=_clean_environment(),
    )  # fmt: skip
    family: set[int] = {process.pid}
    try:
        demo = Demo(data=data, process=process, **_ready_line(process))
        yield demo
        family = demo.family()
    finally:
        _stop(process, family | _family(process.pid))


def alive(processes: set[int]) -> set[int]:
    """Those of some processes that still run."""
    return {pid for pid in processes if _state(pid) not in ("", "Z")}


def _clean_environment() -> dict[str, str]:
    return {
        name: value
        for name, value in os.environ.items()
        if name not in NOT_FOR_THE_DEMO and not name.startswith("LITTLEROAD_")
    }


def _ready_line(process: subprocess.Popen[str]) -> dict[str, Any]:
    """The one line that the demo prints once it answers."""
    assert process.stdout is not None  # noqa: S101 - a pipe was asked for
    too_late = threading.Timer(SECONDS_TO_START, process.kill)
    too_late.start()
    try:
        line = process.stdout.readline()
    finally:
        too_late.cancel()
    if not line:
        raise DemoFailed(f"the demo ended before it was ready (exit {process.wait()})")
    told: dict[str, Any] = json.loads(line)
    return told


def _stop(process: subprocess.Popen[str], family: set[int]) -> None:
    process.send_signal(signal.SIGINT)
    try:
        process.wait(SECONDS_TO_STOP)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()
        raise DemoFailed(f"the demo went on for {SECONDS_TO_STOP:g} s after Ctrl-C") from None
    finally:
        if process.stdout:
            process.stdout.close()
        left = alive(family - {process.pid})
        for pid in left:
            os.kill(pid, signal.SIGKILL)
    if left:
        raise DemoFailed(f"the demo left processes behind: {sorted(left)}")


def _family(root: int) -> set[int]:
    """A process and all below it, by what the system lists."""
    parents = {int(each.name): _parent(int(each.name)) for each in Path("/proc").glob("[0-9]*")}
    found = {root}
    while more := {pid for pid, parent in parents.items() if parent in found} - found:
        found |= more
    return found


def _parent(pid: int) -> int:
    fields = _stat(pid)
    return int(fields[1]) if fields else 0


def _state(pid: int) -> str:
    fields = _stat(pid)
    return fields[0] if fields else ""


def _stat(pid: int) -> list[str]:
    """State, parent and so on; nothing for a process that is gone."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    except OSError:
        return []
