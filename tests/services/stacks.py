"""The whole service as real processes, started, killed and started again by tests.

``EmbeddedStack`` is one ``manage.py serve`` on SQLite with what it starts beside itself;
``ServerStack`` is PostgreSQL, Redis, web processes, a worker, beat and the plain sweep, as a
district that has outgrown one machine runs them. Everything listens on this machine only.
"""

import os
import re
import secrets
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import httpx
import psycopg
from gateway import Gateway
from servers import PostgreSQL, Redis, free_port, wait_until

ROOT = Path(__file__).resolve().parents[2]
MANAGE = str(ROOT / "manage.py")
DISTRICT = str(ROOT / "fixtures_demo" / "district")
PYTHON = sys.executable
START_SECONDS = 120.0


def children(pid: int) -> list[int]:
    """The processes that a process has started and that still run, oldest first."""
    found = [
        process for process in all_processes() if (state := _state(process)) and state[1] == pid
    ]
    return sorted(found)


def all_processes() -> list[int]:
    """The number of every process of this machine."""
    return [int(folder.name) for folder in Path("/proc").iterdir() if folder.name.isdigit()]


def is_alive(pid: int) -> bool:
    """Whether a process runs; one that has ended and was not collected yet does not."""
    state = _state(pid)
    return state is not None and state[0] not in "ZX"


def of_folder(data: object, session: int | None = None) -> list[int]:
    """The running processes that keep their data in a folder, of one session or of any.

    Known by what they were started with: a number alone may long be another process's.
    """
    mark = f"LITTLEROAD_DATA_DIR={data}".encode()
    return [
        pid
        for pid in all_processes()
        if (state := _state(pid))
        and state[0] not in "ZX"
        and (session is None or state[2] == session)
        and mark in _started_with(pid)
    ]


def _started_with(pid: int) -> list[bytes]:
    try:
        return Path(f"/proc/{pid}/environ").read_bytes().split(b"\0")
    except OSError:
        return []


def words_of(pid: int) -> str:
    """How a process was called."""
    try:
        return Path(f"/proc/{pid}/cmdline").read_bytes().replace(b"\0", b" ").decode().strip()
    except OSError:
        return ""


def _state(pid: int) -> tuple[str, int, int] | None:
    """State, parent and session of a process, as Linux tells them."""
    try:
        told = Path(f"/proc/{pid}/stat").read_text()
    except OSError:
        return None
    fields = told.rpartition(")")[2].split()
    return fields[0], int(fields[1]), int(fields[3])


class Process:
    """One process of the service, which can be killed and started again."""

    def __init__(
        self, name: str, words: Sequence[str], environment: Mapping[str, str], log: Path
    ) -> None:
        self.name, self.words, self.environment, self.log = name, words, environment, log
        self.running: subprocess.Popen[bytes] | None = None

    @property
    def pid(self) -> int:
        """Its number."""
        assert self.running is not None, f"{self.name} was never started"
        return self.running.pid

    @property
    def is_running(self) -> bool:
        """Whether it runs."""
        return self.running is not None and self.running.poll() is None

    def start(self) -> None:
        """Start it in a session of its own; what it says goes to its log."""
        with self.log.open("ab") as log:
            self.running = subprocess.Popen(
                self.words, cwd=ROOT, env=self.environment, stdin=subprocess.DEVNULL, stdout=log,
                stderr=log, start_new_session=True,
            )  # fmt: skip

    def kill9(self) -> None:
        """Kill it without warning."""
        assert self.running is not None
        self.running.kill()
        self.running.wait(15)

    def stop(self, seconds: float = 20.0) -> None:
        """Ask it to end, and kill what is left of its session."""
        if self.running is None:
            return
        if self.is_running:
            self.running.terminate()
            try:
                self.running.wait(seconds)
            except subprocess.TimeoutExpired:
                self.running.kill()
                self.running.wait(15)
        self.clear()

    def clear(self) -> None:
        """Kill what is left of its session."""
        for pid in of_folder(self.environment["LITTLEROAD_DATA_DIR"], self.pid):
            os.kill(pid, signal.SIGKILL)

    def said(self) -> str:
        """The end of its log."""
        return self.log.read_text(errors="replace")[-4000:] if self.log.exists() else ""


class Stack:
    """What the two ways of running the service have in common."""

    def __init__(self, folder: Path, gateway: Gateway, **settings: str) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.folder, self.gateway, self.port = folder, gateway, free_port()
        self.data = folder / "data"
        self.url = f"http://127.0.0.1:{self.port}"
        kept = {
            name: value
            for name, value in os.environ.items()
            if not name.startswith(("LITTLEROAD_", "DATABASE_URL", "REDIS_URL", "DJANGO_"))
        }
        self.environment = kept | {
            "LITTLEROAD_DATA_DIR": str(self.data),
            "LITTLEROAD_SECRET_KEY": secrets.token_urlsafe(50),
            "LITTLEROAD_BASE_URL": self.url,
            "LITTLEROAD_SMS_URL": gateway.url,
            "LITTLEROAD_VOICE_URL": gateway.url,
            "LITTLEROAD_SEND_TIMEOUT_SECONDS": "1",
            **settings,
        }
        self.processes: dict[str, Process] = {}
        self.tokens: dict[str, str] = {}

    def __enter__(self) -> "Stack":
        """Set up the district and start everything."""
        try:
            self.prepare()
            self.start()
        except BaseException:
            self.stop()
            raise
        return self

    def __exit__(self, *_: object) -> None:
        """Stop everything."""
        self.stop()

    def prepare(self) -> None:
        """The database with its district, and a token for one person of each kind."""
        self.manage("migrate", "--verbosity", "0")
        self.manage("import_district", DISTRICT)

    def manage(self, *words: str, expect: int | None = 0, seconds: float = 120) -> str:
        """Run a command to its end; gives what it answered."""
        run = subprocess.run(
            [PYTHON, MANAGE, *words], cwd=ROOT, env=self.environment, capture_output=True,
            text=True, timeout=seconds, stdin=subprocess.DEVNULL,
        )  # fmt: skip
        if expect is not None:
            assert run.returncode == expect, (
                f"{words} ended {run.returncode}: {run.stdout}" + (run.stderr[-3000:])
            )
        return run.stdout

    def token(self, username: str) -> str:
        """The API token of a person."""
        if username not in self.tokens:
            self.tokens[username] = self.manage("token", username).strip()
        return self.tokens[username]

    def start(self) -> None:
        """Start every process and wait until the service is ready."""
        for process in self.processes.values():
            if not process.is_running:
                process.start()
        self.wait_until_ready()

    def stop(self) -> None:
        """Stop every process."""
        for process in reversed(self.processes.values()):
            process.stop()

    def kill9(self, name: str) -> None:
        """Kill a process by its name."""
        self.processes[name].kill9()

    def restart(self, name: str) -> None:
        """Start a killed process again; ready or not is for the caller to wait."""
        self.processes[name].start()

    def wait_until_ready(self, seconds: float = START_SECONDS) -> None:
        """Until /readyz answers 200; fails at once when a process has ended by itself."""
        wait_until(self._is_ready, seconds=seconds, what=f"{self.url} was not ready")

    def readyz(self) -> tuple[int, dict[str, Any]]:
        """What /readyz says now; status 0 when nobody answers."""
        try:
            answer = httpx.get(f"{self.url}/readyz", timeout=15)
            return answer.status_code, answer.json()
        except (httpx.HTTPError, ValueError):
            return 0, {}

    def rows(self, statement: str) -> list[tuple[Any, ...]]:
        """Read the database without the service."""
        raise NotImplementedError

    def said(self) -> str:
        """The end of every log, for a test that fails."""
        return "\n".join(f"== {name}\n{process.said()}" for name, process in self.processes.items())

    def log_has(self, pattern: str) -> list[str]:
        """Every line of a log that matches."""
        return [
            line
            for process in self.processes.values()
            if process.log.exists()
            for line in process.log.read_text(errors="replace").splitlines()
            if re.search(pattern, line)
        ]

    def _add(self, name: str, words: Sequence[str]) -> None:
        log = self.folder / f"{name.replace(' ', '-')}.log"
        self.processes[name] = Process(name, words, self.environment, log)

    def _is_ready(self) -> bool:
        for process in self.processes.values():
            assert process.is_running, f"{process.name} has ended:\n{process.said()}"
        return self.readyz()[0] == 200


class EmbeddedStack(Stack):
    """One ``manage.py serve`` on SQLite: ``serve``, and the ``sweep`` that it keeps beside it."""

    kinds = ("serve", "sweep")

    def __init__(self, folder: Path, gateway: Gateway, **settings: str) -> None:
        super().__init__(folder, gateway, **settings)
        words = [PYTHON, MANAGE, "serve", "--port", str(self.port), "--data", str(self.data)]
        self._add("serve", words)

    def sweep_pid(self) -> int | None:
        """The number of the sweep process just now; nothing between two of them."""
        pids = [pid for pid in children(self.processes["serve"].pid) if "sweep" in words_of(pid)]
        return pids[0] if pids else None

    def kill9(self, name: str) -> None:
        """Kill ``serve``, or the ``sweep`` that it started."""
        if name == "sweep":
            wait_until(lambda: self.sweep_pid() is not None, seconds=20, what="no sweep came up")
            sweep = self.sweep_pid()
            assert sweep is not None
            os.kill(sweep, signal.SIGKILL)
        else:
            super().kill9(name)

    def restart(self, name: str) -> None:
        """``serve`` is started again; it starts its ``sweep`` again by itself."""
        if name != "sweep":
            super().restart(name)

    def rows(self, statement: str) -> list[tuple[Any, ...]]:
        """Read the database file."""
        file = sqlite3.connect(self.data / "littleroad.sqlite3", timeout=20)
        try:
            return file.execute(statement).fetchall()
        finally:
            file.close()


class ServerStack(Stack):
    """PostgreSQL, Redis, two web processes behind one, a worker, beat, and the plain sweep."""

    kinds = ("web", "web worker", "worker", "beat", "sweep", "redis", "postgresql")

    def __init__(self, folder: Path, gateway: Gateway, **settings: str) -> None:
        self.postgresql = PostgreSQL(folder / "postgresql")
        self.redis = Redis(folder / "redis")
        super().__init__(
            folder,
            gateway,
            DATABASE_URL=self.postgresql.url,
            REDIS_URL=self.redis.url,
            **settings,
        )
        celery = [PYTHON, "-m", "celery", "-A", "referrals.project"]
        self._add(
            "web",
            [PYTHON, "-m", "gunicorn", "referrals.project.wsgi:application", "--workers", "2",
             "--bind", f"127.0.0.1:{self.port}", "--timeout", "10", "--log-level", "warning"],
        )  # fmt: skip
        self._add("worker", [*celery, "worker", "-P", "threads", "-c", "4", "-Q", "alerts,reports"])
        self._add("beat", [*celery, "beat", "-s", str(folder / "beat-schedule"), "--pidfile="])
        self._add("sweep", [PYTHON, MANAGE, "sweep"])

    def prepare(self) -> None:
        """The two servers, then the district."""
        self.postgresql.start()
        self.redis.start()
        super().prepare()

    def stop(self) -> None:
        """Stop every process, then the two servers."""
        super().stop()
        self.redis.stop()
        self.postgresql.stop()

    def kill9(self, name: str) -> None:
        """Kill a process, one of the web processes behind it, or one of the two servers."""
        if name == "redis":
            self.redis.kill9()
        elif name == "postgresql":
            self.postgresql.kill9()
        elif name == "web worker":
            web = self.processes["web"].pid
            wait_until(lambda: bool(children(web)), seconds=20, what="no web process came up")
            os.kill(children(web)[0], signal.SIGKILL)
        else:
            super().kill9(name)
            # Web processes without their head would go on serving; whatever keeps the services of
            # a machine running clears a dead one's processes before it starts it again.
            self.processes[name].clear()

    def restart(self, name: str) -> None:
        """Start it again; Redis comes back empty, and a web process comes back by itself."""
        if name == "redis":
            self.redis.empty()
            self.redis.start()
        elif name == "postgresql":
            self.postgresql.start()
        elif name != "web worker":
            super().restart(name)

    def rows(self, statement: str) -> list[tuple[Any, ...]]:
        """Read the database."""
        with psycopg.connect(self.postgresql.url, connect_timeout=5) as connection:
            return connection.execute(statement).fetchall()  # type: ignore[call-overload]


def wait_while(condition: Any, *, seconds: float) -> float:
    """Wait as long as something holds, up to a bound; gives the seconds it took."""
    begun = time.monotonic()
    while condition() and time.monotonic() - begun < seconds:
        time.sleep(0.05)
    return time.monotonic() - begun
