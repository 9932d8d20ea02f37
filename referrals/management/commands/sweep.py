"""``manage.py sweep``: the plain sweeper, a process of its own that needs no broker."""

import logging
import time
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand
from django.db import Error as DatabaseAway
from django.db import close_old_connections

from referrals import clock
from referrals.sweeping import sweep, sweep_seconds, sweeper_name

log = logging.getLogger(__name__)
CLOCK_JUMP_SECONDS = 30.0


class Command(BaseCommand):
    """Find what is due and send it, again and again."""

    help = "Find everything that is due from the database and send it, every few seconds."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Options."""
        parser.add_argument("--once", action="store_true", help="one pass, then end")
        parser.add_argument(
            "--beside",
            action="store_true",
            # Begun before the settings are read (referrals/project/launch.py).
            help="end with the process that started this one",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Sweep until stopped; a database that is away is tried again."""
        if options["once"]:
            sweep(sweeper_name("sweep"))
            return
        name = sweeper_name("sweep")
        watch = ClockWatch()
        try:
            while True:
                begun = time.monotonic()
                watch.look()
                try:
                    sweep(name)
                except DatabaseAway as error:
                    log.error("the database did not answer the sweep: %s", error)
                except Exception:  # nothing may end the sweep; /sweepz tells that none finishes
                    log.exception("the sweep could not be finished")
                close_old_connections()
                time.sleep(max(sweep_seconds() - (time.monotonic() - begun), 0.02))
        except KeyboardInterrupt:
            return


class ClockWatch:
    """Notices when the wall clock jumps against the steady one; deadlines go by the wall clock."""

    def __init__(self) -> None:
        self.before = (time.monotonic(), clock.now())

    def look(self) -> float:
        """Compare the two clocks since the last look; returns and logs a jump, seconds."""
        steady, wall = time.monotonic(), clock.now()
        passed = (steady - self.before[0]) * clock.speed()
        jump = (wall - self.before[1]).total_seconds() - passed
        self.before = (steady, wall)
        if abs(jump) > CLOCK_JUMP_SECONDS * clock.speed():
            log.error("the server's clock jumped by %.0f s; deadlines go by the new time", jump)
        return jump
