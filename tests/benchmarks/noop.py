"""The baseline of the alerts: a task that does nothing, on the service's own broker settings.

Run by ``raise_to_alert.py`` as a process of its own, with a worker of the same kind and size as the
embedded service has: its threads are the one argument. A line on stdin sends one task; the answer
is the milliseconds until its body ran, and ``ready`` once at the beginning.
"""

import sys
import threading
import time

from celery.worker import WorkController

from referrals.project.celery import app

ran = threading.Event()
ran_at = [0.0]


@app.task(name="benchmark.nothing")
def nothing() -> None:
    """Say when it ran."""
    ran_at[0] = time.perf_counter()
    ran.set()


def once() -> float:
    """Milliseconds from sending one task until its body runs."""
    ran.clear()
    begun = time.perf_counter()
    app.send_task("benchmark.nothing", retry=True)
    if not ran.wait(20):
        raise TimeoutError("the task did not run within 20 s")
    return (ran_at[0] - begun) * 1000


def main() -> None:
    """Answer every line of stdin with one measurement."""
    worker = WorkController(
        app=app, pool_cls="threads", concurrency=int(sys.argv[1]), queues=["alerts", "reports"]
    )
    threading.Thread(target=worker.start, daemon=True).start()
    for _ in range(5):
        once()
    print("ready", flush=True)
    for _ in sys.stdin:
        print(once(), flush=True)
    worker.stop()


if __name__ == "__main__":
    import django

    django.setup()
    main()
