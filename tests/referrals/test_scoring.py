"""Scores on the record: who saw each item and when, corrections, Entries, and the API."""

from datetime import timedelta

import pytest

from referrals import correcting, recording, scoring, timeline
from referrals.calc.scores import ScoreKind, Told
from referrals.models import ScoreTaken
from referrals.recording import UnknownFact
from tests.api_world import device_of
from tests.world import a_placed_referral, told_by

NURSE = "hana.wendorra"


@pytest.fixture
def baby(district, intensive, now):
    return a_placed_referral(now, intensive).babies.get()


def trips(**items):
    found = {code: Told(value=value) for code, value in items.items()}
    return scoring.ScoreTold(kind=ScoreKind.TRIPS, items=found)


WHOLE = {"temperature": 35.8, "respiratory": "severe", "systolic": 45, "response": "vigorous"}


def test_a_whole_score_is_kept_with_its_number_and_an_entry(baby, now):
    row = scoring.take(told_by(NURSE, now), baby, trips(**WHOLE))
    assert row.total == 22
    entry = baby.referral.entries.get(kind="scored")
    assert entry.body["total"] == 22
    assert entry.body["items"] == WHOLE
    assert entry.body["missing"] == []
    assert timeline.faults_of(row.baby.referral.__class__.objects.get()) == []


def test_a_missing_item_leaves_it_without_a_number(baby, now):
    row = scoring.take(told_by(NURSE, now), baby, trips(temperature=35.8))
    assert row.total is None
    assert row.counted().missing == ("respiratory", "systolic", "response")
    assert baby.referral.entries.get(kind="scored").body["total"] is None


def test_each_item_says_who_saw_it_and_when(baby, now):
    seen = told_by("tomasi.bellaqua", now - timedelta(minutes=5))
    recording.observe(seen, baby, {"temperature_c": 35.8})
    by = told_by(NURSE, now)
    row = scoring.take(by, baby, trips(**WHOLE))
    assert row.items["temperature"]["by"] == seen.name
    assert row.items["temperature"]["at"] == seen.at.isoformat()
    assert row.items["systolic"]["by"] == by.name
    assert row.items["systolic"]["at"] == by.at.isoformat()


def test_another_value_than_the_reading_is_of_whoever_scores(baby, now):
    seen = told_by("tomasi.bellaqua", now - timedelta(minutes=5))
    recording.observe(seen, baby, {"temperature_c": 35.8})
    row = scoring.take(told_by(NURSE, now), baby, trips(**WHOLE | {"temperature": 36.1}))
    assert row.items["temperature"]["by"] == told_by(NURSE, now).name


def test_old_readings_are_not_taken_over(baby, now):
    seen = told_by("tomasi.bellaqua", now + timedelta(minutes=1))
    recording.observe(seen, baby, {"temperature_c": 35.8})
    soon = scoring.already_told(baby, ScoreKind.TOPS, now + timedelta(minutes=30))
    late = scoring.already_told(baby, ScoreKind.TOPS, now + timedelta(minutes=32))
    assert soon["temperature"].told == Told(value=35.8, quantity="temperature_c")
    assert late == {}


def test_an_apgar_score_takes_what_was_seen_at_its_minute(baby, now):
    baby.born_at = now - timedelta(minutes=30)
    baby.save()
    at_five = baby.born_at + timedelta(minutes=5, seconds=20)
    seen = {"heart_rate_band": "at_least_100", "breathing": "ventilated"}
    recording.observe(told_by("tomasi.bellaqua", at_five), baby, seen)
    found = scoring.already_told(baby, ScoreKind.APGAR, now, minute=5)
    assert {code: each.told.value for code, each in found.items()} == {"heart_rate": "2"}
    assert scoring.help_told(baby, now, minute=5) is True
    assert scoring.already_told(baby, ScoreKind.APGAR, now, minute=10) == {}


@pytest.mark.parametrize(("kind", "minute"), [("apgar", None), ("apgar", 7), ("trips", 5)])
def test_a_minute_that_the_score_is_not_taken_at_is_refused(baby, now, kind, minute):
    told = scoring.ScoreTold(kind=ScoreKind(kind), minute=minute)
    with pytest.raises(UnknownFact) as refused:
        scoring.take(told_by(NURSE, now), baby, told)
    assert refused.value.field == "minute"


def test_a_correction_keeps_the_old_one_and_who_saw_what_stays(baby, now):
    first = scoring.take(told_by(NURSE, now), baby, trips(**WHOLE))
    later = told_by("leena.morrastad", now + timedelta(minutes=9))
    second = correcting.score(later, first, trips(**WHOLE | {"systolic": 38}), why="misread")
    assert second.total == 38
    assert second.scored_at == first.scored_at
    assert second.items["temperature"] == first.items["temperature"]
    assert second.items["systolic"]["by"] == later.name
    entry = baby.referral.entries.get(kind="corrected")
    assert (entry.body["total_was"], entry.body["total"]) == (22, 38)
    assert list(baby.scores.standing()) == [second]


def test_a_score_that_was_not_so_is_taken_back(baby, now):
    row = scoring.take(told_by(NURSE, now), baby, trips(**WHOLE))
    correcting.withdraw(told_by(NURSE, now), row, reason="wrong baby")
    assert not baby.scores.standing().exists()
    assert baby.referral.entries.get(kind="told_withdrawn").body["what"] == "score"


def test_it_keeps_the_limits_by_which_it_was_counted(baby, now, district):
    district.tops_limits = {"temperature_c": 36.0}
    district.save()
    baby.referral.district.refresh_from_db()
    told = {"temperature": 36.2, "oxygenation": 95, "perfusion": 2, "sugar": 60}
    tops = scoring.ScoreTold(
        kind=ScoreKind.TOPS, items={code: Told(value=value) for code, value in told.items()}
    )
    row = scoring.take(told_by(NURSE, now), baby, tops)
    assert row.total == 0
    district.tops_limits = {}
    district.save()
    assert ScoreTaken.objects.get(pk=row.pk).counted().total == 0


class TestOverTheApi:
    def test_it_is_told_and_read_with_its_source(self, baby):
        device = device_of(NURSE)
        path = f"referrals/{baby.referral.code}/scores/"
        answered = device.post(path, {"score": "trips", "items": WHOLE})
        assert answered.status_code == 201
        [row] = device.get(path).json()
        assert (row["total"], row["missing"]) == (22, [])
        assert row["items"][0] == row["items"][0] | {"item": "temperature", "points": 8}
        assert "J Pediatr 2001;139:220" in row["source"]
        assert "does not say what one baby needs" in row["published_for"]

    def test_a_missing_item_is_named(self, baby):
        told = {"score": "apgar", "minute": 5, "items": {"colour": "1"}, "help_given": True}
        row = device_of(NURSE).post(f"referrals/{baby.referral.code}/scores/", told).json()
        assert row["total"] is None
        assert row["missing"] == ["heart_rate", "reflex", "tone", "breathing"]
        assert row["help_given"] is True

    @pytest.mark.parametrize(
        ("told", "field"),
        [
            ({"score": "trips", "items": {"temperature": 365}}, "temperature_c"),
            ({"score": "trips", "items": {"respiratory": "bad"}}, "respiratory"),
            ({"score": "trips", "items": {"shoe": 1}}, "shoe"),
            ({"score": "tops", "items": {"sugar": 40}}, "glucose_unit"),
            ({"score": "apgar", "items": {"colour": "1"}}, "minute"),
            ({"score": "other", "items": {"colour": "1"}}, "score"),
            ({"score": "trips", "items": {"temperature": True}}, "items.temperature"),
        ],
    )
    def test_what_cannot_be_is_refused_beside_its_field(self, baby, told, field):
        refused = device_of(NURSE).post(f"referrals/{baby.referral.code}/scores/", told)
        assert refused.status_code == 400
        assert [error["field"] for error in refused.json()["errors"]] == [field]
        assert not ScoreTaken.objects.exists()

    def test_it_is_corrected_once(self, baby):
        device, path = device_of(NURSE), f"referrals/{baby.referral.code}/scores/"
        first = device.post(path, {"score": "trips", "items": WHOLE}).json()
        told = {"score": "trips", "items": WHOLE | {"systolic": 38}, "corrects": first["id"]}
        assert device.post(path, told).json()["total"] == 38
        assert device.post(path, told).status_code == 400
