"""A derived need set aside by a person, at the desk and at the unit; and who goes along."""

import re

import pytest

from referrals import lifecycle, timeline
from referrals.calc.terms import DeclineReason
from referrals.models import Need, Referral
from tests.pages_world import browser_of, press, text_of
from tests.world import a_journey, a_referral, an_offer, told_by
from transport import lifecycle as journeys
from transport.calc.stages import TransferStage
from transport.models import Vehicle

pytestmark = pytest.mark.django_db


@pytest.fixture
def leena(officer):
    return browser_of(officer)


@pytest.fixture
def offer(now, ward):
    """The question to Kesawari for a baby ventilated by hand."""
    return an_offer(a_referral(now), ward, now)


def needs(referral: Referral):
    return referral.needs.filter(superseded_at=None)


class TestAtTheDesk:
    def test_it_is_set_aside_with_a_reason_and_both_stay_in_sight(self, leena, now):
        referral = a_referral(now)
        need = needs(referral).first()
        told = {"need": str(need.pk), "reason": "Dr Ostermoor: oxygen is enough",
                "said_by": "Ravi Ostermoor"}  # fmt: skip
        answer = leena.post(f"/desk/{referral.code}/override/", told)
        assert answer["Location"] == f"/desk/{referral.code}/#needs"
        need.refresh_from_db()
        assert need.overridden_by == "Ravi Ostermoor, to Leena Morrastad"
        page = text_of(leena.get(f"/desk/{referral.code}/"))
        assert f'<span class="was">{need.words}</span>' in page
        assert "set aside by Ravi Ostermoor, to Leena Morrastad: Dr Ostermoor: oxygen is" in page
        entry = referral.entries.get(kind="need_overridden")
        assert entry.channel == "desk"
        assert "Ostermoor" not in str(entry.body)
        assert timeline.faults_of(Referral.objects.get(pk=referral.pk)) == []

    def test_every_need_has_its_own_form_and_one_set_aside_has_none(self, leena, now):
        referral = a_referral(now)
        page = f"/desk/{referral.code}/"
        count = needs(referral).count()
        assert text_of(leena.get(page)).count(f'action="{page}override/"') == count
        press(leena, page, action="/override/", reason="the doctor says so")
        assert text_of(leena.get(page)).count(f'action="{page}override/"') == count - 1

    def test_it_counts_again_when_a_person_says_so(self, leena, now):
        referral = a_referral(now)
        page, need = f"/desk/{referral.code}/", needs(referral).first()
        press(leena, page, action="/override/", reason="the doctor says so")
        press(leena, page, action="/restore/", reason="it was the other baby")
        need.refresh_from_db()
        assert need.overridden_by == ""
        assert referral.entries.filter(kind="need_restored").count() == 1

    def test_without_a_reason_it_stands_and_the_form_says_so(self, leena, now):
        referral = a_referral(now)
        answer = press(leena, f"/desk/{referral.code}/", action="/override/", reason="")
        assert answer.status_code == 400
        assert not Need.objects.exclude(overridden_by="").exists()

    def test_a_need_of_another_referral_is_not_found(self, leena, now):
        one, other = a_referral(now), a_referral(now, attendant="ngozi.harvelund")
        told = {"need": str(needs(other).first().pk), "reason": "no"}
        assert leena.post(f"/desk/{one.code}/override/", told).status_code == 404


class TestAtTheUnit:
    def test_the_unit_sets_a_need_aside_from_its_question(self, offer, other_nurse):
        browser = browser_of(other_nurse)
        page = text_of(browser.get(f"/unit/{offer.pk}/"))
        [link, *_others] = re.findall(r'href="(/unit/\d+/needs/\d+/)"', page)
        need = Need.objects.get(pk=int(link.rstrip("/").rsplit("/", 1)[1]))
        assert need.words in text_of(browser.get(link))
        answer = press(browser, link, reason="we have seen the baby before")
        assert answer["Location"] == f"/unit/{offer.pk}/"
        need.refresh_from_db()
        assert need.overridden_by == "Miriam Castowell"
        page = text_of(browser.get(f"/unit/{offer.pk}/"))
        assert f'<span class="was">{need.words}</span>' in page
        assert "Set aside by Miriam Castowell: we have seen the baby before" in page
        assert link not in page

    def test_what_is_needed_is_worked_out_without_it(self, offer, other_nurse, now):
        browser = browser_of(other_nurse)
        page = f"/unit/{offer.pk}/"

        def asked_for() -> str:
            [words] = re.findall(r"a cot(.*?)</p>", text_of(browser.get(page)), re.DOTALL)
            return words

        assert "CPAP" in asked_for()
        for link in re.findall(r'href="(/unit/\d+/needs/\d+/)"', text_of(browser.get(page))):
            press(browser, link, reason="no")
        assert "CPAP" not in asked_for()

    def test_a_baby_ventilated_by_hand_stays_the_most_urgent_whatever_is_set_aside(
        self, offer, other_nurse
    ):
        for need in needs(offer.referral):
            path = f"/unit/{offer.pk}/needs/{need.pk}/"
            press(browser_of(other_nurse), path, reason="oxygen is enough")
        referral = Referral.objects.get(pk=offer.referral_id)
        assert referral.urgency == "ventilated"
        assert "Ventilated by hand" in text_of(browser_of(other_nurse).get(f"/unit/{offer.pk}/"))

    def test_without_a_reason_the_page_stays(self, offer, other_nurse):
        browser = browser_of(other_nurse)
        need = needs(offer.referral).first()
        assert press(browser, f"/unit/{offer.pk}/needs/{need.pk}/").status_code == 422
        need.refresh_from_db()
        assert need.overridden_by == ""

    def test_a_unit_that_said_no_changes_nothing_any_more(self, offer, other_nurse, now):
        by = told_by("miriam.castowell", now)
        lifecycle.decline(by, offer, reason=DeclineReason.NO_COT)
        need = needs(offer.referral).first()
        path = f"/unit/{offer.pk}/needs/{need.pk}/"
        answer = browser_of(other_nurse).post(path, {"reason": "too late"})
        assert answer.status_code == 409
        assert "nothing was changed" in text_of(answer)
        need.refresh_from_db()
        assert need.overridden_by == ""

    def test_another_unit_does_not_find_it(self, offer, nurse):
        need = needs(offer.referral).first()
        path = f"/unit/{offer.pk}/needs/{need.pk}/"
        assert browser_of(nurse).get(path).status_code == 404


class TestWhoGoesAlong:
    def test_the_desk_names_the_escort_and_changes_it(self, leena, now, intensive):
        transfer = a_journey(now, intensive, stage=TransferStage.COLLECTING)
        page = f"/desk/{transfer.referral.code}/"
        assert "not named yet" in text_of(leena.get(page))
        press(leena, page, action="/escort/", name="Tomasi Bellaqua")
        press(leena, page, action="/escort/", name="Wezi Oranday", said_by="Tomasi Bellaqua")
        transfer.refresh_from_db()
        assert transfer.escort_name == "Wezi Oranday"
        second = transfer.referral.entries.filter(kind="escort_named").order_by("-seq")[0]
        assert {"escort", "escort_was", "said_by"} <= set(second.body)
        assert "Oranday" not in str(second.body)
        assert "who travels with mother and baby: Wezi Oranday" in text_of(leena.get(page))

    def test_it_can_be_named_before_a_vehicle_is_there_and_stays_with_the_one_sent(
        self, leena, now
    ):
        referral = a_referral(now)
        press(leena, f"/desk/{referral.code}/", action="/escort/", name="Tomasi Bellaqua")
        press(leena, "/desk/", action=f"/desk/{referral.code}/assign/")
        assert referral.transfers.get().escort_name == "Tomasi Bellaqua"

    def test_the_unit_reads_who_comes_along(self, now, intensive, nurse):
        transfer = a_journey(now, intensive, stage=TransferStage.COLLECTING)
        journeys.name_escort(told_by("leena.morrastad", now), transfer, "Tomasi Bellaqua")
        offer = transfer.referral.accepted_offer()
        page = text_of(browser_of(nurse).get(f"/unit/{offer.pk}/"))
        assert "Tomasi Bellaqua comes along with mother and baby." in page

    def test_one_named_with_the_vehicle_stands_in_its_entry_as_a_commitment(self, now, intensive):
        referral = a_referral(now)
        by, vehicle = told_by("leena.morrastad", now), Vehicle.objects.get(code="AMB-1")
        journeys.assign(by, referral.transfers.get(), vehicle, escort_name="Tomasi Bellaqua")
        entry = referral.entries.get(kind="transfer_assigned")
        assert "escort" in entry.body
        assert "Tomasi" not in str(entry.body)


def test_a_caution_of_one_form_does_not_stand_above_another(leena, now, ward):
    """Words said once in a template stay set for every form after it, unless that names its own."""
    offer = an_offer(a_referral(now), ward, now)
    page = text_of(leena.get(f"/desk/{offer.referral.code}/"))
    assert page.count("Ring the two together where you can") == 1
    assert page.count("Only what was really given") == 1
