"""From what a district says about its roads to the settings of the travel estimate."""

from collections.abc import Mapping
from typing import Any

from referrals.calc.terms import VehicleKind
from transport.calc.travel import MAIN_ROAD_KM_H, MINOR_ROAD_KM_H, TravelSettings

DEFAULT_SPEEDS_KM_H = {
    "paved": MAIN_ROAD_KM_H,
    "gravel": MINOR_ROAD_KM_H,
    "track": 20.0,
    "sea": 15.0,
}
"""Track: common practice, no source. Sea: 8 knots, as ``TravelSettings`` has it."""

DEFAULT_RAIN_FACTOR = 1.2
"""As ``TravelSettings.rainy_factor``."""

DEFAULT_SHARES = {"paved": 0.5, "gravel": 0.5}
"""Half main, half minor road by length, as ``TravelSettings`` assumes; common practice, no
source."""


def travel_settings(said: Mapping[str, Any], *, detour_factor: float) -> TravelSettings:
    """The settings for a district; ``said`` has passed ``road_settings.faults_of``.

    The speed over a mix of surfaces is the harmonic mean by length; the rain factor of the mix is
    the mean by driving time when dry. Where the way by road is known, its minutes follow the
    district's speeds on paved road and on gravel as they stand to the usual ones.
    """
    speeds = DEFAULT_SPEEDS_KM_H | dict(said.get("speeds_km_h", {}))
    rain = dict(said.get("rain_factors", {}))
    shares = said.get("road_shares") or DEFAULT_SHARES
    hours_per_km = {surface: share / speeds[surface] for surface, share in shares.items()}
    dry = sum(hours_per_km.values())
    wet = sum(
        hours * rain.get(surface, DEFAULT_RAIN_FACTOR) for surface, hours in hours_per_km.items()
    )
    road_km_h = sum(shares.values()) / dry
    return TravelSettings(
        detour_factor=detour_factor,
        free_flow_km_h={
            kind: speeds["sea"] if kind is VehicleKind.BOAT else road_km_h for kind in VehicleKind
        },
        rainy_factor=wet / dry,
        boat_rainy_factor=rain.get("sea", DEFAULT_RAIN_FACTOR),
        darkness_factor=said.get("night_factor", 1.0),
        paved_factor=MAIN_ROAD_KM_H / speeds["paved"],
        unpaved_factor=MINOR_ROAD_KM_H / speeds["gravel"],
        model_version="district-1" if said else "fixed-1",
    )


def is_rainy_month(said: Mapping[str, Any], month: int) -> bool:
    """Whether a month (1 to 12) is one of the district's rainy ones."""
    return month in said.get("rainy_months", ())
