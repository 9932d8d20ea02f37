"""The hourly temperature: overdue on the road it is the desk's business, never the bagger's."""

from datetime import timedelta

import pytest

from referrals import recording, watching
from referrals.models import Alert, District, Observation, Staff
from tests.pages_world import browser_of, text_of
from tests.world import a_journey, told_by
from transport import on_the_way
from transport.calc.stages import TransferStage

LEFT = timedelta(minutes=30)
"""After the raise the baby leaves the post, see world.a_journey."""


@pytest.fixture
def aboard(district, intensive, now):
    """Temperature taken at the raise, then on the road for a long time."""
    transfer = a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD)
    tell(transfer, now, temperature_c=36.7)
    return transfer


def tell(transfer, at, **facts):
    return recording.observe(
        told_by("tomasi.bellaqua", at), transfer.referral.babies.first(), facts
    )


def check(transfer, at, **facts):
    told = on_the_way.CheckTold(facts={"breathing": "ventilated", **facts})
    by = told_by("tomasi.bellaqua", at)
    return on_the_way.check(by, transfer, transfer.referral.babies.first(), told)


def missed(transfer, at):
    watching.look_at(transfer.referral_id, at)
    return list(
        Alert.objects.open().filter(referral=transfer.referral_id, kind="temperature_missed")
    )


def test_the_desk_rings_when_the_hour_and_the_grace_are_over(aboard, now):
    assert missed(aboard, now + timedelta(minutes=64)) == []
    [alert] = missed(aboard, now + timedelta(minutes=65))
    assert "The temperature of" in alert.sentence
    assert "It was 36.7 °C at" in alert.sentence
    assert "Ring on loudspeaker (+1" in alert.sentence
    assert {delivery.contact_name for delivery in alert.deliveries.all()}.isdisjoint(
        {"Tomasi Bellaqua", "Mateus Dunnaway"}
    )


def test_a_check_without_a_temperature_leaves_it_due_and_one_with_it_settles_it(aboard, now):
    check(aboard, now + timedelta(minutes=60))
    [alert] = missed(aboard, now + timedelta(minutes=66))
    check(aboard, now + timedelta(minutes=67), temperature_c=36.4)
    assert missed(aboard, now + timedelta(minutes=68)) == []
    alert.refresh_from_db()
    assert alert.closed_reason == "settled"
    assert missed(aboard, now + timedelta(minutes=132))


def test_a_reading_that_was_corrected_away_counts_no_more(aboard, now):
    taken = tell(aboard, now + timedelta(minutes=50), temperature_c=36.4)
    by = told_by("tomasi.bellaqua", now + timedelta(minutes=51))
    recording.observe(by, taken.baby, {"heart_rate": 120}, corrects=taken)
    assert missed(aboard, now + timedelta(minutes=65))


def test_the_district_sets_the_interval(aboard, now):
    District.objects.update(temperature_minutes=40)
    assert missed(aboard, now + timedelta(minutes=45))


def test_never_taken_and_never_checked_is_one_call_and_not_two(aboard, now):
    Observation.objects.update(temperature_c=None)
    moment = now + LEFT + timedelta(minutes=20)
    assert missed(aboard, moment) == []
    assert Alert.objects.open().filter(kind="check_missed").exists()
    check(aboard, moment)
    [alert] = missed(aboard, moment)
    assert "It was never taken." in alert.sentence


def test_before_leaving_nobody_is_reminded(district, intensive, now):
    transfer = a_journey(now, intensive, stage=TransferStage.AT_ORIGIN)
    tell(transfer, now, temperature_c=36.7)
    assert missed(transfer, now + timedelta(minutes=200)) == []


def test_the_desk_reads_it_with_the_check_to_enter(aboard, now):
    missed(aboard, now + timedelta(minutes=65))
    page = text_of(browser_of(Staff.objects.get(username="leena.morrastad")).get("/desk/"))
    assert "The temperature of" in page
    assert f"/desk/{aboard.referral.code}/?open=check#check" in page
