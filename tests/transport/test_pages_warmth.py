"""Temperature and trends on the pages of the unit, the desk and the post."""

import re
from datetime import timedelta

import pytest
from pages_world import browser_of, text_of
from world import a_journey, told_by

from referrals import clock, describing, recording
from tests.api_world import device_of
from transport.calc.stages import TransferStage


@pytest.fixture
def transfer(now, intensive):
    return a_journey(now - timedelta(hours=1), intensive, stage=TransferStage.ON_THE_ROAD)


@pytest.fixture
def baby(transfer):
    return transfer.referral.babies.get()


def seen(baby, minutes_ago, **facts):
    by = told_by("tomasi.bellaqua", clock.now() - timedelta(minutes=minutes_ago))
    return recording.observe(by, baby, facts)


@pytest.fixture
def pages(baby, nurse, officer, attendant):
    """The record as each of the three reads it."""

    def read():
        referral = baby.referral
        offer = referral.accepted_offer()
        return [
            text_of(browser_of(staff).get(path))
            for staff, path in (
                (nurse, f"/unit/{offer.pk}/"),
                (officer, f"/desk/{referral.code}/"),
                (attendant, f"/r/{referral.code}/"),
            )
        ]

    return read


class TestTemperature:
    def test_the_class_stands_under_both_schemes(self, baby, pages):
        """36.2 °C: mild by WHO 1997, moderate by WHO 2003 (F-70)."""
        seen(baby, 10, temperature_c=36.2)
        for page in pages():
            assert "mild cold (WHO, 1997), moderate cold (WHO, 2003)" in page

    def test_one_reading_is_no_trend_and_the_page_says_what_it_takes(self, baby, pages):
        seen(baby, 10, temperature_c=36.8)
        for page in pages():
            assert "normal (WHO, 1997 and 2003)" in page
            assert "No trend of the temperature yet: it takes 2 readings, 30 min apart" in page
            assert "If it went on so" not in page

    def test_the_trend_is_projected_to_the_likely_and_the_late_arrival(self, baby, pages):
        seen(baby, 61, temperature_c=36.9)
        seen(baby, 1, temperature_c=36.5)
        for page in pages():
            assert "Trend: -0.4 °C an hour (give or take 0.1), from 2 readings" in page
            assert re.search(r"If it went on so: about 3\d\.\d °C \(.*\) at the likely arr", page)
            assert re.search(r"If it went on so: about 3\d\.\d °C \(.*\) at the late arriv", page)
            assert "A projection from the readings alone, not a forecast" in page

    def test_a_journey_longer_than_the_readings_bear_is_not_projected(self, baby, pages):
        seen(baby, 200, temperature_c=36.9)
        seen(baby, 170, temperature_c=36.5)
        for page in pages():
            assert "Trend:" in page
            assert "No projection to the arrival: it is too far ahead" in page
            assert "If it went on so" not in page

    def test_slow_rewarming_is_said_with_its_source(self, baby, pages):
        """+0.4 °C an hour over 3 hours: WHO 2003, F-71."""
        seen(baby, 181, temperature_c=34.0)
        seen(baby, 1, temperature_c=35.2)
        for page in pages():
            assert "warming is too slow" in page
            assert "F-71 and F-73" in page

    def test_an_entry_and_the_api_keep_the_class_with_its_scheme(self, baby):
        seen(baby, 5, temperature_c=36.2)
        classes = {"who_1997": "mild_hypothermia", "who_2003": "moderate_hypothermia"}
        assert baby.referral.entries.filter(kind="observed").last().body["thermal"] == classes
        path = f"referrals/{baby.referral.code}/observations/"
        assert device_of("hana.wendorra").get(path).json()[-1]["thermal"] == classes

    def test_a_reading_without_a_temperature_has_no_class(self, baby):
        seen(baby, 5, heart_rate=130)
        assert "thermal" not in baby.referral.entries.filter(kind="observed").last().body


class TestIncubator:
    @pytest.fixture
    def page(self, baby, nurse):
        def read(query: str = "") -> str:
            offer = baby.referral.accepted_offer()
            return text_of(browser_of(nurse).get(f"/unit/{offer.pk}/{query}"))

        return read

    def told(self, baby, weight_g=1800):
        by = told_by("tomasi.bellaqua", clock.now())
        recording.observe(by, baby, {"weight_g": weight_g})
        born = clock.now() - timedelta(hours=2)
        describing.describe_baby(by, baby, {"born_at": born, "weight_guessed": True})

    def test_it_is_begun_by_weight_and_age_with_the_source_beside_it(self, baby, page):
        """WHO 2003, Table C-3: 1.5 to 2.0 kg, day 1: 34 °C."""
        self.told(baby)
        shown = page()
        assert "air 34 °C" in shown
        assert "1.5 to 2.0 kg, day 1 of life: 34 °C; the weight is a guess" in shown
        assert "Table C-3, page C-7" in shown
        assert "A starting point from a table" in shown

    def test_a_single_wall_in_a_cold_room_gets_more(self, baby, page):
        """WHO 2003, note below Table C-3: room 20 °C, 34 + 2 °C."""
        self.told(baby)
        shown = page("?room_c=20")
        assert "air 36 °C" in shown
        assert "2 °C more for a single wall in this room" in shown

    @pytest.mark.parametrize("room", ["200", "warm"])
    def test_a_room_that_cannot_be_is_refused_and_the_table_stays(self, baby, page, room):
        self.told(baby)
        shown = page(f"?room_c={room}")
        assert "is not" in shown
        assert f'value="{room}"' in shown
        assert "air 34 °C" in shown

    def test_what_is_missing_is_named(self, baby, page):
        assert "not known yet: the weight, the time of birth" in re.sub("<[^>]*>", "", page())


class TestTrends:
    def test_four_kinds_are_drawn_with_their_normal_band_and_a_table(self, baby, pages):
        for minutes_ago, rate in ((30, 96), (15, 120), (2, 190)):
            seen(
                baby,
                minutes_ago,
                heart_rate=rate,
                spo2=90,
                temperature_c=36.4,
                oxygen_flow_l_min=5.0,
            )
        for page in pages():
            assert page.count('<svg class="trend"') == 4
            assert page.count('role="img" aria-labelledby="t-1-') == 4
            assert "normal 100 to 180 /min" in page
            assert "normal 36.5 to 37.5 °C" in page
            about = "3 numbers from .*: first 96, last 190, lowest 96, highest 190 /min"
            assert re.search(about, page)
            drawn = page[page.index("d-1-heart_rate") : page.index("d-1-spo2")]
            assert drawn.count('class="point out"') == 2
            assert drawn.count("<circle") == 1
            assert "The same as a table" in page
            assert "Tomasi" in page

    def test_felt_heart_rates_are_steps_and_words_in_the_table(self, baby, pages):
        seen(baby, 20, heart_rate_band="under_60")
        seen(baby, 10, heart_rate_band="from_60_to_99")
        for page in pages():
            assert page.count('class="felt"') == 2
            assert "Under 60" in page
            assert "60 to 99" in page

    def test_corrected_and_withdrawn_readings_are_not_drawn(self, baby, pages):
        wrong = seen(baby, 20, heart_rate=240)
        seen(baby, 10, heart_rate=130)
        seen(baby, 5, heart_rate=132)
        by = told_by("tomasi.bellaqua", clock.now())
        recording.observe(by, baby, {"heart_rate": 124}, corrects=wrong)
        for page in pages():
            assert "first 124, last 132, lowest 124, highest 132 /min" in page

    def test_one_reading_draws_nothing(self, baby, pages):
        for page in pages():
            assert '<svg class="trend"' not in page
