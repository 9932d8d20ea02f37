"""A district loaded from a folder of CSV files: everything, or nothing and every reason why not.

The files are ``district.json``, ``sites.csv``, ``units.csv``, ``people.csv``, ``contacts.csv``,
``vehicles.csv`` and ``cylinders.csv``; where there are, ``rota.csv``, ``crews.csv``,
``legs.csv`` (boats and ferries that join roads), ``reserve.csv``, ``coast.geojson`` and
``roads.geojson``.
``fixtures_demo/README.md`` describes them. Rows are first read and checked in memory; only a folder
without a single fault is written, in one transaction.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime, time
from pathlib import Path
from typing import Any

from django.core.exceptions import ValidationError
from django.db import models, transaction
from phonenumber_field.phonenumber import PhoneNumber
from phonenumbers import NumberParseException

from referrals.calc.shifts import clock_time_in
from referrals.calc.terms import Capability, Role, VehicleKind
from referrals.models import (
    Contact,
    District,
    ReserveContact,
    Shift,
    Site,
    Staff,
    StaffRole,
    Unit,
)
from referrals.models.sites import RESERVE_KINDS
from transport.checklists import load_templates
from transport.loading_cylinders import COLUMNS, cylinder_fields
from transport.loading_map import read_map
from transport.loading_settings import DistrictFile, read_district
from transport.models import CrewShift, Cylinder, Leg, MapLine, Vehicle
from transport.models.vehicles import FIXINGS
from transport.tables import BadTable, Fault, Row, read_table

CAPABILITIES = [capability.value for capability in Capability]
CHANNELS = ["sms", "voice", "email", "screen"]
DESK = "desk"


@dataclass
class Folder:
    """What was read from a folder, not yet saved."""

    path: Path
    now: datetime
    faults: list[Fault] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    district: District = field(default_factory=District)
    sites: dict[str, Site] = field(default_factory=dict)
    units: dict[str, Unit] = field(default_factory=dict)
    people: dict[str, Staff] = field(default_factory=dict)
    roles: list[StaffRole] = field(default_factory=list)
    contacts: list[Contact] = field(default_factory=list)
    on_a_ladder: set[tuple[str, str]] = field(default_factory=set)
    shifts: list[Shift] = field(default_factory=list)
    vehicles: dict[str, Vehicle] = field(default_factory=dict)
    cylinders: list[Cylinder] = field(default_factory=list)
    crew_shifts: list[CrewShift] = field(default_factory=list)
    legs: list[Leg] = field(default_factory=list)
    reserves: list[ReserveContact] = field(default_factory=list)
    map_lines: list[MapLine] = field(default_factory=list)
    standing_unit: str = ""

    def counts(self) -> dict[str, int]:
        """How many of each there are."""
        names = (
            "sites", "units", "people", "roles", "contacts", "shifts", "vehicles", "cylinders",
            "crew_shifts", "legs", "reserves", "map_lines",
        )  # fmt: skip
        return {name: len(getattr(self, name)) for name in names}

    def rows(
        self, name: str, required: tuple[str, ...], optional: tuple[str, ...] = ()
    ) -> Iterator[Row]:
        """The rows of one of the files."""
        return read_table(self.path / name, self.faults, required=required, optional=optional)


def read_folder(path: Path, now: datetime) -> Folder:
    """Read and check a folder without writing anything.

    Raises:
        BadTable: with every fault of every file.
    """
    folder = Folder(path, now)
    _read_settings(folder)
    readers = (
        _sites, _units, _people, _contacts, _rota, _vehicles, _cylinders, _crews, _legs, _reserves
    )  # fmt: skip
    for read in readers:
        read(folder)
    folder.map_lines = read_map(path, folder.faults)
    for line in folder.map_lines:
        line.district = folder.district
    _require_standing_unit(folder)
    if folder.faults:
        raise BadTable(folder.faults)
    return folder


def save(folder: Folder) -> District:
    """Write what was read, in one transaction."""
    with transaction.atomic():
        folder.district.save()
        _save_all(folder.sites.values(), "district")
        _save_all(folder.units.values(), "site")
        _save_all(folder.people.values())
        _save_all(folder.roles, "staff", "district", "site", "unit")
        _save_all(folder.contacts, "unit", "district", "staff")
        _save_all(folder.shifts, "unit", "district", "staff")
        _save_all(folder.vehicles.values(), "district", "base", "driver")
        _save_all(folder.cylinders, "district", "vehicle", "site")
        _save_all(folder.crew_shifts, "vehicle")
        _save_all(folder.legs, "district", "origin", "destination")
        _save_all(folder.reserves, "district")
        _save_all(folder.map_lines, "district")
        if folder.standing_unit:
            folder.district.standing_unit = folder.units[folder.standing_unit]
            folder.district.save(update_fields=["standing_unit"])
        load_templates()
    return folder.district


def _save_all(rows: Iterable[models.Model], *parents: str) -> None:
    """Save rows whose parents have been saved since they were attached."""
    for row in rows:
        for parent in parents:
            setattr(row, parent, getattr(row, parent))
        row.save()


def _read_settings(folder: Folder) -> None:
    told: DistrictFile = read_district(folder.path / "district.json", folder.faults)
    folder.district, folder.notes = told.district, told.notes
    folder.standing_unit = told.standing_unit
    if District.objects.filter(code=folder.district.code).exists():
        folder.faults.append(
            Fault("district.json", 0, "code", f"there is a district {told.district.code} already")
        )


def _sites(folder: Folder) -> None:
    required = ("code", "name", "kind", "latitude", "longitude")
    for row in folder.rows("sites.csv", required, ("phone", "land")):
        site = Site(
            district=folder.district,
            code=row.text("code"),
            name=row.text("name"),
            kind=row.text("kind"),
            latitude=row.number_in("latitude", -90, 90) or 0.0,
            longitude=row.number_in("longitude", -180, 180) or 0.0,
            phone=_phone(folder, row, "phone"),
            land=row.text("land", required=False),
        )
        _check(row, site)
        _keep(row, folder.sites, "code", site, Site.objects.filter(code=site.code))


def _units(folder: Folder) -> None:
    required = ("code", "site", "name", "level", "capabilities", "cots_total", "cots_open")
    for row in folder.rows("units.csv", required, ("entrance", "phone", "shift_changes")):
        site = _find(row, "site", folder.sites)
        total = row.whole("cots_total", 1000) or 0
        free = row.whole("cots_open", 1000, required=False)
        unit = Unit(
            site=site,
            code=row.text("code"),
            name=row.text("name"),
            level=row.text("level"),
            capabilities=row.several_of("capabilities", CAPABILITIES),
            cots_total=total,
            cots_free=free or 0,
            # A count that nobody gave is not known, which is not the same as none.
            cots_reported_at=None if free is None else folder.now,
            entrance=row.text("entrance", required=False),
            phone=_phone(folder, row, "phone") or (site.phone if site else ""),
            shift_changes=row.several("shift_changes"),
        )
        if free is not None and free > total:
            row.wrong("cots_open", f"{free} free of {total} in all")
        _check(row, unit, {"cots_free": "cots_open"})
        _keep(row, folder.units, "code", unit, Unit.objects.filter(code=unit.code))


def _people(folder: Folder) -> None:
    """A person with several roles has a row for each, under the same user name."""
    roles = [role.value for role in Role]
    columns = ("username", "name", "role", "place")
    for row in folder.rows("people.csv", columns, ("phone", "email", "language")):
        staff = _person(folder, row)
        role, place = row.one_of("role", roles), row.text("place", required=False)
        if role in (Role.DESK, Role.LEAD):
            if place and place.lower() != folder.district.code:
                row.wrong("place", f"{role} is for the whole district: leave it empty")
        elif role in roles and (place or role != Role.DRIVER):
            _find(row, "place", folder.units if role == Role.UNIT else folder.sites)
        folder.roles.append(
            StaffRole(
                staff=staff,
                role=role,
                district=folder.district,
                site=None if role == Role.UNIT else folder.sites.get(place),
                unit=folder.units.get(place),
            )
        )


def _person(folder: Folder, row: Row) -> Staff:
    username = row.text("username")
    known = folder.people.get(username)
    if known:
        if known.display_name != row.text("name"):
            row.wrong("username", f"{username!r} is {known.display_name} in another row")
        return known
    staff = Staff(
        username=username,
        display_name=row.text("name"),
        phone=_phone(folder, row, "phone"),
        email=row.text("email", required=False),
        language=row.text("language", required=False),
    )
    # Nobody can sign in by password until somebody sets one.
    staff.set_unusable_password()
    _check(row, staff, {"display_name": "name"})
    _keep(row, folder.people, "username", staff, Staff.objects.filter(username=username))
    return staff


def _contacts(folder: Folder) -> None:
    for row in folder.rows("contacts.csv", ("owner", "step", "username", "channel")):
        owner = row.text("owner")
        unit = None if owner == DESK else _find(row, "owner", folder.units)
        staff = _find(row, "username", folder.people)
        step, channel = row.whole("step", 9), row.one_of("channel", CHANNELS)
        if step == 0:
            row.wrong("step", "the first step is 1")
        if staff and channel in ("sms", "voice") and not staff.phone:
            row.wrong("channel", f"{staff} has no phone in people.csv")
        if staff and channel == "email" and not staff.email:
            row.wrong("channel", f"{staff} has no e-mail address in people.csv")
        folder.on_a_ladder.add((owner, row.text("username")))
        folder.contacts.append(
            Contact(
                unit=unit,
                district=folder.district if owner == DESK else None,
                step=max((step or 1) - 1, 0),
                staff=staff,
                channel=channel,
            )
        )


def _rota(folder: Folder) -> None:
    """Hours of those who stand on a ladder; without the file everybody is always on duty."""
    if not (folder.path / "rota.csv").exists():
        return
    for row in folder.rows("rota.csv", ("owner", "username", "weekday", "starts", "ends")):
        owner = row.text("owner")
        unit = None if owner == DESK else _find(row, "owner", folder.units)
        staff = _find(row, "username", folder.people)
        if staff and (unit or owner == DESK) and (owner, staff.username) not in folder.on_a_ladder:
            row.wrong("username", f"{staff} is in no step of contacts.csv for {owner}")
        folder.shifts.append(
            Shift(
                unit=unit,
                district=folder.district if owner == DESK else None,
                staff=staff,
                weekday=row.whole("weekday", 6) or 0,
                starts=_clock_time(row, "starts", required=True) or time(),
                ends=_clock_time(row, "ends", required=True) or time(),
            )
        )


def _vehicles(folder: Folder) -> None:
    columns = ("code", "name", "kind", "base", "capabilities")
    optional = ("driver", "driver_name", "driver_phone", "has_oxygen", "fixings", "range_km")
    for row in folder.rows("vehicles.csv", columns, optional):
        vehicle = Vehicle(
            district=folder.district,
            code=row.text("code"),
            name=row.text("name"),
            kind=row.one_of("kind", [kind.value for kind in VehicleKind]),
            base=_find(row, "base", folder.sites),
            capabilities=row.several_of("capabilities", CAPABILITIES),
            driver=_find(row, "driver", folder.people, required=False),
            driver_name=row.text("driver_name", required=False),
            driver_phone=_phone(folder, row, "driver_phone"),
            fixings=_fixings(row),
            range_km=row.number_in("range_km", 0, 3000, required=False),
        )
        _check(row, vehicle)
        _keep(row, folder.vehicles, "code", vehicle, Vehicle.objects.filter(code=vehicle.code))


def _fixings(row: Row) -> list[str] | None:
    """None for an empty cell: nobody has said; the word ``none`` says that there is none."""
    told = row.several_of("fixings", [*FIXINGS, "none"])
    return [each for each in told if each != "none"] if told else None


def _cylinders(folder: Folder) -> None:
    for row in folder.rows("cylinders.csv", ("label",), ("vehicle", "site", *COLUMNS)):
        cylinder = Cylinder(
            district=folder.district,
            label=row.text("label"),
            vehicle=_find(row, "vehicle", folder.vehicles, required=False),
            site=_find(row, "site", folder.sites, required=False),
            **cylinder_fields(row),
        )
        if cylinder.vehicle and cylinder.site:
            row.wrong("site", "a cylinder is in a vehicle or at a site, not both")
        _check(row, cylinder)
        folder.cylinders.append(cylinder)


def _crews(folder: Folder) -> None:
    """When a vehicle has a crew; one without a row, or without the file, always has one."""
    if not (folder.path / "crews.csv").exists():
        return
    for row in folder.rows("crews.csv", ("vehicle", "weekday", "starts", "ends")):
        folder.crew_shifts.append(
            CrewShift(
                vehicle=_find(row, "vehicle", folder.vehicles),
                weekday=row.whole("weekday", 6) or 0,
                starts=_clock_time(row, "starts", required=True) or time(),
                ends=_clock_time(row, "ends", required=True) or time(),
            )
        )


def _legs(folder: Folder) -> None:
    """A district without boats has no such file."""
    if not (folder.path / "legs.csv").exists():
        return
    columns = ("name", "origin", "destination", "median_minutes", "p90_minutes", "kinds")
    for row in folder.rows("legs.csv", columns, ("waiting_minutes", "runs_from", "runs_until")):
        ends = [_find(row, end, folder.sites) for end in ("origin", "destination")]
        leg = Leg(
            district=folder.district,
            name=row.text("name"),
            origin=ends[0],
            destination=ends[1],
            median_minutes=row.number_in("median_minutes", 1, 1440) or 1.0,
            p90_minutes=row.number_in("p90_minutes", 1, 2880) or 1.0,
            waiting_minutes=row.number_in("waiting_minutes", 0, 1439, required=False) or 0.0,
            runs_from=_clock_time(row, "runs_from"),
            runs_until=_clock_time(row, "runs_until"),
            kinds=row.several_of("kinds", [kind.value for kind in VehicleKind]),
        )
        if ends[0] and ends[0] == ends[1]:
            row.wrong("destination", "a leg goes from one landing to another")
        if not leg.median_minutes <= leg.p90_minutes <= 20 * leg.median_minutes:
            row.wrong("p90_minutes", "is at least the median, and at most 20 times that")
        if (leg.runs_from is None) != (leg.runs_until is None):
            row.wrong("runs_until", "say from when until when it runs, or neither")
        _check(row, leg)
        folder.legs.append(leg)


def _clock_time(row: Row, column: str, *, required: bool = False) -> time | None:
    text = row.text(column, required=required)
    try:
        return clock_time_in(text) if text else None
    except ValueError as error:
        row.wrong(column, str(error))
        return None


def _reserves(folder: Folder) -> None:
    """Whom to ring outside the district; the file may be missing."""
    if not (folder.path / "reserve.csv").exists():
        return
    for row in folder.rows("reserve.csv", ("name", "kind", "phone"), ("words",)):
        row.text("phone")
        reserve = ReserveContact(
            district=folder.district,
            name=row.text("name"),
            kind=row.one_of("kind", RESERVE_KINDS),
            phone=_phone(folder, row, "phone"),
            words=row.text("words", required=False),
        )
        _check(row, reserve)
        folder.reserves.append(reserve)


def _require_standing_unit(folder: Folder) -> None:
    if folder.standing_unit and folder.standing_unit not in folder.units:
        sentence = f"{folder.standing_unit!r} is not in units.csv"
        folder.faults.append(Fault("district.json", 0, "standing_default_unit", sentence))


def _find(row: Row, column: str, known: dict[str, Any], *, required: bool = True) -> Any:
    """What a cell names, among what was read before; None where it is empty or not known."""
    name = row.text(column, required=required)
    if name and name not in known:
        row.wrong(column, f"{name!r} is not in the file it should name")
    return known.get(name)


def _keep(
    row: Row, kept: dict[str, Any], column: str, made: Any, existing: models.QuerySet
) -> None:
    key = row.cells.get(column, "")
    if key in kept:
        row.wrong(column, f"{key!r} stands in another row too")
    elif key and existing.exists():
        row.wrong(column, f"{key!r} is in the database already")
    kept.setdefault(key, made)


def _phone(folder: Folder, row: Row, column: str) -> PhoneNumber | str:
    text = row.text(column, required=False)
    if not text:
        return ""
    try:
        number = PhoneNumber.from_string(text, region=folder.district.phone_region or None)
    except NumberParseException:
        number = None
    if number is None or not number.is_valid():
        row.wrong(column, f"{text!r} is not a telephone number; write it as +COUNTRY NUMBER")
        return ""
    return number


def _check(row: Row, made: models.Model, columns: dict[str, str] | None = None) -> None:
    """Let the model say what it refuses: lengths, words, e-mail addresses."""
    skip = [field.name for field in made._meta.fields if field.is_relation]
    already = {fault.column for fault in row.faults if _is_of(fault, row)}
    try:
        made.full_clean(exclude=[*skip, "password"], validate_unique=False,
                        validate_constraints=False)  # fmt: skip
    except ValidationError as error:
        for name, sentences in error.message_dict.items():
            column = (columns or {}).get(name, name)
            if column not in already:
                row.wrong(column, " ".join(sentences))


def _is_of(fault: Fault, row: Row) -> bool:
    return (fault.file, fault.row) == (row.file, row.number)
