"""Plans beside the candidates, from rows to the desk's page and the API, and what a press does."""

from datetime import timedelta

import pytest

from referrals.models import Alert, District, Offer, Unit
from tests.api_world import device_of
from tests.pages_world import browser_of, press, text_of
from tests.world import a_referral, told_by
from transport import choosing, milestones
from transport import lifecycle as journeys
from transport.calc.stages import TransferStage
from transport.models import Vehicle

pytestmark = pytest.mark.django_db
OFFICER = "leena.morrastad"


def steady_roads():
    """The same by day and by night."""
    District.objects.update(travel_settings={})


@pytest.fixture
def referral(district, now):
    """A baby at Naveloto; Kesawari is near, has CPAP and cannot give all that is needed."""
    steady_roads()
    Unit.objects.exclude(code__in=("ORL-NB", "KES-NB")).update(is_open=False)
    Unit.objects.filter(code="KES-NB").update(capabilities=["oxygen", "thermal_care", "cpap"])
    Vehicle.objects.exclude(code="AMB-2").update(state="out_of_service")
    return a_referral(now, attendant="ngozi.harvelund")


def plan_of(referral, now):
    (plan,) = choosing.ranking_for(referral, now).plans
    return plan


def test_first_to_the_near_unit_then_onward(referral, now):
    plan = plan_of(referral, now)
    assert (plan.kind, plan.key, plan.onward_key) == ("stop", "KES-NB", "ORL-NB")
    assert plan.gives == ("cpap",)
    assert plan.care.mean + 20 <= plan.direct.mean


def test_the_api_shows_it_beside_the_candidates(referral, now):
    body = device_of(OFFICER).get(f"referrals/{referral.code}/candidates/").json()
    (plan,) = body["plans"]
    assert plan["key"] == "KES-NB"
    assert plan["care"]["p10_minutes"] < plan["care"]["p50_minutes"] < plan["care"]["p90_minutes"]
    assert plan["words"][0].startswith("first to Kesawari newborn ward")
    assert body["candidates"][0]["key"] == "ORL-NB"
    kept = referral.rankings.latest()
    assert kept.body["plans"][0]["words"] == plan["words"]


def test_the_desk_asks_for_the_stop_and_the_words_are_recorded(referral, officer):
    leena, path = browser_of(officer), f"/desk/{referral.code}/"
    page = text_of(leena.get(path))
    assert "First to Kesawari newborn ward, Kesawari Hospital, onward to Port Orlime" in page
    answer = press(leena, path, action="/ask_stop/")
    assert answer.status_code == 302
    offer = Offer.objects.get(referral=referral, unit__code="KES-NB")
    assert offer.shown["plan"]["words"][0].startswith("first to Kesawari")
    asked = Alert.objects.get(offer=offer, kind="question")
    assert "For a stop, then onward to Port Orlime newborn intensive care" in asked.message
    entry = referral.entries.filter(kind="unit_asked").get(body__unit="KES-NB")
    assert entry.body["shown"]["plan"]["onward_key"] == "ORL-NB"
    again = text_of(leena.get(path))
    assert "asked for a stop, then onward to" in again
    assert "Ask for a stop there" not in again


def test_the_unit_reads_that_it_is_a_stop(referral, officer, person):
    press(browser_of(officer), f"/desk/{referral.code}/", action="/ask_stop/")
    offer = Offer.objects.get(referral=referral, unit__code="KES-NB")
    page = text_of(browser_of(person("miriam.castowell")).get(f"/unit/{offer.pk}/"))
    assert "You are asked for a stop on the way" in page


def test_a_plan_that_was_never_shown_cannot_be_pressed(referral, officer):
    leena = browser_of(officer)
    answer = leena.post(f"/desk/{referral.code}/ask_stop/", {"unit": "KES-NB", "ranking": "1"})
    assert answer.status_code == 409
    assert "That plan is no longer shown" in text_of(answer)
    assert not Offer.objects.filter(unit__code="KES-NB").exists()


def test_a_better_vehicle_may_meet_the_one_with_the_baby(district, officer, now):
    steady_roads()
    Unit.objects.exclude(code="ORL-NB").update(is_open=False)
    referral = a_referral(now - timedelta(minutes=40))
    transfer = referral.transfers.get()
    by = told_by(OFFICER, now - timedelta(minutes=30))
    journeys.assign(by, transfer, Vehicle.objects.get(code="PIC-1"))
    milestones.reach(by, transfer, TransferStage.ON_THE_ROAD)
    Vehicle.objects.filter(code="AMB-1").update(
        capabilities=["bag_and_mask", "thermal_care", "oxygen", "cpap", "ventilator"]
    )
    plan = plan_of(referral, now)
    assert (plan.kind, plan.vehicle_key, plan.helper_key) == ("meeting", "PIC-1", "AMB-1")
    page = text_of(browser_of(officer).get(f"/desk/{referral.code}/"))
    assert f"Meet at {plan.name}, onward to" in page
    assert "chance that the baby waits there" in page
