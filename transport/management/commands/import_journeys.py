"""``manage.py import_journeys``: bring completed journeys in, and learn from them at once."""

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser

from referrals import clock
from referrals.management.answers import AnswerCommand, bad_input, bad_rows
from referrals.models import District
from transport import bringing_in
from transport.asking_travel import Travel, district_of_code
from transport.models import JourneyImport
from transport.refitting import refit_after
from transport.tables import BadTable


class Command(AnswerCommand):
    """Bring past journeys in from a CSV file, or take an import out again."""

    help = "Learn travel times from a CSV file of completed journeys; all of its rows or none."

    def add_arguments(self, parser: CommandParser) -> None:
        """A file, or the number of an import."""
        parser.add_argument("file", type=Path, nargs="?", metavar="FILE.csv")
        parser.add_argument("--preview", action="store_true", help="check only, write nothing")
        parser.add_argument("--undo", type=int, metavar="IMPORT", help="take an import out again")
        parser.add_argument("--district", metavar="CODE", help="whose journeys they are")
        parser.add_argument("--json", action="store_true", help="answer in JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        """Read, check, keep, refit."""
        if (options["file"] is None) == (options["undo"] is None):
            raise bad_input("give FILE.csv, or --undo with the number of an import")
        if options["undo"] is not None:
            self._undo(options["undo"], as_json=options["json"])
            return
        district = Travel(district_of_code(options["district"])).home
        try:
            file = bringing_in.read_journeys(options["file"], district)
        except BadTable as error:
            raise bad_rows(error.faults) from error
        if file.passed_over:
            self.note(f"columns passed over: {', '.join(file.passed_over)}")
        if file.zone_was_guessed:
            self.note("no single district is known: times without a zone were read as UTC")
        again = bringing_in.known_already(file, district)
        body: dict[str, Any] = {
            "import": None,
            "preview": options["preview"],
            "journeys": len(file.journeys) - again,
            "known_already": again,
        }
        if options["preview"]:
            text = f"{body['journeys']} journeys could be brought in; {again} are known already."
            self.answer(body, as_json=options["json"], text=text)
            return
        self.note("keeping the journeys and learning from them ...")
        source = bringing_in.bring_in(file, options["file"].name, district, clock.now())
        body["import"] = source.pk
        told = [
            f"Import {source.pk}: {body['journeys']} journeys brought in, {again} known already."
        ]
        self._refit(district, body, told, as_json=options["json"])

    def _undo(self, number: int, *, as_json: bool) -> None:
        source = JourneyImport.objects.filter(pk=number).first()
        if source is None:
            standing = JourneyImport.objects.filter(undone_at=None)
            listed = ", ".join(str(each.pk) for each in standing[:20]) or "none"
            raise bad_input(f"there is no import {number}; standing imports: {listed}")
        gone = bringing_in.take_out(source, clock.now())
        body: dict[str, Any] = {"import": source.pk, "preview": False, "taken_out": gone}
        told = [f"Import {source.pk} is undone: {gone} journeys taken out."]
        self._refit(source.district, body, told, as_json=as_json)

    def _refit(
        self, district: District | None, body: dict[str, Any], told: list[str], *, as_json: bool
    ) -> None:
        refitted, sentences = refit_after(district)
        self.answer(body | refitted, as_json=as_json, text="\n".join(told + sentences))
