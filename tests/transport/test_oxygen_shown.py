"""The same words on oxygen on every page and over the API; to a driver only what goes along."""

from datetime import timedelta

import pytest

from referrals.models import Staff
from tests.api_world import device_of
from tests.pages_world import browser_of, text_of
from tests.world import a_journey
from transport import oxygen_ahead
from transport.api.oxygen import OxygenAnswer
from transport.calc.stages import TransferStage
from transport.driver_links import token_for
from transport.models import Cylinder

CHANCE = "% chance of reaching the bedside before the reserve is touched."
ATTENDANT, OFFICER = "tomasi.bellaqua", "leena.morrastad"


def fill(vehicle, bar):
    Cylinder.objects.filter(vehicle=vehicle).update(bar=bar)


def page_of(username, path):
    return text_of(browser_of(Staff.objects.get(username=username)).get(path))


@pytest.fixture
def aboard(district, intensive, now):
    """On the road for ten minutes, with A1 (10 L) and A2 (4.7 L)."""
    return a_journey(now - timedelta(minutes=40), intensive, stage=TransferStage.ON_THE_ROAD)


def test_attendant_and_desk_read_the_same_chance_when_it_lasts(aboard, now):
    fill(aboard.vehicle, 137)
    plan = oxygen_ahead.oxygen_plan(aboard, now)
    assert plan.enough
    code = aboard.referral.code
    for page in (page_of(ATTENDANT, f"/r/{code}/"), page_of(OFFICER, f"/desk/{code}/")):
        assert plan.chance_words in page
        assert plan.chance_words.endswith("of reaching the bedside before the reserve is touched.")


def test_a_shortage_reads_the_same_and_only_the_desk_gets_the_arithmetic(aboard, now):
    fill(aboard.vehicle, 40)
    plan = oxygen_ahead.oxygen_plan(aboard, now)
    code = aboard.referral.code
    attendant, desk = page_of(ATTENDANT, f"/r/{code}/"), page_of(OFFICER, f"/desk/{code}/")
    for page in (attendant, desk):
        assert CHANCE in page
        assert "keep ventilating with air" in page
        assert "change to A2, and ventilate with air meanwhile" in page
    assert "A lower flow is a clinician&#x27;s decision" in desk
    assert "A lower flow" not in attendant
    assert plan.lasting_flow_l_min < plan.flow_l_min


def test_a_gauge_above_full_is_said_beside_the_plan(aboard):
    fill(aboard.vehicle, 200)
    for path, who in (("/r/", ATTENDANT), ("/desk/", OFFICER)):
        page = page_of(who, f"{path}{aboard.referral.code}/")
        assert "A1: 200 bar is more than a full one shows (137)" in page


def test_the_api_answers_with_the_plan_of_each_vehicle(aboard, now):
    fill(aboard.vehicle, 40)
    (plan,) = device_of(OFFICER).get(f"transfers/{aboard.pk}/").json()["oxygen"]
    assert set(plan) == set(OxygenAnswer().fields)
    assert (plan["vehicle"], plan["flow_l_min"], plan["enough"]) == ("AMB-1", 5.0, False)
    assert 0 <= plan["chance_of_running_out"] <= plan["chance_of_touching_reserve"] <= 1
    assert plan["words"][-1] == "If oxygen runs low or ends, keep ventilating with air."
    assert [(each["off"], each["on"]) for each in plan["changes"]] == [("A1", "A2")]


@pytest.mark.parametrize(
    ("stage", "told"), [(TransferStage.ASSIGNED, True), (TransferStage.COLLECTING, False)]
)
def test_a_driver_reads_what_goes_along_and_nothing_once_the_vehicle_moves(
    district, intensive, now, stage, told
):
    transfer = a_journey(now - timedelta(minutes=15), intensive, stage=stage)
    fill(transfer.vehicle, 40)
    page = text_of(browser_of().get(f"/d/{token_for(transfer)}/"))
    assert ("Take along one more cylinder" in page) == told
    assert "may not last" not in page
    assert "chance" not in page
