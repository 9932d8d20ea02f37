"""Past journeys brought in from a file: all rows or none, each counted once; taken out again."""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

from django.db import transaction

from referrals.calc.terms import VehicleKind
from referrals.models import District
from transport.asking_travel import ENDS, KINDS, Travel
from transport.calc.daylight import is_dark
from transport.calc.places import Place
from transport.models import JourneyImport, PastJourney, TravelModel
from transport.tables import BadTable, Fault, Row, read_table

LONGEST_MINUTES = 3 * 24 * 60.0
_DATE_ALONE = len("2024-01-02")


@dataclass(frozen=True, kw_only=True)
class Told:
    """One row of the file, understood."""

    started_at: datetime
    origin: Place
    destination: Place
    minutes: float
    rainy: bool | None
    dark: bool | None
    vehicle: VehicleKind | None

    def key(self, district: District | None) -> str:
        """The same journey has the same key, whichever file it came in."""
        parts = (
            district.code if district else "",
            self.started_at.isoformat(),
            f"{self.origin.latitude:.6f},{self.origin.longitude:.6f}",
            f"{self.destination.latitude:.6f},{self.destination.longitude:.6f}",
            f"{self.minutes:.3f}",
            self.vehicle or "",
        )
        return hashlib.sha256("|".join(parts).encode()).hexdigest()[:32]


@dataclass
class File:
    """A file that was read: its journeys, the columns passed over."""

    journeys: list[Told]
    passed_over: list[str] = field(default_factory=list)
    zone_was_guessed: bool = False


def read_journeys(path: Path, district: District | None) -> File:
    """The journeys of a CSV file; raises BadTable with every fault.

    ``date`` stands for ``started_at`` and ``actual_minutes`` for ``minutes``. Of a date without a
    time nobody knows whether it was dark.
    """
    faults: list[Fault] = []
    passed_over: list[str] = []
    travel = Travel(district)
    rows = read_table(
        path,
        faults,
        required=(("started_at", "date"), *ENDS, ("minutes", "actual_minutes")),
        optional=("rainy", "vehicle"),
        passed_over=passed_over,
    )
    told = [each for row in rows if (each := _told(row, travel)) is not None]
    if not told and not faults:
        faults.append(Fault(path.name, 0, "", "holds no journey"))
    if faults:
        raise BadTable(faults)
    return File(told, passed_over, travel.zone_was_guessed)


def bring_in(file: File, file_name: str, district: District | None, now: datetime) -> JourneyImport:
    """Keep the journeys that are not kept yet."""
    with transaction.atomic():
        source = JourneyImport.objects.create(
            district=district, file_name=file_name[:200], added_at=now
        )
        PastJourney.objects.bulk_create(
            _rows(file.journeys, source), batch_size=500, ignore_conflicts=True
        )
    return source


def known_already(file: File, district: District | None) -> int:
    """How many of the journeys are kept from an earlier import, or stand twice in the file."""
    keys = {each.key(district) for each in file.journeys}
    listed = list(keys)
    kept = sum(
        PastJourney.objects.filter(key__in=listed[at : at + 500]).count()
        for at in range(0, len(listed), 500)
    )
    return kept + len(file.journeys) - len(keys)


def take_out(source: JourneyImport, now: datetime) -> int:
    """Undo an import: its journeys are gone, that it was there stays. Returns how many."""
    with transaction.atomic():
        gone, _by_model = source.journeys.all().delete()
        # What was learned from them must not judge, or outlive, what is learned without.
        TravelModel.objects.filter(made_at__gte=source.added_at).delete()
        source.undone_at = now
        source.save(update_fields=["undone_at"])
    return gone


def _rows(journeys: list[Told], source: JourneyImport) -> Iterator[PastJourney]:
    for each in journeys:
        yield PastJourney(
            source=source,
            key=each.key(source.district),
            started_at=each.started_at,
            origin_latitude=each.origin.latitude,
            origin_longitude=each.origin.longitude,
            destination_latitude=each.destination.latitude,
            destination_longitude=each.destination.longitude,
            minutes=each.minutes,
            rainy=each.rainy,
            dark=each.dark,
            vehicle=each.vehicle.value if each.vehicle else "",
        )


def _told(row: Row, travel: Travel) -> Told | None:
    column = "started_at" if "started_at" in row.cells else "date"
    text = row.text(column)
    started_at = _moment(row, column, text, travel) if text else None
    origin = travel.end_in(row, "origin", "origin_lat", "origin_lon")
    destination = travel.end_in(row, "destination", "dest_lat", "dest_lon")
    minutes = row.number_in(
        "minutes" if "minutes" in row.cells else "actual_minutes", 0.1, LONGEST_MINUTES
    )
    rainy = row.yes_or_no("rainy")
    kind = row.one_of("vehicle", KINDS, required=False)
    if started_at is None or origin is None or destination is None or minutes is None:
        return None
    if origin.place == destination.place:
        row.wrong("destination", "is the same place as the origin")
        return None
    return Told(
        started_at=started_at,
        origin=origin.place,
        destination=destination.place,
        minutes=minutes,
        rainy=rainy,
        dark=None if len(text) == _DATE_ALONE else is_dark(origin.place, started_at),
        vehicle=VehicleKind(kind) if kind in KINDS else None,
    )


def _moment(row: Row, column: str, text: str, travel: Travel) -> datetime | None:
    try:
        moment = travel.moment(text)
    except (ValueError, OverflowError):
        row.wrong(column, f"must be a time like 2025-03-01T14:30, not {text!r}")
        return None
    # A date is read in the district's zone, which may be a day ahead of ours.
    if moment > travel.now + timedelta(days=1):
        row.wrong(column, f"{text!r} has not come yet")
        return None
    return moment
