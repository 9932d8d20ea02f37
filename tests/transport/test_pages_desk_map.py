"""The desk's map: what stands on it, in words too, and what it says when there is nothing."""

import re
from datetime import timedelta

import pytest

from referrals import clock, endings
from referrals.models import District, Site, Unit
from tests.pages_world import browser_of, text_of
from tests.world import a_journey, a_referral, told_by
from transport import closures, on_the_map, tracking
from transport.calc.closures import ClosureKind
from transport.calc.places import Place
from transport.calc.stages import TransferStage
from transport.models import MapLine, Transfer, Vehicle
from transport.pages import desk_map

pytestmark = pytest.mark.django_db

NEAR_SALTFEN = Place(-22.36, 85.98)


@pytest.fixture
def leena(officer):
    return browser_of(officer)


def drives_past(transfer: Transfer, now, *, minutes_ago: float, place: Place = NEAR_SALTFEN):
    at = now - timedelta(minutes=minutes_ago)
    told = tracking.PositionTold(
        key=f"fix-{minutes_ago}", happened_at=at, latitude=place.latitude, longitude=place.longitude
    )
    tracking.record(transfer, [told], received_at=now)


def drawn(page: str, size: str = "broad") -> str:
    """One of the two drawings."""
    return page.split(f'class="map {size}"')[1].split("</svg>")[0]


def in_words(page: str) -> str:
    """The list beneath the drawings, without its tags."""
    return " ".join(re.sub(r"<[^>]+>", " ", page.split('class="inwords"')[1]).split())


def symbols(drawing: str) -> list[str]:
    return re.findall(r'href="#m-(\w+)"', drawing)


@pytest.mark.parametrize("username", ["tomasi.bellaqua", "hana.wendorra", "mateus.dunnaway"])
def test_only_the_desk_has_a_map(person, username):
    for path in ("/desk/map/", "/desk/map/now/"):
        assert browser_of(person(username)).get(path).status_code == 404


def test_the_first_page_leads_to_it_and_it_leads_back(leena):
    assert 'href="/desk/map/"' in text_of(leena.get("/desk/"))
    assert 'href="/desk/"' in text_of(leena.get("/desk/map/"))


def test_coast_roads_and_every_place_are_drawn_in_both_sizes(leena, district):
    page = text_of(leena.get("/desk/map/"))
    for size in ("broad", "narrow"):
        drawing = drawn(page, size)
        assert drawing.count('class="coast"') == 2
        assert drawing.count('class="road ') == MapLine.objects.filter(kind="road").count() == 20
        assert symbols(drawing).count("unit") == 4
        assert symbols(drawing).count("post") == 9
        assert symbols(drawing).count("landing") == 3
        assert "20 km" in drawing
    assert all(site.name in in_words(page) for site in Site.objects.all())
    assert "Saltfen Health Post</text>" in drawn(page)


def test_nothing_is_written_that_the_content_policy_forbids(leena):
    page = text_of(leena.get("/desk/map/"))
    assert " style=" not in page
    assert not re.search(r"<script(?![^>]*\bsrc=)", page)
    assert "http://" not in page
    assert "https://" not in page


def test_every_symbol_that_can_be_drawn_stands_in_the_legend_with_a_word(leena):
    page = text_of(leena.get("/desk/map/"))
    defined = set(re.findall(r'<symbol id="m-(\w+)"', page))
    explained = {symbol for symbol, words in desk_map.legend() if words}
    assert defined == explained == set(symbols(page.split('class="legend"')[1]))


def test_nobody_under_way_is_said(leena):
    page = text_of(leena.get("/desk/map/"))
    assert "Nobody is under way." in page
    assert "baby" not in symbols(drawn(page))


def test_without_coast_and_roads_it_says_where_they_come_from_and_draws_the_places(leena):
    MapLine.objects.all().delete()
    page = text_of(leena.get("/desk/map/"))
    assert "coast.geojson" in page
    assert 'class="coast"' not in page
    assert "post" in symbols(drawn(page))


def test_a_district_without_a_place_has_an_empty_page_and_no_drawing(leena, officer):
    elsewhere = District.objects.create(code="elsewhere", name="Elsewhere")
    officer.roles.update(district=elsewhere)
    page = text_of(leena.get("/desk/map/"))
    assert "there is nothing to draw" in page
    assert 'class="map ' not in page


def test_a_baby_that_waits_is_at_its_post_and_a_vehicle_without_position_at_its_base(leena, now):
    referral = a_referral(now)
    page = text_of(leena.get("/desk/map/"))
    assert symbols(drawn(page)).count("baby") == 1
    assert f">{referral.code}</text>" in drawn(page)
    assert "Mother and baby at Mirrow Heights Health Post." in in_words(page)
    assert "no vehicle yet" in in_words(page)
    assert set(symbols(drawn(page))) & {"vehicle", "vehicle_silent"} == set()
    assert symbols(drawn(page)).count("vehicle_assumed") == Vehicle.objects.count()
    assert "at Kesawari Hospital, taken to be at its base: no position told" in in_words(page)


def test_a_vehicle_on_the_road_has_the_age_of_its_position_its_trail_and_its_way(
    leena, now, intensive
):
    start = now - timedelta(minutes=60)
    transfer = a_journey(start, intensive, stage=TransferStage.ON_THE_ROAD)
    drives_past(transfer, now, minutes_ago=9, place=Place(-22.45, 85.92))
    drives_past(transfer, now, minutes_ago=4)
    page = text_of(leena.get("/desk/map/"))
    drawing = drawn(page)
    assert "Ambulance of Port Orlime, 4 min ago" in drawing
    assert drawing.count('class="trail"') == 1
    assert drawing.count('class="planned"') == 1
    said = in_words(page)
    assert "Mother and baby in the vehicle, 4.8 km north-east of Saltfen Health Post." in said
    assert "to Port Orlime newborn intensive care" in said
    assert re.search(r"there between \d\d:\d\d and \d\d:\d\d", said)


def test_a_silent_vehicle_has_its_own_symbol_and_says_so(leena, now, intensive):
    transfer = a_journey(now - timedelta(minutes=90), intensive, stage=TransferStage.ON_THE_ROAD)
    drives_past(transfer, now, minutes_ago=25)
    page = text_of(leena.get("/desk/map/"))
    assert symbols(drawn(page)).count("vehicle_silent") == 1
    assert '<span class="needs">25 min ago</span>' in page


def test_the_trail_begins_when_the_vehicle_was_sent(now, district, intensive):
    transfer = a_journey(now - timedelta(minutes=60), intensive, stage=TransferStage.COLLECTING)
    drives_past(transfer, now, minutes_ago=90, place=Place(-22.3, 86.1))
    drives_past(transfer, now, minutes_ago=20)
    drives_past(transfer, now, minutes_ago=10, place=Place(-22.4, 85.95))
    [journey] = on_the_map.seen_now(district, now).journeys
    assert journey.trail == (NEAR_SALTFEN, Place(-22.4, 85.95))
    post, unit = Place(-22.52529, 85.89115), Place(-22.27243, 86.09524)
    assert journey.planned == (Place(-22.4, 85.95), post, unit)


def test_a_journey_that_is_over_leaves_the_map(leena, now, intensive):
    referral = a_journey(now, intensive, stage=TransferStage.COLLECTING).referral
    assert referral.code in text_of(leena.get("/desk/map/"))
    endings.take_back(told_by("tomasi.bellaqua", now), referral, reason="breathes well")
    assert "Nobody is under way." in text_of(leena.get("/desk/map/"))


def test_what_is_reported_closed_is_drawn_where_it_is(leena, now, district):
    by = told_by("leena.morrastad", now)
    told = {"hours": 5, "radius_km": 3, "words": ""}
    closures.report(by, district, closures.ClosureTold(
        kind=ClosureKind.BRIDGE, name="Naveloto bridge", place=Place(-22.6, 85.78), between=None,
        **told))  # fmt: skip
    ends = tuple(Site.objects.get(code=code) for code in ("COR", "HUR"))
    closures.report(by, district, closures.ClosureTold(
        kind=ClosureKind.ROAD, name="Cape Road", place=None, between=ends, **told))  # fmt: skip
    page = text_of(leena.get("/desk/map/"))
    assert drawn(page).count('<circle class="closedarea"') == 1
    assert drawn(page).count('<path class="closedarea"') == 1
    assert symbols(drawn(page)).count("closed") == 2
    assert "closed: Naveloto bridge" in drawn(page)
    assert "Cape Road (a road, between Corriden Health Post and Hurrowen landing)" in " ".join(
        in_words(page).replace("( ", "(").split()
    )


def test_a_ferry_that_runs_is_drawn_once_for_both_ways_and_a_stopped_one_is_not(leena, district):
    ways = {frozenset((leg.origin_id, leg.destination_id)) for leg in district.legs.running()}
    assert drawn(text_of(leena.get("/desk/map/"))).count('class="crossing"') == len(ways) > 0
    district.legs.update(stopped_at=clock.now())
    assert 'class="crossing"' not in drawn(text_of(leena.get("/desk/map/")))


def test_a_unit_that_is_closed_looks_and_reads_closed(leena, district):
    Unit.objects.filter(code="THO-NB").update(is_open=False)
    page = text_of(leena.get("/desk/map/"))
    assert symbols(drawn(page)).count("unit_closed") == 1
    assert "Thornabel newborn corner closed" in in_words(page)


def test_it_says_how_many_matters_wait_at_the_desk(leena, now):
    assert "needs a person now" not in text_of(leena.get("/desk/map/"))
    a_referral(now)
    assert "1 matter needs a person now." in text_of(leena.get("/desk/map/"))


def test_where_names_have_no_room_a_key_leads_to_the_list(leena):
    page = text_of(leena.get("/desk/map/"))
    keys = re.findall(r">([0-9A-Z]+)</text>", drawn(page, "narrow"))
    listed = re.findall(r'class="mapkey">(\w+)<', page)
    assert len(keys) > 12
    assert set(keys) <= set(listed)
    assert len(set(listed)) == len(listed) == Site.objects.count() + Vehicle.objects.count()


def test_the_part_that_changes_is_sent_once(leena, now, monkeypatch):
    monkeypatch.setattr(clock, "now", lambda: now)
    first = leena.get("/desk/map/now/")
    again = leena.get("/desk/map/now/", headers={"If-None-Match": first["ETag"]})
    assert (first.status_code, again.status_code) == (200, 304)
    a_referral(now)
    changed = leena.get("/desk/map/now/", headers={"If-None-Match": first["ETag"]})
    assert changed.status_code == 200
