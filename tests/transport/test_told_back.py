"""A yes is confirmed with receiver and entrance; how it went is told, read, and seen as read."""

from datetime import timedelta

import pytest

from referrals import clock, lifecycle, recording
from referrals.calc.states import NotPossible
from referrals.links import token
from referrals.models import Alert, Delivery, Entry, Offer, Outcome, Referral
from tests.api_world import device_of, driver_device
from tests.pages_world import browser_of, press, text_of
from tests.world import a_journey, a_referral, an_offer, told_by
from transport import handing_over
from transport.calc.stages import TransferStage

pytestmark = pytest.mark.django_db


class TestYes:
    @pytest.fixture
    def offer(self, now, intensive):
        return an_offer(a_referral(now), intensive, now)

    @pytest.fixture
    def no_usual_entrance(self, intensive):
        intensive.entrance = ""
        intensive.save()

    def test_the_contacts_of_the_unit_read_who_receives_and_where(self, offer, now):
        by = told_by("hana.wendorra", now)
        lifecycle.accept(by, offer, receiver="Sister Amorvale", entrance="Green gate")
        notice = Alert.objects.get(kind="confirmed")
        assert not notice.needs_answer
        for words in (offer.referral.code, "Sister Amorvale receives", "Entrance: Green gate"):
            assert words in notice.message
        on_duty = offer.unit.shifts.values("staff")
        first = offer.unit.contacts.filter(step=0, staff__in=on_duty)
        assert {row.address for row in notice.deliveries.all()} == {
            contact.address for contact in first
        }

    def test_a_second_press_confirms_nothing_twice(self, offer, now):
        for _ in range(2):
            lifecycle.accept(told_by("hana.wendorra", now), offer)
        assert Alert.objects.filter(kind="confirmed").count() == 1
        assert offer.unit.entrance in Alert.objects.get(kind="confirmed").message

    @pytest.mark.usefixtures("no_usual_entrance")
    def test_without_a_usual_entrance_one_must_be_named(self, offer, now):
        with pytest.raises(NotPossible, match="Name the entrance"):
            lifecycle.accept(told_by("hana.wendorra", now), offer, entrance="  ")
        assert Offer.objects.get().stage == "open"
        lifecycle.accept(told_by("hana.wendorra", now), offer, entrance="Green gate")
        assert Offer.objects.get().entrance == "Green gate"

    @pytest.mark.usefixtures("no_usual_entrance")
    def test_page_desk_and_api_ask_for_it_and_keep_what_was_typed(self, offer, nurse, officer):
        told = {"receiver": "Sister Amorvale"}
        page = press(browser_of(nurse), f"/unit/{offer.pk}/", action="/accept/", **told)
        code = offer.referral.code
        desk = browser_of(officer).post(f"/desk/{code}/accept/", told | {"offer": offer.pk})
        for answer in (page, desk):
            assert answer.status_code == 409
            assert "Name the entrance" in text_of(answer)
            assert 'value="Sister Amorvale"' in text_of(answer)
        assert "<details open>" in text_of(page)  # the field that is asked for is in sight
        api = device_of("hana.wendorra").post(f"offers/{offer.pk}/accept/", told)
        assert (api.status_code, api.json()["code"]) == (409, "entrance_needed")
        assert Offer.objects.get().stage == "open"

    def test_the_drivers_device_gets_the_entrance_that_was_named(self, now, intensive):
        transfer = a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD)
        device = driver_device(transfer)

        def told():
            return device.get(f"transfers/{transfer.pk}/").json()["destination"]["entrance"]

        assert told() == intensive.entrance
        Offer.objects.update(entrance="Green gate")
        assert told() == "Green gate"


class TestHowItWent:
    @pytest.fixture
    def baby(self, now, intensive):
        transfer = a_journey(now, intensive, stage=TransferStage.ARRIVED)
        baby = transfer.referral.babies.get()
        for side in ("giver", "receiver"):
            signature = handing_over.Signature(side=side, name="Hana", band_checked=True)
            handing_over.hand_over(told_by("hana.wendorra", now), transfer, baby, signature)
        return baby

    @pytest.fixture
    def outcome(self, baby, now):
        by = told_by("hana.wendorra", now)
        return recording.tell_outcome(by, baby, state="improving", words="Aru feeds a little")

    def test_the_attendant_gets_a_notice_that_says_nothing_about_the_baby(self, outcome, attendant):
        notice = Alert.objects.get(kind="outcome")
        assert not notice.needs_answer
        delivery = notice.deliveries.get()
        assert delivery.address == attendant.phone.as_e164
        for word in ("Aru", "feeds", "improving", "better"):
            assert word not in delivery.message
        assert outcome.baby.referral.code in delivery.message

    def test_the_link_of_the_notice_opens_days_after_the_end(self, baby, attendant, now):
        Referral.objects.update(closed_at=now - timedelta(days=3))
        by = told_by("hana.wendorra", clock.now())
        recording.tell_outcome(by, baby, state="improving", words="feeds")
        delivery = Delivery.objects.get(alert__kind="outcome")
        page = text_of(browser_of().get(f"/a/{token('a', delivery.pk)}/"))
        assert "the unit tells you how it went" in page
        Alert.objects.filter(kind="outcome").update(raised_at=now - timedelta(days=2))
        assert browser_of().get(f"/a/{token('a', delivery.pk)}/").status_code == 404

    def test_looking_at_the_page_is_not_yet_reading(self, outcome, attendant):
        browser_of(attendant).get("/post/")
        assert Outcome.objects.get().read_at is None

    def test_one_press_says_that_it_was_read_and_the_desk_sees_it(
        self, outcome, attendant, officer
    ):
        code, mine = outcome.baby.referral.code, browser_of(attendant)
        assert "not read yet" in text_of(browser_of(officer).get(f"/desk/{code}/"))
        assert press(mine, "/post/", action="/read/").url == "/post/"
        assert Outcome.objects.get().read_at is not None
        assert "I have read it, thank you" not in text_of(mine.get("/post/"))
        desk = text_of(browser_of(officer).get(f"/desk/{code}/"))
        assert "read by the attendant" in desk
        assert "the attendant has read how it went, baby 1" in desk

    def test_read_twice_it_stands_once(self, outcome, now):
        by = told_by("tomasi.bellaqua", now)
        for _ in range(2):
            recording.read_outcome(by, outcome)
        assert Entry.objects.filter(kind="outcome_read").count() == 1

    def test_a_colleague_of_the_post_sees_it_and_cannot_say_it_for_the_attendant(
        self, outcome, person, attendant
    ):
        other = person("mei.corrowan")
        other.roles.update(site=attendant.roles.get().site)
        client = browser_of(other)
        page = text_of(client.get("/post/"))
        assert "Aru feeds a little" in page
        assert "I have read it" not in page
        path = f"/post/outcomes/{outcome.pk}/read/"
        assert client.post(path).status_code == 404
        assert Outcome.objects.get().read_at is None

    def test_when_nobody_is_named_anybody_of_the_post_may(self, outcome, person, attendant):
        Referral.objects.update(raised_by=None)
        other = person("mei.corrowan")
        other.roles.update(site=attendant.roles.get().site)
        press(browser_of(other), "/post/", action="/read/")
        assert Outcome.objects.get().read_at is not None

    def test_a_device_says_it_too(self, outcome):
        path = f"referrals/{outcome.baby.referral.code}/outcome/{outcome.pk}/read/"
        assert device_of("hana.wendorra").post(path).status_code == 403
        answer = device_of("tomasi.bellaqua").post(path)
        assert answer.status_code == 200
        assert answer.json()["read_at"]
        assert device_of("tomasi.bellaqua").post(path).json()["read_at"] == answer.json()["read_at"]
