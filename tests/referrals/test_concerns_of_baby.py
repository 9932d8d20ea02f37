"""A baby that is cold, or breathes worse than before: the desk is told once, with the numbers."""

from datetime import timedelta

import pytest

from referrals import alerting, recording, watching
from referrals.models import Alert
from tests.world import a_referral, told_by

OFFICER = "leena.morrastad"


@pytest.fixture
def baby(district, now):
    return a_referral(now).babies.get()


def tell(baby, now, minutes, **facts):
    by = told_by("tomasi.bellaqua", now + timedelta(minutes=minutes))
    return recording.observe(by, baby, facts)


def standing(baby, now, minutes, kind):
    watching.look_at(baby.referral_id, now + timedelta(minutes=minutes))
    return Alert.objects.open().filter(referral=baby.referral_id, kind=kind).first()


def test_a_cold_baby_is_told_with_the_line_it_is_below(baby, now):
    tell(baby, now, 5, temperature_c=35.4)
    alert = standing(baby, now, 5, "cold")
    assert f"{baby.code} is cold: 35.4 °C at" in alert.sentence
    assert "below 36.0 °C (WHO, 1997)" in alert.sentence
    assert alert.for_desk


@pytest.mark.parametrize("celsius", [36.0, 36.4, 37.0, 38.2])
def test_at_or_above_the_line_nobody_is_called(baby, now, celsius):
    tell(baby, now, 5, temperature_c=celsius)
    assert standing(baby, now, 5, "cold") is None


def test_a_hot_baby_is_told_with_the_line_it_is_above(baby, now):
    tell(baby, now, 5, temperature_c=37.6)
    alert = standing(baby, now, 5, "hot")
    assert f"{baby.code} is hot: 37.6 °C at" in alert.sentence
    assert "above 37.5 °C (WHO, 1997)" in alert.sentence
    assert alert.for_desk
    tell(baby, now, 30, temperature_c=37.5)
    assert standing(baby, now, 30, "hot") is None


@pytest.mark.parametrize("celsius", [35.0, 36.4, 37.5])
def test_at_or_below_the_upper_line_nobody_is_called_for_heat(baby, now, celsius):
    tell(baby, now, 5, temperature_c=celsius)
    assert standing(baby, now, 5, "hot") is None


def test_a_baby_that_is_warm_again_settles_it(baby, now):
    tell(baby, now, 5, temperature_c=35.9)
    alert = standing(baby, now, 5, "cold")
    tell(baby, now, 30, temperature_c=36.5)
    assert standing(baby, now, 30, "cold") is None
    alert.refresh_from_db()
    assert alert.closed_reason == "settled"


def test_taken_by_the_desk_it_comes_back_only_when_it_is_graver(baby, now):
    tell(baby, now, 5, temperature_c=35.0)
    first = standing(baby, now, 5, "cold")
    alerting.acknowledge(first.pk, told_by(OFFICER, now + timedelta(minutes=6)))
    tell(baby, now, 40, temperature_c=34.1)
    assert standing(baby, now, 60, "cold") is None
    tell(baby, now, 70, temperature_c=31.8)
    assert "below 32.0 °C" in standing(baby, now, 70, "cold").sentence


def test_an_older_temperature_that_comes_late_changes_nothing(baby, now):
    tell(baby, now, 30, temperature_c=36.6)
    tell(baby, now, 10, temperature_c=34.0)
    assert standing(baby, now, 31, "cold") is None


def test_breathing_that_is_worse_than_the_last_reading_is_told_with_both(baby, now):
    tell(baby, now, 5, breathing="regular", support="none")
    assert standing(baby, now, 5, "breathes_worse") is None
    tell(baby, now, 20, breathing="slow_or_gasping")
    alert = standing(baby, now, 20, "breathes_worse")
    assert "breathes worse: slow or gasping at" in alert.sentence
    assert "before that breathes regularly alone at" in alert.sentence
    tell(baby, now, 25, breathing="ventilated")
    assert standing(baby, now, 25, "breathes_worse") is None


def test_a_reading_that_was_a_mistake_counts_no_more_once_it_is_corrected(baby, now):
    tell(baby, now, 5, breathing="regular")
    wrong = tell(baby, now, 20, breathing="none")
    assert standing(baby, now, 20, "breathes_worse")
    by = told_by("tomasi.bellaqua", now + timedelta(minutes=21))
    recording.observe(by, baby, {"breathing": "regular"}, corrects=wrong)
    assert standing(baby, now, 22, "breathes_worse") is None


def test_each_of_twins_is_told_of_by_its_own_code(district, now):
    first, second = a_referral(now, babies=2).babies.all()
    tell(second, now, 5, temperature_c=35.0)
    assert second.code in standing(second, now, 5, "cold").sentence
    tell(first, now, 6, temperature_c=35.0)
    standing(first, now, 6, "cold")
    assert Alert.objects.open().filter(kind="cold").count() == 2
