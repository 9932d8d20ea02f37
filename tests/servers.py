"""Real servers for the tests that need them: each starts its own and stops it again.

``PostgreSQL`` and ``Redis`` can be killed and started again on the same port; the context managers
``postgresql`` and ``redis`` are for tests that only need one that runs.
"""

import os
import random
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

REQUIRED = os.environ.get("LITTLEROAD_REQUIRE_SERVICES") == "1"


def missing(what: str) -> None:
    """Skip visibly, or fail where the services are required."""
    words = f"{what} is not on this machine"
    if REQUIRED:
        pytest.fail(f"{words}, and LITTLEROAD_REQUIRE_SERVICES=1", pytrace=False)
    pytest.skip(words)


def free_port() -> int:
    """A port below the range that outgoing connections use; tests beside this one get others."""
    for port in random.SystemRandom().sample(range(20011, 32000), 200):
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) != 0:
                try:
                    probe.close()
                    with socket.socket() as bound:
                        bound.bind(("127.0.0.1", port))
                        return port
                except OSError:
                    continue
    raise RuntimeError("no free port below 32000")


def wait_until(ready: Callable[[], bool], *, seconds: float, what: str) -> None:
    """Poll until something is ready; fail with its name when it never is."""
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        if ready():
            return
        time.sleep(0.05)
    pytest.fail(f"{what} within {seconds:g} s", pytrace=False)


def answers(port: int) -> bool:
    """Whether somebody listens on a port of this machine."""
    with socket.socket() as probe:
        probe.settimeout(1)
        return probe.connect_ex(("127.0.0.1", port)) == 0


def postgresql_folder() -> Path | None:
    """Where PostgreSQL's server programs are, newest first."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), reverse=True)
    on_path = shutil.which("initdb")
    return found[0].parent if found else (Path(on_path).parent if on_path else None)


class PostgreSQL:
    """A PostgreSQL of our own, durable as in real use; ``url`` names its database."""

    def __init__(self, folder: Path) -> None:
        """Make an empty one; it does not run yet."""
        programs = postgresql_folder()
        if programs is None:
            missing("PostgreSQL")
        assert programs is not None
        # The server refuses to run as root; Debian's package brings a user of its own, and pytest
        # closes its temporary folders to everybody but their owner.
        self.user = "postgres" if os.geteuid() == 0 else None
        if self.user:
            folder = Path(tempfile.mkdtemp(prefix="littleroad-postgresql-"))
            shutil.chown(folder, self.user)
        folder.mkdir(parents=True, exist_ok=True)
        self.programs, self.folder = programs, folder
        self.port = free_port()
        self.url = f"postgres://littleroad@127.0.0.1:{self.port}/postgres"
        subprocess.run(
            [programs / "initdb", "-D", folder / "data", "-U", "littleroad", "-A", "trust",
             "-E", "UTF8"],
            check=True, user=self.user, cwd=folder, stdout=subprocess.DEVNULL,
        )  # fmt: skip
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start it, again and again while the children of a killed one still hold its memory."""
        what = f"PostgreSQL did not answer, see {self.folder}/log"
        wait_until(self._is_up, seconds=90, what=what)

    def kill9(self) -> None:
        """Kill the server that all its other processes belong to."""
        assert self.process is not None
        self.process.kill()
        self.process.wait(15)

    def stop(self) -> None:
        """Stop it without waiting for its clients."""
        if self.process and self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
            self.process.wait(30)
        if self.user:
            shutil.rmtree(self.folder, ignore_errors=True)

    def _is_up(self) -> bool:
        if self.process is None or self.process.poll() is not None:
            log = (self.folder / "log").open("ab")
            self.process = subprocess.Popen(
                [self.programs / "postgres", "-D", self.folder / "data", "-p", str(self.port),
                 "-h", "127.0.0.1", "-k", self.folder],
                user=self.user, cwd=self.folder, stderr=log,
            )  # fmt: skip
            time.sleep(0.2)
        return _accepts(self.url)


@contextmanager
def postgresql(folder: Path) -> Iterator[str]:
    """A PostgreSQL of our own; gives the URL of an empty database."""
    server = PostgreSQL(folder)
    try:
        server.start()
        yield server.url
    finally:
        server.stop()


def _accepts(url: str) -> bool:
    import psycopg

    try:
        with psycopg.connect(url, connect_timeout=2):
            return True
    except psycopg.Error:
        return False


class Redis:
    """A Redis of our own that keeps an append-only file; ``url`` names it."""

    def __init__(self, folder: Path) -> None:
        """Choose its port; it does not run yet."""
        program = shutil.which("redis-server")
        if program is None:
            missing("Redis")
        self.program, self.folder, self.port = program, folder, free_port()
        self.url = f"redis://127.0.0.1:{self.port}/0"
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start it on whatever its folder holds."""
        self.folder.mkdir(parents=True, exist_ok=True)
        self.process = subprocess.Popen(
            [str(self.program), "--port", str(self.port), "--bind", "127.0.0.1", "--dir",
             self.folder, "--save", "", "--appendonly", "yes", "--maxmemory-policy", "noeviction"],
            stdout=subprocess.DEVNULL,
        )  # fmt: skip
        wait_until(lambda: answers(self.port), seconds=15, what="Redis did not answer")

    def freeze(self) -> None:
        """Stop it in its tracks: connections open, nothing is answered."""
        assert self.process is not None
        self.process.send_signal(signal.SIGSTOP)

    def thaw(self) -> None:
        """Let a frozen one go on."""
        assert self.process is not None
        self.process.send_signal(signal.SIGCONT)

    def kill9(self) -> None:
        """Kill it."""
        assert self.process is not None
        self.process.kill()
        self.process.wait(15)

    def empty(self) -> None:
        """Throw away everything a killed one had kept."""
        shutil.rmtree(self.folder, ignore_errors=True)

    def stop(self) -> None:
        """Kill it if it still runs."""
        if self.process and self.process.poll() is None:
            self.kill9()


@contextmanager
def redis(folder: Path) -> Iterator[tuple[str, subprocess.Popen[bytes]]]:
    """A Redis of our own that keeps an append-only file; gives its URL and its process."""
    server = Redis(folder)
    try:
        server.start()
        assert server.process is not None
        yield server.url, server.process
    finally:
        server.stop()


def chromium() -> str:
    """The path of Debian's Chromium (or another), or a visible skip."""
    for name in ("chromium", "chromium-browser", "google-chrome"):
        if path := shutil.which(name):
            return path
    missing("Chromium")
    raise AssertionError("not reached")
