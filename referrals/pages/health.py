"""Health, read by machines: alive, ready, and whether the sweep still runs."""

from typing import Any

from celery import current_app
from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.db import DatabaseError, connection
from django.http import HttpRequest, JsonResponse

from referrals import clock
from referrals.sweeping import last_sweep, sweep_is_alive


@login_not_required
def healthz(request: HttpRequest) -> JsonResponse:
    """The process answers."""
    return JsonResponse({"alive": True})


@login_not_required
def readyz(request: HttpRequest) -> JsonResponse:
    """503 only without the database: without it nothing is true any more. The rest is named."""
    database = _database()
    body: dict[str, Any] = {"database": database, "broker": _broker()}
    if database == "ok":
        body["sweep"] = "ok" if sweep_is_alive(clock.now()) else "no sweep in the last 60 s"
    return JsonResponse(body, status=200 if database == "ok" else 503)


@login_not_required
def sweepz(request: HttpRequest) -> JsonResponse:
    """503 when no sweep has finished for 60 s; a monitor outside watches this."""
    try:
        alive, last = sweep_is_alive(clock.now()), last_sweep()
    except DatabaseError as error:
        return JsonResponse({"sweep": f"the database does not answer: {error}"}, status=503)
    body = {"sweep": "ok" if alive else "stopped", "last": last.isoformat() if last else None}
    return JsonResponse(body, status=200 if alive else 503)


def _database() -> str:
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except DatabaseError as error:
        return f"{type(error).__name__}"
    return "ok"


def _broker() -> str:
    if not settings.REDIS_URL:
        return "inside this process"
    # A frozen broker takes connections and answers nothing; this page must not wait for it.
    short = {"socket_timeout": 1, "socket_connect_timeout": 1}
    try:
        with current_app.connection_for_write(transport_options=short) as broker:
            broker.ensure_connection(max_retries=0, timeout=2)
    except Exception as error:  # the client raises its own and the socket's errors alike
        return f"does not answer ({type(error).__name__}); the sweep sends without it"
    return "ok"
