"""The whole service in one command: web, worker and beat in this process, a plain sweep beside it.

The web server has the main thread. A Celery worker (threads) and beat run in threads of their own,
on the broker inside the process unless REDIS_URL names one. The plain sweep is a process of its
own: when it dies it is started again, and when this process dies it notices and goes too. All of
them may be killed at any moment; the database holds what is due.
"""

import logging
import os
import signal
import socket
import subprocess
import sys
import threading
import warnings
from collections.abc import Callable
from pathlib import Path

import uvicorn
from celery.beat import Scheduler, Service
from celery.worker import WorkController
from celery.worker import state as worker_state
from django.conf import settings

from referrals.project.celery import app
from referrals.sweeping import sweep_seconds

log = logging.getLogger(__name__)
MANAGE = Path(settings.BASE_DIR) / "manage.py"
WORKER_THREADS = 8
STOP_SECONDS = 2.0


class PortTaken(Exception):
    """Another program listens on the port."""


def require_free_port(port: int) -> None:
    """Refuse a port that is taken, before anything is started."""
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except OSError as error:
            raise PortTaken(
                f"Port {port} is taken by another program. Choose another one: --port {port + 1}"
            ) from error


def run(port: int, ready: Callable[[], None]) -> bool:
    """Serve until a signal comes; ``ready`` is called once requests are answered.

    Returns whether everything beside the web server has ended too; a message that a gateway is
    still thinking about may hold the worker up (``leave``).
    """
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    # Static files are small and come whole; Django warns of each that it reads them in one go.
    warnings.filterwarnings("ignore", message="StreamingHttpResponse must consume synchronous")
    beside = Beside()
    try:
        beside.start()
        _Server(port, ready, leaving=beside.begin_to_stop).run()
    except KeyboardInterrupt:
        pass  # the signal that ended the server, raised again after it has drained
    finally:
        # A second Ctrl-C has nothing to hurry up: from here on every wait is short.
        signal.signal(signal.SIGINT, signal.SIG_IGN)
        ended = beside.stop()
    return ended


def leave(ended: bool) -> None:
    """End the process without waiting for what has not ended: it is due again by its lease."""
    if not ended:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(0)


class Beside:
    """What runs beside the web server: worker, beat, and the watched sweep process."""

    def __init__(self) -> None:
        self.worker = WorkController(
            app=app, pool_cls="threads", concurrency=WORKER_THREADS, queues=["alerts", "reports"]
        )
        app.conf.beat_schedule = {
            "sweep": {"task": "referrals.tasks.sweep", "schedule": sweep_seconds() * 2}
        }
        self.beat = Service(app, scheduler_cls=Scheduler)
        self.working = threading.Thread(target=self.worker.start, name="worker", daemon=True)
        self.stopping = threading.Event()
        self.sweep: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start all three."""
        self.working.start()
        threading.Thread(target=self.beat.start, name="beat", daemon=True).start()
        threading.Thread(target=self._keep_sweeping, name="sweep watch", daemon=True).start()

    def begin_to_stop(self) -> None:
        """Tell all three to end, while the web server drains; nothing that is due is lost."""
        self.stopping.set()
        self.beat.stop()
        # The worker sees this in its own loop and takes no further task; stopped from here it
        # would still hand tasks to threads that are gone.
        worker_state.should_stop = 0  # type: ignore[assignment]
        if self.sweep and self.sweep.stdin:
            self.sweep.stdin.close()

    def stop(self) -> bool:
        """Wait until all three have ended, not for long. Returns whether they have."""
        self.begin_to_stop()
        self._wait_for_sweep()
        if self.working.is_alive():
            self.working.join(STOP_SECONDS)
        return not self.working.is_alive()

    def _wait_for_sweep(self) -> None:
        if self.sweep is None:
            return
        try:
            self.sweep.wait(STOP_SECONDS)
        except subprocess.TimeoutExpired:
            self.sweep.kill()

    def _keep_sweeping(self) -> None:
        while not self.stopping.is_set():
            self.sweep = subprocess.Popen(
                [sys.executable, str(MANAGE), "sweep", "--beside"],
                stdin=subprocess.PIPE,
                stdout=subprocess.DEVNULL,
                # A Ctrl-C of the terminal is for the service; the service ends its sweep.
                process_group=0,
            )
            self.sweep.wait()
            if not self.stopping.wait(1):
                log.warning(
                    "the sweep process ended (%s); starting it again", self.sweep.returncode
                )


class _Server(uvicorn.Server):
    def __init__(self, port: int, ready: Callable[[], None], leaving: Callable[[], None]) -> None:
        super().__init__(
            uvicorn.Config(
                "referrals.project.asgi:application",
                host="127.0.0.1",
                port=port,
                log_level="warning",
                access_log=False,
                lifespan="off",
                # Open streams would otherwise keep the server from ending.
                timeout_graceful_shutdown=2,
            )
        )
        self.ready, self.leaving = ready, leaving

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Start, then say so."""
        await super().startup(sockets=sockets)
        if self.started:
            threading.Thread(target=self.ready, name="ready", daemon=True).start()

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """Drain; what runs beside ends at the same time."""
        self.leaving()
        await super().shutdown(sockets=sockets)
