"""A vehicle is there and no unit has accepted: the desk is told after the district's limit."""

from datetime import timedelta

import pytest

from referrals import lifecycle, sweeping, watching
from referrals.calc.terms import Urgency
from referrals.calc.unaccepted import DEFAULT_MINUTES, fault_of, minutes_for
from referrals.models import Alert, District, Referral
from tests.pages_world import browser_of, press, text_of
from tests.world import a_referral, told_by
from transport import lifecycle as journeys
from transport.models import Transfer, Vehicle

pytestmark = pytest.mark.django_db
OFFICER = "leena.morrastad"


def a_waiting_vehicle(at):
    """A baby ventilated by hand; a vehicle is sent and no unit has said yes."""
    referral = a_referral(at)
    by = told_by(OFFICER, at + timedelta(minutes=2))
    journeys.assign(by, referral.transfers.get(), Vehicle.objects.get(code="AMB-1"))
    return referral


def told(referral, at):
    watching.look_at(referral.pk, at)
    return Alert.objects.open().filter(referral=referral, kind="not_accepted").first()


def test_the_desk_is_told_after_the_limit_and_not_before(district, now):
    referral = a_waiting_vehicle(now)
    assert told(referral, now + timedelta(minutes=9)) is None
    alert = told(referral, now + timedelta(minutes=10))
    assert "after 10 min" in alert.sentence
    assert f"toward {District.objects.get().standing_unit}" in alert.sentence
    assert alert.for_desk


def test_a_stable_baby_has_the_limit_of_its_own(district, now):
    referral = a_waiting_vehicle(now)
    Referral.objects.filter(pk=referral.pk).update(urgency=Urgency.STABLE.value)
    assert told(referral, now + timedelta(minutes=59)) is None
    assert "after 60 min" in told(referral, now + timedelta(minutes=60)).sentence


def test_the_district_sets_the_limit(district, now):
    District.objects.update(without_acceptance={"ventilated": 4})
    referral = a_waiting_vehicle(now)
    assert told(referral, now + timedelta(minutes=4))


def test_without_a_vehicle_there_is_nothing_to_send(district, now):
    assert told(a_referral(now), now + timedelta(minutes=30)) is None


def test_when_a_unit_accepts_the_matter_is_settled(intensive, now):
    referral = a_waiting_vehicle(now)
    later = now + timedelta(minutes=12)
    assert told(referral, later)
    offer = lifecycle.ask(told_by(OFFICER, later), referral, intensive)
    lifecycle.accept(told_by("hana.wendorra", later), offer)
    assert told(referral, later + timedelta(minutes=1)) is None


def test_one_press_sends_it_toward_the_standing_unit_and_is_recorded_as_such(officer, now):
    referral = a_waiting_vehicle(now - timedelta(minutes=15))
    sweeping.sweep("test", send=False)
    leena = browser_of(officer)
    assert "Send toward" in text_of(leena.get("/desk/"))
    press(leena, "/desk/", action="/toward/")
    transfer = Transfer.objects.get(referral=referral)
    assert (transfer.destination.code, transfer.without_acceptance) == ("ORL-NB", True)
    assert referral.entries.filter(kind="sent_without_acceptance").exists()
    assert told(referral, now + timedelta(minutes=1)) is None


def test_without_a_standing_unit_the_desk_chooses(officer, now):
    District.objects.update(standing_unit=None)
    a_waiting_vehicle(now - timedelta(minutes=15))
    sweeping.sweep("test", send=False)
    page = text_of(browser_of(officer).get("/desk/"))
    assert "toward a unit of your choice" in page
    assert "Toward another unit" in page
    assert "not accepted yet</button>" not in page


@pytest.mark.parametrize(
    "limits", [[], {"ventilated": 0}, {"calm": 5}, {"stable": "60"}, {"urgent": True}, 10]
)
def test_limits_that_cannot_be_are_refused(limits):
    assert fault_of(limits)


def test_what_a_district_does_not_state_is_the_default():
    assert fault_of({"stable": 30}) == ""
    assert minutes_for({"stable": 30}, Urgency.STABLE) == 30
    assert minutes_for({"stable": 30}, Urgency.VENTILATED) == DEFAULT_MINUTES[Urgency.VENTILATED]
