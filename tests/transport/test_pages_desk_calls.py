"""The call list at the desk: who is responsible, whom to ring and why, what came of each call."""

import re
from datetime import timedelta

import pytest

from referrals import lifecycle, ringing, sweeping
from referrals.calc.terms import CameOf, DeclineReason
from referrals.models import District, Referral, ReserveContact, Staff
from tests.pages_world import browser_of, press, text_of
from tests.world import a_referral, an_offer, told_by
from transport.models import Vehicle
from transport.pages import call_list

pytestmark = pytest.mark.django_db


@pytest.fixture
def leena(officer):
    return browser_of(officer)


@pytest.fixture
def refused(district, now):
    """A referral of a quarter of an hour ago that every unit asked has refused."""
    then = now - timedelta(minutes=15)
    referral = a_referral(then)
    lifecycle.ask_best(referral.pk, then, count=4)
    for offer in referral.offers.all():
        lifecycle.decline(told_by("leena.morrastad", then), offer, reason=DeclineReason.NO_COT)
    sweeping.sweep("test", send=False)
    return Referral.objects.get(pk=referral.pk)


def in_words(answer) -> str:
    page = re.sub(r"<[^>]+>", " ", text_of(answer).split("<main")[1])
    return " ".join(page.split())


def calls(referral: Referral) -> str:
    return f"/desk/{referral.code}/calls/"


@pytest.mark.parametrize("username", ["tomasi.bellaqua", "hana.wendorra", "mateus.dunnaway"])
def test_only_the_desk_has_it(person, refused, username):
    browser = browser_of(person(username))
    assert browser.get(calls(refused)).status_code == 404
    assert browser.post(f"{calls(refused)}made/", {"whom": "caller"}).status_code == 404
    assert browser.post(f"{calls(refused)}charge/", {"staff": username}).status_code == 404


def test_the_first_page_and_the_referral_lead_to_it(leena, refused):
    assert f'href="{calls(refused)}"' in text_of(leena.get("/desk/"))
    assert f'href="{calls(refused)}"' in text_of(leena.get(f"/desk/{refused.code}/"))


def test_it_says_why_nothing_goes_on_by_itself_and_who_is_responsible(leena, refused):
    words = in_words(leena.get(calls(refused)))
    assert f"No unit is left to ask for {refused.code}." in words
    assert f"no vehicle for {refused.code} after 5 min" in words
    assert "Leena Morrastad , on duty at the desk, until somebody takes it" in words


def test_while_units_are_being_asked_it_says_that_nobody_has_to_ring(leena, now, ward):
    referral = a_referral(now)
    an_offer(referral, ward, now)
    assert "Nobody has to ring from this list now." in in_words(leena.get(calls(referral)))


def test_taking_it_is_one_press_and_makes_me_responsible(leena, refused, officer):
    answer = press(leena, calls(refused), action="/calls/charge/")
    assert answer["Location"] == calls(refused)
    refused.refresh_from_db()
    assert refused.responsible == officer
    words = in_words(leena.get(calls(refused)))
    assert re.search(r"Leena Morrastad , since \d\d:\d\d", words)
    assert "I take it" not in words


def test_taking_care_of_the_alert_on_the_first_page_makes_me_responsible(leena, refused, officer):
    alert = refused.alerts.open().get(kind="nobody_can_take")
    press(leena, "/desk/", action=f"/alerts/{alert.pk}/take/")
    refused.refresh_from_db()
    assert refused.responsible == officer


def test_it_can_be_given_only_to_somebody_of_the_desk(leena, refused):
    answer = press(leena, calls(refused), 1, action="/calls/charge/", staff="tomasi.bellaqua")
    assert answer.status_code == 400
    press(leena, calls(refused), 1, action="/calls/charge/", staff="adaeze.wintermoor")
    refused.refresh_from_db()
    assert refused.responsible == Staff.objects.get(username="adaeze.wintermoor")


def test_giving_it_to_another_can_be_undone_in_one_press(leena, refused, officer):
    press(leena, calls(refused), action="/calls/charge/")
    other = {"staff": "adaeze.wintermoor"}
    page = leena.post(f"{calls(refused)}charge/", other, follow=True)
    assert 'name="staff" value="leena.morrastad"' in text_of(page)
    press(leena, calls(refused), action="/calls/charge/")
    refused.refresh_from_db()
    assert refused.responsible == officer


def test_the_list_has_units_vehicles_deputies_and_whoever_is_outside(refused, now, district):
    elsewhere = District.objects.create(code="next", name="Next District")
    District.objects.filter(pk=elsewhere.pk).update(desk_phone="+12025550199")
    callees = call_list.callees_of(refused, now)
    groups = [callee.group for callee in callees]
    assert tuple(dict.fromkeys(groups)) == call_list.GROUPS
    assert all(re.fullmatch(r"\+\d+", callee.phone) for callee in callees)
    assert len({callee.whom for callee in callees}) == len(callees)
    by_name = {callee.name: callee for callee in callees}
    assert by_name["Next District"].why == ("desk of another district",)
    fishers = ReserveContact.objects.get(name="Fishers of Hurrowen")
    assert by_name[fishers.name].why == ("has a vehicle", "two boats, not in a swell")


def test_the_standing_unit_comes_first_and_each_refusal_has_its_reason_and_time(refused, now):
    units = [c for c in call_list.callees_of(refused, now) if c.group == call_list.UNITS]
    assert units[0].whom == "unit:ORL-NB"
    assert units[0].why[0] == "standing unit"
    assert re.fullmatch(r"said no at \d\d:\d\d: no free cot", units[0].why[1])


def test_a_unit_that_did_not_answer_says_since_when(leena, now, ward):
    referral = a_referral(now - timedelta(minutes=60))
    offer = an_offer(referral, ward, now - timedelta(minutes=59))
    lifecycle.lapse(offer, now)
    [row] = [c for c in call_list.callees_of(referral, now) if c.whom == "unit:KES-NB"]
    assert re.fullmatch(r"asked at \d\d:\d\d, has not answered", row.why[0])


def test_a_vehicle_found_by_phone_names_its_owner(refused, now, district):
    Vehicle.objects.create(
        district=district, code="found-1", name="Blue van", kind="car", registered=False,
        driver_name="Ottoline Vash", driver_phone="+12025550180", owner="the bakery",
    )  # fmt: skip
    rows = call_list.callees_of(refused, now)
    [row] = [row for row in rows if row.whom == "vehicle:found-1"]
    assert row.name == "Ottoline Vash, Blue van"
    assert {"found by phone", "belongs to the bakery"} <= set(row.why)


def test_a_number_is_rung_by_one_press_and_what_came_of_it_is_another(leena, refused):
    page = text_of(leena.get(calls(refused)))
    assert 'href="tel:+12025550102"' in page
    answer = press(leena, calls(refused), 0, action="/calls/made/", came_of="no_answer")
    assert answer["Location"] == calls(refused)
    [call] = ringing.calls_of(refused)
    assert call.came_of is CameOf.NO_ANSWER
    assert call.actor == "Leena Morrastad"
    entry = refused.entries.get(kind="rang")
    assert entry.channel == "desk"


def test_calls_stand_on_the_list_and_on_the_referral_with_their_times(leena, refused):
    told = {"whom": "unit:KES-NB", "came_of": "rings_back", "words": "in ten minutes"}
    leena.post(f"{calls(refused)}made/", told)
    for path in (calls(refused), f"/desk/{refused.code}/"):
        words = in_words(leena.get(path))
        said = r"\d\d:\d\d Kesawari newborn ward, Kesawari Hospital: Will ring back in ten minutes"
        assert re.search(said, words)
    timeline = in_words(leena.get(f"/desk/{refused.code}/")).split("The chain holds")[1]
    assert "rang Kesawari newborn ward, Kesawari Hospital: will ring back" in timeline


def test_a_press_without_an_answer_is_not_lost(leena, refused):
    told = {"whom": "unit:KES-NB", "came_of": "", "words": "said something"}
    answer = leena.post(f"{calls(refused)}made/", told)
    assert answer.status_code == 400
    assert "said something" in text_of(answer)
    assert ringing.calls_of(refused) == []


def test_a_number_that_is_not_on_the_list_is_refused(leena, refused):
    told = {"whom": "unit:NOWHERE", "came_of": "yes"}
    assert leena.post(f"{calls(refused)}made/", told).status_code == 400


@pytest.mark.parametrize(
    ("whom", "leads_to"),
    [
        ("unit:KES-NB", "?open=accept#units"),
        ("vehicle:AMB-1", "#vehicle"),
    ],
)
def test_a_yes_commits_nobody_and_leads_to_the_form_that_does(leena, refused, whom, leads_to):
    leena.post(f"{calls(refused)}made/", {"whom": whom, "came_of": "yes"})
    assert f'href="/desk/{refused.code}/{leads_to}"' in text_of(leena.get(calls(refused)))
    assert refused.accepted_offer() is None
    assert refused.transfers.get().vehicle is None
