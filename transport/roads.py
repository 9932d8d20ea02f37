"""The roads of a district as they are at a moment: its estimator, the season, and darkness."""

from datetime import datetime
from zoneinfo import ZoneInfo

from referrals.models import District
from transport.calc.daylight import is_dark
from transport.calc.district_travel import is_rainy_month, travel_settings
from transport.calc.oxygen import Reserve
from transport.calc.travel import TravelEstimator, fixed_estimator

__all__ = ["estimator_of", "is_dark", "is_rainy", "reserve_of"]


def estimator_of(district: District) -> TravelEstimator:
    """The estimator of travel times that a district uses."""
    return fixed_estimator(
        travel_settings(district.travel_settings, detour_factor=district.detour_factor)
    )


def is_rainy(district: District, moment: datetime) -> bool:
    """Whether roads are as in the rainy season: what the desk has set, else by the month."""
    if district.rainy_season is not None:
        return district.rainy_season
    month = moment.astimezone(ZoneInfo(district.time_zone)).month
    return is_rainy_month(district.travel_settings, month)


def reserve_of(district: District) -> Reserve:
    """What is to be left in each cylinder read in bar; those read in psi keep the default."""
    return Reserve(bar=district.oxygen_reserve_bar)
