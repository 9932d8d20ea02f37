"""``manage.py import_roads``: a map becomes the road table, is gone back on, or refused."""

import csv as csv_module
import sys
from pathlib import Path

import pytest
from commands import run

from referrals import clock
from referrals.models import Site
from tests.osm import demo_roads, osm_xml
from transport import experience, road_table, tasks
from transport.calc.places import Place
from transport.calc.road_base import NoRoad, RoadWay
from transport.calc.road_rows import key_of
from transport.models import RoadRow, RoadTable, TravelModel

pytestmark = pytest.mark.django_db
ORLIME, THORNABEL = "-22.27243,86.09524", "-22.44943,86.36736"


@pytest.fixture
def map_file(tmp_path: Path) -> Path:
    """The roads of the demo district."""
    path = tmp_path / "roads.osm"
    path.write_text(demo_roads(), encoding="utf-8")
    return path


@pytest.fixture
def journeys_file(tmp_path: Path) -> Path:
    """Journeys from Port Orlime to Thornabel, half as long again as the roads promise."""
    path = tmp_path / "past.csv"
    with path.open("w", newline="", encoding="utf-8") as file:
        rows = csv_module.writer(file)
        rows.writerow(
            ["started_at", "origin_lat", "origin_lon", "dest_lat", "dest_lon", "rainy", "minutes"]
        )
        for day in range(1, 29):
            ends = [*ORLIME.split(","), *THORNABEL.split(",")]
            rows.writerow([f"2026-02-{day:02}T08:00", *ends, 0, 100 + day])
    return path


def place(text: str) -> Place:
    return Place(*map(float, text.split(",")))


def test_an_estimate_follows_the_roads_on_a_database_without_sites(empty, map_file):
    straight = run("estimate", ORLIME, THORNABEL, "--json").json
    body = run("import_roads", map_file, "--json").json
    assert body["known_already"] is False
    assert body["ways"] == 0
    assert body["road_km"] == pytest.approx(445, abs=5)
    by_road = run("estimate", ORLIME, THORNABEL, "--json").json
    assert straight["method"] == "geodesic_detour"
    assert by_road["method"] == "road_table"
    # Hospital Street, North Shore Road and Inner Road, as their lengths stand in roads.geojson.
    assert by_road["road_km"] == pytest.approx(1.66 + 13.97 + 24.27, rel=0.01)
    assert by_road["geodesic_km"] == straight["geodesic_km"]


def test_a_file_of_pairs_says_which_are_joined(empty, map_file, tmp_path):
    run("import_roads", map_file)
    pairs = tmp_path / "pairs.csv"
    pairs.write_text(
        "origin_lat,origin_lon,dest_lat,dest_lon\n"
        "-22.27243,86.09524,-22.44943,86.36736\n"  # along the roads
        "-22.27243,86.09524,-22.90000,86.36736\n"  # into the sea
    )
    joined, off = run("estimate", "--pairs", pairs, "--json").json
    assert (joined["method"], joined["reachable"]) == ("road_table", True)
    assert (off["method"], off["reachable"]) == ("geodesic_detour", True)


def test_places_that_no_road_joins_have_no_minutes(empty, tmp_path):
    points = {1: (0.0, 0.0), 2: (0.0, 0.2), 3: (0.0, 0.3), 4: (0.0, 0.5)}
    tags = {"highway": "primary"}
    path = tmp_path / "islands.osm"
    ferry = {"route": "ferry", "motor_vehicle": "yes"}
    path.write_text(osm_xml(points, [((1, 2), tags), ((3, 4), tags), ((2, 3), ferry)]))
    run("import_roads", path)
    answer = run("estimate", "0.0,0.1", "0.0,0.4", "--json")
    assert answer.code == 0
    assert answer.json["reachable"] is False
    assert answer.json["p50_minutes"] is None
    assert answer.json["road_km"] is None
    assert "no road of the road table joins the two" in run("estimate", "0.0,0.1", "0.0,0.4").out


def test_every_pair_of_sites_has_a_way_or_a_reason(district, map_file):
    body = run("import_roads", map_file, "--json").json
    sites = {site.code: key_of(Place(site.latitude, site.longitude)) for site in Site.objects.all()}
    assert body["ways"] == len(sites) * (len(sites) - 1)
    # The islet has less road than a place must have to be taken as on it.
    assert body["off_the_road"] == ["SEF", "LND"]
    table = road_table.TableRoads(RoadTable.objects.get().pk)
    origin = place(ORLIME)
    islet = Place(*(each / 1e6 for each in sites["SEF"]))
    assert isinstance(table.ways_from(origin, [place(THORNABEL)])[0], RoadWay)
    assert table.ways_from(origin, [islet]) == [NoRoad.NOT_NEAR]


def test_a_preview_writes_nothing(district, map_file):
    body = run("import_roads", map_file, "--preview", "--json").json
    assert (body["import"], body["preview"]) == (None, True)
    assert body["ways"] > 0
    assert not RoadTable.objects.exists()


def test_the_same_file_again_changes_nothing(district, map_file):
    first = run("import_roads", map_file, "--json").json
    rows = set(RoadRow.objects.values_list("pk", flat=True))
    again = run("import_roads", map_file, "--json").json
    assert again == {"import": first["import"], "preview": False, "known_already": True}
    assert set(RoadRow.objects.values_list("pk", flat=True)) == rows


def test_another_map_takes_its_place_and_undo_goes_back(empty, map_file, tmp_path):
    first = run("import_roads", map_file, "--json").json["import"]
    before = run("estimate", ORLIME, THORNABEL, "--json").json
    shorter = tmp_path / "straight.osm"
    ends = {1: tuple(map(float, ORLIME.split(","))), 2: tuple(map(float, THORNABEL.split(",")))}
    shorter.write_text(osm_xml(ends, [((1, 2), {"highway": "trunk"})]))
    second = run("import_roads", shorter, "--json").json["import"]
    between = run("estimate", ORLIME, THORNABEL, "--json").json
    assert between["road_km"] == pytest.approx(between["geodesic_km"], rel=1e-4)
    back = run("import_roads", "--undo", second, "--json").json
    assert back["in_force"] == first
    assert run("estimate", ORLIME, THORNABEL, "--json").json == before
    none = run("import_roads", "--undo", first, "--json").json
    assert none["in_force"] is None
    assert run("estimate", ORLIME, THORNABEL, "--json").json["method"] == "geodesic_detour"
    gone = run("import_roads", "--undo", first)
    assert gone.code == 2
    assert "standing imports: none" in gone.err


def test_only_the_table_before_is_kept(empty, map_file, tmp_path):
    for lanes in range(4):
        path = tmp_path / f"{lanes}.osm"
        path.write_text(map_file.read_text() + f"<!-- {lanes} -->")
        run("import_roads", path)
    assert RoadTable.objects.count() == 2


@pytest.mark.parametrize("first", ["import_roads", "import_journeys"])
def test_journeys_correct_the_roads_in_either_order(empty, map_file, journeys_file, first):
    files = {"import_roads": map_file, "import_journeys": journeys_file}
    for name in sorted(files, key=lambda name: name != first):
        body = run(name, files[name], "--json").json
    assert body["model"].startswith("learned-")
    learned = run("estimate", ORLIME, THORNABEL, "--json").json
    assert learned["method"] == "learned_road_table"
    assert learned["p50_minutes"] == pytest.approx(114, rel=0.1)
    model = TravelModel.objects.first()
    assert model.road_table_id == RoadTable.objects.get().pk
    assert learned["p50_minutes"] < learned["p90_minutes"]


def test_journeys_where_no_road_is_known_teach_beside_those_by_road(empty, map_file, journeys_file):
    with journeys_file.open("a", encoding="utf-8") as file:
        # To an islet of which the map has no road of useful size.
        file.write("2026-03-01T08:00,-22.27243,86.09524,-22.30223,86.52480,0,150\n")
    run("import_roads", map_file)
    body = run("import_journeys", journeys_file, "--json").json
    assert body["journeys"] == 29
    islet = run("estimate", ORLIME, "-22.30223,86.52480", "--json").json
    assert islet["method"] == "learned_geodesic_detour"
    by_road = run("estimate", ORLIME, THORNABEL, "--json").json
    assert by_road["method"] == "learned_road_table"
    assert by_road["p50_minutes"] == pytest.approx(114, rel=0.1)


FAULTS = {
    "empty": (b"", "roads.osm.pbf", "cannot be read"),
    "not a map": (b"started_at,minutes\n1,2\n", "roads.osm", "cannot be read"),
    "not a pbf": (b"\x00\x01\x02not a map at all", "roads.osm.pbf", "cannot be read"),
    "unknown ending": (b"anything", "roads.txt", "cannot be read"),
    "no roads": (osm_xml({1: (0, 0), 2: (0, 1)}, []).encode(), "roads.osm", "no road for cars"),
    "only paths": (
        osm_xml({1: (0, 0), 2: (0, 1)}, [((1, 2), {"highway": "footway"})]).encode(),
        "roads.osm",
        "no road for cars",
    ),
    "cut off": (demo_roads().encode()[:30_000], "roads.osm", "cannot be read"),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_file_that_cannot_be_used_changes_nothing(empty, map_file, tmp_path, fault):
    run("import_roads", map_file)
    content, name, sentence = FAULTS[fault]
    (tmp_path / "bad").mkdir()
    path = tmp_path / "bad" / name
    path.write_bytes(content)
    answer = run("import_roads", path)
    assert answer.code == 2
    assert sentence in answer.err
    assert not answer.out
    assert RoadTable.objects.count() == 1


def test_usage_is_told_with_exit_code_2(empty, tmp_path, map_file):
    assert run("import_roads").code == 2
    assert run("import_roads", map_file, "--undo", 1).code == 2
    assert run("import_roads", tmp_path / "nowhere.osm").code == 2
    assert run("import_roads", map_file, "--district", "nowhere").code == 2


def test_without_the_extra_the_command_says_what_to_install(empty, map_file, monkeypatch):
    monkeypatch.setitem(sys.modules, "osmium", None)
    answer = run("import_roads", map_file)
    assert answer.code == 2
    assert "littleroad[roads]" in answer.err
    assert not RoadTable.objects.exists()


def test_progress_is_told_beside_the_answer(district, map_file):
    answer = run("import_roads", map_file, "--json")
    assert answer.json["import"]
    assert "ways from 17 of 17 places" in answer.err


def test_a_site_that_is_new_or_moved_gets_its_ways_from_the_task(district, map_file):
    table = run("import_roads", map_file, "--json").json["import"]
    assert not road_table.sites_lack_rows(table)
    site = Site.objects.get(code="SAL")
    site.latitude, site.longitude = -22.32300, 86.23130  # where Corriden is
    site.save()
    assert not road_table.sites_lack_rows(table)
    site.latitude = -22.32400
    site.save()
    assert road_table.sites_lack_rows(table)
    tasks.work_out_ways(table)
    assert not road_table.sites_lack_rows(table)
    here = Place(site.latitude, site.longitude)
    roads = road_table.TableRoads(table)
    for start, end in ((here, place(ORLIME)), (place(ORLIME), here)):
        assert roads.ways_from(start, [end])[0].km == pytest.approx(15.6, abs=0.5)


def test_a_refit_is_due_when_other_roads_are_in_force(district, map_file, journeys_file):
    run("import_journeys", journeys_file)
    assert not experience.refit_is_due(district, clock.now())
    run("import_roads", map_file)
    assert not experience.refit_is_due(district, clock.now())
    RoadTable.objects.update(undone_at=clock.now())
    assert experience.refit_is_due(district, clock.now())
