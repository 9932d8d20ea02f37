"""Nothing told, answered or fetched by the post for long after the raise: the desk rings."""

from datetime import timedelta

import pytest

from referrals import alerting, clock, contact_with_post, recording, watching
from referrals.acting import by_staff
from referrals.calc.terms import EntryChannel
from referrals.models import Alert, District, Referral, Staff
from tests.api_world import device_of
from tests.pages_world import browser_of, text_of
from tests.world import a_journey, a_referral, told_by
from transport.calc.stages import TransferStage

OFFICER, ATTENDANT = "leena.morrastad", "tomasi.bellaqua"


def silent(referral, at):
    watching.look_at(referral.pk, at)
    return Alert.objects.open().filter(referral=referral, kind="post_silent").first()


def after(now, minutes):
    return now + timedelta(minutes=minutes)


@pytest.fixture
def raised(district, now):
    return a_referral(now)


def test_the_desk_is_told_to_ring_after_the_limit_and_not_before(raised, now):
    assert silent(raised, after(now, 19)) is None
    alert = silent(raised, after(now, 20))
    assert "Nothing heard of Mirrow Heights Health Post about" in alert.sentence
    assert Staff.objects.get(username=ATTENDANT).phone.as_e164 in alert.sentence
    assert alert.for_desk


def test_the_district_sets_the_limit(raised, now):
    District.objects.update(post_silent_minutes=8)
    assert silent(raised, after(now, 8))


def test_anything_told_is_contact_and_settles_it(raised, now):
    alert = silent(raised, after(now, 20))
    by = told_by(ATTENDANT, after(now, 22))
    recording.observe(by, raised.babies.get(), {"heart_rate": 120})
    assert silent(raised, after(now, 23)) is None
    alert.refresh_from_db()
    assert alert.closed_reason == "settled"
    assert silent(raised, after(now, 42))


def test_what_the_desk_hears_on_the_telephone_is_contact(raised, now):
    officer = Staff.objects.get(username=OFFICER)
    by = by_staff(officer, channel=EntryChannel.DESK, now=after(now, 15))
    recording.observe(by, raised.babies.get(), {"heart_rate": 120})
    assert silent(raised, after(now, 34)) is None
    assert silent(raised, after(now, 35))


def test_an_answer_of_the_attendant_is_contact(raised, now):
    some = Alert.objects.filter(referral=raised).first()
    alerting.acknowledge(some.pk, told_by(ATTENDANT, after(now, 12)))
    assert contact_with_post.last_contact(Referral.objects.get(pk=raised.pk)) == after(now, 12)


def test_what_others_do_is_no_sign_of_the_post(raised, intensive, now):
    by = told_by(OFFICER, after(now, 15))
    recording.record_advice(by, raised, given_by="Dr Hana", words="go on", read_back=True)
    assert silent(raised, after(now, 20))


def test_an_open_page_is_contact_and_makes_no_entry(raised):
    entries = raised.entries.count()
    phone = browser_of(Staff.objects.get(username=ATTENDANT))
    assert phone.get(f"/r/{raised.code}/now/").status_code == 200
    raised.refresh_from_db()
    assert raised.post_seen_at is not None
    assert contact_with_post.last_contact(raised) == raised.post_seen_at
    assert raised.entries.count() == entries


def test_a_page_that_asks_every_few_seconds_is_noted_once_a_minute(raised, now):
    attendant = Staff.objects.get(username=ATTENDANT)
    noted = set()
    for seconds in range(0, 150, 10):
        raised.refresh_from_db()
        contact_with_post.seen(raised, attendant, now + timedelta(seconds=seconds))
        noted.add(Referral.objects.get(pk=raised.pk).post_seen_at)
    assert noted == {now, now + timedelta(seconds=60), now + timedelta(seconds=120)}


def test_the_desk_that_reads_the_same_page_is_not_the_post(raised):
    browser_of(Staff.objects.get(username=OFFICER)).get(f"/r/{raised.code}/")
    device_of(OFFICER).get(f"referrals/{raised.code}/entries/")
    assert Referral.objects.get(pk=raised.pk).post_seen_at is None


def test_another_system_that_asks_for_the_attendant_is_contact(raised):
    assert device_of(ATTENDANT).get(f"referrals/{raised.code}/entries/").status_code == 200
    assert Referral.objects.get(pk=raised.pk).post_seen_at is not None


@pytest.mark.parametrize("stage", [TransferStage.ON_THE_ROAD, TransferStage.ARRIVED])
def test_once_they_have_left_a_missed_check_says_it(intensive, now, stage):
    transfer = a_journey(now, intensive, stage=stage)
    assert silent(transfer.referral, after(now, 300)) is None


def test_a_vehicle_at_the_post_does_not_speak_for_it(intensive, now):
    transfer = a_journey(now, intensive, stage=TransferStage.AT_ORIGIN)
    assert silent(transfer.referral, after(now, 20))


def test_the_desk_reads_it_with_the_numbers_to_ring(raised):
    Referral.objects.filter(pk=raised.pk).update(raised_at=clock.now() - timedelta(minutes=30))
    District.objects.update(post_silent_minutes=1)
    assert silent(raised, clock.now() + timedelta(minutes=30))
    page = text_of(browser_of(Staff.objects.get(username=OFFICER)).get("/desk/"))
    assert "Nothing heard of Mirrow Heights" in page
    assert f"tel:{raised.origin.phone.as_e164}" in page
