"""A wrong report of free cots is taken back: what stood before stands, less what was promised."""

import pytest

from referrals import cots, lifecycle
from referrals.calc.states import NotPossible
from referrals.models import CotReport, Unit
from tests.api_world import device_of
from tests.pages_world import browser_of, forms_on, press, text_of
from tests.world import a_referral, an_offer, told_by
from transport import invariants

pytestmark = pytest.mark.django_db


@pytest.fixture
def hana(now):
    return told_by("hana.wendorra", now)


def taken_back(by):
    return cots.withdraw_report(
        by, CotReport.objects.latest("pk"), why="typed into the wrong field"
    )


def test_what_stood_before_stands_again(intensive, hana):
    before = (intensive.cots_free, intensive.is_open, intensive.cots_reported_at)
    cots.report_cots(hana, intensive, cots_free=7, is_open=False)
    taken_back(hana)
    intensive.refresh_from_db()
    assert (intensive.cots_free, intensive.is_open, intensive.cots_reported_at) == before
    report = CotReport.objects.get()
    assert (report.withdrawn_by, report.withdrawn_why) == (
        "Hana Wendorra",
        "typed into the wrong field",
    )


def test_a_cot_promised_since_stays_promised(intensive, hana, now):
    cots.report_cots(hana, intensive, cots_free=2)
    cots.report_cots(hana, intensive, cots_free=5)
    lifecycle.accept(hana, an_offer(a_referral(now), intensive, now))
    taken_back(hana)
    assert Unit.objects.get(pk=intensive.pk).cots_free == 1
    moment = invariants.moment(5)
    assert list(invariants.cots_add_up(moment)) == []


def test_a_cot_that_was_promised_on_it_is_not_taken_away(intensive, hana, now):
    cots.report_cots(hana, intensive, cots_free=0)
    cots.report_cots(hana, intensive, cots_free=1)
    lifecycle.accept(hana, an_offer(a_referral(now), intensive, now))
    with pytest.raises(NotPossible) as refusal:
        taken_back(hana)
    assert refusal.value.code == "cots_promised"
    assert Unit.objects.get(pk=intensive.pk).cots_free == 0


def test_only_the_newest_report_and_once(intensive, hana):
    cots.report_cots(hana, intensive, cots_free=3)
    first = CotReport.objects.latest("pk")
    cots.report_cots(hana, intensive, cots_free=4)
    with pytest.raises(NotPossible, match="again since"):
        cots.withdraw_report(hana, first)
    for _ in range(2):
        cots.withdraw_report(hana, CotReport.objects.latest("pk"))
    assert Unit.objects.get(pk=intensive.pk).cots_free == 3


def test_the_unit_undoes_it_on_the_line_that_says_done(intensive, nurse):
    free, unit = intensive.cots_free, browser_of(nurse)
    press(unit, f"/unit/cots/{intensive.pk}/", cots_free="9", is_open="on")
    (undo,) = [f for f in forms_on(unit.get("/unit/")) if "/cots/undo/" in f["action"]]
    assert "Taken back" in text_of(unit.post(undo["action"], undo["fields"], follow=True))
    intensive.refresh_from_db()
    assert intensive.cots_free == free


def test_over_the_api(intensive):
    unit, free = device_of("hana.wendorra"), intensive.cots_free
    unit.post("units/ORL-NB/cots/", {"cots_free": 9})
    answer = unit.post("units/ORL-NB/cots/withdraw/", {"reason": "typed wrongly"})
    assert answer.json()["cots_free"] == free
    answer = unit.post("units/ORL-NB/cots/withdraw/", {"reason": "typed wrongly"})
    assert (answer.status_code, answer.json()["code"]) == (409, "nothing_to_withdraw")
