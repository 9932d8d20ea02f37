"""What is told to the desk by voice: the call for help, checks, milestones, answers of units."""

import re

import pytest

from referrals import timeline
from referrals.models import Alert, District, Referral, Site
from tests.pages_world import browser_of, press, text_of
from tests.world import a_journey, a_referral, an_offer
from transport.calc.stages import TransferStage

pytestmark = pytest.mark.django_db


@pytest.fixture
def leena(officer):
    return browser_of(officer)


@pytest.fixture
def mirrow(district) -> str:
    return str(Site.objects.get(code="MRW").pk)


def in_words(answer) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", text_of(answer).split("<main")[1]).split())


class TestAPostCalls:
    @pytest.mark.parametrize("username", ["tomasi.bellaqua", "hana.wendorra", "mateus.dunnaway"])
    def test_only_the_desk_calls_for_another(self, person, mirrow, username):
        browser = browser_of(person(username))
        assert browser.get("/desk/raise/").status_code == 404
        assert browser.post("/desk/raise/", {"site": mirrow}).status_code == 404
        assert not Referral.objects.exists()

    def test_the_first_page_leads_to_it(self, leena):
        assert 'href="/desk/raise/"' in text_of(leena.get("/desk/"))

    def test_the_place_is_enough_and_units_are_asked_at_once(
        self, leena, mirrow, django_capture_on_commit_callbacks
    ):
        with django_capture_on_commit_callbacks(execute=True):
            answer = press(leena, "/desk/raise/", site=mirrow)
        referral = Referral.objects.get()
        assert answer["Location"] == f"/desk/{referral.code}/"
        assert (referral.origin.code, referral.raised_by) == ("MRW", None)
        assert referral.babies.count() == 1
        assert referral.offers.count() == 1
        assert referral.transfers.get().stage == TransferStage.WANTED.value
        entry = referral.entries.get(kind="raised")
        assert (entry.actor, entry.channel) == ("leena.morrastad", "desk")

    def test_without_a_place_nothing_is_raised_and_what_was_typed_stays(self, leena, district):
        told = {"caller_name": "Amihan Dolorres", "note": "very blue"}
        answer = press(leena, "/desk/raise/", **told)
        assert answer.status_code == 400
        assert "Amihan Dolorres" in text_of(answer)
        assert "very blue" in text_of(answer)
        assert not Referral.objects.exists()

    def test_a_number_that_is_none_is_said_beside_its_field(self, leena, mirrow):
        answer = press(leena, "/desk/raise/", site=mirrow, caller_phone="12")
        assert answer.status_code == 400
        assert 'value="12"' in text_of(answer)

    def test_a_place_of_another_district_cannot_be_chosen(self, leena, district):
        elsewhere = District.objects.create(code="elsewhere", name="Elsewhere")
        site = Site.objects.create(
            district=elsewhere, code="far", name="Far", kind="health_post", latitude=0, longitude=0
        )
        assert press(leena, "/desk/raise/", site=str(site.pk)).status_code == 400

    def test_whoever_calls_has_a_name_and_a_number_that_the_chain_does_not_hold(
        self, leena, mirrow
    ):
        told = {"site": mirrow, "caller_name": "Amihan Dolorres", "caller_phone": "+12025550190"}
        press(leena, "/desk/raise/", **told)
        referral = Referral.objects.get()
        assert referral.who_called() == ("Amihan Dolorres", "+12025550190")
        assert "Amihan" not in str([entry.body for entry in referral.entries.all()])
        assert timeline.faults_of(referral) == []
        page = text_of(leena.get(f"/desk/{referral.code}/"))
        assert 'href="tel:+12025550190"' in page
        assert "told by Amihan Dolorres" in page

    def test_the_caller_is_told_by_sms_what_happens(self, leena, mirrow, intensive, nurse, by):
        told = {"site": mirrow, "caller_phone": "+12025550190"}
        press(leena, "/desk/raise/", **told)
        referral = Referral.objects.get()
        press(leena, "/desk/", action=f"/desk/{referral.code}/assign/")
        sent = Alert.objects.get(kind="vehicle_sent", referral=referral)
        assert [(d.channel, d.address) for d in sent.deliveries.all()] == [("sms", "+12025550190")]

    def test_the_number_of_an_attendant_of_the_post_makes_the_referral_theirs(
        self, leena, mirrow, attendant
    ):
        press(leena, "/desk/raise/", site=mirrow, caller_phone=attendant.phone.as_e164)
        referral = Referral.objects.get()
        assert referral.raised_by == attendant
        assert referral.code in text_of(browser_of(attendant).get("/post/"))

    def test_the_number_of_an_attendant_of_another_post_does_not(self, leena, person, district):
        saltfen = str(Site.objects.get(code="SAL").pk)
        phone = person("tomasi.bellaqua").phone.as_e164
        press(leena, "/desk/raise/", site=saltfen, caller_phone=phone)
        assert Referral.objects.get().raised_by is None

    def test_what_is_said_at_once_is_written_down(self, leena, mirrow):
        told = {
            "site": mirrow, "babies": "2", "breathing": "ventilated", "colour": "blue_or_pale",
            "alone": "on", "note": "a small one",
        }  # fmt: skip
        press(leena, "/desk/raise/", **told)
        referral = Referral.objects.get()
        first, second = referral.babies.all()
        assert first.observations.get().facts() == {
            "breathing": "ventilated",
            "colour": "blue_or_pale",
        }
        assert not second.observations.exists()
        assert referral.alone is True
        assert "a small one" in text_of(leena.get(f"/desk/{referral.code}/"))

    def test_a_second_press_raises_nothing_more(self, leena, mirrow):
        page = leena.get("/desk/raise/")
        [key] = re.findall(r'name="key" value="([^"]+)"', text_of(page))[:1]
        first = leena.post("/desk/raise/", {"site": mirrow, "key": key})
        again = leena.post("/desk/raise/", {"site": mirrow, "key": key})
        assert first["Location"] == again["Location"]
        assert Referral.objects.count() == 1


class TestWhoSaidIt:
    def test_a_check_of_somebody_alone_stands_with_who_said_it_and_who_wrote_it(self, leena, now):
        referral = a_referral(now)
        told = {"breathing": "ventilated", "heart_rate_band": "at_least_100",
                "said_by": "Tomasi Bellaqua"}  # fmt: skip
        press(leena, f"/desk/{referral.code}/", action="/check/", **told)
        check = referral.transfers.get().checks.get()
        assert check.checked_by == "Tomasi Bellaqua, to Leena Morrastad"
        assert check.observation.observed_by == "Tomasi Bellaqua, to Leena Morrastad"
        for kind in ("checked", "observed"):
            entry = referral.entries.filter(kind=kind).order_by("-seq")[0]
            assert (entry.actor, entry.channel) == ("leena.morrastad", "desk")
            assert "said_by" in entry.body
            assert "Tomasi" not in str(entry.body)
        assert referral.texts.filter(kind="said_by").count() == 1
        assert timeline.faults_of(Referral.objects.get(pk=referral.pk)) == []
        assert "Leena Morrastad, told by Tomasi Bellaqua" in in_words(
            leena.get(f"/desk/{referral.code}/")
        )

    def test_what_only_follows_from_a_telling_names_nobody(self, leena, now):
        referral = a_referral(now)
        told = {"breathing": "regular", "support": "none", "said_by": "Tomasi Bellaqua"}
        press(leena, f"/desk/{referral.code}/", action="/check/", **told)
        derived = referral.entries.filter(kind="needs_derived").order_by("-seq")[0]
        assert "said_by" not in derived.body

    def test_without_a_name_the_officer_stands_alone(self, leena, now):
        referral = a_referral(now)
        press(leena, f"/desk/{referral.code}/", action="/check/", breathing="ventilated")
        assert referral.transfers.get().checks.get().checked_by == "Leena Morrastad"
        assert "said_by" not in referral.entries.filter(kind="checked")[0].body

    def test_a_milestone_stands_with_the_driver_who_said_it(self, leena, now, intensive):
        transfer = a_journey(now, intensive, stage=TransferStage.ASSIGNED)
        page = f"/desk/{transfer.referral.code}/"
        press(leena, page, action="/milestone/", milestone="collecting")
        row = transfer.milestones.get(kind="collecting")
        assert row.reported_by == f"{transfer.driver_name}, to Leena Morrastad"

    def test_a_yes_on_the_phone_stands_with_who_said_it(self, leena, now, ward):
        offer = an_offer(a_referral(now), ward, now)
        page = f"/desk/{offer.referral.code}/"
        told = {"receiver": "Miriam Castowell", "entrance": "the gate"}
        press(leena, page, action="/accept/", **told)
        offer.refresh_from_db()
        assert offer.answered_by == "Miriam Castowell, to Leena Morrastad"
        assert offer.receiver == "Miriam Castowell"

    def test_a_no_on_the_phone_stands_with_who_said_it(self, leena, now, ward):
        offer = an_offer(a_referral(now), ward, now)
        page = f"/desk/{offer.referral.code}/"
        press(leena, page, action="/decline/", reason="no_staff", said_by="Miriam Castowell")
        offer.refresh_from_db()
        assert offer.answered_by == "Miriam Castowell, to Leena Morrastad"


class TestOnePairOfHands:
    def test_the_desk_writes_down_whose_hands_there_are(self, leena, now):
        referral = a_referral(now)
        told = {"alone": "yes", "ventilates": "Tomasi", "said_by": "Tomasi Bellaqua"}
        press(leena, f"/desk/{referral.code}/", action="/hands/", **told)
        referral.refresh_from_db()
        assert (referral.alone, referral.ventilates) == (True, "Tomasi")
        words = in_words(leena.get(f"/desk/{referral.code}/"))
        assert "ring on loudspeaker, stay on the line, enter the checks yourself" in words

    def test_the_form_stands_there_as_it_was_told_last(self, leena, now):
        referral = a_referral(now)
        page = f"/desk/{referral.code}/"
        press(leena, page, action="/hands/", alone="no", relieves="the cleaner")
        press(leena, page, action="/hands/", alone="no", ventilates="Tomasi")
        referral.refresh_from_db()
        assert (referral.ventilates, referral.relieves) == ("Tomasi", "the cleaner")

    def test_the_call_buttons_stand_with_the_check(self, leena, now):
        referral = a_referral(now)
        page = text_of(leena.get(f"/desk/{referral.code}/"))
        part = page.split('<section id="check"')[1].split("</section>")[0]
        assert re.findall(r'href="tel:(\S+)"', part) == ["+12025550121", "+12025550108"]

    def test_on_the_road_the_vehicle_is_rung_first(self, leena, now, intensive):
        transfer = a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD)
        page = text_of(leena.get(f"/desk/{transfer.referral.code}/"))
        part = page.split('<section id="check"')[1].split("</section>")[0]
        assert re.findall(r'href="tel:(\S+)"', part)[0] == transfer.driver_phone
