"""``district.json``: the settings of a district, each checked and named when it is wrong."""

import json
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from django.core.exceptions import ValidationError
from phonenumber_field.phonenumber import PhoneNumber
from phonenumbers import NumberParseException

from referrals.calc import check_intervals, unaccepted
from referrals.calc.road_settings import ROAD_KEYS, faults_of
from referrals.models import District
from transport.tables import Fault

FIELD_OF = {
    "detour": "detour_factor",
    "send_without_acceptance_after_minutes": "without_acceptance",
    "check_every_minutes": "check_minutes",
    "temperature_every_minutes": "temperature_minutes",
    "check_intervals_by_state": "intervals_by_state",
    "position_silent_after_minutes": "silence_minutes",
}
"""Keys that have another name than the field they set; all others are called like their field."""

REQUIRED = ("code", "name", "time_zone")
WORDS = ("code", "name", "time_zone", "phone_region")
MINUTES = (
    "check_minutes", "temperature_minutes", "check_grace_minutes", "offer_answer_minutes",
    "vehicle_search_minutes", "departure_minutes", "silence_minutes", "handover_minutes",
    "outcome_hours", "observation_minutes", "loading_minutes", "bedside_minutes",
    "standing_still_minutes", "arrival_slip_minutes", "post_silent_minutes",
)  # fmt: skip
WAITS = ("ventilated_waits", "stable_waits")
BY_WORD = {
    "without_acceptance": unaccepted.fault_of,
    "intervals_by_state": check_intervals.fault_of,
}
NUMBERS = ("detour_factor", "oxygen_reserve_bar", "off_way_km", "swap_minutes")
ELSEWHERE = ("desk_phone", "standing_default_unit")


@dataclass
class DistrictFile:
    """What the file says: the district, its standing unit, and what was not used."""

    district: District = field(default_factory=District)
    standing_unit: str = ""
    notes: list[str] = field(default_factory=list)


def read_district(path: Path, faults: list[Fault]) -> DistrictFile:
    """Read the file; every fault is noted with its key."""
    told = DistrictFile()
    body = _body(path, faults)
    if body is None:
        return told
    faults += [Fault(path.name, 0, key, "is missing") for key in REQUIRED if not body.get(key)]
    unused = []
    for key, value in body.items():
        name = FIELD_OF.get(key, key)
        if key in ROAD_KEYS:
            told.district.travel_settings[key] = value
        elif name in (*WORDS, *MINUTES, *WAITS, *NUMBERS, "rainy_season", *BY_WORD):
            problem = _problem(name, value)
            if problem:
                faults.append(Fault(path.name, 0, key, problem))
            else:
                setattr(told.district, name, value.lower() if name == "code" else value)
        elif key not in ELSEWHERE:
            unused.append(key)
    if unused:
        told.notes.append(f"{path.name}: not used: {', '.join(unused)}")
    roads = faults_of(told.district.travel_settings)
    faults += [Fault(path.name, 0, key, problem) for key, problem in roads.items()]
    told.standing_unit = str(body.get("standing_default_unit") or "")
    _set_phone(told.district, body, path.name, faults)
    _check(told.district, path.name, faults)
    return told


def _body(path: Path, faults: list[Fault]) -> dict[str, Any] | None:
    try:
        body = json.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as error:
        faults.append(Fault(path.name, 0, "", f"cannot be read: {error.strerror}"))
        return None
    except ValueError as error:
        faults.append(Fault(path.name, 0, "", f"is not JSON: {error}"))
        return None
    if not isinstance(body, dict):
        faults.append(Fault(path.name, 0, "", "must be a JSON object"))
        return None
    return body


def _problem(name: str, value: Any) -> str:
    """What is wrong with a value, in words; empty if nothing is."""
    if name in WORDS:
        return "" if isinstance(value, str) else f"must be text, not {value!r}"
    if name in BY_WORD:
        return BY_WORD[name](value)
    if name == "rainy_season":
        return "" if isinstance(value, bool) else f"must be true or false, not {value!r}"
    if name in WAITS:
        good = isinstance(value, list) and len(value) == 3 and all(map(_is_positive, value))
        good = good and sorted(value) == value
        return "" if good else f"must be three rising numbers of minutes, not {value!r}"
    if name in ("oxygen_reserve_bar", "swap_minutes") and value == 0:
        return ""
    if not _is_positive(value):
        return f"must be a number above 0, not {value!r}"
    return ""


def _is_positive(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and 0 < value < 1e6


def _set_phone(district: District, body: dict[str, Any], file: str, faults: list[Fault]) -> None:
    text = body.get("desk_phone")
    if not text:
        return
    try:
        number = PhoneNumber.from_string(str(text), region=district.phone_region or None)
    except NumberParseException:
        number = None
    if number is None or not number.is_valid():
        faults.append(Fault(file, 0, "desk_phone", f"{text!r} is not a telephone number"))
    else:
        district.desk_phone = number


def _check(district: District, file: str, faults: list[Fault]) -> None:
    already: Iterable[str] = {fault.column for fault in faults}
    try:
        district.full_clean(exclude=["standing_unit", "travel_settings"], validate_unique=False)
    except ValidationError as error:
        key_of = {name: key for key, name in FIELD_OF.items()}
        for name, sentences in error.message_dict.items():
            key = key_of.get(name, name)
            if key not in already:
                faults.append(Fault(file, 0, key, " ".join(sentences)))
