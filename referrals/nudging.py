"""Nudges: ask a worker to look now, without ever waiting for the broker.

The database holds what is due and the sweep finds it; a nudge only makes it sooner. So nudges go
out by a thread of their own: a broker that is away or frozen costs a request nothing, and what
cannot be handed over at once is let go.
"""

import logging
import os
import queue
import threading
import time

from celery import current_app

log = logging.getLogger(__name__)
WAITING_AT_MOST = 500
QUIET_SECONDS = 10.0

Nudge = tuple[str, tuple[int, ...]]


def nudge(task: str, *arguments: int) -> None:
    """Ask a worker to run a task now. Losing this costs at most one sweep, never the alert."""
    global _sender
    with _lock:
        if _sender is None or _sender.process != os.getpid():  # threads do not survive a fork
            _sender = _Sender()
    _sender.take(task, arguments)


class _Sender:
    def __init__(self) -> None:
        self.process = os.getpid()
        self.waiting: queue.Queue[Nudge] = queue.Queue(WAITING_AT_MOST)
        self.quiet_until = 0.0
        threading.Thread(target=self._hand_over, name="nudges", daemon=True).start()

    def take(self, task: str, arguments: tuple[int, ...]) -> None:
        if time.monotonic() < self.quiet_until:
            return
        try:
            self.waiting.put_nowait((task, arguments))
        except queue.Full:
            return  # the broker hangs; the sweep sends meanwhile

    def _hand_over(self) -> None:
        while True:
            task, arguments = self.waiting.get()
            try:
                current_app.send_task(task, args=arguments, retry=True)
            except Exception as error:  # whatever the broker's client raises: the sweep goes on
                self.quiet_until = time.monotonic() + QUIET_SECONDS
                self.waiting.queue.clear()
                log.warning("the broker did not take a nudge (%s); the sweep will send", error)


_lock = threading.Lock()
_sender: _Sender | None = None
