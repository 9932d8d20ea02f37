"""``manage.py import_district``: set up a district from a folder of CSV files."""

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser

from referrals import clock
from referrals.management.answers import AnswerCommand, bad_input, bad_rows
from transport.loading import read_folder, save
from transport.tables import BadTable


class Command(AnswerCommand):
    """Load a district: everything in the folder, or nothing and every reason why not."""

    help = "Load a district from a folder of CSV files, all of it or none."

    def add_arguments(self, parser: CommandParser) -> None:
        """The folder."""
        parser.add_argument("folder", type=Path, metavar="FOLDER")
        parser.add_argument("--preview", action="store_true", help="check only, write nothing")
        parser.add_argument("--json", action="store_true", help="answer in JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        """Read, check, and write unless only a preview was asked for."""
        if not options["folder"].is_dir():
            raise bad_input(f"{options['folder']} is not a folder")
        try:
            folder = read_folder(options["folder"], clock.now())
        except BadTable as error:
            raise bad_rows(error.faults) from error
        for note in folder.notes:
            self.note(note)
        if not options["preview"]:
            save(folder)
        counts = folder.counts()
        body = {"district": folder.district.code, "preview": options["preview"], **counts}
        listed = ", ".join(f"{count} {name}" for name, count in counts.items())
        done = "could be loaded" if options["preview"] else "is loaded"
        self.answer(body, as_json=options["json"], text=f"{folder.district} {done}: {listed}.")
