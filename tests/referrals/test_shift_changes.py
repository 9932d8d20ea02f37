"""An acceptance is confirmed again when the people of the accepting unit change."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.core.exceptions import ValidationError
from world import a_journey, a_ladder, a_referral, an_offer, told_by

from referrals import clock, endings, lifecycle, reconfirming, sweeping, timeline, watching
from referrals.calc.escalation import Reach, still_ready_plan
from referrals.calc.states import NotPossible
from referrals.calc.terms import DeclineReason, Ending
from referrals.models import Alert, Offer
from transport.calc.stages import TransferStage

TALUVESI = ZoneInfo("Etc/GMT-6")
MORNING = datetime(2026, 3, 2, 7, tzinfo=TALUVESI)
EVENING = datetime(2026, 3, 2, 19, tzinfo=TALUVESI)
BEFORE = MORNING - timedelta(minutes=20)
AFTER = MORNING + timedelta(minutes=1)
NIGHT_NURSE, DAY_NURSE = "kofi.brantelle", "hana.wendorra"


@pytest.fixture(autouse=True)
def shifts(intensive):
    intensive.shift_changes = ["07:00", "19:00"]
    intensive.save()


@pytest.fixture
def accepted(district, intensive) -> Offer:
    """Taken twenty minutes before the morning's change of shift."""
    offer = an_offer(a_referral(BEFORE), intensive, BEFORE)
    return lifecycle.accept(told_by(NIGHT_NURSE, BEFORE), offer)


def look(offer, moment, monkeypatch):
    monkeypatch.setattr(clock, "now", lambda: moment)
    watching.look_at(offer.referral_id, moment)


def questions(offer):
    return offer.alerts.filter(kind="still_ready")


def told(offer, kind="reception_changed"):
    return Alert.objects.filter(referral=offer.referral, kind=kind)


def test_nothing_is_asked_before_the_shift_changes(accepted, monkeypatch):
    look(accepted, MORNING - timedelta(minutes=1), monkeypatch)
    assert not questions(accepted).exists()


def test_the_new_shift_is_asked_on_its_own_ladder_then_the_desk(accepted, monkeypatch):
    look(accepted, AFTER, monkeypatch)
    alert = questions(accepted).get()
    assert accepted.referral.code in alert.message
    assert "Is the cot still ready, who receives?" in alert.message
    assert set(alert.deliveries.values_list("username", flat=True)) == {DAY_NURSE}
    for minutes, username in ((1, DAY_NURSE), (2, "leena.morrastad"), (4, NIGHT_NURSE)):
        moment = AFTER + timedelta(minutes=minutes)
        monkeypatch.setattr(clock, "now", lambda moment=moment: moment)
        sweeping.take_step(alert.pk, moment)
        assert alert.deliveries.filter(username=username).exists()
    assert accepted.referral.offers.count() == 1  # another unit is not asked for that


def test_looking_again_does_not_ask_again(accepted, monkeypatch):
    for minutes in (0, 2, 4):
        look(accepted, AFTER + timedelta(minutes=minutes), monkeypatch)
    assert questions(accepted).count() == 1


def test_the_desk_must_ring_when_nobody_of_the_new_shift_answers(accepted, monkeypatch):
    for minutes in (0, 4, 6):
        look(accepted, AFTER + timedelta(minutes=minutes), monkeypatch)
        assert told(accepted, "not_reconfirmed").exists() == (minutes == 6)
    alert = told(accepted, "not_reconfirmed").get()
    assert alert.for_desk
    assert "changed at 07:00" in alert.sentence
    reconfirming.reconfirm(told_by(DAY_NURSE, AFTER + timedelta(minutes=7)), accepted)
    alert.refresh_from_db()
    assert not alert.is_open


def test_still_ready_settles_the_question_until_the_next_shift(accepted, monkeypatch):
    look(accepted, AFTER, monkeypatch)
    by = told_by(DAY_NURSE, AFTER + timedelta(minutes=3))
    offer = reconfirming.reconfirm(by, accepted, receiver="Hana Wendorra", entrance="Sea gate")
    assert (offer.receiver, offer.entrance) == ("Hana Wendorra", "Sea gate")
    assert (offer.stage, offer.reconfirmed_by) == ("accepted", "Hana Wendorra")
    assert not questions(offer).open().exists()
    look(offer, AFTER + timedelta(hours=3), monkeypatch)
    assert questions(offer).count() == 1
    look(offer, EVENING + timedelta(minutes=1), monkeypatch)
    assert questions(offer).open().get().key.endswith("13:00:00+00:00")


def test_a_shift_that_never_answered_is_not_asked_beside_the_next_one(accepted, monkeypatch):
    look(accepted, AFTER, monkeypatch)
    look(accepted, EVENING + timedelta(minutes=1), monkeypatch)
    assert questions(accepted).count() == 2
    assert questions(accepted).open().count() == 1


def test_the_entry_tells_who_confirmed_and_what_changed(accepted):
    reconfirming.reconfirm(
        told_by(DAY_NURSE, AFTER), accepted, receiver="Hana", entrance="Sea gate"
    )
    entry = accepted.referral.entries.get(kind="reconfirmed")
    assert entry.body["changed"] == ["entrance", "receiver"]
    assert "Hana" not in str(entry.body)  # a name stands apart from the chain
    assert timeline.faults_of(lifecycle.timeline_row(accepted.referral_id)) == []


def test_attendant_and_driver_hear_of_another_entrance(district, intensive):
    transfer = a_journey(BEFORE, intensive, stage=TransferStage.ASSIGNED)
    offer = transfer.referral.accepted_offer()
    reconfirming.reconfirm(told_by(DAY_NURSE, AFTER), offer, entrance="Sea gate")
    assert "entrance Sea gate" in told(offer).get().message
    driver = Alert.objects.filter(key__contains=":driver:", message__contains="Sea gate").get()
    assert driver.deliveries.get().address == transfer.driver_phone


def test_nobody_is_told_when_all_stays_as_it_was(district, intensive):
    offer = a_journey(BEFORE, intensive, stage=TransferStage.ASSIGNED).referral.accepted_offer()
    before = Alert.objects.count()
    confirmed = reconfirming.reconfirm(told_by(DAY_NURSE, AFTER), offer)
    assert confirmed.reconfirmed_at == AFTER
    assert Alert.objects.count() == before


def test_a_second_press_changes_nothing(accepted):
    reconfirming.reconfirm(told_by(DAY_NURSE, AFTER), accepted)
    again = reconfirming.reconfirm(told_by(NIGHT_NURSE, AFTER + timedelta(minutes=1)), accepted)
    assert again.reconfirmed_at == AFTER
    assert accepted.referral.entries.filter(kind="reconfirmed").count() == 1


def test_only_a_unit_that_takes_the_baby_confirms_it(district, intensive, ward):
    offer = an_offer(a_referral(BEFORE), intensive, BEFORE)
    with pytest.raises(NotPossible, match="Answer the question itself"):
        reconfirming.reconfirm(told_by(DAY_NURSE, AFTER), offer)


def test_a_closed_referral_is_not_confirmed(accepted):
    by = told_by("tomasi.bellaqua", AFTER)
    endings.end_baby(by, accepted.referral.babies.get(), Ending.FAMILY_DECLINED)
    with pytest.raises(NotPossible, match="closed"):
        reconfirming.reconfirm(told_by(DAY_NURSE, AFTER), accepted)


def test_a_new_shift_that_cannot_take_the_baby_is_asked_no_more(accepted, monkeypatch):
    look(accepted, AFTER, monkeypatch)
    lifecycle.decline(told_by(DAY_NURSE, AFTER), accepted, reason=DeclineReason.NO_STAFF)
    assert not questions(accepted).open().exists()
    look(accepted, AFTER + timedelta(minutes=20), monkeypatch)
    assert not told(accepted, "not_reconfirmed").exists()


def test_a_unit_without_shifts_is_never_asked(accepted, intensive, monkeypatch):
    intensive.shift_changes = []
    intensive.save()
    look(accepted, AFTER, monkeypatch)
    assert not questions(accepted).exists()


def test_the_ladder_of_the_new_shift_asks_no_other_unit():
    hana = Reach(name="Hana", username="hana", channel="sms", address="+12025550128")
    plan = still_ready_plan(unit=a_ladder([hana]), desk=a_ladder(), waits=[1, 2, 4])
    assert [step.after_minutes for step in plan] == [0, 1, 2, 4]
    assert not any(step.ask_next for step in plan)


@pytest.mark.parametrize("wrong", [["7 pm"], "07:00", [7], {"07:00": 1}])
def test_a_shift_change_that_is_no_time_of_day_is_refused(intensive, wrong):
    intensive.shift_changes = wrong
    with pytest.raises(ValidationError, match="time"):
        intensive.full_clean()
