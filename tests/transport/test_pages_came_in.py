"""The desk's page of what came in by telephone: whom to ring, and that it is dealt with."""

import pytest
from django.test import Client

from referrals.models import KeptInput, Referral, Staff
from tests.api_world import device_of
from tests.pages_world import browser_of, press, text_of
from tests.telephone import Telephone

STRANGER = "+12025550199"


@pytest.fixture
def leena(officer: Staff) -> Client:
    return browser_of(officer)


@pytest.fixture
def telephone(district) -> Telephone:
    return Telephone()


def test_a_strangers_words_are_read_there_with_the_number_to_ring(leena, telephone):
    telephone.sms(STRANGER, "baby <i>vent")
    page = text_of(leena.get("/desk/came-in/"))
    assert "baby &lt;i&gt;vent" in page
    assert f'href="tel:{STRANGER}"' in page
    assert "from a number we do not know" in page
    assert "can be forged" in page


def test_the_first_page_says_first_that_somebody_without_a_case_must_be_rung(leena, telephone):
    telephone.ring(STRANGER)
    page = text_of(leena.get("/desk/"))
    assert page.index("No case yet") < page.index("Open journeys")
    assert f'href="tel:{STRANGER}"' in page
    press(leena, "/desk/", action="/take/")
    assert "No case yet" not in text_of(leena.get("/desk/"))


def test_a_known_sender_is_named_and_leads_to_the_case(leena, telephone, attendant):
    telephone.sms(attendant, "baby cord round neck")
    page = text_of(leena.get("/desk/came-in/"))
    code = Referral.objects.get().code
    assert str(attendant) in page
    assert f'href="/desk/{code}/"' in page


def test_a_missed_call_puts_the_number_to_ring_beside_its_case(leena, telephone, attendant):
    telephone.ring(attendant)
    page = text_of(leena.get("/desk/"))
    assert "taken as a call for help. Nothing is known yet." in page
    assert f'href="tel:{attendant.phone.as_e164}"' in page


def test_nobody_but_the_desk_reads_it(telephone, attendant, nurse):
    telephone.sms(STRANGER, "baby")
    kept = KeptInput.objects.get()
    for somebody in (attendant, nurse):
        browser = browser_of(somebody)
        assert browser.get("/desk/came-in/").status_code == 404
        assert browser.post(f"/desk/came-in/{kept.pk}/done/").status_code == 404
    kept.refresh_from_db()
    assert kept.dealt_with_at is None


def test_the_same_list_over_the_api(telephone, officer):
    telephone.sms(STRANGER, "baby")
    device = device_of(officer.username)
    (row,) = device.get("kept/").json()["results"]
    assert (row["caller"], row["body"], row["channel"]) == (STRANGER, "baby", "sms")
    assert device.post(f"kept/{row['id']}/done/").json()["dealt_with_by"] == officer.username
    assert device.get("kept/").json()["count"] == 0
