"""Signatures, escorts, ways, vehicles, stops and closures are taken back by who pressed them."""

from datetime import timedelta

import pytest

from referrals.calc.states import NotPossible
from referrals.models import Alert, Baby, KeptInput, Referral
from tests.api_world import device_of, driver_device
from tests.pages_world import browser_of, forms_on, press, text_of
from tests.world import a_journey, a_referral, told_by
from transport import handing_over, invariants
from transport.calc.stages import TransferStage
from transport.driver_links import token_for
from transport.models import Closure, Position, Transfer, Vehicle
from transport.pages.entry_words import lines_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def transfer(now, intensive):
    return a_journey(now - timedelta(hours=1), intensive, stage=TransferStage.ARRIVED)


@pytest.fixture
def baby(transfer):
    return transfer.referral.babies.get()


def sign(transfer, baby, side, now, name="Hana"):
    signature = handing_over.Signature(side=side, name=name, band_checked=True)
    by = told_by("hana.wendorra", now)
    return handing_over.hand_over(by, transfer, baby, signature)


def stages_hold():
    assert list(invariants.stages_follow_entries(invariants.moment(5))) == []


class TestSignatures:
    def test_the_giver_takes_one_back_before_the_unit_has_signed(
        self, transfer, baby, now, attendant
    ):
        sign(transfer, baby, "giver", now)
        phone, case = browser_of(attendant), f"/r/{transfer.referral.code}/"
        assert "/handover/1/take-back/" in text_of(phone.get(case))
        path = f"{case}handover/1/take-back/"
        assert press(phone, path, reason=" ").status_code == 409
        assert press(phone, path, reason="it was the other twin").status_code == 302
        baby.handover.refresh_from_db()
        assert (baby.handover.given_by, baby.handover.given_at) == ("", None)
        (line,) = [x for x in lines_of(transfer.referral) if x.sentence.startswith("signature")]
        assert {"Hana", "it was the other twin"} <= set(line.said)

    def test_after_both_the_other_side_stays_and_the_referral_opens(
        self, transfer, baby, now, nurse
    ):
        sign(transfer, baby, "giver", now, name="Tomasi")
        sign(transfer, baby, "receiver", now)
        assert Referral.objects.get().stage == "closed"
        offer = transfer.referral.accepted_offer()
        unit, base = browser_of(nurse), f"/unit/{offer.pk}/"
        assert "Our signature is wrong" in text_of(unit.get(base))
        assert press(unit, f"{base}receive/1/take-back/", reason="wrong baby").status_code == 302
        handover = Baby.objects.get().handover
        assert (handover.given_by, handover.received_at) == ("Tomasi", None)
        assert (Referral.objects.get().stage, Baby.objects.get().ending) == ("placed", "")
        stages_hold()
        transfer = Referral.objects.get().transfers.last()
        assert sign(transfer, Baby.objects.get(), "receiver", now).is_signed
        assert Baby.objects.get().ending == "handed_over"
        stages_hold()

    def test_one_that_is_not_there_cannot_be_taken_back(self, transfer, baby, now):
        sign(transfer, baby, "giver", now)
        by = told_by("hana.wendorra", now)
        for side, code in (("receiver", "not_signed"), ("aunt", "unknown_side")):
            with pytest.raises(NotPossible) as refusal:
                handing_over.withdraw_signature(by, baby, side, reason="x")
            assert refusal.value.code == code

    def test_at_the_desk_and_over_the_api(self, transfer, baby, now, officer):
        sign(transfer, baby, "giver", now)
        told = {"side": "giver", "reason": "told wrongly"}
        code = transfer.referral.code
        answer = browser_of(officer).post(f"/desk/{code}/unsign/", told | {"baby": 1})
        assert answer.status_code == 302
        sign(transfer, baby, "giver", now)
        link = driver_device(transfer)
        answer = link.post(f"transfers/{transfer.pk}/handover/withdraw/", told)
        assert (answer.status_code, answer.json()["given_at"]) == (200, None)


class TestTheWay:
    @pytest.fixture
    def desk(self, officer):
        return browser_of(officer)

    @pytest.fixture
    def referral(self, now, district):
        return a_referral(now)

    def undo(self, desk, referral, verb):
        path = f"/desk/{referral.code}/"
        undo = next(f for f in forms_on(desk.get(path)) if f["action"] == f"{path}{verb}/")
        return desk.post(undo["action"], undo["fields"], follow=True)

    def test_a_vehicle_sent_by_a_slip_is_free_again(self, referral, desk):
        desk.post(f"/desk/{referral.code}/assign/", {"vehicle": "AMB-1"})
        assert Vehicle.objects.get(code="AMB-1").state == "busy"
        self.undo(desk, referral, "take_back")
        assert Vehicle.objects.get(code="AMB-1").state == "free"
        assert Transfer.objects.get().stage == "wanted"

    def test_one_that_took_over_is_not_undone_in_one_press(self, referral, desk):
        for code in ("AMB-1", "AMB-2"):
            desk.post(f"/desk/{referral.code}/assign/", {"vehicle": code})
        page = desk.get(f"/desk/{referral.code}/")
        assert "Undo" in text_of(page)
        assert text_of(page).count("Undo") == 1

    def test_sent_toward_a_unit_by_a_slip(self, referral, desk):
        desk.post(f"/desk/{referral.code}/assign/", {"vehicle": "AMB-1"})
        desk.get(f"/desk/{referral.code}/")
        desk.post(f"/desk/{referral.code}/toward/", {"unit": "KES-NB"})
        assert Transfer.objects.get().without_acceptance
        told = Alert.objects.filter(kind="link").count()
        self.undo(desk, referral, "not_toward")
        transfer = Transfer.objects.get()
        assert (transfer.destination, transfer.without_acceptance) == (None, False)
        assert Alert.objects.filter(kind="link").count() == told + 1
        answer = device_of("leena.morrastad").post(f"transfers/{transfer.pk}/send_toward/withdraw/")
        assert (answer.status_code, answer.json()["code"]) == (409, "not_sent_toward")

    def test_an_escort_is_named_corrected_and_taken_back(self, referral, desk):
        transfer = referral.transfers.get()
        post = device_of("tomasi.bellaqua")
        path = f"transfers/{transfer.pk}/escort/"
        assert post.post(path, {"name": "Tomasi"}).json()["escort_name"] == "Tomasi"
        desk.post(f"/desk/{referral.code}/escort/", {"name": "Mei"})
        (newest, *_rest) = lines_of(referral)
        assert newest.changes == (("words", "Tomasi", "Mei"),)
        self.undo(desk, referral, "escort")
        assert Transfer.objects.get().escort_name == "Tomasi"
        assert post.post(path, {"name": ""}).json()["escort_name"] == ""

    def test_a_milestone_told_at_the_desk_is_undone_on_the_line(self, referral, desk):
        desk.post(f"/desk/{referral.code}/assign/", {"vehicle": "AMB-1"})
        desk.get(f"/desk/{referral.code}/")
        desk.post(f"/desk/{referral.code}/milestone/", {"milestone": "collecting"})
        assert "Undo" in text_of(desk.get(f"/desk/{referral.code}/", follow=True))
        desk.post(f"/desk/{referral.code}/mistake/", {"milestone": "collecting"})
        assert Transfer.objects.get().stage == "assigned"


class TestTheDriver:
    @pytest.fixture
    def link(self, transfer):
        return f"/d/{token_for(transfer)}/"

    def test_a_stop_pressed_by_mistake(self, transfer, link):
        phone = browser_of()
        answer = press(phone, link, action="/stopped/")
        stopped = Alert.objects.get(kind="stopped")
        press(phone, answer.url, action="/undo/")
        stopped.refresh_from_db()
        assert stopped.closed_at
        assert transfer.checks.get().withdrawn_at

    def test_a_closed_road_pressed_by_mistake(self, transfer, link, now):
        Position.objects.create(
            transfer=transfer, assignment=transfer.assignment, key="k", recorded_at=now,
            received_at=now, latitude=-22.4, longitude=85.9,
        )  # fmt: skip
        phone = browser_of()
        answer = press(phone, link, action="/closed/")
        press(phone, answer.url, action="/undo/")
        assert Closure.objects.get().lifted_by == Closure.objects.get().reported_by

    def test_whoever_reported_a_closure_lifts_it_over_the_api(self, transfer):
        post, other = device_of("tomasi.bellaqua"), device_of("mei.corrowan")
        told = {"kind": "road", "name": "Ford", "latitude": -22.4, "longitude": 85.9}
        number = post.post("closures/", told).json()["id"]
        assert other.post(f"closures/{number}/lift/").status_code == 403
        assert post.post(f"closures/{number}/lift/").json()["lifted_at"]


class TestTheDesk:
    def test_ready_again_was_a_slip(self, transfer, baby, now, officer):
        for side in ("giver", "receiver"):
            sign(transfer, baby, side, now)
        desk, vehicle = browser_of(officer), transfer.vehicle
        press(desk, "/desk/", action=f"/{vehicle.code}/ready/")
        press(desk, "/desk/", action=f"/{vehicle.code}/not-ready/")
        vehicle.refresh_from_db()
        assert vehicle.state == "returning"
        assert lines_of(transfer.referral)[0].sentence.endswith(
            "is not ready after all; gauges: A1 130, A2 95"  # as they were read before
        )

    def test_not_once_it_was_sent_again(self, transfer, officer):
        vehicle = transfer.vehicle
        answer = browser_of(officer).post(f"/desk/vehicles/{vehicle.code}/not-ready/")
        assert answer.status_code == 409
        vehicle.refresh_from_db()
        assert vehicle.state == "busy"

    def test_an_input_that_was_seen_to_waits_again(self, officer, now):
        kept = KeptInput.objects.create(received_at=now, channel="sms", body="?", problem="?")
        desk = browser_of(officer)
        press(desk, "/desk/came-in/", action=f"/{kept.pk}/done/")
        press(desk, "/desk/came-in/", action=f"/{kept.pk}/undo/")
        kept.refresh_from_db()
        assert kept.dealt_with_at is None

    def test_a_road_reported_closed_by_a_slip(self, district, officer):
        told = {"kind": "road", "name": "Ford", "latitude": -22.4, "longitude": 85.9}
        desk = browser_of(officer)
        desk.post("/desk/roads/report/", told | {"radius_km": 2, "hours": 3})
        page = desk.get("/desk/roads/")
        assert "Reported closed: Ford." in text_of(page)
        (undo, *_list) = [form for form in forms_on(page) if form["action"].endswith("/lift/")]
        desk.post(undo["action"], undo["fields"])
        assert Closure.objects.get().lifted_at
