"""The demo district is whole, consistent, invented, and made by its script byte for byte."""

import ast
import csv
import itertools
import json
import shutil
import subprocess
import sys
from collections import Counter, defaultdict
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import median
from zoneinfo import ZoneInfo

import phonenumbers
import pytest
from geopy.distance import geodesic

from fixtures_demo.district_tables import CENTRE_LONGITUDE
from referrals.calc import terms

HOME = Path(__file__).resolve().parents[2] / "fixtures_demo"
FOLDER = HOME / "district"
MILESTONES = ("vehicle_assigned", "at_origin", "departed", "arrived")


def rows(name: str) -> list[dict[str, str]]:
    with (FOLDER / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def column(name: str, key: str) -> set[str]:
    return {row[key] for row in rows(name)}


def features(name: str) -> list[dict]:
    return json.loads((FOLDER / f"{name}.geojson").read_text())["features"]


def district() -> dict:
    return json.loads((FOLDER / "district.json").read_text())


def site_points() -> dict[str, tuple[float, float]]:
    return {s["code"]: (float(s["longitude"]), float(s["latitude"])) for s in rows("sites")}


def rings() -> dict[str, list]:
    return {f["properties"]["name"]: f["geometry"]["coordinates"][0] for f in features("coast")}


def road_lines() -> list[tuple[dict, list]]:
    return [(f["properties"], f["geometry"]["coordinates"]) for f in features("roads")]


def km(start, end) -> float:
    return geodesic((start[1], start[0]), (end[1], end[0])).km


def signed_area(ring) -> float:
    return sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in itertools.pairwise(ring)) / 2


def crosses(first, second) -> bool:
    """True if two segments cross at an inner point."""
    (a, b), (c, d) = first, second

    def side(p, q, r) -> float:
        return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])

    return side(a, b, c) * side(a, b, d) < 0 and side(c, d, a) * side(c, d, b) < 0


def inside(point, ring) -> bool:
    """Even-odd rule: a ray to the east meets the ring an odd number of times."""
    x, y = point
    hits = 0
    for (x0, y0), (x1, y1) in itertools.pairwise(ring):
        if (y0 > y) != (y1 > y) and x < x0 + (y - y0) * (x1 - x0) / (y1 - y0):
            hits += 1
    return hits % 2 == 1


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-B", str(HOME / "make_district.py"), *arguments]
    return subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)


def test_the_files_are_exactly_what_the_script_makes():
    result = run("--check")
    assert (result.returncode, result.stdout, result.stderr) == (0, "", "")


def test_check_exits_1_and_names_a_changed_a_missing_and_a_foreign_file(tmp_path):
    copy = tmp_path / "district"
    shutil.copytree(FOLDER, copy)
    (copy / "sites.csv").write_text("code\n")
    (copy / "units.csv").unlink()
    (copy / "notes.txt").write_text("not ours")
    result = run("--check", "--folder", str(copy))
    assert result.returncode == 1
    named = [f"differs: {name}" for name in ("notes.txt", "sites.csv", "units.csv")]
    assert result.stderr.splitlines() == named


def test_the_script_needs_the_standard_library_only():
    for path in [HOME / "make_district.py", *HOME.glob("district_*.py")]:
        for node in ast.walk(ast.parse(path.read_text())):
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            tops = {name.partition(".")[0] for name in names}
            assert tops <= sys.stdlib_module_names | {"fixtures_demo"}, path.name


def test_every_phone_number_is_valid_and_kept_for_fiction():
    """555-0100 to 555-0199: North American Numbering Plan, ATIS-0300115."""
    numbers = [row["phone"] for row in rows("sites") + rows("people") + rows("reserve")]
    numbers.append(district()["desk_phone"])
    assert len(set(numbers)) == len(numbers)
    for number in numbers:
        parsed = phonenumbers.parse(number, None)
        assert phonenumbers.is_valid_number(parsed)
        assert phonenumbers.region_code_for_number(parsed) == district()["phone_region"]
        assert 5550100 <= int(number[-7:]) <= 5550199


def test_every_e_mail_address_ends_in_the_reserved_name():
    """RFC 2606, section 2."""
    assert all(email.endswith(".example") for email in column("people", "email"))


@pytest.mark.parametrize(
    ("latitude", "longitude"),
    [
        (-12.2, 96.8),  # the nearest atolls, north-east
        (-37.8, 77.5),  # the nearest islands, south-west
        (-19.7, 63.4),  # the nearest island, west
        (-7.3, 72.4),  # the nearest atoll, north-west
        (-21.8, 114.1),  # the nearest continent, east
    ],
)
def test_the_district_lies_more_than_1500_km_from_land(latitude, longitude):
    """Positions of the real places: values from memory, to a tenth of a degree."""
    for site in site_points().values():
        assert km(site, (longitude, latitude)) > 1500


def test_the_time_zone_fits_the_longitude_and_never_changes():
    zone, longitude = ZoneInfo(district()["time_zone"]), CENTRE_LONGITUDE
    days = [datetime(2026, 1, 1, tzinfo=UTC) + timedelta(days=n) for n in range(366)]
    offsets = {day.astimezone(zone).utcoffset() for day in days}
    assert offsets == {timedelta(hours=round(longitude / 15))}


@pytest.mark.parametrize("name", ["Taluvesi Island", "Seftima Islet"])
def test_a_coast_is_closed_counter_clockwise_and_never_crosses_itself(name):
    """RFC 7946, section 3.1.6."""
    ring = rings()[name]
    assert len(ring) >= 4
    assert ring[0] == ring[-1]
    assert signed_area(ring) > 0
    segments = list(itertools.pairwise(ring))
    assert not any(crosses(*pair) for pair in itertools.combinations(segments, 2))


def test_every_position_lies_within_the_bounds():
    lines = [*rings().values(), *(line for _, line in road_lines()), site_points().values()]
    for longitude, latitude in itertools.chain.from_iterable(lines):
        assert 85.45 <= longitude <= 86.6
        assert -22.85 <= latitude <= -22.15


def test_sites_and_roads_lie_on_land():
    for code, point in site_points().items():
        islet = code in {"SEF", "LND"}
        assert inside(point, rings()["Seftima Islet" if islet else "Taluvesi Island"]), code
    for road, line in road_lines():
        land = rings()["Seftima Islet" if road["from"] == "LND" else "Taluvesi Island"]
        assert all(inside(point, land) for point in line), road["name"]


def test_a_landing_is_within_3_km_of_the_shore():
    shore = list(itertools.chain.from_iterable(rings().values()))
    for site in rows("sites"):
        if site["kind"] == "landing":
            point = (float(site["longitude"]), float(site["latitude"]))
            assert min(km(point, mark) for mark in shore) < 3, site["code"]


def test_a_road_starts_and_ends_at_its_sites():
    for road, line in road_lines():
        assert tuple(line[0]) == site_points()[road["from"]]
        assert tuple(line[-1]) == site_points()[road["to"]]
        assert road["surface"] in {"paved", "gravel", "track"}


def test_road_km_is_the_geodesic_length_within_one_percent():
    """Geodesic of C. Karney, J. Geodesy 2013;87:43, by geopy."""
    for road, line in road_lines():
        length = sum(km(start, end) for start, end in itertools.pairwise(line))
        assert road["road_km"] == pytest.approx(length, rel=0.01), road["name"]


def test_roads_join_the_whole_main_island_and_do_not_reach_the_islet():
    reached, found = set(), {"ORL"}
    while found != reached:
        reached = set(found)
        for road, _ in road_lines():
            if {road["from"], road["to"]} & reached:
                found |= {road["from"], road["to"]}
    assert found == set(site_points()) - {"SEF", "LND"}


def test_the_land_of_a_site_is_the_island_on_which_it_lies():
    mainland = next(iter(rings()))
    for site in rows("sites"):
        island = rings()[site["land"] or mainland]
        assert inside(site_points()[site["code"]], island), site["code"]


def test_legs_join_landings_of_the_islet_with_the_main_island_both_ways_at_every_hour():
    land = {site["code"]: site["land"] for site in rows("sites")}
    kinds = {site["code"]: site["kind"] for site in rows("sites")}
    for leg in rows("legs"):
        assert {kinds[leg["origin"]], kinds[leg["destination"]]} == {"landing"}
        assert float(leg["p90_minutes"]) > float(leg["median_minutes"]) > 0
    at_night = {(land[r["origin"]], land[r["destination"]]) for r in rows("legs")
                if not r["runs_from"]}  # fmt: skip
    assert at_night == {("Seftima Islet", ""), ("", "Seftima Islet")}


def test_there_is_enough_of_everything():
    kinds = Counter(row["kind"] for row in rows("sites"))
    roles = Counter(row["role"] for row in rows("people"))
    assert kinds["health_post"] >= 8
    assert kinds["landing"] >= 2
    assert set(kinds) == {"health_post", "health_centre", "hospital", "depot", "landing"}
    assert (roles["driver"], roles["lead"], len(rows("vehicles"))) == (5, 1, 5)
    assert roles["desk"] >= 2
    posts = {row["code"] for row in rows("sites") if row["kind"] == "health_post"}
    assert posts <= {row["place"] for row in rows("people") if row["role"] == "attendant"}


@pytest.mark.parametrize(
    ("table", "key", "target", "target_key"),
    [
        ("units", "site", "sites", "code"),
        ("contacts", "username", "people", "username"),
        ("rota", "username", "people", "username"),
        ("vehicles", "base", "sites", "code"),
        ("vehicles", "driver", "people", "username"),
        ("cylinders", "vehicle", "vehicles", "code"),
        ("cylinders", "site", "sites", "code"),
        ("journeys", "origin", "sites", "code"),
        ("journeys", "destination", "sites", "code"),
        ("journeys", "destination_unit", "units", "code"),
        ("journeys", "vehicle", "vehicles", "code"),
        ("offers", "journey", "journeys", "code"),
        ("offers", "unit", "units", "code"),
        ("ended_at_post", "origin", "sites", "code"),
        ("legs", "origin", "sites", "code"),
        ("legs", "destination", "sites", "code"),
    ],
)
def test_every_reference_resolves(table, key, target, target_key):
    assert column(table, key) - {""} <= column(target, target_key)


def test_everybody_works_at_a_place_that_fits_the_role():
    units, sites, code = column("units", "code"), column("sites", "code"), district()["code"]
    places = {"attendant": sites, "driver": sites, "unit": units, "desk": {code}, "lead": {code}}
    for person in rows("people"):
        assert person["place"] in places[person["role"]], person["username"]


def test_every_team_has_a_ladder_in_order_and_a_rota():
    teams = column("units", "code") | {"desk"}
    assert column("contacts", "owner") == column("rota", "owner") == teams
    assert column("contacts", "channel") == {"sms", "voice", "email", "screen"}
    for team in teams:
        steps = [int(row["step"]) for row in rows("contacts") if row["owner"] == team]
        assert steps == sorted(steps)
        assert set(steps) == {1, 2, 3}


def test_the_rota_always_has_one_person_and_a_rest_between_shifts():
    shifts = defaultdict(list)
    for row in rows("rota"):
        shifts[row["owner"]].append(row)
    for turns in shifts.values():
        starts = [(int(turn["weekday"]), turn["starts"], turn["ends"]) for turn in turns]
        halves = (("07:00", "19:00"), ("19:00", "07:00"))
        assert starts == [(day, *half) for day in range(7) for half in halves]
        week = [turn["username"] for turn in turns]
        assert all(now != after for now, after in itertools.pairwise([*week, week[0]]))


@pytest.mark.parametrize(
    ("table", "key", "words"),
    [
        ("units", "capabilities", terms.Capability),
        ("vehicles", "capabilities", terms.Capability),
        ("vehicles", "kind", terms.VehicleKind),
        ("legs", "kinds", terms.VehicleKind),
        ("people", "role", terms.Role),
        ("journeys", "urgency", terms.Urgency),
        ("journeys", "endings", terms.Ending),
        ("ended_at_post", "ending", terms.Ending),
        ("offers", "reason", terms.DeclineReason),
    ],
)
def test_every_word_is_one_of_the_terms(table, key, words):
    used = {word for cell in column(table, key) for word in cell.split(";")} - {""}
    assert used
    assert used <= set(words)


def test_the_four_levels_differ_and_each_can_do_all_that_the_lower_can():
    """Levels of newborn care: WHO, Standards for small and sick newborns, 2020."""
    can = {row["level"]: set(row["capabilities"].split(";")) for row in rows("units")}
    levels = ["essential", "special", "special_with_cpap", "intensive"]
    assert sorted(can) == sorted(levels)
    for lower, higher in itertools.pairwise(levels):
        assert can[lower] < can[higher]


def test_open_cots_never_exceed_the_cots_there_are():
    assert all(0 < int(row["cots_open"]) <= int(row["cots_total"]) for row in rows("units"))


def test_a_vehicle_offers_oxygen_exactly_when_it_carries_a_cylinder():
    carried = column("cylinders", "vehicle")
    for vehicle in rows("vehicles"):
        says = vehicle["has_oxygen"] == "true"
        assert says == ("oxygen" in vehicle["capabilities"].split(";"))
        assert says == (vehicle["code"] in carried)


def test_a_cylinder_is_read_in_bar_or_in_psi_and_stands_in_one_place():
    for row in rows("cylinders"):
        assert bool(row["vehicle"]) != bool(row["site"])
        assert bool(row["us_size"] and row["psi"]) != bool(row["water_litres"] and row["bar"])
        if row["bar"]:
            assert float(row["bar"]) <= float(row["full_bar"])
    assert column("cylinders", "us_size") == {"", "E"}


def test_one_wrong_letter_never_turns_a_site_into_another():
    """A code mistyped by one letter must not be the code of another place."""
    for one, other in itertools.combinations(sorted(column("sites", "code")), 2):
        assert sum(a != b for a, b in zip(one, other, strict=True)) >= 2, (one, other)


def test_sixty_journeys_fill_two_months_from_every_post():
    posts = {row["code"] for row in rows("sites") if row["kind"] == "health_post"}
    assert len(rows("journeys")) == 60
    assert posts <= column("journeys", "origin")
    assert all(1 <= int(row["days_ago"]) <= 60 for row in rows("journeys"))


def test_the_steps_of_a_journey_follow_each_other():
    for row in rows("journeys"):
        steps = [int(row[f"{name}_after_minutes"]) for name in MILESTONES]
        assert steps == sorted(steps)
        assert int(row["minutes"]) == steps[-1] - steps[-2] > 0
        assert int(row["accepted_after_minutes"]) <= steps[-2]
        if "handed_over" in row["endings"]:
            assert int(row["handed_over_after_minutes"]) > steps[-1]


def test_a_journey_repeats_the_positions_of_its_sites():
    for row in rows("journeys"):
        for prefix, key in (("origin", "origin"), ("dest", "destination")):
            point = (float(row[f"{prefix}_lon"]), float(row[f"{prefix}_lat"]))
            assert point == site_points()[row[key]]


def test_twins_have_as_many_weights_temperatures_and_endings():
    keys = ("endings", "temperatures_on_arrival_c", "weights_g", "gestation_weeks")
    counts = [{len(row[key].split(";")) for key in keys} for row in rows("journeys")]
    assert all(len(count) == 1 for count in counts)
    assert {2} in counts


def test_no_vehicle_is_on_two_journeys_at_once():
    busy = defaultdict(list)
    for row in rows("journeys"):
        hour, minute = map(int, row["raised_at"].split(":"))
        raised = -int(row["days_ago"]) * 1440 + hour * 60 + minute
        start = raised + int(row["vehicle_assigned_after_minutes"])
        busy[row["vehicle"]].append((start, raised + int(row["arrived_after_minutes"])))
    for spans in busy.values():
        assert all(end <= start for (_, end), (start, _) in itertools.pairwise(sorted(spans)))


def test_one_offer_is_accepted_and_no_unit_is_asked_twice():
    went = {row["code"]: row["destination_unit"] for row in rows("journeys")}
    accepted = [row for row in rows("offers") if row["answer"] == "accepted"]
    assert {row["journey"]: row["unit"] for row in accepted} == went
    assert len(accepted) == len(went)
    asked = [(row["journey"], row["unit"]) for row in rows("offers")]
    assert len(set(asked)) == len(asked)
    assert column("offers", "answer") == {"accepted", "declined", "lapsed"}
    assert all(bool(row["reason"]) == (row["answer"] == "declined") for row in rows("offers"))


def test_a_ventilated_baby_went_to_a_unit_with_cpap():
    able = {row["code"] for row in rows("units") if "cpap" in row["capabilities"].split(";")}
    ventilated = [row for row in rows("journeys") if row["urgency"] == "ventilated"]
    assert ventilated
    assert {row["destination_unit"] for row in ventilated} <= able


def test_rain_slows_the_roads_and_nobody_flies():
    speeds: dict[str, list[float]] = {"true": [], "false": []}
    for row in rows("journeys"):
        if row["vehicle"] != "BOT-1":
            speeds[row["rainy"]].append(60 * float(row["road_km"]) / int(row["minutes"]))
    assert median(speeds["true"]) < median(speeds["false"])
    assert max(speeds["true"] + speeds["false"]) < 80
