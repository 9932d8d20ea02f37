"""``manage.py serve``: the service for real use, on what DATABASE_URL and REDIS_URL name."""

from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

from referrals.models import District
from referrals.project import embedded
from transport.checklists import load_templates


class Command(BaseCommand):
    """Web, worker and sweep in one command; the embedded default where nothing is set."""

    help = "Run the service for real use: web, worker and sweep in one command."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Options; ``--data`` is read before the settings are (referrals/project/launch.py)."""
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--data", help="folder for the database, the secret and the heads")

    def handle(self, *args: Any, **options: Any) -> None:
        """Bring the database up to date, then serve until Ctrl-C."""
        port = options["port"]
        try:
            embedded.require_free_port(port)
        except embedded.PortTaken as taken:
            raise CommandError(str(taken), returncode=2) from taken
        self.stderr.write("Bringing the database up to date ...")
        call_command("migrate", verbosity=0, interactive=False)
        load_templates()
        embedded.leave(embedded.run(port, ready=lambda: self._say(port)))

    def _say(self, port: int) -> None:
        database = settings.DATABASES["default"]["ENGINE"].rsplit(".", 1)[-1]
        broker = "Redis" if settings.REDIS_URL else "inside this process"
        self.stdout.write(f"http://127.0.0.1:{port}")
        self.stdout.flush()
        self.stderr.write(f"Serving on {database}, broker {broker}. Ctrl-C stops everything.")
        if not District.objects.exists():
            self.stderr.write(
                "There is no district yet: make an account with 'manage.py createsuperuser' and "
                "load places and people with 'manage.py import_district FOLDER' (README)."
            )
