"""A step of a ladder goes to those who are on duty at its time, and never to nobody."""

from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from world import a_referral, an_offer, told_by

from referrals import alerting, lifecycle
from referrals.calc.terms import DeclineReason
from referrals.models import Alert, Shift, Staff

TALUVESI = ZoneInfo("Etc/GMT-6")
NOON, MIDNIGHT = (datetime(2026, 3, day, 12 * (3 - day), tzinfo=TALUVESI) for day in (2, 3))
BEFORE_THE_CHANGE = datetime(2026, 3, 2, 18, 59, 30, tzinfo=TALUVESI)
MORNING, EVENING = time(7), time(19)
HANA, KOFI, RAVI = "hana.wendorra", "kofi.brantelle", "ravi.ostermoor"


@pytest.fixture(autouse=True)
def rota(intensive, district):
    """Hana by day and Kofi by night; at the desk Leena by day and Emeka by night; Ravi never."""
    Shift.objects.all().delete()
    for names, owner in (
        ((HANA, KOFI), {"unit": intensive}),
        (("leena.morrastad", "emeka.fairlowe"), {"district": district}),
    ):
        for weekday in range(7):
            for name, starts, ends in ((names[0], MORNING, EVENING), (names[1], EVENING, MORNING)):
                staff = Staff.objects.get(username=name)
                Shift.objects.create(
                    staff=staff, weekday=weekday, starts=starts, ends=ends, **owner
                )


def question(moment, unit):
    return Alert.objects.get(offer=an_offer(a_referral(moment), unit, moment), kind="question")


def told(alert, step):
    rows = alert.deliveries.filter(step=step).exclude(username="")
    return set(rows.values_list("username", flat=True))


@pytest.mark.parametrize(("moment", "name"), [(NOON, HANA), (MIDNIGHT, KOFI)])
def test_the_question_goes_to_the_nurse_on_duty(intensive, moment, name):
    assert told(question(moment, intensive), 0) == {name}


def test_a_step_after_the_change_of_shift_goes_to_the_new_one(intensive):
    alert = question(BEFORE_THE_CHANGE, intensive)
    alerting.escalate(alert.pk, BEFORE_THE_CHANGE + timedelta(minutes=1))
    assert told(alert, 0) == {HANA}
    assert told(alert, 1) == {KOFI}


def test_a_step_of_which_nobody_is_on_duty_goes_to_everybody_of_it(intensive):
    intensive.shifts.exclude(staff__username=HANA).delete()
    assert told(question(MIDNIGHT, intensive), 0) == {HANA, KOFI, RAVI}


def test_a_step_whose_people_stand_in_no_shift_is_not_silent(intensive):
    intensive.contacts.exclude(staff__username=RAVI).delete()
    assert told(question(NOON, intensive), 0) == {RAVI}


def test_a_team_without_a_rota_is_always_on_duty(intensive):
    intensive.shifts.all().delete()
    assert told(question(MIDNIGHT, intensive), 0) == {HANA, KOFI, RAVI}


def test_the_last_step_wakes_everybody(intensive):
    alert = question(NOON, intensive)
    for minutes in (1, 2, 4):
        alerting.escalate(alert.pk, NOON + timedelta(minutes=minutes))
    assert told(alert, 3) >= {HANA, KOFI, RAVI, "leena.morrastad", "emeka.fairlowe"}


def test_the_desk_is_told_by_its_rota_beside_its_screen(district):
    wanted = Alert.objects.get(referral=a_referral(MIDNIGHT), kind="vehicle_wanted")
    first = wanted.deliveries.filter(step=0)
    assert set(first.values_list("username", flat=True)) == {"", "emeka.fairlowe"}


def test_the_screen_of_the_desk_alone_is_not_taken_for_a_person_on_duty(district):
    district.shifts.filter(staff__username="emeka.fairlowe").delete()
    wanted = Alert.objects.get(referral=a_referral(MIDNIGHT), kind="vehicle_wanted")
    assert told(wanted, 0) == {"leena.morrastad", "emeka.fairlowe", "rosalind.tuvaley"}


def test_a_second_message_goes_to_whoever_is_on_duty_by_then(intensive):
    offer = an_offer(a_referral(BEFORE_THE_CHANGE), intensive, BEFORE_THE_CHANGE)
    lifecycle.withdraw(told_by("leena.morrastad", MIDNIGHT), offer, why="found another")
    assert told(Alert.objects.get(offer=offer, kind="withdrawn"), 0) == {KOFI}


def test_an_edit_of_the_rota_does_not_change_a_ladder_that_runs(intensive):
    alert = question(NOON, intensive)
    intensive.shifts.all().delete()
    alerting.escalate(alert.pk, NOON + timedelta(minutes=1))
    assert told(alert, 1) == {HANA}


def test_a_refusal_asks_the_next_unit_by_its_own_rota(intensive, ward):
    Shift.objects.create(
        unit=ward, staff=Staff.objects.get(username="anselm.quirrado"),
        weekday=0, starts=MORNING, ends=EVENING,
    )  # fmt: skip
    offer = an_offer(a_referral(NOON), intensive, NOON)
    lifecycle.decline(told_by(HANA, NOON), offer, reason=DeclineReason.NO_COT)
    alert = Alert.objects.get(referral=offer.referral, kind="question", offer__unit=ward)
    assert told(alert, 0) == {"anselm.quirrado"}
