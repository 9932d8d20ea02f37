"""Scores on the pages: taken at the unit and by the escort, read by all, never as an order."""

from datetime import timedelta

import pytest
from pages_world import browser_of, forms_on, press, text_of
from world import a_placed_referral, a_referral, an_offer, told_by

from referrals import clock, recording
from referrals.models import Offer, ScoreTaken

TRIPS = {"temperature": "35.8", "respiratory": "severe", "systolic": "45", "response": "vigorous"}


@pytest.fixture
def referral(now, intensive):
    return a_placed_referral(now, intensive)


@pytest.fixture
def baby(referral):
    return referral.babies.get()


@pytest.fixture
def at_unit(referral, nurse):
    """The unit's browser and the address of its question."""
    return browser_of(nurse), f"/unit/{referral.accepted_offer().pk}/"


def seen(baby, minutes_ago=5, **facts):
    by = told_by("tomasi.bellaqua", clock.now() - timedelta(minutes=minutes_ago))
    return recording.observe(by, baby, facts)


class TestAtTheUnit:
    def test_each_score_says_what_it_was_published_for_and_where(self, at_unit):
        client, base = at_unit
        page = text_of(client.get(f"{base}scores/1/"))
        for source in ("J Pediatr 2001;139:220", "Acta Paediatr 2007;96:172", "1953;32:260"):
            assert source in page
        assert page.count("does not say what one baby needs") == 2
        assert "A score orders nothing" in page
        assert f"{base}scores/1/apgar/?minute=5" in page

    def test_a_whole_one_is_counted_and_shown_with_who_saw_what(self, at_unit, baby):
        client, base = at_unit
        assert press(client, f"{base}scores/1/trips/", **TRIPS).status_code == 302
        assert ScoreTaken.objects.get().total == 22
        page = text_of(client.get(base))
        assert "TRIPS: 22 (0 to 65, higher is worse)" in page
        assert "Hana" in page
        assert "Does not breathe, gasps, is ventilated or intubated" in page
        assert "14 points" in page
        assert "it orders nothing" in page

    def test_what_a_reading_says_stands_there_with_who_and_when(self, at_unit, baby):
        client, base = at_unit
        seen(baby, temperature_c=35.8)
        form = forms_on(client.get(f"{base}scores/1/trips/"))[0]
        assert form["fields"]["temperature"] == "35.8"
        assert form["fields"]["respiratory"] == "severe"  # from the bag and mask
        assert "As told by Tomasi" in text_of(client.get(f"{base}scores/1/trips/"))
        press(client, f"{base}scores/1/trips/", systolic="45", response="vigorous")
        row = ScoreTaken.objects.get()
        assert row.total == 22
        assert "Tomasi" in row.items["temperature"]["by"]
        assert "Hana" in row.items["systolic"]["by"]

    def test_one_item_left_open_is_named_and_gives_no_number(self, at_unit):
        client, base = at_unit
        press(client, f"{base}scores/1/trips/", **TRIPS | {"systolic": ""})
        page = text_of(client.get(base))
        assert "TRIPS: no number, one item is missing: Upper blood pressure of the baby" in page
        assert ScoreTaken.objects.get().total is None

    def test_a_glucose_is_told_in_its_unit(self, at_unit):
        client, base = at_unit
        tops = {"temperature": "35.2", "oxygenation": "86", "perfusion": "4"}
        refused = press(client, f"{base}scores/1/tops/", **tops, sugar="3.1", sugar_unit="")
        assert refused.status_code == 422
        assert "In which unit does the meter show it?" in text_of(refused)
        press(client, f"{base}scores/1/tops/", **tops, sugar="3.1", sugar_unit="mmol_l")
        page = text_of(client.get(base))
        assert "TOPS, items deranged: 3 (0 to 4, deranged items counted" in page
        assert "3.1 mmol/L" in page

    def test_an_apgar_score_with_help_is_called_assisted(self, at_unit):
        client, base = at_unit
        found = dict.fromkeys(("colour", "heart_rate", "reflex", "tone", "breathing"), "1")
        path = f"{base}scores/1/apgar/?minute=5"
        assert press(client, path, **found, help_given="yes").status_code == 302
        page = text_of(client.get(base))
        assert "Apgar score at 5 min, assisted: 5 (0 to 10, higher is better), called moder" in page

    @pytest.mark.parametrize("path", ["apgar/", "apgar/?minute=7", "mint/", "apgar/?minute=x"])
    def test_a_score_or_a_minute_there_is_not_is_not_found(self, at_unit, path):
        client, base = at_unit
        assert client.get(f"{base}scores/1/{path}").status_code == 404

    def test_an_impossible_and_an_unusual_number_are_said_beside_their_field(self, at_unit):
        client, base = at_unit
        refused = press(client, f"{base}scores/1/trips/", **TRIPS | {"systolic": "450"})
        assert "450 is not possible: from 0 to 200 mmHg." in text_of(refused)
        asked = press(client, f"{base}scores/1/trips/", **TRIPS | {"systolic": "12"})
        assert "12 mmHg? If that is right, send it again." in text_of(asked)
        assert not ScoreTaken.objects.exists()

    def test_an_empty_one_is_not_kept(self, at_unit):
        client, base = at_unit
        refused = press(client, f"{base}scores/1/silverman/")
        assert "Nothing is filled in yet." in text_of(refused)
        assert not ScoreTaken.objects.exists()

    def test_it_is_corrected_and_taken_back(self, at_unit):
        client, base = at_unit
        press(client, f"{base}scores/1/trips/", **TRIPS)
        path = f"{base}told/score/{ScoreTaken.objects.get().pk}/"
        press(client, path, -1, systolic="38", why="misread")
        row = ScoreTaken.objects.standing().get()
        assert row.total == 38
        assert "38 mmHg" in text_of(client.get(base))
        press(client, f"{base}told/score/{row.pk}/", why="wrong baby", take_back="1")
        assert not ScoreTaken.objects.standing().exists()
        assert "<s>TRIPS: 38" in text_of(client.get(base))

    def test_a_unit_that_was_only_asked_takes_none(self, now, ward, other_nurse):
        offer = an_offer(a_referral(now), ward, now)
        page = browser_of(other_nurse).get(f"/unit/{offer.pk}/scores/1/")
        assert page.status_code == 404
        assert "Take a score" not in text_of(browser_of(other_nurse).get(f"/unit/{offer.pk}/"))
        assert Offer.objects.get(pk=offer.pk).stage == "open"


class TestByTheEscort:
    def test_it_is_taken_from_the_record_and_seen_by_all(self, attendant, officer, at_unit, baby):
        client, base = browser_of(attendant), f"/r/{baby.referral.code}/"
        assert "For those trained in them" in text_of(client.get(f"{base}scores/1/"))
        press(client, f"{base}scores/1/silverman/", **dict.fromkeys(
            ("chest", "intercostal", "xiphoid", "nostrils", "grunt"), "1"))  # fmt: skip
        said = "Silverman-Andersen score: 5 (0 to 10, higher is worse), called moderate"
        unit, question = at_unit
        for reader, path in (
            (client, base),
            (unit, question),
            (browser_of(officer), f"/desk/{baby.referral.code}/"),
        ):
            assert said in text_of(reader.get(path))

    def test_another_post_does_not_see_it(self, baby, person):
        stranger = browser_of(person("mei.corrowan"))
        assert stranger.get(f"/r/{baby.referral.code}/scores/1/trips/").status_code == 404

    def test_the_timeline_says_old_and_new(self, attendant, officer, baby):
        client, base = browser_of(attendant), f"/r/{baby.referral.code}/"
        press(client, f"{base}scores/1/trips/", **TRIPS)
        path = f"/desk/{baby.referral.code}/told/score/{ScoreTaken.objects.get().pk}/"
        press(browser_of(officer), path, systolic="38")
        page = text_of(client.get(f"{base}timeline/"))
        assert "baby 1: TRIPS: 22" in page
        assert "corrected: baby 1: TRIPS: 38" in page
        assert "<s>22</s> 38" in page
