"""A vehicle is free again only when the escort is home, the cylinders filled, the vehicle clean."""

from datetime import timedelta

import pytest
import time_machine

from referrals import endings
from referrals.calc.states import NotPossible
from referrals.calc.terms import Ending
from referrals.models import Alert
from tests.api_world import device_of
from tests.pages_world import browser_of, text_of
from tests.world import a_journey, told_by
from transport import fleet
from transport.calc.stages import TransferStage
from transport.driver_links import token_for
from transport.models import Transfer, Vehicle
from transport.models.vehicles import READY_STEPS

pytestmark = pytest.mark.django_db


@pytest.fixture
def by(district, now):
    return told_by("leena.morrastad", now + timedelta(hours=3))


@pytest.fixture
def back(district, intensive, now, by):
    """AMB-1 on its way back; its first cylinder shows 40 bar and 150 when full."""
    transfer = a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD)
    row = transfer.vehicle.cylinders.order_by("label").first()
    row.bar, row.full_bar = 40, 150
    row.save()
    endings.end_baby(by, transfer.referral.babies.get(), Ending.PLACED_ELSEWHERE)
    vehicle = Vehicle.objects.get(code="AMB-1")
    assert vehicle.state == "returning"
    return vehicle


def first_gauge(vehicle):
    return vehicle.cylinders.order_by("label").first().bar


def kinds(vehicle):
    referral = Transfer.objects.filter(vehicle=vehicle).latest("pk").referral
    return list(referral.entries.order_by("-seq").values_list("kind", flat=True))


@pytest.mark.parametrize("order", [READY_STEPS, READY_STEPS[::-1]])
def test_it_is_free_with_the_last_step_in_whatever_order(back, by, order):
    for step in order[:-1]:
        assert fleet.step_done(by, back, step).state == "returning"
    assert fleet.step_done(by, back, order[-1]).state == "free"
    assert not any(Vehicle.objects.get(pk=back.pk).steps_done().values())
    assert kinds(back)[:4] == ["vehicle_ready", "vehicle_step", "vehicle_step", "vehicle_step"]


def test_filled_sets_the_gauges_to_full_and_a_mistake_sets_them_back(back, by):
    fleet.step_done(by, back, "filled")
    assert first_gauge(back) == 150
    fleet.step_undone(by, back, "filled")
    assert first_gauge(back) == 40
    assert Vehicle.objects.get(pk=back.pk).filled_at is None
    assert kinds(back)[:2] == ["vehicle_step_undone", "vehicle_step"]


def test_a_step_told_twice_is_told_once(back, by):
    fleet.step_done(by, back, "clean")
    fleet.step_done(by, back, "clean")
    assert kinds(back).count("vehicle_step") == 1


def test_called_free_by_mistake_it_is_as_before_filling(back, by):
    for step in READY_STEPS:
        fleet.step_done(by, back, step)
    assert fleet.vehicle_not_ready(by, back).state == "returning"
    assert first_gauge(back) == 40


def test_a_free_vehicle_and_an_unknown_step_are_refused(back, by):
    with pytest.raises(NotPossible) as refusal:
        fleet.step_done(by, back, "washed")
    assert refusal.value.code == "unknown_step"
    with pytest.raises(NotPossible) as refusal:
        fleet.step_done(by, Vehicle.objects.get(code="AMB-2"), "clean")
    assert refusal.value.code == "not_returning"


def test_the_desk_presses_each_step(back, officer):
    leena = browser_of(officer)
    assert "The cylinders are filled" in text_of(leena.get("/desk/"))
    for number, step in enumerate(READY_STEPS):
        answer = leena.post(f"/desk/vehicles/AMB-1/steps/{step}/", {"key": f"k{number}"})
        assert answer.status_code == 302
    assert Vehicle.objects.get(pk=back.pk).state == "free"


def test_the_driver_presses_them_by_the_link_even_after_it_has_closed(back, now):
    token = token_for(Transfer.objects.get(vehicle=back))
    driver = browser_of()
    with time_machine.travel(now + timedelta(hours=9), tick=False):
        page = text_of(driver.get(f"/d/{token}/"))
        assert "This link does not open any more" in page
        assert "The escort is home" in page
        for number, step in enumerate(READY_STEPS):
            told = {"key": f"driver-{number}", "step": step}
            assert driver.post(f"/d/{token}/step/", told).status_code == 302
        assert Vehicle.objects.get(pk=back.pk).state == "free"
        refused = driver.post(f"/d/{token}/step/", {"key": "late", "step": "clean"})
        assert "no longer valid" in text_of(refused)
        assert "The escort is home" not in text_of(driver.get(f"/d/{token}/"))


def test_over_the_api_by_step(back):
    desk = device_of("leena.morrastad")
    answer = desk.post("vehicles/AMB-1/ready/", {"step": "escort_home"}).json()
    assert answer["state"] == "returning"
    assert answer["escort_home_at"]
    answer = desk.post("vehicles/AMB-1/ready/", {"step": "escort_home", "done": False}).json()
    assert answer["escort_home_at"] is None
    assert not Alert.objects.filter(kind="vehicle_ready").exists()
