"""The roads of a district at a moment: its estimator, the season, darkness, what is closed."""

from collections.abc import Sequence
from datetime import datetime, time
from zoneinfo import ZoneInfo

from referrals.calc.terms import VehicleKind
from referrals.models import District, Site
from transport.calc.closures import ClosedPlace, ClosureKind, ClosureSettings, around_closures
from transport.calc.daylight import is_dark
from transport.calc.district_travel import is_rainy_month
from transport.calc.legs import (
    Ground,
    Hours,
    Landing,
    Leg,
    across_legs,
    crossing_time,
    open_legs,
)
from transport.calc.oxygen import Reserve
from transport.calc.places import Place
from transport.calc.travel import TravelEstimator
from transport.experience import estimator_for
from transport.models import Closure
from transport.models import Leg as LegRow

__all__ = [
    "closed_place",
    "closed_places",
    "closure_settings",
    "estimator_of",
    "estimator_with",
    "is_dark",
    "is_rainy",
    "leg_as_estimated",
    "reserve_of",
]


def estimator_of(district: District, moment: datetime, *, reckon: bool = False) -> TravelEstimator:
    """The estimator of travel times that a district uses, with what is reported closed."""
    return estimator_with(district, moment, closed_places(district, moment), reckon=reckon)


def estimator_with(
    district: District, moment: datetime, closed: Sequence[ClosedPlace], *, reckon: bool = False
) -> TravelEstimator:
    """The same for a journey that sets off at a moment, with these things closed.

    ``reckon``: as ``experience.estimator_for``.
    """
    plain = estimator_for(district, reckon=reckon)
    by_road = around_closures(plain, closed, closure_settings(district))
    local = moment.astimezone(ZoneInfo(district.time_zone))
    return across_legs(
        by_road,
        _ground_of(district),
        open_legs(_legs_of(district), closed),
        minute_of_day=_minute(local.time()),
    )


def _ground_of(district: District) -> Ground:
    """The land of every site; nothing where one mainland is all there is."""
    sites = district.sites.all()
    if not sites.exclude(land="").exists():
        return Ground([])
    rows = sites.values_list("latitude", "longitude", "land")
    return Ground((Place(latitude, longitude), land) for latitude, longitude, land in rows)


def _legs_of(district: District) -> list[Leg]:
    rows = LegRow.objects.running().filter(district=district)
    return [leg_as_estimated(row) for row in rows.select_related("origin", "destination")]


def leg_as_estimated(row: LegRow) -> Leg:
    """A leg as the estimates see it."""
    hours = row.hours
    return Leg(
        name=row.name,
        start=_landing(row.origin),
        end=_landing(row.destination),
        crossing=crossing_time(row.median_minutes, row.p90_minutes),
        waiting_minutes=row.waiting_minutes,
        kinds=frozenset(VehicleKind(kind) for kind in row.kinds),
        hours=Hours(_minute(hours[0]), _minute(hours[1])) if hours else None,
    )


def _landing(site: Site) -> Landing:
    return Landing(site.name, Place(site.latitude, site.longitude), site.land)


def _minute(at: time) -> float:
    return at.hour * 60 + at.minute + at.second / 60


def closed_places(district: District, moment: datetime) -> list[ClosedPlace]:
    """What is reported closed at a moment."""
    standing = Closure.objects.standing(moment).filter(district=district)
    return [closed_place(row) for row in standing.select_related("one_end", "other_end")]


def closed_place(closure: Closure) -> ClosedPlace:
    """A closure as the estimates see it."""
    one, other = closure.one_end, closure.other_end
    first = Place(one.latitude, one.longitude) if one else None
    return ClosedPlace(
        name=closure.name,
        kind=ClosureKind(closure.kind),
        place=first or Place(closure.latitude or 0.0, closure.longitude or 0.0),
        radius_km=closure.radius_km,
        other=Place(other.latitude, other.longitude) if other else None,
    )


def closure_settings(district: District) -> ClosureSettings:
    """What a closure on the way costs in this district."""
    factor = district.travel_settings.get("closure_factor")
    return ClosureSettings() if factor is None else ClosureSettings(factor=factor)


def is_rainy(district: District, moment: datetime) -> bool:
    """Whether roads are as in the rainy season: what the desk has set, else by the month."""
    if district.rainy_season is not None:
        return district.rainy_season
    month = moment.astimezone(ZoneInfo(district.time_zone)).month
    return is_rainy_month(district.travel_settings, month)


def reserve_of(district: District) -> Reserve:
    """What is to be left in each cylinder read in bar; those read in psi keep the default."""
    return Reserve(bar=district.oxygen_reserve_bar)
