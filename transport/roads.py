"""The roads of a district at a moment: its estimator, the season, darkness, what is closed."""

from datetime import datetime
from zoneinfo import ZoneInfo

from referrals.models import District
from transport.calc.closures import ClosedPlace, ClosureKind, ClosureSettings, around_closures
from transport.calc.daylight import is_dark
from transport.calc.district_travel import is_rainy_month, travel_settings
from transport.calc.oxygen import Reserve
from transport.calc.places import Place
from transport.calc.travel import TravelEstimator, fixed_estimator
from transport.models import Closure

__all__ = [
    "closed_place",
    "closed_places",
    "closure_settings",
    "estimator_of",
    "is_dark",
    "is_rainy",
    "plain_estimator_of",
    "reserve_of",
]


def estimator_of(district: District, moment: datetime) -> TravelEstimator:
    """The estimator of travel times that a district uses, with what is reported closed."""
    return around_closures(
        plain_estimator_of(district), closed_places(district, moment), closure_settings(district)
    )


def plain_estimator_of(district: District) -> TravelEstimator:
    """The same as if every road were open."""
    return fixed_estimator(
        travel_settings(district.travel_settings, detour_factor=district.detour_factor)
    )


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
