"""Nobody can take, or no vehicle: a person is responsible, and what was tried is written down."""

from datetime import timedelta

import pytest

from referrals import alerting, lifecycle, ringing, timeline, watching
from referrals.calc.terms import CameOf, DeclineReason
from referrals.charge import in_charge
from referrals.models import Alert, Referral, Staff
from tests.world import a_placed_referral, a_referral, told_by

pytestmark = pytest.mark.django_db


def everyone_refused(now) -> Referral:
    referral = a_referral(now)
    lifecycle.ask_best(referral.pk, now, count=4)
    for offer in referral.offers.all():
        lifecycle.decline(told_by("leena.morrastad", now), offer, reason=DeclineReason.NO_COT)
    watching.look_at(referral.pk, now)
    return Referral.objects.get(pk=referral.pk)


def test_until_somebody_takes_it_who_is_on_duty_at_the_desk_is_responsible(now, district):
    person = in_charge(everyone_refused(now), now)
    assert (person.name, person.since, person.on_duty) == ("Leena Morrastad", None, True)
    emeka = Staff.objects.get(username="emeka.fairlowe")
    district.shifts.update(staff=emeka)
    referral = Referral.objects.get()
    assert in_charge(referral, now).name == "Emeka Fairlowe"


def test_without_a_rota_it_is_the_first_on_the_desks_list(now, district):
    district.shifts.all().delete()
    person = in_charge(everyone_refused(now), now)
    assert (person.name, person.on_duty) == ("Leena Morrastad", False)


def test_a_desk_without_contacts_names_nobody(now, district):
    district.contacts.all().delete()
    referral = everyone_refused(now)
    assert in_charge(referral, now) is None
    alert = Alert.objects.get(kind="nobody_can_take", referral=referral)
    assert "Responsible for finding a place: whoever is at the desk." in alert.sentence


@pytest.mark.parametrize("kind", ["nobody_can_take", "no_vehicle"])
def test_who_takes_the_alert_is_responsible_from_then_on(now, intensive, person, by, kind):
    if kind == "no_vehicle":
        referral = a_placed_referral(now, intensive)
        watching.look_at(referral.pk, now + timedelta(minutes=6))
    else:
        referral = everyone_refused(now)
    alert = Alert.objects.get(kind=kind, referral=referral)
    alerting.acknowledge(alert.pk, by(person("adaeze.wintermoor")))
    referral = Referral.objects.get(pk=referral.pk)
    assert in_charge(referral, now).name == "Adaeze Wintermoor"
    assert referral.responsible_since is not None
    entry = referral.entries.get(kind="in_charge")
    assert entry.body == {"staff": "adaeze.wintermoor", "was": None}
    assert timeline.faults_of(referral) == []


def test_taking_another_kind_of_alert_makes_nobody_responsible(now, officer, by):
    referral = a_referral(now)
    alert = Alert.objects.get(kind="vehicle_wanted", referral=referral)
    alerting.acknowledge(alert.pk, by(officer))
    assert Referral.objects.get(pk=referral.pk).responsible is None


def test_the_sentence_names_who_has_taken_it_when_it_is_told_again(now, person, by):
    referral = everyone_refused(now)
    alert = Alert.objects.get(kind="nobody_can_take", referral=referral)
    alerting.acknowledge(alert.pk, by(person("adaeze.wintermoor"), at=now))
    watching.look_at(referral.pk, now + timedelta(minutes=11))
    again = Alert.objects.open().get(kind="nobody_can_take", referral=referral)
    assert "Responsible for finding a place: Adaeze Wintermoor." in again.sentence


def test_it_can_be_given_to_another_who_is_told(now, officer, person, by):
    referral = everyone_refused(now)
    other = person("adaeze.wintermoor")
    ringing.give_charge(by(officer), referral, other)
    ringing.give_charge(by(officer), referral, other)
    referral = Referral.objects.get(pk=referral.pk)
    assert referral.responsible == other
    assert referral.entries.filter(kind="in_charge").count() == 1
    told = Alert.objects.get(kind="in_charge", referral=referral)
    assert [delivery.username for delivery in told.deliveries.all()] == [other.username]


def test_who_takes_it_is_not_told_what_they_have_just_said(now, officer, by):
    referral = everyone_refused(now)
    ringing.give_charge(by(officer), referral, officer)
    assert not Alert.objects.filter(kind="in_charge").exists()


def test_every_call_is_an_entry_in_the_chain_with_names_and_words_outside_it(now, officer, by):
    referral = everyone_refused(now)
    for came_of, words in ((CameOf.NO_ANSWER, ""), (CameOf.RINGS_BACK, "asks her doctor")):
        told = ringing.CallTold(
            whom="unit:KES-NB", name="Kesawari newborn ward", came_of=came_of, words=words
        )
        ringing.log_call(by(officer), referral, told)
    newest, oldest = ringing.calls_of(referral)
    assert (newest.came_of, newest.words) == (CameOf.RINGS_BACK, "asks her doctor")
    assert (oldest.came_of, oldest.words) == (CameOf.NO_ANSWER, "")
    assert {call.name for call in (newest, oldest)} == {"Kesawari newborn ward"}
    assert newest.actor == "Leena Morrastad"
    for entry in referral.entries.filter(kind="rang"):
        assert "Kesawari" not in str(entry.body)
        assert "doctor" not in str(entry.body)
    assert timeline.faults_of(Referral.objects.get(pk=referral.pk)) == []


def test_a_call_whose_words_were_erased_still_stands(now, officer, by):
    referral = everyone_refused(now)
    told = ringing.CallTold(whom="caller", name="Somebody", came_of=CameOf.NO, words="no petrol")
    ringing.log_call(by(officer), referral, told)
    referral.texts.filter(kind="rang").update(text="", erased_at=now)
    [call] = ringing.calls_of(referral)
    assert (call.name, call.words, call.came_of) == ("(erased)", "(erased)", CameOf.NO)
