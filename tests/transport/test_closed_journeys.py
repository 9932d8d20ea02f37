"""What is over stays in sight of the desk and the lead, and of nobody else."""

from datetime import timedelta

import pytest

from referrals import endings
from referrals.calc.terms import Ending
from referrals.models import Staff
from tests.pages_world import browser_of, text_of
from tests.world import a_journey, a_referral, told_by
from transport import handing_over
from transport.calc.stages import TransferStage
from transport.pages import desk_closed

pytestmark = pytest.mark.django_db


@pytest.fixture
def carried(district, intensive, now):
    """A journey that ended with both signatures, three hours ago."""
    transfer = a_journey(now - timedelta(hours=4), intensive, stage=TransferStage.ARRIVED)
    by = told_by("hana.wendorra", now - timedelta(hours=3))
    for side in ("giver", "receiver"):
        signature = handing_over.Signature(side=side, name="Hana", band_checked=True)
        handing_over.hand_over(by, transfer, transfer.referral.babies.get(), signature)
    return transfer.referral


def ended_at(moment):
    referral = a_referral(moment)
    by = told_by("tomasi.bellaqua", moment + timedelta(minutes=30))
    endings.end_baby(by, referral.babies.get(), Ending.FAMILY_DECLINED)
    return referral


@pytest.mark.parametrize("username", ["leena.morrastad", "adaeze.wintermoor"])
def test_desk_and_lead_see_how_each_ended_and_how_long_it_took(carried, now, username):
    newer = ended_at(now - timedelta(hours=1))
    a_referral(now)
    browser = browser_of(Staff.objects.get(username=username))
    answer = browser.get("/desk/closed/")
    shown = [row["referral"].code for row in answer.context["rows"]]
    assert shown == [newer.code, carried.code]
    page = text_of(answer)
    assert "Port Orlime newborn intensive care" in page
    assert "Ambulance of Port Orlime" in page
    assert "Handed over to the unit" in page
    assert "1\xa0hour" in page
    assert browser.get(f"/desk/{carried.code}/").status_code == 200


def test_the_desk_leads_to_the_list(officer):
    assert 'href="/desk/closed/"' in text_of(browser_of(officer).get("/desk/"))


def test_an_empty_list_says_so(officer):
    assert "No journey has ended yet." in text_of(browser_of(officer).get("/desk/closed/"))


def test_older_ones_stand_on_the_next_page(officer, now, monkeypatch):
    monkeypatch.setattr(desk_closed, "A_PAGE", 1)
    older, newer = ended_at(now - timedelta(hours=5)), ended_at(now - timedelta(hours=1))
    browser = browser_of(officer)
    first, second = (text_of(browser.get(f"/desk/closed/?page={n}")) for n in (1, 2))
    assert (newer.code in first, older.code in first) == (True, False)
    assert (newer.code in second, older.code in second) == (False, True)
    assert 'href="?page=2"' in first
    assert browser.get("/desk/closed/?page=nonsense").status_code == 200


@pytest.mark.parametrize("username", ["tomasi.bellaqua", "hana.wendorra", "mateus.dunnaway"])
def test_nobody_else_has_such_a_list(carried, username):
    browser = browser_of(Staff.objects.get(username=username))
    assert browser.get("/desk/closed/").status_code == 404


def test_a_page_costs_the_same_however_many_are_closed(officer, now, django_assert_max_num_queries):
    for hours in range(1, 6):
        ended_at(now - timedelta(hours=hours))
    browser = browser_of(officer)
    browser.get("/desk/closed/")
    with django_assert_max_num_queries(16):
        browser.get("/desk/closed/")


def test_the_address_of_a_form_that_is_opened_to_read_says_that_nothing_happened(officer, now):
    browser = browser_of(officer)
    answer = browser.get(f"/desk/{a_referral(now).code}/assign/")
    assert (answer.status_code, answer["Allow"]) == (405, "POST")
    assert "Nothing was sent and nothing has changed." in text_of(answer)
