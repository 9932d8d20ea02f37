"""The road table: ways between places that were worked out beforehand, and their filling.

Whoever answers a person reads rows only. Ways are worked out by ``manage.py import_roads``, by the
Celery task after a site was added or moved, at a refit for the journeys it learns from, and by
``manage.py estimate`` for places that have no row.
"""

import time
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache

from django.db import transaction

from referrals.models import District, Site
from referrals.nudging import nudge
from transport.calc.places import Place, haversine_km
from transport.calc.road_base import ROAD_TABLE, NoRoad, RoadAnswer
from transport.calc.road_network import LAND_WITHIN_KM, RoadNetwork
from transport.calc.road_rows import Key, key_of, packed, place_at, unpacked
from transport.calc.road_ways import NetworkRoads
from transport.calc.travel import TravelEstimate
from transport.models import RoadRow, RoadTable

Progress = Callable[[str], None]
_BATCH = 200
LOOK_SECONDS = 60.0
_looked_at = -LOOK_SECONDS


def in_force(district: District | None) -> int | None:
    """The number of the table that a district's estimates use."""
    return RoadTable.objects.of(district).values_list("pk", flat=True).first()


def network_roads(table: int) -> NetworkRoads:
    """The network of a table, ready to answer."""
    return _network_of(
        table, *RoadTable.objects.values_list("file_sha256", "added_at").get(pk=table)
    )


@lru_cache(maxsize=2)
def _network_of(table: int, sha256: str, added_at: datetime) -> NetworkRoads:
    # A table never changes once it is stored: these are enough to find it again.
    row = RoadTable.objects.get(pk=table, file_sha256=sha256, added_at=added_at)
    return NetworkRoads(RoadNetwork.from_bytes(bytes(row.network)))


class TableRoads:
    """Answers from the rows of a table; with ``reckon`` from the network what has no row.

    For one question, or one page of them: a row is read once and then remembered.
    """

    def __init__(self, table: int, *, reckon: bool = False) -> None:
        self.table, self.reckon = table, reckon
        self._rows: dict[Key, Mapping[Key, RoadAnswer]] = {}
        self._lands: dict[Key, int | None] | None = None
        self._reckoner: NetworkRoads | None = None

    def ways_from(self, origin: Place, destinations: Sequence[Place]) -> list[RoadAnswer]:
        """One answer for each destination."""
        if self.reckon:
            row = self._row(key_of(origin))
            if any(key_of(each) not in row for each in destinations):
                return self._network().ways_from(origin, destinations)
        return [self._way(origin, each) for each in destinations]

    def _network(self) -> NetworkRoads:
        if self._reckoner is None:
            self._reckoner = network_roads(self.table)
        return self._reckoner

    def _way(self, origin: Place, destination: Place) -> RoadAnswer:
        known = self._row(key_of(origin)).get(key_of(destination))
        if known is not None:
            return known
        lands = self._land(origin), self._land(destination)
        apart = None not in lands and lands[0] != lands[1]
        return NoRoad.UNREACHABLE if apart else NoRoad.UNKNOWN

    def _row(self, key: Key) -> Mapping[Key, RoadAnswer]:
        if key not in self._rows:
            stored = (
                RoadRow.objects.filter(table_id=self.table, latitude_e6=key[0], longitude_e6=key[1])
                .values_list("ways", flat=True)
                .first()
            )
            self._rows[key] = {} if stored is None else unpacked(bytes(stored))
        return self._rows[key]

    def _land(self, place: Place) -> int | None:
        """The land of the nearest place that has a row: rows are all that is read here."""
        if self._lands is None:
            rows = RoadRow.objects.filter(table_id=self.table)
            self._lands = {
                (latitude, longitude): land
                for latitude, longitude, land in rows.values_list(
                    "latitude_e6", "longitude_e6", "land"
                )
            }
        if key_of(place) in self._lands:
            return self._lands[key_of(place)]
        near = [
            (haversine_km(place, place_at(key)), land)
            for key, land in self._lands.items()
            if land is not None
        ]
        km, land = min(near, default=(LAND_WITHIN_KM, None), key=lambda each: each[0])
        return land if km < LAND_WITHIN_KM else None


def sites_of(table: RoadTable) -> list[Site]:
    """The sites between which a table holds every way."""
    sites = Site.objects.order_by("pk")
    return list(sites.filter(district=table.district) if table.district_id else sites)


def site_pairs(sites: Iterable[Site]) -> dict[Key, set[Key]]:
    """From each place of a site to those of its district."""
    by_district: dict[int, set[Key]] = defaultdict(set)
    for site in sites:
        by_district[site.district_id].add(key_of(Place(site.latitude, site.longitude)))
    wanted: dict[Key, set[Key]] = defaultdict(set)
    for keys in by_district.values():
        for key in keys:
            wanted[key] |= keys - {key}
    return wanted


def rows_for(
    roads: NetworkRoads, wanted: Mapping[Key, Iterable[Key]], progress: Progress | None = None
) -> dict[Key, dict[Key, RoadAnswer]]:
    """The ways that are wanted, worked out."""
    rows: dict[Key, dict[Key, RoadAnswer]] = {}
    for at, (key, others) in enumerate(wanted.items(), start=1):
        targets = list(others)
        ways = roads.ways_from(place_at(key), [place_at(each) for each in targets])
        rows[key] = dict(zip(targets, ways, strict=True))
        if progress and (at % 100 == 0 or at == len(wanted)):
            progress(f"ways from {at} of {len(wanted)} places")
    return rows


def row_of(
    table: RoadTable, roads: NetworkRoads, key: Key, ways: Mapping[Key, RoadAnswer], *, site: bool
) -> RoadRow:
    """A row to be stored."""
    place = place_at(key)
    return RoadRow(
        table=table,
        latitude_e6=key[0],
        longitude_e6=key[1],
        land=roads.land_of(place),
        is_near=roads.network.snap(place) is not None,
        is_site=site,
        ways=packed(ways),
    )


def fill(table: RoadTable, wanted: Mapping[Key, Iterable[Key]], *, sites: bool = False) -> int:
    """Work out and store the ways that have no row yet; returns how many there were."""
    stored = {
        (row.latitude_e6, row.longitude_e6): row
        for row in RoadRow.objects.filter(table=table).defer("table")
        if (row.latitude_e6, row.longitude_e6) in wanted
    }
    known = {key: unpacked(bytes(row.ways)) for key, row in stored.items()}
    missing = {
        key: [each for each in others if each not in known.get(key, {})]
        for key, others in wanted.items()
    }
    missing = {
        key: others
        for key, others in missing.items()
        if others or (sites and not (key in stored and stored[key].is_site))
    }
    if not missing:
        return 0
    roads = network_roads(table.pk)
    rows = [
        row_of(
            table,
            roads,
            key,
            known.get(key, {}) | ways,
            site=sites or (key in stored and stored[key].is_site),
        )
        for key, ways in rows_for(roads, missing).items()
    ]
    with transaction.atomic():
        RoadRow.objects.bulk_create(
            rows,
            batch_size=_BATCH,
            update_conflicts=True,
            unique_fields=["table", "latitude_e6", "longitude_e6"],
            update_fields=["ways", "land", "is_near", "is_site"],
        )
    return sum(map(len, missing.values()))


def sites_lack_rows(table: int) -> bool:
    """Whether a site was added or moved since the ways were worked out."""
    row = RoadTable.objects.defer("network").get(pk=table)
    done = set(
        RoadRow.objects.filter(table=row, is_site=True).values_list("latitude_e6", "longitude_e6")
    )
    return not done.issuperset(site_pairs(sites_of(row)))


def fill_sites(table: int) -> int:
    """The ways of sites that were added or moved."""
    row = RoadTable.objects.defer("network").get(pk=table)
    return fill(row, site_pairs(sites_of(row)), sites=True)


def source_of(district: District, estimates: Iterable[TravelEstimate]) -> str:
    """Whose map estimates rest on, to be named beside them; empty where none rests on one."""
    if not any(ROAD_TABLE in each.method for each in estimates):
        return ""
    return RoadTable.objects.of(district).values_list("source", flat=True).first() or ""


def ask_for_ways() -> None:
    """Once a sweep: a worker is asked for ways that are missing; looked at once a minute."""
    global _looked_at
    if time.monotonic() - _looked_at < LOOK_SECONDS:
        return
    _looked_at = time.monotonic()
    tables = {in_force(district) for district in District.objects.order_by("pk")} - {None}
    for table in tables:
        if table and sites_lack_rows(table):
            nudge("transport.tasks.work_out_ways", table)


@dataclass(frozen=True, kw_only=True)
class InUse:
    """The table in force, for people: where it comes from, and which sites are off its roads."""

    table: RoadTable
    ways: int
    joined: int
    off_the_road: list[Site]


def in_use(district: District) -> InUse | None:
    """What the desk is shown of its road table."""
    table = RoadTable.objects.of(district).defer("network").first()
    if table is None:
        return None
    rows = {
        (row.latitude_e6, row.longitude_e6): row
        for row in RoadRow.objects.filter(table=table, is_site=True)
    }
    sites = list(district.sites.order_by("name"))
    keys = {site.pk: key_of(Place(site.latitude, site.longitude)) for site in sites}
    here = set(keys.values())
    ways = [
        way
        for key in here & rows.keys()
        for to, way in unpacked(bytes(rows[key].ways)).items()
        if to in here
    ]
    return InUse(
        table=table,
        ways=len(ways),
        joined=sum(not isinstance(way, NoRoad) for way in ways),
        off_the_road=[
            site for site in sites if keys[site.pk] in rows and not rows[keys[site.pk]].is_near
        ],
    )
