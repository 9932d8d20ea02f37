"""From the rows of receiving units to the facts of those that the ranking looks at."""

import json
import math
from collections import Counter
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any, NamedTuple

from django.db.models import Case, IntegerField, QuerySet, TextField, When
from django.db.models.functions import Cast

from referrals.calc.terms import Capability
from referrals.models import District, Referral, Unit
from transport.calc import ranking as ranks
from transport.calc.finalists import box_around, finalists, haversines_km
from transport.calc.places import Place
from transport.calc.ranking_rules import can_take, missing_preferences

MOST_READ_WHOLE = 300
"""Units of a district up to which all are read; more costs more than a look around."""
FIRST_LOOK_KM = 50.0
FASTEST_KM_H = 100.0
"""In a straight line; no road of a district is faster (project choice, no source)."""


@dataclass(frozen=True)
class InSight:
    """The units near enough to be worked out, and how many others can take the babies or not.

    ``within_km``: farther ones, in a straight line, were not looked at; None: all were.
    """

    facts: list[ranks.UnitFacts]
    possible_left_out: int
    impossible_left_out: int
    within_km: float | None


def units_in_sight(
    referral: Referral, asking: ranks.Asking, settings: ranks.RankingSettings
) -> InSight:
    """The units that the ranking would pick by itself, in two queries where there are few.

    Of a large district only what lies around the baby is read, as far as the nearest units that
    can take it make it needless to look farther.
    """
    known = _Known(asking, _asked_already(referral), referral.district.standing_unit_id)
    rows = [_UnitRow._make(row) for row in _unit_rows(referral.district)[: MOST_READ_WHOLE + 1]]
    within_km = None
    if len(rows) > MOST_READ_WHOLE:
        rows, within_km = _rows_around(referral.district, known, settings)
    able: list[_UnitRow] = []
    unable: list[_UnitRow] = []
    for row in rows:
        (able if known.can_take(row) else unable).append(row)
    near_able = known.nearest(able, settings.possible_limit)
    near_unable = known.nearest(unable, settings.impossible_limit)
    return InSight(
        [known.facts(row) for row in near_able + near_unable],
        len(able) - len(near_able),
        len(unable) - len(near_unable),
        within_km,
    )


def _rows_around(
    district: District, known: "_Known", settings: ranks.RankingSettings
) -> tuple[list["_UnitRow"], float | None]:
    """The rows within the first circle that is wide enough, and those people named already."""
    rows = _unit_rows(district)
    radius_km = FIRST_LOOK_KM
    while (box := box_around(known.asking.origin, radius_km)) is not None:
        inside = [
            _UnitRow._make(row)
            for row in rows.filter(
                site__latitude__range=(box.south, box.north),
                site__longitude__range=(box.west, box.east),
            )
        ]
        circle = known.within(inside, radius_km)
        if known.are_enough(circle, radius_km, settings):
            missing = known.named - {row.pk for row in circle}
            named = rows.filter(pk__in=missing) if missing else ()
            return [*circle, *map(_UnitRow._make, named)], radius_km
        radius_km *= 2.0
    return [_UnitRow._make(row) for row in rows], None


class _UnitRow(NamedTuple):
    pk: int
    code: str
    name: str
    site: str
    latitude: float
    longitude: float
    care: str
    cots_free: int
    reported: int
    is_open: int


def _unit_rows(district: District) -> QuerySet[Unit, Any]:
    """Plain tuples in the order of ``_UnitRow``."""
    # Capabilities stay text until they are looked at: few units differ in them.
    return Unit.objects.filter(site__district=district).values_list(
        "pk", "code", "name", "site__name", "site__latitude", "site__longitude",
        Cast("capabilities", TextField()), "cots_free",
        # Numbers, since SQLite's truth values are converted one by one.
        Case(When(cots_reported_at=None, then=0), default=1, output_field=IntegerField()),
        Cast("is_open", IntegerField()),
    )  # fmt: skip


@dataclass
class _Known:
    """What the ranking asks of a unit; units alike in care, cots and opening are asked once."""

    asking: ranks.Asking
    already: dict[int, str]
    standing: int | None
    takes: dict[tuple[Any, ...], bool] = field(default_factory=dict)
    lacks: dict[str, int] = field(default_factory=dict)

    @property
    def named(self) -> set[int]:
        """The units that people named already: asked, or the standing one."""
        return {*self.already, *([self.standing] if self.standing else [])}

    def within(self, rows: list[_UnitRow], radius_km: float) -> list[_UnitRow]:
        """Those of the rows that are no farther on the sphere."""
        return [row for row, km in zip(rows, self._far(rows), strict=True) if km <= radius_km]

    def are_enough(
        self, rows: list[_UnitRow], radius_km: float, settings: ranks.RankingSettings
    ) -> bool:
        """Whether nothing beyond the circle could stand before what is inside.

        Every sort (by how much preferred care it lacks) that could make up for a longer way has its
        share inside, or the circle is so much wider than the nearest unit that it could not.
        """
        able = [row for row in rows if self.can_take(row)]
        if len(able) < settings.possible_limit or len(rows) - len(able) < settings.impossible_limit:
            return False
        sorts = len(self.asking.needs.preferred_capabilities) + 1
        share = math.ceil(settings.possible_limit / sorts)
        of_sort = Counter(self._lacks(row) for row in able)
        if all(of_sort[sort] >= share for sort in range(sorts)):
            return True
        hours = settings.missing_preference_minutes * (sorts - 1) / 60
        return bool(radius_km >= min(self._far(able)) + hours * FASTEST_KM_H)

    def _far(self, rows: list[_UnitRow]) -> Any:
        latitudes, longitudes = [row.latitude for row in rows], [row.longitude for row in rows]
        return haversines_km(self.asking.origin, latitudes, longitudes)

    def _lacks(self, row: _UnitRow) -> int:
        if row.care not in self.lacks:
            self.lacks[row.care] = missing_preferences(self.asking, self.facts(row))
        return self.lacks[row.care]

    def can_take(self, row: _UnitRow) -> bool:
        """Whether every gate holds."""
        alike = (row.care, row.cots_free, row.reported, row.is_open, self.already.get(row.pk))
        if alike not in self.takes:
            self.takes[alike] = can_take(self.asking, self.facts(row))
        return self.takes[alike]

    def nearest(self, rows: list[_UnitRow], limit: int) -> list[_UnitRow]:
        """The rows that the ranking would work out of these."""
        chosen = finalists(
            [self._lacks(row) for row in rows],
            self._far(rows),
            [i for i, row in enumerate(rows) if row.pk in self.already or row.pk == self.standing],
            limit,
        )
        return [rows[i] for i in chosen]

    def facts(self, row: _UnitRow) -> ranks.UnitFacts:
        """A unit as the ranking sees it."""
        return ranks.UnitFacts(
            key=row.code,
            name=f"{row.name}, {row.site}",
            place=Place(row.latitude, row.longitude),
            capabilities=_care(row.care),
            cots_free=row.cots_free if row.reported else None,
            open=bool(row.is_open),
            already=self.already.get(row.pk),
            is_default=row.pk == self.standing,
        )


def _asked_already(referral: Referral) -> dict[int, str]:
    """What became of the newest question to each unit."""
    return {
        unit: f"declined: {reason}" if stage == "declined" else stage
        for unit, stage, reason in referral.offers.order_by("asked_at").values_list(
            "unit_id", "stage", "decline_reason"
        )
    }


@lru_cache(maxsize=1024)
def _care(text: str) -> frozenset[Capability]:
    return frozenset(Capability(each) for each in json.loads(text))
