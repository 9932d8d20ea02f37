"""Make the invented demo district: rewrite ``district/`` beside this file, byte for byte.

    python fixtures_demo/make_district.py            rewrite the folder
    python fixtures_demo/make_district.py --check    exit 1 if the files differ

Only the standard library is used, and all chance comes from one seed.
"""

import argparse
import csv
import io
import json
import sys
from pathlib import Path
from statistics import median
from typing import Any

# Run as a script, Python looks beside this file only; the package is one folder up.
sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from fixtures_demo import district_tables as tables
from fixtures_demo.district_history import Roads, history
from fixtures_demo.district_shapes import (
    coast_features,
    line_km,
    road_features,
    to_lon_lat,
)

SEED = "taluvesi-20"
SHIFT_CHANGES = ("07:00", "19:00")
FOLDER = Path(__file__).resolve().parent / "district"

Row = dict[str, Any]


def phones() -> dict[str, str]:
    """Return a number each for desk, sites, people and reserves, all kept for fiction."""
    owners = ["desk", *(site.code for site in tables.SITES)]
    owners += [person.username for person in tables.PEOPLE]
    owners += [reserve.name for reserve in tables.RESERVES]
    if len(owners) > 100:
        raise ValueError("only 100 numbers are kept for fiction")
    return {owner: f"{tables.PHONE_PREFIX}{100 + n:04d}" for n, owner in enumerate(owners)}


def positions() -> dict[str, tuple[float, float]]:
    """Return site code -> (longitude, latitude)."""
    return {site.code: to_lon_lat((site.east_km, site.north_km)) for site in tables.SITES}


def detour(roads: list[Row]) -> float:
    """Return the median of road km over straight km, from each health post to each unit."""
    where, network = positions(), Roads(roads, seed=SEED)
    ratios = [
        network.quickest(site.code, unit.site)[1] / line_km([where[site.code], where[unit.site]])
        for site in tables.SITES
        if site.kind == "health_post" and site.code != "SEF"
        for unit in tables.UNITS
    ]
    return round(median(ratios), 2)


def district_row(roads: list[Row]) -> Row:
    """Return the settings of the district."""
    return {
        "code": tables.DISTRICT_CODE,
        "name": "Taluvesi District",
        # 86 degrees east is nearest to UTC+6; the sign in these names runs the other way.
        "time_zone": "Etc/GMT-6",
        "phone_region": tables.PHONE_REGION,
        "desk_phone": phones()["desk"],
        "detour": detour(roads),
        **tables.SETTINGS,
    }


def site_rows() -> list[Row]:
    """Return the rows of ``sites.csv``."""
    rows = []
    for site in tables.SITES:
        longitude, latitude = positions()[site.code]
        row = {"code": site.code, "name": site.name, "kind": site.kind}
        place = {"latitude": f"{latitude:.5f}", "longitude": f"{longitude:.5f}"}
        rows.append(row | place | {"phone": phones()[site.code], "land": site.land})
    return rows


def unit_rows() -> list[Row]:
    """Return the rows of ``units.csv``."""
    rows = [unit._asdict() for unit in tables.UNITS]
    shifts = {"shift_changes": ";".join(SHIFT_CHANGES)}
    return [{k: v for k, v in row.items() if k != "median_answer_minutes"} | shifts for row in rows]


def people_rows() -> list[Row]:
    """Return the rows of ``people.csv``."""
    return [
        {
            "username": person.username,
            "name": person.name,
            "role": person.role,
            "place": person.place,
            "phone": phones()[person.username],
            "email": f"{person.username}@taluvesi.example",
            "language": person.language,
        }
        for person in tables.PEOPLE
    ]


def teams() -> dict[str, list[str]]:
    """Return who works at each unit and at the desk, in the order of the ladder."""
    members = {unit.code: unit.code for unit in tables.UNITS} | {"desk": tables.DISTRICT_CODE}
    return {
        owner: [p.username for p in tables.PEOPLE if p.place == place and p.role != "lead"]
        for owner, place in members.items()
    }


def contact_rows() -> list[Row]:
    """Return the ladder of each team: by screen and SMS, then by voice, then by e-mail.

    The whole team stands on each step; the rota says who of it is told.
    """
    ways = [(1, "screen"), (1, "sms"), (2, "voice"), (3, "email")]
    return [
        {"owner": owner, "step": step, "username": username, "channel": channel}
        for owner, team in teams().items()
        for step, channel in ways
        for username in team
    ]


def rota_rows() -> list[Row]:
    """Return a week of two 12-hour shifts a day; three people take turns, 24 hours off between."""
    rows = []
    for owner, team in teams().items():
        for shift in range(14):
            starts, ends = SHIFT_CHANGES if shift % 2 == 0 else SHIFT_CHANGES[::-1]
            turn = {"username": team[shift % 3], "weekday": shift // 2}
            rows.append({"owner": owner, **turn, "starts": starts, "ends": ends})
    return rows


def vehicle_rows() -> list[Row]:
    """Return the rows of ``vehicles.csv``."""
    rows = [vehicle._asdict() for vehicle in tables.VEHICLES]
    return [row | {"has_oxygen": "true" if row.pop("oxygen") else "false"} for row in rows]


def reserve_rows() -> list[Row]:
    """Return the rows of ``reserve.csv``."""
    return [reserve._asdict() | {"phone": phones()[reserve.name]} for reserve in tables.RESERVES]


def as_csv(rows: list[Row]) -> str:
    """Write rows as CSV with a header and plain line ends."""
    text = io.StringIO()
    writer = csv.DictWriter(text, fieldnames=list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


def as_geojson(features: list[Row]) -> str:
    """Write a FeatureCollection (RFC 7946), one feature a line."""
    lines = ",\n".join(json.dumps(feature) for feature in features)
    return f'{{"type": "FeatureCollection", "features": [\n{lines}\n]}}\n'


def make_files() -> dict[str, bytes]:
    """Return file name -> content for the whole folder."""
    roads = road_features(seed=SEED)
    journeys, offers, ended = history(roads, seed=SEED)
    texts = {
        "district.json": json.dumps(district_row(roads), indent=2) + "\n",
        "sites.csv": as_csv(site_rows()),
        "units.csv": as_csv(unit_rows()),
        "people.csv": as_csv(people_rows()),
        "contacts.csv": as_csv(contact_rows()),
        "rota.csv": as_csv(rota_rows()),
        "vehicles.csv": as_csv(vehicle_rows()),
        "cylinders.csv": as_csv([cylinder._asdict() for cylinder in tables.CYLINDERS]),
        "legs.csv": as_csv([leg._asdict() for leg in tables.LEGS]),
        "reserve.csv": as_csv(reserve_rows()),
        "journeys.csv": as_csv(journeys),
        "offers.csv": as_csv(offers),
        "ended_at_post.csv": as_csv(ended),
        "coast.geojson": as_geojson(coast_features(seed=SEED)),
        "roads.geojson": as_geojson(roads),
    }
    return {name: text.encode("utf-8") for name, text in texts.items()}


def differences(files: dict[str, bytes], folder: Path) -> list[str]:
    """Name every file that is missing, different, or not one of ours."""
    found = {path.name: path.read_bytes() for path in folder.glob("*") if path.is_file()}
    names = sorted(found.keys() | files.keys())
    return [name for name in names if found.get(name) != files.get(name)]


def main() -> int:
    """Write or check the folder; 0 done, 1 the files differ, 2 bad usage (by argparse)."""
    parser = argparse.ArgumentParser(description="Make the invented demo district.")
    parser.add_argument("--check", action="store_true", help="only compare; exit 1 if different")
    parser.add_argument("--folder", type=Path, default=FOLDER, help="where the files go")
    arguments = parser.parse_args()
    files = make_files()
    if not arguments.check:
        arguments.folder.mkdir(parents=True, exist_ok=True)
        for name, content in files.items():
            (arguments.folder / name).write_bytes(content)
    different = differences(files, arguments.folder)
    for name in different:
        sys.stderr.write(f"differs: {name}\n")
    return 1 if different else 0


if __name__ == "__main__":
    raise SystemExit(main())
