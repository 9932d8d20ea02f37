"""Ferries and boats of the district: in the estimate, at the desk, over the API, when shut."""

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from referrals import clock
from referrals.models import Alert, District, Site, Unit
from tests.api_world import device_of
from tests.commands import run
from tests.pages_world import browser_of, forms_on, press, text_of
from tests.world import a_placed_referral, a_referral, told_by
from transport import choosing, closures, estimating, milestones
from transport import lifecycle as journeys
from transport.calc.closures import ClosureKind
from transport.calc.legs import leg_of
from transport.calc.stages import TransferStage
from transport.models import Leg, Vehicle

pytestmark = pytest.mark.django_db
OFFICER = "leena.morrastad"
NOON = "2026-11-20T12:00"


@pytest.fixture
def noon(district, monkeypatch):
    """The ferry runs: it is noon in the district."""
    at = datetime(2026, 11, 20, 12, tzinfo=ZoneInfo(district.time_zone))
    monkeypatch.setattr(clock, "now", lambda: at)
    return at


def landing_closed(now, code="LND"):
    site = Site.objects.get(code=code)
    told = closures.ClosureTold(
        kind=ClosureKind.LANDING, name="Landing of Seftima", place=choosing.place_of(site)
    )
    return closures.report(told_by(OFFICER, now), site.district, told)


class TestEstimate:
    def test_the_islet_is_reached_by_ferry_in_the_day(self, district):
        answer = run("estimate", "SEF", "THO", "--at", NOON, "--json")
        assert answer.json["reachable"] is True
        assert answer.json["method"] == "geodesic_detour+leg"
        assert answer.json["p50_minutes"] < answer.json["p90_minutes"]
        said = run("estimate", "SEF", "THO", "--at", NOON).out
        assert "Over Hurrowen ferry: road to Seftima Islet landing about" in said
        assert "waiting 25 min, crossing about 35 min" in said

    def test_at_night_it_is_waited_for(self, district):
        day, night = (
            run("estimate", "SEF", "THO", "--at", at, "--json").json["p50_minutes"]
            for at in (NOON, "2026-11-20T22:00")
        )
        assert night > day + 7 * 60

    def test_the_boat_runs_at_any_hour_and_the_mainland_is_as_it_was(self, district):
        boat = run("estimate", "SEF", "ORL", "--vehicle", "boat", "--json").json
        assert boat["method"] == "geodesic_detour+leg"
        assert run("estimate", "THO", "ORL", "--json").json["method"] == "geodesic_detour"

    def test_without_its_ferry_no_way_is_known(self, district):
        Leg.objects.all().delete()
        answer = run("estimate", "SEF", "THO", "--json")
        assert answer.code == 0
        assert (answer.json["reachable"], answer.json["p50_minutes"]) == (False, None)
        assert "no road joins the two" in run("estimate", "SEF", "THO").out

    def test_candidates_of_the_islet_say_which_leg(self, noon):
        referral = a_referral(noon, attendant="iluka.penhallory")
        best = choosing.ranking_for(referral, noon).best
        said = " ".join(best.reasons_for)
        assert "to the unit over boat to Port Orlime: road to Seftima Islet landing" in said
        assert "another vehicle must wait at Port Orlime landing" in " ".join(best.reasons_against)
        ambulance = next(
            each
            for each in choosing.vehicle_choices(referral, noon)
            if each.vehicle.code == "AMB-1"
        )
        assert ambulance.over_leg.startswith("over Hurrowen ferry, back: road to Hurrowen landing")

    def test_a_closed_landing_shuts_it_and_the_desk_is_told(self, noon, intensive):
        referral = a_placed_referral(noon, intensive)
        referral.origin = Site.objects.get(code="SEF")
        referral.save()
        transfer = referral.transfers.get()
        boat = Vehicle.objects.get(code="BOT-1")
        transfer = journeys.assign(told_by(OFFICER, noon), transfer, boat)
        assert leg_of(estimating.road_estimate(transfer, noon)) == "boat to Port Orlime"
        closure = landing_closed(noon)
        assert leg_of(estimating.road_estimate(transfer, noon)) is None
        alert = Alert.objects.get(kind="road_closed", referral=referral)
        assert "crosses there; without it there may be no way" in alert.sentence
        assert not run("estimate", "SEF", "THO", "--json").json["reachable"]
        closures.lift(told_by(OFFICER, noon), closure)
        assert leg_of(estimating.road_estimate(transfer, noon)) == "boat to Port Orlime"
        assert not Alert.objects.open().filter(kind="road_closed").exists()

    def test_a_landing_closed_behind_them_changes_nothing_on_the_way(self, noon, intensive):
        referral = a_placed_referral(noon, intensive)
        referral.origin = Site.objects.get(code="SEF")
        referral.save()
        by = told_by(OFFICER, noon)
        ambulance = Vehicle.objects.get(code="AMB-1")
        transfer = journeys.assign(by, referral.transfers.get(), ambulance)
        transfer = milestones.reach(by, transfer, TransferStage.ON_THE_ROAD)
        before = estimating.road_estimate(transfer, noon)
        landing_closed(noon)
        after = estimating.road_estimate(transfer, noon)
        assert leg_of(after) == leg_of(before) == "Hurrowen ferry"
        assert after.p50_minutes == pytest.approx(before.p50_minutes)


class TestDesk:
    def test_the_page_shows_them_and_stops_and_starts_one(self, officer):
        leena = browser_of(officer)
        page = text_of(leena.get("/desk/roads/"))
        assert "<b>Hurrowen ferry</b>: Seftima Islet landing to Hurrowen landing" in page
        assert "about 35 min across (nine of ten within 50), waiting 25 min; 06:00 to 18:00" in page
        leg = Leg.objects.get(name="Hurrowen ferry")
        press(leena, "/desk/roads/", action=f"/legs/{leg.pk}/stop/")
        leg.refresh_from_db()
        assert leg.stopped_by == "Leena Morrastad"
        assert "does not run, said Leena Morrastad" in text_of(leena.get("/desk/roads/"))
        assert not run("estimate", "SEF", "THO", "--json").json["reachable"]
        press(leena, "/desk/roads/", action=f"/legs/{leg.pk}/start/")
        assert run("estimate", "SEF", "THO", "--json").json["reachable"]

    def test_a_leg_and_its_way_back_are_entered_in_one_press(self, officer):
        site = {each.code: each.pk for each in Site.objects.all()}
        press(
            browser_of(officer), "/desk/roads/", action="/roads/legs/", name="Launch of Nessa",
            origin=site["QAY"], destination=site["HUR"], median_minutes="60", p90_minutes="80",
            waiting_minutes="5", kinds="boat", and_back="on",
        )  # fmt: skip
        made = Leg.objects.filter(name="Launch of Nessa")
        assert {(leg.origin.code, leg.destination.code) for leg in made} == {
            ("QAY", "HUR"), ("HUR", "QAY"),
        }  # fmt: skip
        assert {leg.entered_by for leg in made} == {"Leena Morrastad"}

    @pytest.mark.parametrize(
        ("typed", "status", "said"),
        [
            ({"p90_minutes": "10"}, 409, "nine of ten take at least as long"),
            ({"runs_from": "06:00"}, 409, "from when until when it runs, or neither"),
            ({"name": ""}, 400, "required"),
            ({"same": True}, 409, "two different landings"),
        ],
    )
    def test_what_cannot_be_comes_back_with_what_was_typed(self, officer, typed, status, said):
        site = {each.code: each.pk for each in Site.objects.all()}
        told = {
            "name": "Launch of Nessa", "origin": site["QAY"], "destination": site["HUR"],
            "median_minutes": "60", "p90_minutes": "80", "waiting_minutes": "5", "kinds": "boat",
        } | typed  # fmt: skip
        if told.pop("same", None):
            told["destination"] = told["origin"]
        answer = press(browser_of(officer), "/desk/roads/", action="/roads/legs/", **told)
        assert answer.status_code == status
        assert said in text_of(answer)
        form = next(each for each in forms_on(answer) if each["action"].endswith("/roads/legs/"))
        assert form["fields"]["median_minutes"] == "60"
        assert Leg.objects.count() == 4

    def test_a_leg_of_another_district_and_an_unknown_verb_are_not_found(self, officer, district):
        leg = Leg.objects.first()
        leena = browser_of(officer)
        assert leena.post(f"/desk/roads/legs/{leg.pk}/sink/").status_code == 404
        Leg.objects.update(district=District.objects.create(code="far", name="Far"))
        assert leena.post(f"/desk/roads/legs/{leg.pk}/stop/").status_code == 404


def test_the_api_enters_lists_stops_and_starts_one(district):
    device = device_of(OFFICER)
    told = {
        "name": "Launch", "origin": "QAY", "destination": "HUR", "median_minutes": 60,
        "p90_minutes": 80, "kinds": ["boat"], "runs_from": "06:00", "runs_until": "17:30",
    }  # fmt: skip
    made = device.post("legs/", told)
    assert made.status_code == 201
    assert (made.json()["runs_until"], made.json()["waiting_minutes"]) == ("17:30", 0)
    assert device.get("legs/").json()["count"] == 5
    number = made.json()["id"]
    assert device.post(f"legs/{number}/stop/", {}).json()["stopped_at"] is not None
    assert device.post(f"legs/{number}/start/", {}).json()["stopped_at"] is None
    wrong = device.post("legs/", told | {"p90_minutes": 5})
    assert (wrong.status_code, wrong.json()["code"]) == (409, "impossible_leg")
    never = device.post("legs/", told | {"runs_until": "24:30"})
    assert (never.status_code, never.json()["errors"][0]["field"]) == (400, "runs_until")
    nowhere = device.post("legs/", told | {"origin": "NOPE"})
    assert nowhere.json()["errors"][0]["field"] == "origin"


def test_units_of_an_islet_without_a_leg_say_that_no_way_is_known(district, now):
    Leg.objects.all().delete()
    Vehicle.objects.filter(kind="boat").update(state="out_of_service")
    unit = Unit.objects.get(code="THO-NB")
    Site.objects.filter(pk=unit.site_id).update(land="Lonely rock")
    ranking = choosing.ranking_for(a_referral(now), now)
    there = next(each for each in ranking.candidates if each.key == "THO-NB")
    assert not there.possible
    assert there.reasons_against[0] == "no way there is known"
