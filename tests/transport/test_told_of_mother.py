"""The mother as a patient, treatments and advice: told, read and counted, by every way in."""

from datetime import timedelta

import pytest
from api_world import device_of
from pages_world import browser_of, press, text_of
from world import a_placed_referral, a_referral, an_offer, told_by

from referrals import clock, lifecycle, links, recording, timeline
from referrals.calc.terms import Capability
from referrals.labels import fact_in_words
from referrals.models import Mother, Referral
from referrals.reading import assess, known_facts
from transport import choosing

HEAVY = fact_in_words("bleeding", "heavy")


@pytest.fixture
def referral(district, now) -> Referral:
    return a_referral(now)


def without_obstetrics(unit) -> None:
    unit.capabilities = [each for each in unit.capabilities if "obstetric" not in each]
    unit.save()


class TestTheMother:
    TOLD = {
        "bleeding": "heavy", "placenta": "not_delivered", "systolic_mmhg": "85",
        "diastolic_mmhg": "50", "consciousness": "drowsy",
    }  # fmt: skip
    KNOWN = TOLD | {"systolic_mmhg": 85, "diastolic_mmhg": 50}

    ASKED = {
        "bleeding": {"bleeding": "heavy"},
        "placenta": {"placenta": "not_delivered"},
        "awake": {"consciousness": "drowsy"},
        "pressure": {"systolic_mmhg": "85", "diastolic_mmhg": "50"},
        "travels": {"travels": "yes"},
        "age": {"age_years": "24"},
        "note": {"note": "she feels cold"},
    }

    def test_the_attendant_is_asked_one_thing_after_the_other(self, referral, attendant):
        client, case = browser_of(attendant), f"/r/{referral.code}/"
        assert f'href="{case}details/?only=mother"' in text_of(client.get(case))
        path = f"{case}details/?only=mother"
        for number, (question, told) in enumerate(self.ASKED.items(), start=1):
            assert f"question {number} of {len(self.ASKED)}" in text_of(client.get(path))
            here = f"{case}details/mother/{question}/?only=mother"
            path = press(client, path, action=here, **told).url
        assert path == case
        assert known_facts(referral.mother.observations.all()).keys() == self.KNOWN.keys()
        assert str(referral.mother.observations.get(note__isnull=False).note) == "she feels cold"
        mother = Mother.objects.get()
        assert (mother.age_years, mother.travels) == (24, True)
        page = text_of(client.get(case))
        assert HEAVY in page
        assert "Age: 24" in page
        assert client.get(f"{case}details/?only=mother").url == f"{case}told/"

    def test_a_wrong_answer_is_corrected_and_both_are_seen(self, referral, attendant):
        client, path = browser_of(attendant), f"/r/{referral.code}/details/mother/bleeding/"
        press(client, path, action=path, bleeding="heavy")
        assert "Told: Heavy. Another answer corrects it" in text_of(client.get(path))
        press(client, path, action=path, bleeding="none_or_usual")
        assert referral.mother.observations.filter(corrected_by=None).get().bleeding != "heavy"
        assert "<s>Heavy</s> None or usual" in text_of(client.get(f"/r/{referral.code}/timeline/"))

    def test_a_mother_who_stays_behind_asks_nothing_of_the_unit(self, referral, attendant, now):
        client, path = browser_of(attendant), f"/r/{referral.code}/details/mother/"
        press(client, f"{path}bleeding/", action="/bleeding/", bleeding="heavy")
        press(client, f"{path}travels/", action="/travels/", travels="no")
        fresh = lifecycle.timeline_row(referral.pk)
        assert Capability.OBSTETRIC_EMERGENCY_CARE not in assess(fresh, now).capabilities

    def test_an_impossible_number_is_refused_and_kept(self, referral, attendant):
        client, path = browser_of(attendant), f"/r/{referral.code}/details/mother/pressure/"
        answer = press(client, path, action=path, systolic_mmhg="850")
        assert answer.status_code == 422
        assert 'value="850"' in text_of(answer)
        assert not referral.mother.observations.exists()

    def test_the_desk_writes_down_what_is_told_on_the_phone(self, referral, officer):
        client, path = browser_of(officer), f"/desk/{referral.code}/"
        press(client, path, action="/mother/", **self.TOLD, minutes_ago="10")
        observation = referral.mother.observations.get()
        assert observation.facts() == self.KNOWN
        assert clock.now() - observation.observed_at >= timedelta(minutes=10)
        assert HEAVY in text_of(client.get(path))

    def test_the_desk_must_enter_something(self, referral, officer):
        answer = press(browser_of(officer), f"/desk/{referral.code}/", action="/mother/")
        assert answer.status_code == 400
        assert "Enter at least one thing" in text_of(answer)

    def test_over_the_api(self, referral):
        told = {**self.KNOWN, "mother": True}
        answer = device_of("tomasi.bellaqua").post(f"referrals/{referral.code}/observations/", told)
        assert answer.status_code == 201
        assert answer.json()["facts"] == self.KNOWN

    @pytest.mark.parametrize("fact", list(TOLD))
    def test_each_bad_finding_makes_a_place_with_obstetric_care_needed(self, referral, now, fact):
        told = {fact: 115} if fact == "diastolic_mmhg" else {fact: self.KNOWN[fact]}
        assert Capability.OBSTETRIC_EMERGENCY_CARE not in assess(referral, now).capabilities
        recording.observe_mother(told_by("tomasi.bellaqua", now), referral.mother, told)
        fresh = lifecycle.timeline_row(referral.pk)
        assert Capability.OBSTETRIC_EMERGENCY_CARE in assess(fresh, now).capabilities

    def test_her_need_counts_in_the_ranking(self, referral, intensive, ward, now):
        without_obstetrics(intensive)

        def order() -> list[str]:
            fresh = lifecycle.timeline_row(referral.pk)
            ranking = choosing.ranking_for(fresh, now)
            return [each.key for each in ranking.candidates if each.possible]

        assert intensive.code in order()
        told = {"bleeding": "heavy"}
        recording.observe_mother(told_by("tomasi.bellaqua", now), referral.mother, told)
        assert intensive.code not in order()
        assert ward.code in order()

    def test_the_question_to_the_unit_says_so(self, referral, intensive, ward, nurse, now):
        quiet = an_offer(referral, ward, now).alerts.get(kind="question")
        assert "Mother" not in quiet.message
        told = {"bleeding": "heavy"}
        recording.observe_mother(told_by("tomasi.bellaqua", now), referral.mother, told)
        recording.observe_mother(
            told_by("tomasi.bellaqua", now + timedelta(minutes=1)),
            referral.mother,
            {"consciousness": "awake"},
        )
        offer = an_offer(lifecycle.timeline_row(referral.pk), intensive, now)
        assert "Mother needs care too." in offer.alerts.get(kind="question").message
        page = text_of(browser_of(nurse).get(f"/unit/{offer.pk}/"))
        assert HEAVY in page  # the later reading has not put the earlier one out of sight
        assert "Mother: heavy bleeding" in page


class TestTreatments:
    def test_with_twins_the_attendant_says_who_got_it(self, district, attendant, now):
        referral = a_referral(now, babies=2)
        client, path = browser_of(attendant), f"/r/{referral.code}/treatment/"
        answer = press(client, path, words="vitamin K")
        assert answer.status_code == 422
        assert "vitamin K" in text_of(answer)
        press(client, path, words="vitamin K", whose="2")
        assert referral.treatments.get().baby.birth_order == 2

    def test_the_mothers_are_hers(self, referral, attendant):
        path = f"/r/{referral.code}/treatment/"
        press(browser_of(attendant), path, words="as the vial says", whose="mother")
        assert referral.treatments.get().baby is None
        assert referral.entries.get(kind="treatment_given").body["mother"] is True

    def test_the_desk_writes_down_what_when_and_by_whom_and_the_timeline_says_so(
        self, referral, officer
    ):
        client, path = browser_of(officer), f"/desk/{referral.code}/"
        press(
            client, path, action="/treatment/", whose="1", words="10 ml of sugar water",
            given_by="Nurse Amara", minutes_ago="20",
        )  # fmt: skip
        given = referral.treatments.get()
        assert (str(given), given.given_by) == ("10 ml of sugar water", "Nurse Amara")
        assert clock.now() - given.given_at >= timedelta(minutes=20)
        page = text_of(client.get(path))
        assert ", by Nurse Amara" in page.split('id="timeline"')[1]
        assert "Amara" not in str(referral.entries.get(kind="treatment_given").body)
        assert timeline.faults_of(lifecycle.timeline_row(referral.pk)) == []


class TestAdvice:
    def test_the_desk_writes_down_who_asked_and_who_advised(self, referral, officer):
        client, path = browser_of(officer), f"/desk/{referral.code}/"
        press(
            client, path, action="/advice/", asked_by="Tomasi", given_by="Dr Wendorra",
            words="keep skin to skin", read_back="on",
        )  # fmt: skip
        advice = referral.advice.get()
        assert (advice.asked_by, advice.given_by, advice.read_back) == (
            "Tomasi",
            "Dr Wendorra",
            True,
        )
        timeline_part = text_of(client.get(path)).split('id="timeline"')[1]
        assert "advice, read back, asked by Tomasi, given by Dr Wendorra" in timeline_part
        assert "keep skin to skin" in timeline_part

    def test_the_unit_writes_down_what_it_advised(self, district, intensive, nurse, now):
        referral = a_placed_referral(now, intensive)
        offer = referral.accepted_offer()
        client = browser_of(nurse)
        assert f"/unit/{offer.pk}/advice/" in text_of(client.get(f"/unit/{offer.pk}/"))
        press(client, f"/unit/{offer.pk}/advice/", words="keep skin to skin", read_back="on")
        assert referral.advice.get().given_by == "Hana Wendorra"
        assert "keep skin to skin" in text_of(client.get(f"/unit/{offer.pk}/"))

    def test_advice_without_words_is_asked_for_them(self, district, intensive, nurse, now):
        offer = an_offer(a_referral(now), intensive, now)
        answer = press(browser_of(nurse), f"/unit/{offer.pk}/advice/", given_by="Dr W")
        assert answer.status_code == 422
        assert 'value="Dr W"' in text_of(answer)

    def test_a_contact_without_account_advises_by_the_link(self, district, intensive, now):
        offer = an_offer(a_referral(now), intensive, now)
        delivery = offer.alerts.get(kind="question").deliveries.filter(channel="sms").first()
        token = links.token("a", delivery.pk)
        press(browser_of(), f"/u/{token}/advice/", words="keep warm")
        assert offer.referral.advice.get().given_by == "Hana Wendorra"

    def test_one_press_connects_the_attendant_and_the_accepting_unit(
        self, district, intensive, nurse, attendant, now
    ):
        referral = a_placed_referral(now, intensive)
        offer = referral.accepted_offer()
        case = text_of(browser_of(attendant).get(f"/r/{referral.code}/"))
        assert f'href="tel:{intensive.phone.as_e164}"' in case
        page = text_of(browser_of(nurse).get(f"/unit/{offer.pk}/"))
        assert f'href="tel:{attendant.phone.as_e164}"' in page
        assert f'href="tel:{referral.origin.phone.as_e164}"' in page
