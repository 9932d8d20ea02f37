"""Every value that can be told of a baby: refused beside its field where it cannot be, asked
about once where it is unusual, on the post's pages, at the desk and over the API.
"""

from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from pages_world import browser_of, forms_on, press, text_of
from world import a_journey, a_referral, told_by

from referrals import clock, correcting, describing, recording
from referrals.calc.quantities import QUANTITIES
from referrals.calc.status import quantity_of
from referrals.calc.terms import GlucoseUnit
from referrals.models import Observation
from referrals.models.observations import BABY_FACTS
from referrals.pages.forms import Glucose, Quantity
from referrals.reading import WORDS, known_facts
from referrals.recording import UnknownFact
from tests.api_world import device_of
from transport.calc.stages import TransferStage
from transport.pages.questions import AFTER_THE_CALL, MORE_OF_A_CHECK, SHORT_CHECK, Of, field_of

pytestmark = pytest.mark.usefixtures("district")
NOT_MEASURED = {"chest_moving", "convulsions", "support_since", *WORDS}


@pytest.fixture
def referral(now):
    return a_referral(now)


@pytest.fixture
def client(attendant):
    return browser_of(attendant)


def answer(client: Any, referral: Any, question: str, **told: str) -> Any:
    path = f"/r/{referral.code}/details/1/{question}/"
    return press(client, path, action=path, **told)


@pytest.mark.parametrize("fact", sorted(set(BABY_FACTS) - NOT_MEASURED))
def test_every_measured_value_has_its_bounds(fact, now):
    for unit in GlucoseUnit:
        assert quantity_of(fact, glucose_unit=unit) in QUANTITIES
    field = field_of(fact, now)
    assert isinstance(field, Quantity)
    assert field.bounds.source


def test_every_fact_of_a_baby_but_its_rate_of_breathing_is_asked_of_the_post():
    asked = {
        name
        for question in (*AFTER_THE_CALL, *SHORT_CHECK, *MORE_OF_A_CHECK)
        if question.of is Of.BABY
        for name in question.fields
    }
    assert set(BABY_FACTS) - asked == {"respiratory_rate"}
    assert {"sex", "born_at", "ventilated_since", "weight_guessed"} <= asked


class TestGlucose:
    def test_it_is_told_by_the_number_and_the_unit_on_the_button(self, client, referral):
        answer(client, referral, "glucose", glucose="2,2", glucose_unit="mmol_l")
        told = Observation.objects.latest("pk").facts()
        assert told == {"glucose": 2.2, "glucose_unit": "mmol_l"}
        assert "Told: 2.2, mmol/L" in text_of(client.get(f"/r/{referral.code}/details/1/glucose/"))

    @pytest.mark.parametrize(
        ("number", "unit", "sentence"),
        [
            ("60", "mmol_l", "60 is not possible: from 0 to 50 mmol/L."),
            ("901", "mg_dl", "901 is not possible: from 0 to 900 mg/dL."),
            ("20", "mg_dl", "20 mg/dL? If that is right, send it again."),
            ("1", "mmol_l", "1 mmol/L? If that is right, send it again."),
            ("40", "", "In which unit does the meter show it?"),
        ],
    )
    def test_it_is_bounded_in_the_unit_in_which_it_was_read(
        self, client, referral, number, unit, sentence
    ):
        before = Observation.objects.count()
        refused = answer(client, referral, "glucose", glucose=number, glucose_unit=unit)
        assert refused.status_code == 422
        assert sentence in text_of(refused)
        assert f'value="{number}"' in text_of(refused)
        assert Observation.objects.count() == before

    def test_an_unusual_one_sent_again_is_taken(self, client, referral):
        asked = answer(client, referral, "glucose", glucose="1", glucose_unit="mmol_l")
        path = f"/r/{referral.code}/details/1/glucose/"
        again = next(form for form in forms_on(asked) if form["action"] == path)
        client.post(path, again["fields"] | {"glucose_unit": "mmol_l"})
        assert Observation.objects.latest("pk").glucose == 1

    def test_a_unit_pressed_without_a_number_tells_nothing(self, client, referral):
        before = referral.entries.count()
        answer(client, referral, "glucose", glucose="", glucose_unit="mg_dl")
        assert referral.entries.count() == before

    def test_a_correction_in_the_other_unit_keeps_number_and_unit_together(self, referral, now):
        baby, by = referral.babies.get(), told_by("tomasi.bellaqua", now)
        recording.observe(by, baby, {"glucose": 40.0, "glucose_unit": "mg_dl"})
        correcting.tell_facts(by, baby, {"glucose": 2.2, "glucose_unit": "mmol_l"})
        known = known_facts(baby.observations.all())
        assert (known["glucose"][0], known["glucose_unit"][0]) == (2.2, "mmol_l")


class TestSupportSince:
    def test_it_joins_the_support_it_is_of(self, client, referral, now):
        answer(client, referral, "support", support="cpap")
        since = clock.now() - timedelta(minutes=20)
        local = since.astimezone(_zone(referral))
        answer(client, referral, "since", support_since=f"{local:%H:%M}")
        known = known_facts(referral.babies.get().observations.all())
        assert known["support"][0] == "cpap"
        assert abs(known["support_since"][0] - since) < timedelta(minutes=1)
        again = answer(client, referral, "since", support_since=f"{local:%H:%M}")
        assert again.status_code == 302
        assert known_facts(referral.babies.get().observations.all()) == known

    def test_another_support_told_later_does_not_keep_the_time_of_the_first(self, referral, now):
        baby = referral.babies.get()
        later = now + timedelta(minutes=20)
        first = {"support": "cpap", "support_since": now}
        recording.observe(told_by("tomasi.bellaqua", now), baby, first)
        recording.observe(told_by("tomasi.bellaqua", later), baby, {"support": "ventilator"})
        assert "support_since" not in known_facts(baby.observations.all())

    def test_a_time_that_has_not_come_is_refused_beside_its_field(self, referral, now):
        told = {"support": "cpap", "support_since": (now + timedelta(hours=1)).isoformat()}
        refused = device_of("tomasi.bellaqua").post(
            f"referrals/{referral.code}/observations/", told
        )
        assert refused.status_code == 400
        assert [error["field"] for error in refused.json()["errors"]] == ["support_since"]

    def test_a_time_without_its_support_is_refused_over_the_api(self, referral, now):
        refused = device_of("tomasi.bellaqua").post(
            f"referrals/{referral.code}/observations/", {"support_since": now.isoformat()}
        )
        assert [error["field"] for error in refused.json()["errors"]] == ["support"]


class TestWhatDoesNotChange:
    def test_the_start_of_ventilation_is_told_on_a_page(self, client, referral):
        began = clock.now() - timedelta(minutes=25)
        local = began.astimezone(_zone(referral))
        answer(client, referral, "began", ventilated_since=f"{local:%H:%M}")
        assert abs(referral.babies.get().ventilated_since - began) < timedelta(minutes=1)

    def test_it_is_told_and_corrected_over_the_api(self, referral, now):
        device = device_of("tomasi.bellaqua")
        path = f"referrals/{referral.code}/babies/1/"
        born = now - timedelta(minutes=30)
        told = {"sex": "female", "born_at": born.isoformat(), "weight_guessed": True}
        assert device.post(path, told).json()["sex"] == "female"
        answered = device.post(path, {"sex": "male"}).json()
        assert answered["sex"] == "male"
        assert answered["born_at"]
        assert answered["entry_seq"] == referral.entries.latest("seq").seq
        assert referral.entries.filter(kind="described").count() == 2

    def test_nothing_said_is_refused(self, referral):
        refused = device_of("tomasi.bellaqua").post(f"referrals/{referral.code}/babies/1/", {})
        assert refused.status_code == 400

    @pytest.mark.parametrize(
        ("details", "field"),
        [
            ({"born_at": timedelta(hours=1)}, "born_at"),
            ({"born_at": timedelta(days=-29)}, "born_at"),
            ({"ventilated_since": timedelta(hours=1)}, "ventilated_since"),
            (
                {"born_at": timedelta(minutes=-10), "ventilated_since": timedelta(minutes=-30)},
                "ventilated_since",
            ),
        ],
    )
    def test_a_time_that_cannot_be_is_refused(self, referral, now, details, field):
        moments = {name: now + apart for name, apart in details.items()}
        with pytest.raises(UnknownFact) as refused:
            describing.describe_baby(
                told_by("tomasi.bellaqua", now), referral.babies.get(), moments
            )
        assert refused.value.field == field

    def test_a_phone_whose_clock_is_ahead_is_believed_by_its_own_clock(self, now):
        ahead = now + timedelta(hours=3)
        told = {
            "site": "MRW",
            "happened_at": ahead.isoformat(),
            "sent_at": ahead.isoformat(),
            "babies": [{"born_at": (ahead - timedelta(minutes=5)).isoformat()}],
        }
        assert device_of("tomasi.bellaqua").post("referrals/", told).status_code == 201


class TestAtTheDesk:
    @pytest.fixture
    def case(self, now, intensive):
        return a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD).referral

    def check(self, officer: Any, case: Any, **told: str) -> Any:
        return press(browser_of(officer), f"/desk/{case.code}/", action="/check/", **told)

    def test_an_unusual_number_is_asked_about_once(self, officer, case):
        before = Observation.objects.count()
        asked = self.check(officer, case, temperature_c="31.5")
        assert asked.status_code == 400
        assert "31.5 °C? If that is right, send it again." in text_of(asked)
        form = next(each for each in forms_on(asked) if each["action"].endswith("/check/"))
        client = browser_of(officer)
        assert client.post(form["action"], form["fields"]).status_code == 302
        assert Observation.objects.count() == before + 1
        assert Observation.objects.latest("pk").temperature_c == 31.5

    def test_what_the_post_says_of_glucose_and_perfusion_is_entered(self, officer, case):
        told = {"glucose": "44", "glucose_unit": "mg_dl", "capillary_refill_s": "4"}
        assert self.check(officer, case, **told).status_code == 302
        row = Observation.objects.latest("pk")
        assert (row.glucose, row.glucose_unit, row.capillary_refill_s) == (44, "mg_dl", 4)


def test_a_glucose_field_without_a_unit_takes_no_number():
    field = Glucose("Glucose")
    field.read_in("")
    assert field.clean("") is None


def _zone(referral: Any) -> Any:
    return ZoneInfo(referral.district.time_zone)
