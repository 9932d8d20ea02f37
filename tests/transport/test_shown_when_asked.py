"""What was on the list when a unit was asked stays with the question; desk and API read it."""

import pytest

from referrals import lifecycle
from referrals.models import Offer, Unit
from tests.api_world import device_of
from tests.pages_world import browser_of, press, text_of
from tests.world import a_referral, an_offer
from transport import choosing

pytestmark = pytest.mark.django_db
OFFICER = "leena.morrastad"


@pytest.fixture
def referral(district, now):
    Unit.objects.update(cots_free=4, is_open=True)
    return a_referral(now)


def candidates_of(referral, now):
    return [each for each in choosing.ranking_for(referral, now).candidates if each.possible]


def test_the_service_asks_the_first_and_keeps_the_whole_list(referral, now):
    (offer,) = lifecycle.ask_best(referral.pk, now)
    kept = referral.rankings.get(pk=offer.shown["ranking"])
    assert offer.shown["key"] == offer.unit.code
    assert offer.shown["order"] == 1
    assert offer.shown["passed_over"] == []
    assert offer.shown["made_at"] == kept.made_at.isoformat()
    first = kept.body["candidates"][0]
    assert first["road"]["method"]
    assert first["road"]["model_version"]
    assert first["reasons_for"] == offer.shown["reasons_for"]
    assert kept.body["method"]["sum"] == "two_log_normal_ways_by_quadrature"


def test_the_desk_chooses_another_and_that_is_recorded(referral, officer, now):
    first, second = candidates_of(referral, now)[:2]
    leena, path = browser_of(officer), f"/desk/{referral.code}/"
    answer = press(leena, path, 1, action="/ask/")
    assert answer.status_code == 302
    offer = Offer.objects.get(referral=referral)
    assert offer.unit.code == second.key
    assert [each["key"] for each in offer.shown["passed_over"]] == [first.key]
    entry = referral.entries.get(kind="unit_asked")
    assert entry.body["shown"]["passed_over"][0]["key"] == first.key
    page = text_of(leena.get(path))
    assert f"chosen by a person before {first.name}" in page
    assert f"asked; before it in the list stood {first.name}" in page


def test_the_desk_reads_it_later_as_it_was(referral, officer, now):
    first, second = candidates_of(referral, now)[:2]
    leena = browser_of(officer)
    press(leena, f"/desk/{referral.code}/", 1, action="/ask/")
    Unit.objects.update(is_open=False)
    offer = Offer.objects.get(referral=referral)
    page = text_of(leena.get(f"/desk/{referral.code}/asked/{offer.pk}/"))
    assert f"What was shown when {offer.unit} was asked" in page
    assert f"1. <b>{first.name}</b>" in page
    after = page.partition(f"2. <b>{second.name}</b>")[2]
    assert after.index("this one was asked") < after.index("there in about")
    assert "units that could take the baby and had not been asked" in page
    assert "closed now" not in page
    assert "model district-1" in page
    assert leena.get(f"/desk/{referral.code}/asked/{offer.pk + 1}/").status_code == 404


def test_the_api_answers_with_the_list_and_the_unit_asked(referral, officer, now):
    press(browser_of(officer), f"/desk/{referral.code}/", 1, action="/ask/")
    offer = Offer.objects.get(referral=referral)
    Unit.objects.update(is_open=False)
    body = device_of(OFFICER).get(f"referrals/{referral.code}/offers/{offer.pk}/shown/").json()
    assert (body["offer"], body["unit"]) == (offer.pk, offer.unit.code)
    assert body["candidates"][1]["key"] == offer.unit.code
    assert body["candidates"][1]["possible"] is True
    assert body["passed_over"][0]["order"] == 1
    assert body["method"]["near_tie_minutes"] == 5


def test_a_unit_asked_from_no_list_has_one_made_for_it(referral, now):
    code = candidates_of(referral, now)[1].key
    offer = an_offer(referral, Unit.objects.get(code=code), now)
    assert offer.shown["key"] == code
    assert len(offer.shown["passed_over"]) == 1
    assert referral.rankings.get(pk=offer.shown["ranking"]).made_at == now


def test_a_list_that_cannot_be_made_keeps_no_unit_from_being_asked(referral, now, monkeypatch):
    def fault(*_):
        raise RuntimeError("a fault of the estimate")

    monkeypatch.setattr(choosing, "ranking_for", fault)
    offer = an_offer(referral, Unit.objects.get(code="ORL-NB"), now)
    assert offer.stage == "open"
    assert offer.shown == {}


def test_an_offer_without_a_list_has_no_page_and_no_answer(referral, officer, now):
    offer = an_offer(referral, Unit.objects.get(code="ORL-NB"), now)
    Offer.objects.filter(pk=offer.pk).update(shown={})
    assert browser_of(officer).get(f"/desk/{referral.code}/asked/{offer.pk}/").status_code == 404
    path = f"referrals/{referral.code}/offers/{offer.pk}/shown/"
    assert device_of(OFFICER).get(path).status_code == 404
