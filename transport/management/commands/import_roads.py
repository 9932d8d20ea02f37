"""``manage.py import_roads``: read a map's roads, so that travel times follow them."""

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser

from referrals import clock
from referrals.management.answers import AnswerCommand, bad_input
from referrals.models import District
from transport import bringing_roads, road_table
from transport.asking_travel import district_of_code
from transport.calc.road_network import PART_KM, WITHIN_KM, NoRoads
from transport.models import RoadTable
from transport.osm_file import NotAnOsmFile, OsmiumMissing
from transport.refitting import refit_after


class Command(AnswerCommand):
    """Bring the roads of a map in, or go back to those before."""

    help = "Work out the ways by road from an OpenStreetMap file (.osm.pbf or .osm)."

    def add_arguments(self, parser: CommandParser) -> None:
        """A file, or the number of an import."""
        parser.add_argument("file", type=Path, nargs="?", metavar="FILE.osm.pbf")
        parser.add_argument("--preview", action="store_true", help="look only, write nothing")
        parser.add_argument("--undo", type=int, metavar="IMPORT", help="go back to those before")
        parser.add_argument("--district", metavar="CODE", help="whose roads they are")
        parser.add_argument("--json", action="store_true", help="answer in JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        """Read, work out, put in force, refit."""
        if (options["file"] is None) == (options["undo"] is None):
            raise bad_input("give FILE.osm.pbf, or --undo with the number of an import")
        if options["undo"] is not None:
            self._undo(options["undo"], as_json=options["json"])
            return
        path, district = options["file"], district_of_code(options["district"])
        if not path.is_file():
            raise bad_input(f"there is no file {path}")
        if same := bringing_roads.same_file(path, district):
            self._same(same, district, preview=options["preview"], as_json=options["json"])
            return
        read = self._read(path, district)
        table = read.table
        body: dict[str, Any] = {
            "import": None,
            "preview": options["preview"],
            "known_already": False,
            "road_km": round(table.road_km, 1),
            "ways": read.ways,
            "unreachable": read.ways - read.joined,
            "off_the_road": [site.code for site in read.off_the_road],
            "source": table.source,
        }
        told = [
            f"{table.road_km:,.0f} km of road ({table.source}); of {read.ways} ways between sites "
            f"{read.joined} are joined by road.",
            *(
                f"{site.name} ({site.code}) is more than {WITHIN_KM:.0f} km from every road that "
                f"belongs to {PART_KM:.0f} km or more of roads: its ways stay by the straight line."
                for site in read.off_the_road
            ),
        ]
        if options["preview"]:
            self.answer(body, as_json=options["json"], text="\n".join(told))
            return
        body["import"] = bringing_roads.bring_in(read).pk
        told.insert(0, f"Import {body['import']}: the roads of {path.name} are in force.")
        self._refit(district, body, told, as_json=options["json"])

    def _read(self, path: Path, district: District | None) -> bringing_roads.Read:
        try:
            return bringing_roads.read_roads(path, district, clock.now(), self.note)
        except OsmiumMissing as error:
            raise bad_input(
                "reading a map needs the optional extra: pip install 'littleroad[roads]'"
            ) from error
        except NotAnOsmFile as error:
            raise bad_input(
                f"{path.name} cannot be read as an OpenStreetMap file ({error}); "
                "nothing was changed."
            ) from error
        except NoRoads as error:
            raise bad_input(f"{path.name} holds no road for cars. Nothing was changed.") from error

    def _same(
        self, table: RoadTable, district: District | None, *, preview: bool, as_json: bool
    ) -> None:
        """The very file that is in force: only ways of new sites can be missing."""
        if not preview:
            road_table.fill_sites(table.pk)
        body = {"import": table.pk, "preview": preview, "known_already": True}
        text = f"The roads of this file are in force already (import {table.pk})."
        self.answer(body, as_json=as_json, text=text)

    def _undo(self, number: int, *, as_json: bool) -> None:
        tables = RoadTable.objects.filter(undone_at=None).defer("network")
        table = tables.filter(pk=number).first()
        if table is None:
            listed = ", ".join(str(each.pk) for each in tables) or "none"
            raise bad_input(f"there is no import {number}; standing imports: {listed}")
        before = bringing_roads.take_back(table, clock.now())
        body: dict[str, Any] = {
            "import": table.pk,
            "preview": False,
            "in_force": before.pk if before else None,
        }
        now = f"those of import {before.pk} are in force" if before else "no road table is left"
        told = [f"The roads of import {table.pk} are taken back; {now}."]
        self._refit(table.district, body, told, as_json=as_json)

    def _refit(
        self, district: District | None, body: dict[str, Any], told: list[str], *, as_json: bool
    ) -> None:
        self.note("learning from the journeys on these roads ...")
        refitted, sentences = refit_after(district)
        self.answer(body | refitted, as_json=as_json, text="\n".join(told + sentences))
