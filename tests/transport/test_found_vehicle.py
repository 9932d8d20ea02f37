"""A car, motorcycle or boat found by phone: what was agreed is shown, where it stands counts."""

from datetime import timedelta

import pytest

from referrals.models import Site
from tests.api_world import device_of
from tests.pages_world import browser_of, press, text_of
from tests.world import a_placed_referral, a_referral, told_by
from transport import choosing, lifecycle
from transport.driver_links import token_for
from transport.models import Cylinder, Position, Vehicle

pytestmark = pytest.mark.django_db
OFFICER = "leena.morrastad"
FOUND = {
    "kind": "car", "name": "Red taxi", "driver_name": "A neighbour",
    "driver_phone": "+12025550199", "owner": "The bakery", "fuel": "half a tank, from the bakery",
    "who_pays": "The district",
}  # fmt: skip


@pytest.fixture
def referral(now, intensive):
    return a_placed_referral(now, intensive)


def found():
    return Vehicle.objects.get(registered=False)


class TestDesk:
    def test_where_it_stands_makes_its_time_to_the_baby_real(self, referral, officer, now):
        near = Site.objects.get(code="SAL")
        told = FOUND | {"stands_at": near.pk, "water_litres": "4.7", "bar": "120"}
        answer = press(browser_of(officer), f"/desk/{referral.code}/", action="/found/", **told)
        assert answer.status_code == 302
        vehicle = found()
        assert (vehicle.latitude, vehicle.longitude) == (near.latitude, near.longitude)
        cylinder = vehicle.cylinders.get()
        assert (cylinder.water_litres, cylinder.bar) == (4.7, 120)
        kept = referral.estimates.filter(purpose="collection").last()
        assert 0 < kept.p50_minutes < 60

    def test_what_was_agreed_stands_at_the_desk_and_on_the_drivers_page(self, referral, officer):
        leena, path = browser_of(officer), f"/desk/{referral.code}/"
        press(leena, path, action="/found/", **FOUND)
        link = browser_of().get(f"/d/{token_for(referral.transfers.get())}/")
        for page in (text_of(leena.get(path)), text_of(link)):
            assert "The bakery" in page
            assert "half a tank, from the bakery" in page
            assert "The district" in page
            assert "no oxygen cylinder written down" in page
        assert "belongs to The bakery" in text_of(leena.get(f"{path}calls/"))

    def test_a_registered_vehicle_has_nothing_to_agree(self, referral, now):
        transfer = referral.transfers.get()
        lifecycle.assign(told_by(OFFICER, now), transfer, Vehicle.objects.get(code="AMB-1"))
        transfer.refresh_from_db()
        assert "Pays" not in text_of(browser_of().get(f"/d/{token_for(transfer)}/"))

    def test_its_place_is_told_later_and_holds_while_it_is_free(self, referral, officer, now):
        leena, path = browser_of(officer), f"/desk/{referral.code}/"
        press(leena, path, action="/found/", **FOUND)
        vehicle = found()
        lifecycle.unassign(told_by(OFFICER, now), referral.transfers.get(), why="not now")
        choice = next(
            each for each in choosing.vehicle_choices(referral, now) if each.vehicle == vehicle
        )
        assert choice.to_baby is None
        assert "where it is now is not known" in choice.against
        forms = {"vehicle": vehicle.code, "stands_at": Site.objects.get(code="SAL").pk}
        assert leena.post(f"{path}place/", {"key": "k"} | forms).status_code == 302
        later = now + timedelta(hours=3)
        choice = next(
            each for each in choosing.vehicle_choices(referral, later) if each.vehicle == vehicle
        )
        assert choice.to_baby.p50_minutes > 0
        assert "where it is now is not known" not in choice.against

    def test_half_a_point_is_asked_for_again(self, referral, officer):
        leena, path = browser_of(officer), f"/desk/{referral.code}/"
        press(leena, path, action="/found/", **FOUND)
        half = {"key": "k", "vehicle": found().code, "latitude": "-22.4"}
        answer = leena.post(f"{path}place/", half)
        assert answer.status_code == 400
        assert "both numbers of a point" in text_of(answer)

    def test_half_a_cylinder_is_refused_and_nothing_is_written(self, referral, officer):
        told = FOUND | {"water_litres": "4.7"}
        answer = press(browser_of(officer), f"/desk/{referral.code}/", action="/found/", **told)
        assert answer.status_code == 409
        assert "litres of water and bar, or neither" in text_of(answer)
        assert not Vehicle.objects.filter(registered=False).exists()

    def test_a_gauge_that_cannot_be_stands_beside_its_field(self, referral, officer):
        told = FOUND | {"water_litres": "4.7", "bar": "9000"}
        answer = press(browser_of(officer), f"/desk/{referral.code}/", action="/found/", **told)
        assert answer.status_code == 400
        assert not Cylinder.objects.filter(vehicle__registered=False).exists()


def test_the_place_of_a_vehicle_on_a_journey_is_a_position_of_it(referral, now):
    transfer = referral.transfers.get()
    lifecycle.assign(told_by(OFFICER, now), transfer, Vehicle.objects.get(code="AMB-1"))
    answer = device_of(OFFICER).post("vehicles/AMB-1/place/", {"site": "SAL"})
    assert answer.status_code == 200
    position = Position.objects.get(transfer=transfer)
    assert position.latitude == Site.objects.get(code="SAL").latitude == answer.json()["latitude"]


def test_the_api_writes_one_down_with_its_place_and_oxygen(district):
    told = FOUND | {"latitude": -22.4, "longitude": 85.9, "water_litres": 10, "bar": 100}
    made = device_of(OFFICER).post("vehicles/", told)
    assert made.status_code == 201
    assert (made.json()["latitude"], made.json()["oxygen"]) == (-22.4, "10 L at 100 bar")
    assert made.json()["who_pays"] == "The district"
    nowhere = device_of(OFFICER).post("vehicles/AMB-1/place/", {"latitude": -22.4})
    assert (nowhere.status_code, nowhere.json()["code"]) == (409, "no_place")


def test_a_free_one_is_ranked_from_where_it_stands(district, now):
    referral = a_referral(now)
    Vehicle.objects.update(state="out_of_service")
    told = FOUND | {"latitude": -22.5253, "longitude": 85.8912}
    device_of(OFFICER).post("vehicles/", told)
    best = choosing.ranking_for(referral, now).best
    assert best.vehicle_key == found().code
    assert best.to_baby.p50_minutes < 5
