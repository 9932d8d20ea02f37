"""The machine: its clock and disk, how it is reached, and whether the sweep runs on it."""

import shutil
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

from django.conf import settings
from django.core import checks
from django.db import connection

from referrals import clock
from referrals.checkup.finding import Finding, caution, fault, good
from referrals.sweeping import DEAD_AFTER, last_sweep, sweep_is_alive

CLOCKS_MAY_DIFFER = timedelta(seconds=5)
DISK_FREE_BYTES = 500 * 1024 * 1024


def check_clock() -> Iterator[Finding]:
    """This machine's clock against the database server's, where that is another machine."""
    if connection.vendor != "postgresql":
        yield caution(
            "clock",
            f"this machine says {datetime.now(UTC):%Y-%m-%d %H:%M:%S} UTC; nothing to compare with",
            why="every deadline is reckoned by this clock",
            mend="compare with a watch; keep it right by the system's time service (NTP)",
        )
        return
    with connection.cursor() as cursor:
        cursor.execute("SELECT clock_timestamp()")
        theirs = cursor.fetchone()[0]
    apart = abs(datetime.now(UTC) - theirs)
    if apart <= CLOCKS_MAY_DIFFER:
        yield good("clock", f"within {apart.total_seconds():.1f} s of the database server's")
        return
    yield fault(
        "clock",
        f"{apart.total_seconds():.0f} s apart from the database server's",
        why="deadlines come too early or too late",
        mend="set both by the system's time service (NTP)",
    )


def check_disk() -> Iterator[Finding]:
    """Room for what phones send."""
    free = shutil.disk_usage(settings.DATA_DIR).free
    said = f"{free // (1024 * 1024)} MB free where {settings.DATA_DIR} stands"
    if free >= DISK_FREE_BYTES:
        yield good("disk", said)
        return
    yield fault(
        "disk",
        said,
        why="a full disk refuses every new entry",
        mend="make room, or move LITTLEROAD_DATA_DIR",
    )


def check_django() -> Iterator[Finding]:
    """HTTPS, the address in messages, and what ``manage.py check --deploy`` finds."""
    if not settings.BASE_URL:
        yield fault(
            "address",
            "LITTLEROAD_BASE_URL is not set",
            why="messages carry no link, so nobody can answer by one",
            mend="set it to the address by which phones reach this service",
        )
    elif settings.BASE_URL.startswith("https://"):
        yield good("address", f"links in messages go to {settings.BASE_URL}")
    else:
        yield fault(
            "address",
            f"links in messages go to {settings.BASE_URL}, without HTTPS",
            why="names and sign-ins travel readable, and phones off this machine may not reach it",
            mend="put a proxy with HTTPS before it and set LITTLEROAD_BASE_URL",
        )
    serious = [
        found
        for found in checks.run_checks(include_deployment_checks=True)
        if found.is_serious(checks.WARNING) and not found.is_silenced()
    ]
    for found in serious:
        yield fault(
            "settings",
            f"{found.id}: {found.msg}",
            why="Django's own check for a service in use names it",
            mend=found.hint or "see manage.py check --deploy",
        )
    if not serious:
        yield good("settings", "manage.py check --deploy finds nothing")


def check_sweep() -> Iterator[Finding]:
    """Whether a sweep finished lately: it finds every alert that is due."""
    now = clock.now()
    last = last_sweep()
    if sweep_is_alive(now):
        yield good("sweep", "it runs")
        return
    when = f"the last one finished {last:%Y-%m-%d %H:%M:%S} UTC" if last else "none ever finished"
    yield fault(
        "sweep",
        f"none in the last {DEAD_AFTER.seconds} s; {when}",
        why="nobody is told of anything that falls due",
        mend="manage.py serve, or a worker and manage.py sweep beside it",
    )
