"""What the invented past is written from: its files, the people of the district, the rota then."""

import csv
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, time, timedelta
from itertools import chain
from random import Random
from zoneinfo import ZoneInfo

from fixtures_demo.load import FOLDER
from referrals.calc.codes import make_code
from referrals.calc.rota import Turn, duty_at
from referrals.calc.terms import Role
from referrals.contacts import turns_by_name
from referrals.models import District, Site, Staff, StaffRole, Unit
from transport.models import Vehicle

DESK, AT_POST = "desk", "ended_at_post"
Row = dict[str, str]


@dataclass
class Past:
    """The invented rows, and the district in which they happened."""

    district: District
    now: datetime
    offers: dict[str, list[Row]] = field(init=False)
    teams: dict[str, dict[str, list[Turn]]] = field(init=False)

    def __post_init__(self) -> None:
        """Read who was asked, and the rota."""
        self.zone = ZoneInfo(self.district.time_zone)
        self.people = {staff.username: staff for staff in Staff.objects.all()}
        self.sites = {site.code: site for site in Site.objects.all()}
        self.units = {unit.code: unit for unit in Unit.objects.select_related("site")}
        self.vehicles = {each.code: each for each in Vehicle.objects.select_related("driver")}
        attendants = StaffRole.objects.filter(role=Role.ATTENDANT.value).select_related("staff")
        self.attendants = {role.site_id: role.staff for role in attendants}
        self.codes, self.source = set[str](), Random(self.district.code)
        self.teams = {DESK: turns_by_name(self.district.shifts.select_related("staff"))}
        for unit in self.units.values():
            self.teams[unit.code] = turns_by_name(unit.shifts.select_related("staff"))
        self.offers = defaultdict(list)
        for row in _rows("offers"):
            self.offers[row["journey"]].append(row)

    def referrals(self) -> Iterator[tuple[datetime, Row]]:
        """When each referral was raised, the oldest first."""
        rows = [(self._raised_at(row), row) for row in chain(_rows("journeys"), _rows(AT_POST))]
        return iter(sorted(rows, key=lambda pair: pair[0]))

    def free_code(self) -> str:
        """A code that no referral of the past has."""
        code = make_code(self.source)
        if code in self.codes:
            return self.free_code()
        self.codes.add(code)
        return code

    def on_duty(self, team: str, moment: datetime) -> Staff:
        """Who of a unit, or of the desk, was on duty."""
        turns = self.teams[team]
        name = next(name for name in turns if duty_at(turns[name], self.zone, moment))
        return self.people[name]

    def _raised_at(self, row: Row) -> datetime:
        day = self.now.astimezone(self.zone).date() - timedelta(days=int(row["days_ago"]))
        return datetime.combine(day, time.fromisoformat(row["raised_at"]), tzinfo=self.zone)


def _rows(name: str) -> Iterator[Row]:
    with (FOLDER / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        yield from csv.DictReader(file)
