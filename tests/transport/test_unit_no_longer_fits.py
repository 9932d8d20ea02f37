"""After the yes: the baby comes to need more, the unit closes, or the one driven toward says no."""

from datetime import timedelta

import pytest
from world import a_journey, a_placed_referral, a_referral, told_by

from referrals import endings, lifecycle, recording, watching
from referrals.calc.terms import DeclineReason, Ending
from referrals.models import Alert, Delivery, Unit
from tests.pages_world import browser_of, text_of
from transport import lifecycle as journeys
from transport import where_to
from transport.calc.stages import TransferStage
from transport.models import Transfer, Vehicle

pytestmark = pytest.mark.django_db
OFFICER = "leena.morrastad"


def open_alert(referral, kind):
    return Alert.objects.open().filter(referral=referral, kind=kind).first()


def later(now, minutes):
    return now + timedelta(minutes=minutes)


@pytest.fixture
def placed(now, ward):
    """Breathing alone when the ward said yes."""
    referral = a_referral(now)
    told = {"breathing": "regular", "support": "none", "oxygen_flow_l_min": 0.0}
    recording.observe(told_by("tomasi.bellaqua", now), referral.babies.get(), told)
    Unit.objects.filter(pk=ward.pk).update(capabilities=["oxygen", "thermal_care"])
    offer = lifecycle.ask(told_by(OFFICER, now), referral, ward)
    lifecycle.accept(told_by("miriam.castowell", now), offer)
    return lifecycle.timeline_row(referral.pk)


class TestTheBabyNeedsMore:
    def test_the_desk_is_told_what_the_unit_does_not_have(self, placed, now, ward, officer):
        watching.look_at(placed.pk, later(now, 1))
        assert open_alert(placed, "needs_more") is None
        worse = {"breathing": "ventilated", "support": "bag_and_mask_oxygen"}
        recording.observe(told_by("tomasi.bellaqua", later(now, 5)), placed.babies.get(), worse)
        watching.look_at(placed.pk, later(now, 6))
        alert = open_alert(placed, "needs_more")
        assert f"need what {ward} does not have" in alert.sentence
        page = text_of(browser_of(officer).get("/desk/"))
        assert "Take it elsewhere" in page

    def test_when_the_baby_is_better_again_the_matter_is_settled(self, placed, now):
        baby = placed.babies.get()
        worse = {"breathing": "ventilated", "support": "bag_and_mask_oxygen"}
        recording.observe(told_by("tomasi.bellaqua", later(now, 5)), baby, worse)
        watching.look_at(placed.pk, later(now, 6))
        better = {"breathing": "regular", "support": "none"}
        recording.observe(told_by("tomasi.bellaqua", later(now, 9)), baby, better)
        watching.look_at(placed.pk, later(now, 10))
        assert open_alert(placed, "needs_more") is None


class TestTheUnitCloses:
    def test_the_desk_rings_a_unit_that_said_yes_and_reports_closed(self, now, ward):
        referral = a_placed_referral(now, ward)
        at = later(now, 5)
        Unit.objects.filter(pk=ward.pk).update(is_open=False, cots_reported_at=at)
        watching.look_at(referral.pk, at)
        assert "does its yes stand?" in open_alert(referral, "unit_closed").sentence


class TestSentTowardAUnitThatHasNotSaidYes:
    @pytest.fixture
    def sent(self, now, ward):
        referral = a_referral(now)
        by = told_by(OFFICER, now)
        transfer = journeys.assign(by, referral.transfers.get(), Vehicle.objects.get(code="AMB-1"))
        return where_to.send_toward(by, transfer, ward)

    def message_to_driver(self):
        return Delivery.objects.filter(alert__kind="link").latest("pk").message

    def test_the_driver_is_told_where(self, sent, ward):
        assert f"To: {ward}" in self.message_to_driver()

    def test_its_yes_ends_the_doubt(self, sent, now, ward):
        offer = sent.referral.offers.get(unit=ward)
        lifecycle.accept(told_by("miriam.castowell", later(now, 3)), offer)
        assert Transfer.objects.get(pk=sent.pk).without_acceptance is False

    def test_its_no_takes_the_destination_away_and_tells_the_driver(self, sent, now, ward):
        offer = sent.referral.offers.get(unit=ward)
        by = told_by("miriam.castowell", later(now, 3))
        lifecycle.decline(by, offer, reason=DeclineReason.NO_COT)
        after = Transfer.objects.get(pk=sent.pk)
        assert (after.destination, after.without_acceptance) == (None, False)
        assert "being asked, you will be told" in self.message_to_driver()


def test_a_driver_with_the_mother_aboard_is_not_sent_away(district, intensive, now):
    transfer = a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD)
    by = told_by(OFFICER, later(now, 50))
    baby = transfer.referral.babies.get()
    endings.end_baby(by, baby, Ending.DIED_ON_THE_WAY, determined_by="Dr Wendorra", band=baby.code)
    message = Delivery.objects.filter(alert__key__endswith="stood_down:1").get().message
    assert "Mother and escort are still with you" in message
    assert district.desk_phone.as_e164 in message
    assert "no longer needed" not in message


def test_a_driver_with_the_baby_aboard_is_told_the_new_way_and_not_to_collect(
    district, intensive, ward, now
):
    transfer = a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD)
    referral = transfer.referral
    by = told_by(OFFICER, later(now, 50))
    lifecycle.divert(by, referral, why="full")
    message = Delivery.objects.filter(alert__kind="link").latest("pk").message
    assert f"Changed. {referral.code}, mother and baby with you. To:" in message
    assert "collect" not in message
