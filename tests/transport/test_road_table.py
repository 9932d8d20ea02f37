"""What the service does with a road table: rows alone answer people, and legs join its parts."""

from pathlib import Path

import pytest
from commands import run

from referrals.calc.terms import VehicleKind
from referrals.models import Site
from tests.osm import demo_roads, osm_xml
from tests.pages_world import browser_of
from tests.world import a_referral
from transport import choosing, road_table, roads
from transport.calc.places import Place
from transport.models import Leg, RoadTable, Vehicle

pytestmark = pytest.mark.django_db


@pytest.fixture
def table(district, tmp_path: Path) -> RoadTable:
    """The roads of the demo district, in force."""
    path = tmp_path / "roads.osm"
    path.write_text(demo_roads(), encoding="utf-8")
    run("import_roads", path)
    return RoadTable.objects.get()


@pytest.fixture
def islands(district, tmp_path: Path) -> RoadTable:
    """A map on which the islet has a road of useful size, which nothing joins."""
    path = tmp_path / "roads.osm"
    islet = {1: (-22.30946, 86.50828), 2: (-22.30223, 86.52480), 3: (-22.26, 86.56)}
    mainland = {4: (-22.35913, 86.40818), 5: (-22.44943, 86.36736), 6: (-22.27243, 86.09524)}
    tags = {"highway": "secondary"}
    path.write_text(osm_xml(islet | mainland, [((1, 2, 3), tags), ((4, 5, 6), tags)]))
    run("import_roads", path)
    Site.objects.update(land="")
    return RoadTable.objects.get()


def way(district, now, start: str, end: str, vehicle: VehicleKind = VehicleKind.AMBULANCE):
    places = [
        Place(site.latitude, site.longitude)
        for site in (Site.objects.get(code=code) for code in (start, end))
    ]
    estimate = roads.estimator_of(district, now)
    return estimate(*places, vehicle=vehicle, rainy=False, dark=False)


def test_candidates_are_ranked_by_rows_alone(table, now, monkeypatch):
    def network(*_of):
        raise AssertionError("a request has no time to reckon")

    monkeypatch.setattr(road_table, "network_roads", network)
    best = choosing.ranking_for(a_referral(now), now).best
    assert "road_table" in best.road.method


def test_a_place_that_is_no_site_goes_by_the_straight_line_and_says_so(table, now, district):
    estimate = roads.estimator_of(district, now)
    made = estimate(
        Place(-22.36, 86.30), Place(-22.27243, 86.09524),
        vehicle=VehicleKind.AMBULANCE, rainy=False, dark=False,
    )  # fmt: skip
    assert made.method == "geodesic_detour"
    assert made.inputs["roads"] == "unknown"


def test_a_boat_asks_no_roads(table, now, district):
    assert way(district, now, "QAY", "LND", VehicleKind.BOAT).method != "road_table"


def test_an_island_is_reached_over_its_ferry_and_by_road_on_both_sides(islands, now, district):
    at_noon = now.replace(hour=6)
    made = way(district, at_noon, "SEF", "THO")
    assert made.method == "road_table+leg"
    assert made.inputs["leg"] == "Hurrowen ferry"
    first, last = (each for each in made.inputs["steps"] if each["what"] == "road")
    assert first["p50_minutes"] > 0
    assert last["p50_minutes"] > 0


def test_an_island_without_a_ferry_is_said_to_be_out_of_reach(islands, now, district):
    Leg.objects.all().delete()
    made = way(district, now, "SEF", "THO")
    assert not made.reachable
    assert "no road of the road table joins the two" in made.inputs["no_way"]


def test_a_vehicle_at_sea_is_on_the_land_of_the_nearest_site(islands, now, district):
    Leg.objects.all().delete()
    estimate = roads.estimator_of(district, now)
    how = {"vehicle": VehicleKind.AMBULANCE, "rainy": False, "dark": False}
    islet = Place(-22.303, 86.526)
    assert not estimate(islet, Place(-22.44943, 86.36736), **how).reachable
    assert estimate(islet, Place(-22.30946, 86.50828), **how).reachable


def test_a_unit_that_no_road_reaches_is_named_with_the_reason(islands, now, district):
    Leg.objects.all().delete()
    Vehicle.objects.filter(kind="boat").update(kind="car")
    referral = a_referral(now)
    referral.origin = Site.objects.get(code="SEF")
    referral.save(update_fields=["origin"])
    ranking = choosing.ranking_for(referral, now)
    thornabel = next(each for each in ranking.candidates if "Thornabel" in each.name)
    assert not thornabel.possible
    assert "no road of the road table goes there, and no ferry or boat" in thornabel.reasons_against


def test_the_desk_sees_which_roads_are_in_use_and_who_made_the_map(table, officer):
    page = browser_of(officer).get("/desk/roads/").content.decode()
    assert "© OpenStreetMap contributors" in page
    assert "More than 1 km from every road" in page
    assert "Seftima Islet Health Post" in page


def test_the_desk_names_the_map_beside_what_rests_on_it(table, officer, now):
    referral = a_referral(now)
    page = browser_of(officer).get(f"/desk/{referral.code}/").content.decode()
    assert "© OpenStreetMap contributors" in page


def test_without_a_table_the_desk_is_told_what_stands_in_for_it(district, officer):
    page = browser_of(officer).get("/desk/roads/").content.decode()
    assert "No map of roads was read" in page
