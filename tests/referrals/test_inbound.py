"""What comes in by telephone: kept, acted on once, answered, and never more than it may do."""

import json
from datetime import timedelta

import pytest
from hypothesis import HealthCheck, given
from hypothesis import settings as cases
from hypothesis import strategies as st

from referrals import clock, inbound, lifecycle, sending, timeline
from referrals.calc.sms import gsm
from referrals.models import (
    Alert,
    Delivery,
    InboundMessage,
    KeptInput,
    Offer,
    Referral,
    Site,
    Staff,
)
from referrals.senders import international
from tests.telephone import Telephone, answers_to
from tests.world import a_journey, a_placed_referral, a_referral, an_offer, told_by
from transport.calc.stages import TransferStage
from transport.models import Check, Position, Transfer

pytestmark = pytest.mark.django_db
STRANGER = "+12025550199"
DESK = "+12025550100"


@pytest.fixture
def telephone(district) -> Telephone:
    return Telephone()


@pytest.fixture
def driver(person) -> Staff:
    """Mateus, who drives the ambulance of Port Orlime."""
    return person("mateus.dunnaway")


def became(answer) -> tuple[str, str | None]:
    assert answer.status_code == 200, answer.content
    return answer.json()["became"], answer.json()["referral"]


def call_backs(number: str) -> list[Alert]:
    return list(Alert.objects.open().filter(kind="call_back", key__endswith=number).order_by("pk"))


class TestTheDoor:
    def test_without_a_token_in_the_settings_there_is_no_door(self, telephone, settings, attendant):
        settings.INBOUND_TOKENS = []
        answer = telephone.sms(attendant, "baby")
        assert (answer.status_code, answer.json()["code"]) == (404, "not_found")
        assert not InboundMessage.objects.exists()

    @pytest.mark.parametrize("told", ["", "Bearer wrong", "Bearer ", "Basic !", "Token x"])
    def test_another_token_is_refused_with_a_problem(self, district, attendant, told):
        answer = Telephone(told).sms(attendant, "baby")
        assert (answer.status_code, answer.json()["code"]) == (403, "wrong_token")
        assert answer["Content-Type"] == "application/problem+json"
        assert not InboundMessage.objects.exists()

    @pytest.mark.parametrize("scheme", ["Bearer two", "Basic Z2F0ZXdheTp0d28="])
    def test_either_of_two_tokens_opens_as_bearer_or_as_password(
        self, district, attendant, settings, scheme
    ):
        settings.INBOUND_TOKENS = ["one", "two"]
        assert became(Telephone(scheme).sms(attendant, "baby"))[0] == "raised"

    def test_a_form_with_the_gateways_own_names_is_taken(self, telephone, attendant, settings):
        settings.INBOUND_FIELDS = {"sender": "from", "text": "message", "id": "sid"}
        body = f"sid=g1&from=%2B{attendant.phone.as_e164[1:]}&message=Baby+vent&extra=1"
        assert became(telephone.post("sms", body, form=True))[0] == "raised"
        assert InboundMessage.objects.get().text == "Baby vent"

    def test_what_no_database_stores_is_left_out_and_the_rest_is_taken(self, telephone, attendant):
        body = {"id": "z", "sender": attendant.phone.as_e164, "text": "baby \x00vent \ud800"}
        assert became(telephone.post("sms", json.dumps(body)))[0] == "raised"
        assert InboundMessage.objects.get().text == "baby vent ?"

    def test_a_bottomless_body_is_refused_not_fallen_into(self, telephone):
        assert telephone.post("sms", "[" * 100_000).status_code == 400

    @pytest.mark.parametrize(
        "body", ["no json", "[]", "{}", '{"id": "1"}', '{"id": [], "sender": {}}']
    )
    def test_what_cannot_be_read_is_kept_and_refused(self, telephone, body):
        answer = telephone.post("sms", body)
        assert answer.status_code == 400
        assert KeptInput.objects.get().body == body

    def test_the_same_message_again_changes_nothing_and_gets_the_same_answer(
        self, telephone, attendant
    ):
        first = telephone.sms(attendant, "baby vent", id="g7")
        again = telephone.sms(attendant, "baby vent", id="g7")
        assert first.json() == again.json()
        assert Referral.objects.count() == InboundMessage.objects.count() == 1
        assert len(answers_to(attendant)) == 1

    def test_the_gateways_time_stands_for_the_devices(self, telephone, attendant, now):
        at = now - timedelta(minutes=7)
        _, code = became(telephone.sms(attendant, "baby", at=at.isoformat()))
        entries = Referral.objects.get(code=code).entries.filter(kind="raised")
        assert entries.get().happened_at == at
        became(telephone.sms(attendant, "hr 90", at="yesterday evening"))  # never refused for it

    @pytest.mark.parametrize(
        "written", ["+12025550121", "12025550121", "0012025550121", "2025550121", "(202) 555-0121"]
    )
    def test_a_number_is_known_however_the_gateway_writes_it(self, district, written):
        district.phone_region = "US"
        district.save()
        assert international(written) == "+12025550121"

    @pytest.mark.parametrize("sender", ["12345", "BANK", "", "+1", "anonymous"])
    def test_a_short_code_or_a_name_is_no_number(self, district, sender):
        assert international(sender) == ""


class TestFromThePost:
    def test_a_text_calls_for_help_with_all_that_is_told(self, telephone, attendant, post):
        text = "Baby vent bag oxygen hr 110 sat 84 temp 36,2 weight 2900 weeks 38 flow 2 age 20"
        outcome, code = became(telephone.sms(attendant, text))
        referral = Referral.objects.get(code=code)
        assert (outcome, referral.origin, referral.raised_by) == ("raised", post, attendant)
        baby = referral.babies.get()
        facts = baby.observations.get().facts()
        assert (facts["heart_rate"], facts["spo2"], facts["temperature_c"]) == (110, 84, 36.2)
        assert facts["support"] == "bag_and_mask_oxygen"
        assert baby.weight_g == 2900
        assert baby.born_at is not None
        assert referral.offers.exists()  # units are asked at once
        assert set(referral.entries.filter(actor=attendant.username).values_list(
            "channel", flat=True)) == {"sms"}  # fmt: skip
        assert timeline.faults_of(referral) == []

    def test_the_answer_is_one_sms_with_code_facts_and_whom_to_ring(self, telephone, attendant):
        _, code = became(telephone.sms(attendant, "baby vent hr 110 sat 84 temp 36.2 weight 2900"))
        (answer,) = answers_to(attendant)
        assert gsm.septets(answer) <= gsm.ONE_SMS
        assert answer.startswith(f"{code}: help is called")
        assert "vent, hr 110, sat 84, temp 36.2, weight 2900" in answer
        assert answer.endswith(f"Desk: {DESK}")
        delivery = Delivery.objects.get(alert__kind="answer")
        assert "http" not in sending.words_of(delivery)

    def test_one_word_is_enough_and_details_follow(self, telephone, attendant):
        _, code = became(telephone.sms(attendant, "BABY"))
        assert became(telephone.sms(attendant, "hr 90 vent")) == ("told", code)
        assert Referral.objects.count() == 1
        assert Referral.objects.get().babies.get().observations.get().heart_rate == 90
        assert answers_to(attendant)[1].startswith(f"{code}: added. Understood: hr 90, vent.")

    def test_what_was_not_understood_is_named_kept_and_noted(self, telephone, attendant):
        _, code = became(telephone.sms(attendant, "baby vent hr 800 cord round neck"))
        (answer,) = answers_to(attendant)
        assert "NOT understood: hr 800 (0 to 350), cord round neck." in answer
        kept = KeptInput.objects.get()
        assert (kept.caller, kept.channel) == (attendant.phone.as_e164, "sms")
        assert kept.body == "baby vent hr 800 cord round neck"
        notes = Referral.objects.get(code=code).texts.filter(kind="note")
        assert "cord round neck" in notes.get().text
        assert not call_backs(attendant.phone.as_e164)  # the call itself stands

    @pytest.mark.parametrize("text", ["baby vent hr 90", "hr 90", "help"])
    def test_the_same_baby_by_app_and_by_sms_is_one_case(self, telephone, attendant, now, text):
        referral = a_referral(now - timedelta(minutes=5))
        assert became(telephone.sms(attendant, text)) == ("told", referral.code)
        assert Referral.objects.count() == 1

    def test_another_baby_of_the_post_is_another_case_when_it_is_said(
        self, telephone, attendant, now
    ):
        first = a_referral(now - timedelta(minutes=5))
        outcome, code = became(telephone.sms(attendant, "new baby gasp"))
        assert (outcome, Referral.objects.count()) == ("raised", 2)
        assert code != first.code
        assert Alert.objects.filter(kind="perhaps_twice").count() == 1

    def test_a_call_long_after_an_open_one_is_new_and_the_desk_is_asked(
        self, telephone, attendant, now
    ):
        first = a_referral(now - timedelta(hours=3))
        _, code = became(telephone.sms(attendant, "baby vent"))
        assert code != first.code
        assert Alert.objects.get(kind="perhaps_twice").referral.code == code

    def test_with_two_cases_open_the_code_says_which(self, telephone, attendant, now):
        first = a_referral(now - timedelta(hours=2))
        second = a_referral(now - timedelta(hours=1))
        assert became(telephone.sms(attendant, "hr 90")) == ("kept", None)
        answer = answers_to(attendant)[0]
        assert first.code in answer
        assert second.code in answer
        assert became(telephone.sms(attendant, f"{first.code} hr 90")) == ("told", first.code)
        assert first.babies.get().observations.filter(heart_rate=90).count() == 1
        assert not second.babies.get().observations.filter(heart_rate=90).exists()

    def test_a_code_of_another_post_opens_nothing(self, telephone, attendant, now):
        foreign = a_referral(now, attendant="mei.corrowan")
        outcome, code = became(telephone.sms(attendant, f"{foreign.code} baby hr 90"))
        assert (outcome, code != foreign.code) == ("raised", True)
        assert foreign.code in answers_to(attendant)[0]  # named as not understood
        assert not foreign.babies.get().observations.filter(heart_rate=90).exists()

    def test_twins_are_told_apart(self, telephone, attendant):
        text = "twins baby 1 vent hr 80 baby 2 breath ok hr 140"
        _, code = became(telephone.sms(attendant, text))
        one, two = Referral.objects.get(code=code).babies.order_by("birth_order")
        assert (one.observations.get().heart_rate, two.observations.get().heart_rate) == (80, 140)
        became(telephone.sms(attendant, "hr 100"))
        assert "baby 1 or baby 2" in answers_to(attendant)[1]

    def test_a_correction_replaces_what_it_corrects_and_the_old_one_stays(
        self, telephone, attendant
    ):
        became(telephone.sms(attendant, "baby hr 11 sat 84"))
        became(telephone.sms(attendant, "correct hr 110"))
        old, new = Referral.objects.get().babies.get().observations.order_by("pk")
        assert (old.heart_rate, new.heart_rate, new.spo2) == (11, 110, 84)
        assert new.corrects == old

    def test_the_mother_and_one_pair_of_hands_are_told_too(self, telephone, attendant):
        became(telephone.sms(attendant, "baby vent only me mother bleeding bp 80/50 drowsy"))
        referral = Referral.objects.get()
        assert referral.alone is True
        facts = referral.mother.observations.get().facts()
        assert facts == {
            "bleeding": "heavy", "systolic_mmhg": 80, "diastolic_mmhg": 50,
            "consciousness": "drowsy",
        }  # fmt: skip

    def test_on_the_road_the_same_words_are_a_check(self, telephone, attendant, now, intensive):
        journey = a_journey(now - timedelta(hours=1), intensive, stage=TransferStage.ON_THE_ROAD)
        assert became(telephone.sms(attendant, "hr 120 sat 90 gauge 80")) == (
            "told", journey.referral.code)  # fmt: skip
        check = Check.objects.get()
        assert (check.oxygen_bar, check.observation.heart_rate) == (80, 120)
        assert check.checked_by == str(attendant)

    def test_the_telephone_of_the_post_itself_calls_too(self, telephone, post):
        _, code = became(telephone.sms(post.phone.as_e164, "baby vent"))
        referral = Referral.objects.get(code=code)
        assert (referral.origin, referral.raised_by) == (post, None)
        assert referral.entries.get(kind="raised").actor == f"post:{post.code}"

    def test_nothing_understood_is_kept_and_somebody_rings(self, telephone, attendant):
        assert became(telephone.sms(attendant, "please when is the meeting")) == ("kept", None)
        assert not Referral.objects.exists()
        (alert,) = call_backs(attendant.phone.as_e164)
        assert (
            "meeting" not in alert.sentence + alert.message
        )  # what was typed leaves in no message
        assert "write BABY" in answers_to(attendant)[0]

    def test_a_fault_hands_it_to_the_desk_and_loses_nothing(
        self, telephone, attendant, monkeypatch
    ):
        def fails(*_arguments, **_options):
            raise ZeroDivisionError

        monkeypatch.setattr(lifecycle, "raise_referral", fails)
        assert became(telephone.sms(attendant, "baby")) == ("kept", None)
        assert "made a mistake" in KeptInput.objects.get().problem
        assert call_backs(attendant.phone.as_e164)

    def test_what_a_died_process_left_is_acted_on_by_the_sweep(self, district, attendant, now):
        InboundMessage.objects.create(
            kind="sms", gateway_id="g1", sender=attendant.phone.as_e164, text="baby",
            received_at=now - timedelta(minutes=2),
        )  # fmt: skip
        inbound.act_on_waiting(clock.now())
        inbound.act_on_waiting(clock.now())
        assert InboundMessage.objects.get().became == "raised"
        assert Referral.objects.count() == 1


class TestAMissedCall:
    def test_calls_for_help_and_tells_the_desk_to_ring_back(self, telephone, attendant, post):
        outcome, code = became(telephone.ring(attendant))
        referral = Referral.objects.get(code=code)
        assert (outcome, referral.origin) == ("raised", post)
        (alert,) = call_backs(attendant.phone.as_e164)
        assert alert.referral == referral
        assert alert.needs_answer
        assert attendant.phone.as_e164 in alert.message
        assert answers_to(attendant)[0].startswith(f"{code}: help is called")

    def test_ringing_again_makes_no_second_case_and_no_second_alarm(self, telephone, attendant):
        _, code = became(telephone.ring(attendant))
        assert became(telephone.ring(attendant)) == ("call_back", code)
        assert Referral.objects.count() == 1
        assert len(call_backs(attendant.phone.as_e164)) == 1

    def test_of_a_nurse_or_driver_raises_nothing(self, telephone, nurse, driver):
        for somebody in (nurse, driver):
            assert became(telephone.ring(somebody)) == ("call_back", None)
            assert len(call_backs(somebody.phone.as_e164)) == 1
        assert not Referral.objects.exists()


class TestAUnit:
    @pytest.fixture
    def offer(self, now, intensive) -> Offer:
        return an_offer(a_referral(now), intensive, now)

    def test_the_question_holds_the_code_that_a_yes_needs(self, offer, nurse):
        question = Delivery.objects.get(alert__offer=offer, channel="sms")
        assert question.address == nurse.phone.as_e164
        assert f"YES {offer.one_time_code}" in question.message

    def test_yes_with_the_code_accepts_and_is_confirmed_back(self, telephone, offer, nurse):
        answer = telephone.sms(nurse, f"yes {offer.one_time_code.lower()}")
        assert became(answer) == ("accepted", offer.referral.code)
        offer.refresh_from_db()
        assert (offer.stage, offer.answered_by, offer.receiver) == (
            "accepted",
            str(nurse),
            str(nurse),
        )
        assert offer.referral.entries.get(kind="accepted").channel == "sms"
        back = Delivery.objects.get(
            alert__kind="confirmed", channel="sms", address=nurse.phone.as_e164
        )
        assert back.message.startswith(f"{offer.referral.code}: your yes is written down")
        assert offer.entrance in back.message
        assert answers_to(nurse) == []  # she is told once
        telephone.sms(nurse, f"yes {offer.one_time_code}")
        assert "your yes is written down" in answers_to(nurse)[0]  # and again when she asks again

    def test_whoever_is_no_first_contact_is_answered_too(self, telephone, offer, person):
        kofi = person("kofi.brantelle")
        assert became(telephone.sms(kofi, f"yes {offer.one_time_code}"))[0] == "accepted"
        assert "your yes is written down" in answers_to(kofi)[0]

    @pytest.mark.parametrize("text", ["yes", "yes 7KQ2AB", "YES {code}"])
    def test_yes_without_the_code_of_the_question_accepts_nothing(
        self, telephone, offer, nurse, text
    ):
        assert became(telephone.sms(nurse, text.format(code=offer.referral.code)))[0] == "kept"
        offer.refresh_from_db()
        assert offer.stage == "open"
        assert "Answer YES or NO and the 6 letters" in answers_to(nurse)[0]
        assert call_backs(nurse.phone.as_e164)[0].referral == offer.referral

    def test_the_code_in_the_hand_of_another_unit_or_post_is_nothing(
        self, telephone, offer, other_nurse, attendant
    ):
        for somebody in (other_nurse, attendant, STRANGER):
            telephone.sms(somebody, f"yes {offer.one_time_code}")
        offer.refresh_from_db()
        assert offer.stage == "open"

    def test_no_with_a_reason_declines_and_the_next_unit_is_asked(self, telephone, offer, nurse):
        assert became(telephone.sms(nurse, f"No {offer.one_time_code} cot"))[0] == "declined"
        offer.refresh_from_db()
        assert (offer.stage, offer.decline_reason) == ("declined", "no_cot")
        assert offer.referral.offers.filter(stage="open").exists()

    def test_a_no_never_takes_a_yes_back(self, telephone, offer, nurse):
        telephone.sms(nurse, f"yes {offer.one_time_code}")
        assert became(telephone.sms(nurse, f"no {offer.one_time_code} cot"))[0] == "kept"
        offer.refresh_from_db()
        assert offer.stage == "accepted"
        assert "the desk has been told" in answers_to(nurse)[0]
        assert call_backs(nurse.phone.as_e164)

    def test_a_yes_that_comes_too_late_is_told_what_stands(
        self, telephone, offer, other_nurse, ward, nurse, now
    ):
        other = an_offer(offer.referral, ward, now)
        telephone.sms(nurse, f"yes {offer.one_time_code}")
        assert became(telephone.sms(other_nurse, f"yes {other.one_time_code}"))[0] == "kept"
        assert "no longer" in answers_to(other_nurse)[0] or "taken" in answers_to(other_nurse)[0]

    def test_a_yes_with_a_condition_is_a_yes_and_the_desk_reads_the_condition(
        self, telephone, offer, nurse
    ):
        assert became(telephone.sms(nurse, f"yes {offer.one_time_code} bring a ventilator"))[0] == (
            "accepted")  # fmt: skip
        assert "bring ventilator" in KeptInput.objects.get().problem
        assert call_backs(nurse.phone.as_e164)

    def test_a_phone_that_several_share_names_nobody_so_it_accepts_nothing(
        self, telephone, offer, nurse, person
    ):
        kofi = person("kofi.brantelle")
        kofi.phone = nurse.phone
        kofi.save()
        assert became(telephone.sms(nurse, f"yes {offer.one_time_code}"))[0] == "kept"
        offer.refresh_from_db()
        assert offer.stage == "open"


class TestADriver:
    def test_says_how_far_the_vehicle_is_in_two_words(self, telephone, driver, now, intensive):
        journey = a_journey(now - timedelta(hours=1), intensive, stage=TransferStage.ASSIGNED)
        for text, stage in (
            ("coming", "collecting"), ("at post", "at_origin"), ("on road", "on_the_road"),
            ("at unit", "arrived"),
        ):  # fmt: skip
            assert became(telephone.sms(driver, text)) == ("told", journey.referral.code)
            assert Transfer.objects.get(pk=journey.pk).stage == stage
        kinds = journey.referral.entries.filter(kind="milestone", channel="sms")
        assert kinds.count() == 4

    def test_without_an_account_the_number_of_the_vehicle_is_enough(
        self, telephone, now, intensive
    ):
        journey = a_journey(now - timedelta(hours=1), intensive, stage=TransferStage.ASSIGNED)
        Transfer.objects.filter(pk=journey.pk).update(driver_phone=STRANGER)
        assert became(telephone.sms(STRANGER, "coming pos -22.41 85.93"))[0] == "told"
        assert Position.objects.get(transfer=journey).latitude == -22.41
        entry = journey.referral.entries.get(kind="milestone")
        assert entry.actor == f"phone:{journey.referral.code}"

    def test_of_another_vehicle_says_nothing_about_this_one(
        self, telephone, person, now, intensive
    ):
        journey = a_journey(now - timedelta(hours=1), intensive, stage=TransferStage.ASSIGNED)
        answer = telephone.sms(person("ilse.kambarra"), f"{journey.referral.code} coming")
        assert became(answer) == ("kept", None)
        assert Transfer.objects.get(pk=journey.pk).stage == "assigned"


class TestWhatAnSmsAloneNeverDoes:
    @pytest.mark.parametrize(
        "text", ["the baby has died", "cancel", "K7Q4 stop", "mistake", "divert to Kesawari",
                 "family refuses", "baby recovered", "handed over"]
    )  # fmt: skip
    def test_it_ends_cancels_and_diverts_nothing(self, telephone, attendant, now, intensive, text):
        referral = a_placed_referral(now - timedelta(minutes=40), intensive)
        lifecycle_before = (referral.stage, referral.babies.get().ending)
        telephone.sms(attendant, f"{referral.code} {text}")
        referral.refresh_from_db()
        assert (referral.stage, referral.babies.get().ending) == lifecycle_before
        assert Offer.objects.get(referral=referral, stage="accepted")
        assert KeptInput.objects.get().body == f"{referral.code} {text}"
        (alert,) = call_backs(attendant.phone.as_e164)
        assert alert.referral == referral
        assert "SMS alone never does" in alert.sentence
        assert "Maria" not in alert.sentence

    def test_the_facts_beside_such_a_word_are_kept(self, telephone, attendant, now):
        referral = a_referral(now - timedelta(minutes=40))
        telephone.sms(attendant, "hr 0 died")
        assert referral.babies.get().observations.filter(heart_rate=0).exists()
        assert call_backs(attendant.phone.as_e164)


class TestANumberThatNobodyIsKnownToHave:
    @pytest.mark.parametrize("text", ["baby vent hr 90", "yes 7KQ2AB", "coming", "buy now"])
    def test_is_kept_and_told_and_never_acted_on(self, telephone, text):
        assert became(telephone.sms(STRANGER, text)) == ("kept", None)
        assert not Referral.objects.exists()
        assert KeptInput.objects.get().caller == STRANGER
        (alert,) = call_backs(STRANGER)
        assert alert.needs_answer is (text == "baby vent hr 90")
        assert alert.for_desk

    def test_a_missed_call_of_one_wakes_the_desk_once(self, telephone):
        for _ in range(3):
            assert became(telephone.ring(STRANGER)) == ("kept", None)
        assert len(call_backs(STRANGER)) == 1
        assert KeptInput.objects.count() == 3

    def test_the_desks_ladder_climbs_without_a_case(self, telephone, now):
        from referrals import alerting

        telephone.ring(STRANGER)
        (alert,) = call_backs(STRANGER)
        assert alerting.escalate(alert.pk, now + timedelta(hours=1)) is False
        alert.refresh_from_db()
        assert alert.step == 1
        alerting.acknowledge(alert.pk, told_by("leena.morrastad", now))
        assert call_backs(STRANGER) == []

    def test_two_machines_that_answer_each_other_come_to_an_end(self, telephone):
        for _ in range(9):
            telephone.sms(STRANGER, "baby")
        assert len(answers_to(STRANGER)) == inbound.MOST_ANSWERS
        assert KeptInput.objects.count() == 9

    def test_a_short_code_is_never_answered(self, telephone):
        assert became(telephone.sms("12345", "baby"))[0] == "kept"
        assert not Alert.objects.filter(kind="answer").exists()


class TestReports:
    @pytest.fixture
    def question(self, now, intensive) -> Delivery:
        offer = an_offer(a_referral(now), intensive, now)
        delivery = Delivery.objects.get(alert__offer=offer, channel="sms")
        Delivery.objects.filter(pk=delivery.pk).update(state="accepted", provider_id="g-77")
        delivery.refresh_from_db()
        return delivery

    @pytest.mark.parametrize("order", [("sent", "delivered"), ("delivered", "sent"),
                                       ("DELIVRD", "delivered", "failed")])  # fmt: skip
    def test_in_any_order_and_twice_amount_to_the_same(self, telephone, question, order):
        for state in order:
            assert telephone.report(question, state).status_code == 200
        question.refresh_from_db()
        assert question.state == "delivered"
        assert question.delivered_at is not None

    def test_on_the_way_is_written_beside_and_changes_nothing(self, telephone, question):
        telephone.report(question, "queued")
        question.refresh_from_db()
        assert (question.state, question.reported_state) == ("accepted", "queued")

    def test_by_the_gateways_own_id_too(self, telephone, question):
        answer = telephone.post("reports", {"message": "g-77", "state": "delivered"})
        assert answer.json() == {"message": "g-77", "state": "delivered"}

    def test_one_that_never_arrives_takes_the_next_step_of_the_ladder_at_once(
        self, telephone, question
    ):
        telephone.report(question, "failed", error="no such number")
        question.refresh_from_db()
        assert (question.state, question.error) == ("refused", "no such number")
        alert = Alert.objects.get(pk=question.alert_id)
        assert alert.step == 1
        ways = {
            step: set(alert.deliveries.filter(step=step).values_list("channel", "address"))
            for step in (0, 1)
        }
        assert ways[1] - ways[0]  # somebody else, or the same person by voice
        telephone.report(question, "failed")
        alert.refresh_from_db()
        assert alert.step == 1  # told twice, taken once

    def test_a_notice_that_never_arrives_is_rung_by_the_desk(
        self, telephone, now, intensive, attendant
    ):
        referral = a_placed_referral(now, intensive)
        notice = Delivery.objects.filter(
            alert__referral=referral, alert__kind="accepted", address=attendant.phone.as_e164
        ).get()
        telephone.report(notice, "failed", error="away")
        assert Alert.objects.filter(referral=referral, kind="not_reached").count() == 1

    @pytest.mark.parametrize(
        ("body", "status"),
        [({"message": "nobody", "state": "sent"}, 404),
         ({"message": "littleroad-9", "state": "x"}, 400),
         ({"message": "littleroad-99999999", "state": "sent"}, 404), ({"state": "sent"}, 400)],
    )  # fmt: skip
    def test_what_fits_no_message_of_ours_is_said_so(self, telephone, body, status):
        assert telephone.post("reports", body).status_code == status


ANYTHING = st.one_of(
    st.text(max_size=60),
    st.lists(
        st.sampled_from(
            ["baby", "vent", "hr 110", "yes", "no", "K7Q4", "new", "mother", "bleeding", "died",
             "coming", "correct", "twins", "baby 2", "gauge 90", "pos -22.4 85.9", "hr 800", "x"]
        ),
        max_size=6,
    ).map(" ".join),
)  # fmt: skip


@cases(max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(text=ANYTHING, who=st.sampled_from(["attendant", "nurse", "driver", "stranger"]))
def test_whatever_anybody_writes_is_kept_and_every_timeline_holds(
    telephone, attendant, nurse, driver, text, who
):
    sender = {"attendant": attendant, "nurse": nurse, "driver": driver}.get(who, STRANGER)
    before = InboundMessage.objects.count()
    answer = telephone.post(
        "sms",
        json.dumps({"id": f"fuzz-{before}", "sender": getattr(sender, "phone", sender) and (
            sender if isinstance(sender, str) else sender.phone.as_e164), "text": text}),
    )  # fmt: skip
    assert answer.status_code == 200
    message = InboundMessage.objects.order_by("pk").last()
    assert InboundMessage.objects.count() == before + 1
    assert message.finished_at is not None
    assert "made a mistake" not in (message.kept.problem if message.kept else "")
    for referral in Referral.objects.all():
        assert timeline.faults_of(referral) == []
    for delivery in Delivery.objects.filter(alert__kind="answer"):
        assert gsm.septets(delivery.message) <= gsm.TWO_SMS
        assert delivery.message == gsm.in_alphabet(delivery.message)


def test_the_post_of_somebody_with_two_posts_is_asked_for(telephone, attendant, district):
    other = (
        Site.objects.exclude(pk=attendant.roles.get().site_id).filter(kind="health_post").first()
    )
    attendant.roles.create(role="attendant", site=other, district=district)
    assert became(telephone.sms(attendant, "baby vent")) == ("kept", None)
    assert call_backs(attendant.phone.as_e164)
