"""Steps tried for the chest, and minutes without a heartbeat: told to the desk and the unit."""

from datetime import timedelta

import pytest

from referrals import alerting, correcting, recording, timeline, ventilating, watching
from referrals.models import Alert, ChestTry, Observation
from referrals.recording import UnknownFact
from tests.world import a_placed_referral, a_referral, told_by


@pytest.fixture
def baby(district, now):
    return a_referral(now).babies.get()


def by(now, minutes=0, who="tomasi.bellaqua"):
    return told_by(who, now + timedelta(minutes=minutes))


def tell(baby, now, minutes, **facts):
    return recording.observe(by(now, minutes), baby, facts)


def alerts(baby, now, minutes, kind="no_heartbeat"):
    watching.look_at(baby.referral_id, now + timedelta(minutes=minutes))
    return list(Alert.objects.open().filter(referral=baby.referral_id, kind=kind, for_desk=True))


class TestSteps:
    def test_a_step_is_kept_with_its_entry_and_is_a_reading_of_the_baby(self, baby, now):
        row = ventilating.try_step(by(now, 1), baby, "head", chest_moves=False)
        assert baby.observations.standing().last().chest_moving is False
        entry = baby.referral.entries.get(kind="chest_tried")
        assert entry.body == {"baby": 1, "step": "head", "chest_moves": False}
        assert row.told_by == "Tomasi Bellaqua"
        step = ventilating.step_to_try(baby, now + timedelta(minutes=2))
        assert step is not None
        assert step.code == "seal"

    def test_a_step_nobody_has_is_refused(self, baby, now):
        with pytest.raises(UnknownFact, match="no such step"):
            ventilating.try_step(by(now), baby, "pray", chest_moves=True)
        assert not ChestTry.objects.exists()

    def test_taken_back_it_counts_no_more_and_its_reading_neither(self, baby, now):
        row = ventilating.try_step(by(now, 1), baby, "head", chest_moves=False)
        correcting.withdraw(by(now, 2), row, reason="it was the other baby")
        assert not baby.chest_tries.standing().exists()
        assert Observation.objects.get(pk=row.observation_id).withdrawn_at
        step = ventilating.step_to_try(baby, now + timedelta(minutes=2))
        assert step is not None
        assert step.code == "head"
        referral = type(baby.referral).objects.get(pk=baby.referral_id)
        assert not timeline.faults_of(referral)


class TestNoHeartbeat:
    def test_the_desk_is_told_at_ten_fifteen_and_twenty_minutes(self, baby, now):
        tell(baby, now, 2, heart_rate_band="none_detected", chest_moving=True)
        assert alerts(baby, now, 11) == []
        for minutes in (10, 15, 20):
            [alert] = alerts(baby, now, 2 + minutes)
            assert f"{minutes} min of breaths" in alert.sentence
            assert "Published positions differ" in alert.sentence
            assert "write down who decides what" in alert.sentence

    def test_the_next_look_is_booked_for_the_next_mark(self, baby, now):
        tell(baby, now, 2, heart_rate=0)
        alerts(baby, now, 9)
        referral = type(baby.referral).objects.get(pk=baby.referral_id)
        assert referral.next_look_at <= now + timedelta(minutes=12)

    def test_that_nobody_has_told_of_the_chest_is_said(self, baby, now):
        tell(baby, now, 2, heart_rate_band="none_detected")
        [alert] = alerts(baby, now, 12)
        assert "nobody has told whether the chest moves" in alert.sentence

    def test_no_word_of_it_advises_and_none_reaches_the_post(self, baby, now):
        tell(baby, now, 2, heart_rate_band="none_detected")
        for minutes in (12, 17, 22):
            alerts(baby, now, minutes)
        rows = Alert.objects.filter(referral=baby.referral_id, kind="no_heartbeat")
        assert rows.count() == 3
        for row in rows:
            assert not any(word in row.sentence.lower() for word in ("stop", "wait", "give up"))
            names = {delivery.contact_name for delivery in row.deliveries.all()}
            assert "Tomasi Bellaqua" not in names

    def test_the_clinician_on_duty_at_the_accepting_unit_is_told_too(
        self, district, intensive, now
    ):
        baby = a_placed_referral(now, intensive).babies.get()
        tell(baby, now, 2, heart_rate_band="none_detected")
        alerts(baby, now, 12)
        [told] = Alert.objects.filter(kind="no_heartbeat", offer__unit=intensive)
        assert told.deliveries.exists()
        assert not told.for_desk
        alerts(baby, now, 13)
        assert Alert.objects.filter(kind="no_heartbeat", offer__unit=intensive).count() == 1

    def test_a_heartbeat_found_settles_it(self, baby, now):
        tell(baby, now, 2, heart_rate_band="none_detected")
        [alert] = alerts(baby, now, 12)
        tell(baby, now, 13, heart_rate_band="under_60")
        assert alerts(baby, now, 14) == []
        alert.refresh_from_db()
        assert alert.closed_reason == "settled"

    def test_one_that_somebody_took_is_not_brought_up_again_at_the_same_mark(self, baby, now):
        tell(baby, now, 2, heart_rate_band="none_detected")
        [alert] = alerts(baby, now, 12)
        alerting.acknowledge(alert.pk, by(now, 13, "leena.morrastad"))
        assert alerts(baby, now, 16) == []
        [later] = alerts(baby, now, 17)
        assert "15 min" in later.sentence

    def test_who_decided_what_is_kept_by_name(self, baby, now):
        row = recording.record_advice(
            by(now, 14, "leena.morrastad"),
            baby.referral,
            given_by="Dr Hana Wendorra",
            words="go on to the unit",
            read_back=True,
            is_decision=True,
        )
        entry = baby.referral.entries.get(kind="advice")
        assert entry.body["decision"] is True
        assert "Hana" not in str(entry.body)
        told = {"given_by": "Dr Hana Wendorra", "words": "go on", "read_back": True}
        assert correcting.advice(by(now, 15, "leena.morrastad"), row, **told).is_decision
