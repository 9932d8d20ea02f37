"""What a district may say about its roads: each value checked and refused in words.

The keys are those of ``district.json``. All are optional; what is left out keeps its default in
``transport/calc/district_travel.py``.
"""

from collections.abc import Iterator, Mapping
from typing import Any

from referrals.calc.wording import words

ROAD_SURFACES = ("paved", "gravel", "track")
SURFACES = (*ROAD_SURFACES, "sea")
ROAD_KEYS = (
    "speeds_km_h", "rain_factors", "road_shares", "night_factor", "rainy_months", "closure_factor",
)  # fmt: skip


def faults_of(settings: Any) -> dict[str, str]:
    """What is wrong, by key; empty where nothing is."""
    if not isinstance(settings, Mapping):
        return {"": words("must be an object, not %(found)r", found=settings)}
    return dict(_faults(settings))


def _faults(settings: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    for key, value in settings.items():
        if key == "speeds_km_h":
            problem = _by_surface(value, SURFACES, 1, 150)
        elif key == "rain_factors":
            problem = _by_surface(value, SURFACES, 1, 5)
        elif key == "road_shares":
            problem = _by_surface(value, ROAD_SURFACES, 0, 1) or _must_sum_to_one(value)
        elif key in ("night_factor", "closure_factor"):
            problem = (
                ""
                if _is_between(value, 1, 5)
                else words("must be 1 to 5, not %(found)r", found=value)
            )
        elif key == "rainy_months":
            good = isinstance(value, list) and all(
                isinstance(each, int) and _is_between(each, 1, 12) for each in value
            )
            problem = (
                ""
                if good
                else words("must be a list of months, 1 to 12, not %(found)r", found=value)
            )
        else:
            problem = words("is not known; known are %(known)s", known=", ".join(ROAD_KEYS))
        if problem:
            yield key, problem


def _by_surface(value: Any, surfaces: tuple[str, ...], low: float, high: float) -> str:
    if not isinstance(value, Mapping):
        return words("must be an object with a number for each surface, not %(found)r", found=value)
    for surface, number in value.items():
        if surface not in surfaces:
            return words(
                "%(surface)r is no surface; known are %(known)s",
                surface=surface,
                known=", ".join(surfaces),
            )
        if not _is_between(number, low, high):
            return words(
                "%(surface)s must be %(low)s to %(high)s, not %(found)r",
                surface=surface,
                low=low,
                high=high,
                found=number,
            )
    return ""


def _must_sum_to_one(shares: Mapping[str, float]) -> str:
    whole = sum(shares.values())
    if abs(whole - 1) < 0.005:
        return ""
    return words("the shares must be 1 together, not %(sum)s", sum=f"{whole:g}")


def _is_between(value: Any, low: float, high: float) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and low <= value <= high
