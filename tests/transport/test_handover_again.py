"""The band is read before leaving and by each side; a handover in error can be signed again."""

import pytest

from referrals import endings, reopening
from referrals.calc.states import NotPossible
from referrals.calc.terms import Ending
from referrals.models import Alert, Baby, Referral
from tests.api_world import device_of, driver_device
from tests.pages_world import browser_of, press, text_of
from tests.world import a_journey, told_by
from transport import handing_over, milestones, on_the_way
from transport import lifecycle as journeys
from transport.calc.stages import TransferStage
from transport.models import Handover, Transfer, Vehicle

pytestmark = pytest.mark.django_db


def sign(transfer, baby, now, *sides, band=True, **details):
    for side in sides or ("giver", "receiver"):
        signature = handing_over.Signature(side=side, name="Hana", band_checked=band, **details)
        handing_over.hand_over(told_by("hana.wendorra", now), transfer, baby, signature)


def reverse(baby, now):
    reopening.reverse_ending(told_by("leena.morrastad", now), baby, reason="still in the vehicle")


class TestSignedAgain:
    @pytest.fixture
    def transfer(self, now, intensive):
        return a_journey(now, intensive, stage=TransferStage.ARRIVED)

    def test_both_sides_sign_again_and_the_old_signatures_stay_in_sight(self, transfer, now):
        baby = transfer.referral.babies.get()
        sign(transfer, baby, now, condition="ventilated", disagreement="too cold")
        reverse(baby, now)
        row = Handover.objects.get()
        assert not row.is_signed
        assert (row.given_by, row.received_by, row.condition, row.disagreement) == ("",) * 3 + (
            None,
        )
        sign(transfer, baby, now)
        assert Baby.objects.get().ending == "handed_over"
        assert Referral.objects.get().stage == "closed"
        assert transfer.referral.entries.filter(kind="handover_signed").count() == 4

    def test_one_old_signature_is_not_half_of_the_new_handover(self, transfer, now):
        baby = transfer.referral.babies.get()
        sign(transfer, baby, now)
        reverse(baby, now)
        sign(transfer, baby, now, "receiver")
        assert Baby.objects.get().ending == ""

    def test_no_other_vehicle_is_needed_when_the_baby_is_there_already(self, transfer, now):
        baby = transfer.referral.babies.get()
        sign(transfer, baby, now)
        reverse(baby, now)
        searching = transfer.referral.transfers.live().get()
        assert (searching.stage, searching.vehicle) == ("wanted", None)
        sign(searching, baby, now)
        searching.refresh_from_db()
        assert searching.stage == "stood_down"
        assert Handover.objects.get().transfer == transfer
        open_alerts = Alert.objects.open().filter(referral=transfer.referral, needs_answer=True)
        assert not open_alerts.exists()

    def test_another_vehicle_may_bring_the_baby_after_all(self, transfer, now):
        baby, desk = transfer.referral.babies.get(), told_by("leena.morrastad", now)
        sign(transfer, baby, now)
        reverse(baby, now)
        second = transfer.referral.transfers.live().get()
        journeys.assign(desk, second, Vehicle.objects.get(code="AMB-2"))
        sign(second, baby, now)
        assert Handover.objects.get().transfer == second
        assert Transfer.objects.get(pk=second.pk).stage == "handed_over"

    def test_of_twins_one_is_signed_again_on_the_same_journey(self, now, intensive):
        transfer = a_journey(now, intensive, stage=TransferStage.ARRIVED, babies=2)
        first, second = transfer.referral.babies.all()
        sign(transfer, first, now)
        reverse(first, now)
        for baby in (first, second):
            sign(transfer, baby, now)
        assert Transfer.objects.get().stage == "handed_over"

    def test_a_journey_without_vehicle_is_stood_down_although_a_twin_was_handed_over(
        self, now, intensive
    ):
        transfer = a_journey(now, intensive, stage=TransferStage.ARRIVED, babies=2)
        first, second = transfer.referral.babies.all()
        sign(transfer, first, now)
        desk = told_by("leena.morrastad", now)
        journeys.unassign(desk, transfer, why="it has broken down", broken=True)
        endings.end_baby(desk, second, Ending.PLACED_ELSEWHERE)
        assert Transfer.objects.get().stage == "stood_down"

    def test_the_pages_of_all_three_let_it_be_signed_again(
        self, transfer, attendant, nurse, officer, now
    ):
        referral = transfer.referral
        baby = referral.babies.get()
        sign(transfer, baby, now)
        reverse(baby, now)
        offer = referral.accepted_offer()
        desk = text_of(browser_of(officer).get(f"/desk/{referral.code}/"))
        assert f"/desk/{referral.code}/sign/" in desk
        mine = browser_of(attendant)
        assert f"/r/{referral.code}/handover/1/" in text_of(mine.get(f"/r/{referral.code}/"))
        press(mine, f"/r/{referral.code}/handover/1/", band=baby.code)
        theirs = browser_of(nurse)
        assert f"/unit/{offer.pk}/receive/1/" in text_of(theirs.get(f"/unit/{offer.pk}/"))
        press(theirs, f"/unit/{offer.pk}/receive/1/", band=baby.code)
        assert Baby.objects.get().ending == "handed_over"


class TestBand:
    @pytest.fixture
    def transfer(self, now, intensive):
        return a_journey(now, intensive, stage=TransferStage.AT_ORIGIN, babies=2)

    def test_each_band_is_read_before_leaving_and_recorded(self, transfer, attendant):
        client, code = browser_of(attendant), transfer.referral.code
        path = f"/r/{code}/before-leaving/"
        press(client, path, band_1=f"{code}-1", band_2=f"{code.lower()}2", item=["warmth"])
        assert [row.baby.birth_order for row in transfer.band_readings.all()] == [1, 2]
        entries = transfer.referral.entries.filter(kind="band_read")
        assert [entry.body["band"] for entry in entries] == [f"{code}-1", f"{code}-2"]
        assert text_of(client.get(path)).count("by Tomasi Bellaqua.") == 2
        assert f"band {code}-2 read before leaving" in text_of(client.get(f"/r/{code}/timeline/"))

    def test_a_band_of_the_other_twin_is_refused_and_all_that_was_typed_stays(
        self, transfer, attendant
    ):
        code = transfer.referral.code
        told = {"band_1": f"{code}-1", "band_2": f"{code}-1", "item": ["warmth"]}
        answer = press(browser_of(attendant), f"/r/{code}/before-leaving/", **told)
        assert answer.status_code == 409
        page = text_of(answer)
        assert f"this is about {code}-2" in page
        assert page.count(f'value="{code}-1"') == 2
        assert 'value="warmth" checked' in page
        assert not transfer.band_readings.exists()
        assert not transfer.answers.exists()

    def test_a_device_reads_it_too(self, transfer):
        phone, code = device_of("tomasi.bellaqua"), transfer.referral.code
        path = f"transfers/{transfer.pk}/bands/"
        wrong = phone.post(path, {"baby": 2, "band": f"{code}-1"})
        assert (wrong.status_code, wrong.json()["code"]) == (409, "wrong_band")
        assert phone.post(path, {"baby": 2, "band": f"{code}-2"}).status_code == 201
        assert phone.get(path).json()[0]["read_by"] == "Tomasi Bellaqua"
        assert driver_device(transfer).get(path).json()[0]["read_by"] == ""

    @pytest.mark.parametrize("careless", ["giver", "receiver"])
    def test_each_side_reads_it_for_itself_and_the_desk_hears_of_the_one_that_did_not(
        self, transfer, now, careless
    ):
        baby = transfer.referral.babies.first()
        for side in ("giver", "receiver"):
            sign(transfer, baby, now, side, band=side != careless)
        row = Handover.objects.get()
        assert row.is_signed, "nobody waits for a band"
        assert row.given_band_checked is (careless != "giver")
        assert row.received_band_checked is (careless != "receiver")
        assert not row.band_checked
        notice = Alert.objects.get(kind="band_unchecked")
        assert not notice.needs_answer
        side = "gives" if careless == "giver" else "receives"
        assert notice.sentence.startswith(f"{baby.code}: handover signed by the one who {side}")
        assert notice.deliveries.exists()

    def test_with_both_bands_read_the_desk_hears_nothing(self, transfer, now):
        sign(transfer, transfer.referral.babies.first(), now)
        assert Handover.objects.get().band_checked
        assert not Alert.objects.filter(kind="band_unchecked").exists()

    def test_the_api_shows_each_side_apart_and_the_desk_sees_it(self, transfer, officer, now):
        sign(transfer, transfer.referral.babies.first(), now, "giver", band=False)
        row = device_of("hana.wendorra").get(f"transfers/{transfer.pk}/handover/").json()[0]
        shown = ("giver_band_checked", "receiver_band_checked", "band_checked")
        assert [row[name] for name in shown] == [False] * 3
        page = text_of(browser_of(officer).get(f"/desk/{transfer.referral.code}/"))
        assert "band not read" in page
        assert "band not read before leaving" in page

    def test_a_wrong_band_keeps_no_vehicle_from_leaving(self, transfer, now):
        baby = transfer.referral.babies.first()
        with pytest.raises(NotPossible, match="Look at the band again"):
            on_the_way.read_band(told_by("tomasi.bellaqua", now), transfer, baby, "K7Q4")
        driver = told_by("mateus.dunnaway", now)
        milestones.reach(driver, transfer, TransferStage.ON_THE_ROAD)
        assert Transfer.objects.get().stage == "on_the_road"
