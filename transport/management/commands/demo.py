"""``manage.py demo``: the whole service with the invented district and one journey under way."""

import importlib
import json
import os
import signal
import sys
import threading
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

from referrals import clock
from referrals.project import embedded


class Command(BaseCommand):
    """The demo; everything in it is invented and stays in its own folder."""

    help = "Run the whole service with an invented district, or play one journey (--headless)."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Options; data, port and speed are read before the settings (project/launch.py)."""
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--data", help="folder for the demo's data; kept between runs")
        parser.add_argument(
            "--speed", type=float, help="run the demo's clock this many times faster"
        )
        parser.add_argument("--json", action="store_true", help="print one line when ready")
        parser.add_argument("--headless", action="store_true", help="play one journey and end")

    def handle(self, *args: Any, **options: Any) -> None:
        """Make the district, then serve it or play one journey on it."""
        if options["speed"] is not None and not 0 < options["speed"] <= 3600:
            raise CommandError("--speed is a number above 0, up to 3600", returncode=2)
        port = settings.DEMO_PORT
        try:
            embedded.require_free_port(port)
        except embedded.PortTaken as taken:
            raise CommandError(str(taken), returncode=2) from taken
        self._progress("Making the database ...")
        call_command("migrate", verbosity=0, interactive=False)
        past = "" if options["headless"] else " and its two months of history"
        self._progress(f"Making the invented district{past} ...")
        # The demo is named by strings only: the service itself never depends on it.
        self.demo = importlib.import_module("fixtures_demo.running")
        self.demo.prepare(clock.now(), with_past=not options["headless"])
        self._progress("Starting web, worker and sweep ...")
        if options["headless"]:
            self._headless(port)
        else:
            ended = embedded.run(port, ready=lambda: self._ready(port, as_json=options["json"]))
            embedded.leave(ended)

    def _progress(self, words: str) -> None:
        self.stderr.write(words)
        self.stderr.flush()

    def _ready(self, port: int, *, as_json: bool) -> None:
        self.demo.begin(port)
        links = self.demo.links(port)
        if as_json:
            self.stdout.write(json.dumps(links))
            self.stdout.flush()
            return
        self.stdout.write(f"Ready: {links['url']}")
        for role, link in links["links"].items():
            self.stdout.write(f"  {role:<10} {link}")
        self.stdout.write(f"  {'phones':<10} {links['url']}/demo/phone/ (every phone on one page)")
        self.stdout.flush()
        self._progress("Everything is invented. Ctrl-C stops all of it.")

    def _headless(self, port: int) -> None:
        record = self.demo.record_of(None)

        def play() -> None:
            try:
                record.update(self.demo.play_one_journey(port, say=self._progress))
            except Exception as error:
                self._progress(f"The record cannot be read: {type(error).__name__}: {error}")
            finally:
                os.kill(os.getpid(), signal.SIGTERM)

        embedded.run(port, ready=lambda: threading.Thread(target=play, daemon=True).start())
        self.stdout.write(json.dumps(record))
        endings = {baby["ending"] for baby in record["babies"]}
        sys.exit(0 if record["chain_verified"] and endings == {"handed_over"} else 1)
