"""A map file becomes the road table in force, all of it or nothing; taken back, the one before."""

import hashlib
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from django.db import transaction

from referrals.models import District, Site
from transport.calc.places import Place
from transport.calc.road_base import RoadAnswer, RoadWay
from transport.calc.road_network import RoadNetwork
from transport.calc.road_rows import Key
from transport.calc.road_ways import NetworkRoads
from transport.models import RoadRow, RoadTable
from transport.osm_file import map_date, road_lines
from transport.road_table import Progress, row_of, rows_for, site_pairs, sites_of

SOURCE = "© OpenStreetMap contributors, Open Database License 1.0"
TABLES_KEPT = 2
"""The one in force, and the one before it to go back to."""


@dataclass(frozen=True, kw_only=True)
class Read:
    """A map that was read, with the ways between the sites there are."""

    table: RoadTable
    network: NetworkRoads
    rows: dict[Key, dict[Key, RoadAnswer]]
    off_the_road: list[Site]

    @property
    def ways(self) -> int:
        """How many ways from site to site were looked for."""
        return sum(map(len, self.rows.values()))

    @property
    def joined(self) -> int:
        """How many of them there are."""
        return sum(isinstance(way, RoadWay) for row in self.rows.values() for way in row.values())


def digest_of(path: Path) -> str:
    """SHA-256 of a file."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def same_file(path: Path, district: District | None) -> RoadTable | None:
    """The table in force, if it was read from this very file for the same district."""
    table = RoadTable.objects.of(district).defer("network").first()
    if table and table.district == district and table.file_sha256 == digest_of(path):
        return table
    return None


def read_roads(path: Path, district: District | None, now: datetime, tell: Progress) -> Read:
    """Read a map and work out the ways; nothing is written.

    Raises:
        OsmiumMissing, NotAnOsmFile, NoRoads: with a sentence each.
    """
    tell(f"reading {path.name} ...")
    network = RoadNetwork.of(road_lines(path))
    road_km = float(network.piece_km.sum())
    tell(f"{road_km:,.0f} km of road in {len(network.km_h):,} pieces")
    table = RoadTable(
        district=district,
        file_name=path.name[:200],
        file_sha256=digest_of(path),
        source=SOURCE,
        map_date=map_date(path),
        road_km=road_km,
        added_at=now,
        network=network.as_bytes(),
    )
    roads, sites = NetworkRoads(network), sites_of(table)
    rows = rows_for(roads, site_pairs(sites), tell)
    off = [site for site in sites if network.snap(Place(site.latitude, site.longitude)) is None]
    return Read(table=table, network=roads, rows=rows, off_the_road=off)


def bring_in(read: Read) -> RoadTable:
    """The table is in force from here on; of the older ones the last is kept."""
    with transaction.atomic():
        read.table.save()
        RoadRow.objects.bulk_create(
            [
                row_of(read.table, read.network, key, ways, site=True)
                for key, ways in read.rows.items()
            ],
            batch_size=200,
        )
        same = RoadTable.objects.filter(district=read.table.district)
        standing = same.filter(undone_at=None).values_list("pk", flat=True)[:TABLES_KEPT]
        same.exclude(pk__in=list(standing)).delete()
    return read.table


def take_back(table: RoadTable, now: datetime) -> RoadTable | None:
    """Undo an import; answers the table that is in force again, if there is one."""
    table.undone_at = now
    table.save(update_fields=["undone_at"])
    return RoadTable.objects.of(table.district).defer("network").first()
