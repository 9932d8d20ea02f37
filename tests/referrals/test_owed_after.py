"""After the handover: outcomes by moment and a first examination, asked for once and quietly."""

import re
from datetime import timedelta

import pytest

from referrals import correcting, examining, owed_after, recording, watching
from referrals.models import Alert, Entry, Examination, Referral
from referrals.recording import UnknownFact
from tests.api_world import device_of
from tests.pages_world import browser_of, press, text_of
from tests.world import a_journey, told_by
from transport import handing_over
from transport.calc.stages import TransferStage

pytestmark = pytest.mark.django_db
HOUR, DAY = timedelta(hours=1), timedelta(days=1)


@pytest.fixture
def on_the_road(now, intensive):
    return a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD).referral


@pytest.fixture
def referral(now, intensive):
    """Handed over now."""
    transfer = a_journey(now, intensive, stage=TransferStage.ARRIVED)
    baby, by = transfer.referral.babies.get(), told_by("hana.wendorra", now)
    for side in ("giver", "receiver"):
        handing_over.hand_over(by, transfer, baby, handing_over.Signature(side=side, name="Hana"))
    return Referral.objects.get(pk=transfer.referral_id)


@pytest.fixture
def baby(referral):
    return referral.babies.get()


def raised(referral, now, kind="outcome_not_told"):
    """The open alerts of a kind after a look, those of the desk only."""
    watching.look_at(referral.pk, now)
    return referral.alerts.open().filter(kind=kind, for_desk=True)


def test_the_unit_and_the_desk_are_asked_for_each_moment_once(referral, baby, now):
    examining.examine(told_by("hana.wendorra", now), baby)
    watching.look_at(referral.pk, now + HOUR)
    referral.refresh_from_db()
    assert referral.next_look_at == baby.ended_at + DAY
    first = raised(referral, now + DAY + HOUR).get()
    assert "after the first day" in first.sentence
    to_unit = referral.alerts.get(kind="outcome_not_told", for_desk=False)
    assert (to_unit.sentence, to_unit.needs_answer) == (first.sentence, False)
    assert raised(referral, now + DAY + 2 * HOUR).count() == 1
    week = raised(referral, now + 7 * DAY + HOUR).get()
    assert "after the first week" in week.sentence
    referral.refresh_from_db()
    assert referral.next_look_at == baby.ended_at + 28 * DAY


def test_what_is_told_to_the_unit_stands_as_long_as_its_cause(referral, baby, now):
    raised(referral, now + DAY + HOUR)
    raised(referral, now + DAY + 2 * HOUR)
    to_unit = referral.alerts.get(kind="outcome_not_told", for_desk=False)
    assert to_unit.closed_at is None
    later = now + DAY + 3 * HOUR
    by = told_by("hana.wendorra", later)
    recording.tell_outcome(by, baby, state="improving", words="feeds", moment="at_24_hours")
    assert not raised(referral, later)
    to_unit.refresh_from_db()
    assert to_unit.closed_at is not None


def test_taken_by_a_person_it_is_not_brought_up_again_before_the_next_moment(referral, now):
    from referrals import alerting

    alert = raised(referral, now + DAY + HOUR).get()
    alerting.acknowledge(alert.pk, told_by("leena.morrastad", now + DAY + HOUR))
    assert not raised(referral, now + 3 * DAY)
    assert raised(referral, now + 7 * DAY).get().pk != alert.pk


def test_taken_back_an_outcome_is_owed_again(referral, baby, now):
    by = told_by("hana.wendorra", now + DAY)
    row = recording.tell_outcome(by, baby, state="gone_home", words="x", moment="at_discharge")
    assert owed_after.owed_of(baby, now + 8 * DAY) == []
    correcting.withdraw(by, row, reason="another baby")
    assert "week" in raised(referral, now + 8 * DAY).get().sentence


def test_a_moment_that_does_not_go_with_the_state_is_refused_beside_it(baby, now):
    by = told_by("hana.wendorra", now)
    with pytest.raises(UnknownFact) as refusal:
        recording.tell_outcome(by, baby, state="improving", words="x", moment="death")
    assert refusal.value.field == "moment"
    with pytest.raises(UnknownFact, match="no such moment"):
        recording.tell_outcome(by, baby, state="improving", words="x", moment="soon")
    assert not baby.outcomes.exists()


def test_a_correction_keeps_moment_and_lesson_that_are_not_told_again(baby, now):
    by = told_by("hana.wendorra", now)
    row = recording.tell_outcome(
        by, baby, state="died", words="quietly", moment="death", learn="Call sooner next time."
    )
    same = correcting.outcome(by, row, state="died", words="in her mother's arms")
    assert (same.moment, str(same.learn)) == ("death", "Call sooner next time.")
    other = correcting.outcome(by, same, state="improving", words="another baby died")
    assert other.moment == ""
    was = Entry.objects.filter(kind="corrected").latest("seq").body
    assert {"words_was", "learn_was"} <= set(was)


def test_the_form_of_the_unit_begins_with_what_is_due(referral, baby, nurse, monkeypatch, now):
    from referrals import clock

    offer = referral.accepted_offer()
    client, path = browser_of(nurse), f"/unit/{offer.pk}/outcome/1/"
    monkeypatch.setattr(clock, "now", lambda: now + DAY)
    chosen = re.search(r'<input[^>]*value="at_24_hours"[^>]*>', text_of(client.get(path)))
    assert "checked" in chosen[0]
    refused = press(client, path, moment="at_discharge", state="still_in_care", words="x")
    assert refused.status_code == 422
    assert "do not go together" in text_of(refused)
    press(client, path, state="improving", words="feeds", learn="The cap kept her warm.")
    row = baby.outcomes.get()
    assert (row.moment, str(row.learn)) == ("at_24_hours", "The cap kept her warm.")


def test_the_attendant_reads_moment_lesson_and_thanks(baby, attendant, now):
    by = told_by("hana.wendorra", now)
    recording.tell_outcome(
        by, baby, state="improving", words="pink", moment="at_24_hours", learn="Warmth helped."
    )
    page = text_of(browser_of(attendant).get("/post/"))
    for words in ("after the first day", "Warmth helped.", "Thank you for what you did"):
        assert words in page
    message = Alert.objects.get(kind="outcome").message
    assert "Thank you for what you did" in message
    assert "Warmth" not in message


def test_the_desk_writes_down_an_outcome_with_its_moment(referral, baby, officer):
    client, path = browser_of(officer), f"/desk/{referral.code}/"
    told = {"moment": "at_7_days", "state": "improving", "words": "grows", "learn": "Early call."}
    press(client, path, action="/outcome/", **told)
    assert baby.outcomes.get().moment == "at_7_days"
    assert "To learn from it: Early call." in text_of(client.get(path))


def test_over_the_api_the_moment_may_be_left_out_and_is_refused_when_wrong(referral):
    unit, path = device_of("hana.wendorra"), f"referrals/{referral.code}/outcome/"
    plain = unit.post(path, {"state": "improving", "words": "x"}).json()
    assert (plain["moment"], plain["learn"]) == ("", "")
    full = {"state": "improving", "words": "x", "moment": "at_7_days", "learn": "Warm early."}
    answer = unit.post(path, full).json()
    assert (answer["moment"], answer["learn"]) == ("at_7_days", "Warm early.")
    wrong = unit.post(path, full | {"moment": "death"})
    assert (wrong.status_code, wrong.json()["errors"][0]["field"]) == (400, "moment")


class TestExamination:
    def test_nobody_hears_of_it_on_the_road(self, on_the_road, now):
        for hours in (1, 7, 30):
            found = watching.concerns_of(on_the_road, now + hours * HOUR)
            assert "not_examined" not in {concern.kind for concern in found}

    def test_not_told_of_some_hours_after_the_handover_unit_and_desk_are_asked(
        self, referral, baby, now
    ):
        assert not raised(referral, now + 5 * HOUR, "not_examined")
        assert raised(referral, now + 7 * HOUR, "not_examined").count() == 1
        assert referral.alerts.filter(kind="not_examined", for_desk=False).exists()
        row = examining.examine(told_by("hana.wendorra", now + 8 * HOUR), baby)
        assert not raised(referral, now + 8 * HOUR, "not_examined")
        correcting.withdraw(told_by("hana.wendorra", now), row, reason="another baby")
        assert examining.standing_examination(baby) is None
        assert raised(referral, now + 9 * HOUR, "not_examined").exists()

    def test_it_is_not_asked_for_of_a_baby_that_has_died(self, referral, baby, now):
        by = told_by("hana.wendorra", now)
        recording.tell_outcome(by, baby, state="died", words="quietly")
        assert list(watching.concerns_of(referral, now + 2 * DAY)) == []

    def test_the_attendant_writes_it_down_and_takes_it_back(self, on_the_road, attendant, now):
        client, path = browser_of(attendant), f"/r/{on_the_road.code}/examination/1/"
        assert path not in text_of(client.get(f"/r/{on_the_road.code}/"))  # no word on the road
        told = {"examined_by": "Nurse Amorvale", "findings": "A small skin tag."}
        assert press(client, path, **told).url == f"/r/{on_the_road.code}/"
        row = Examination.objects.get()
        assert examining.standing_examination(row.baby) == row
        assert "A small skin tag." in text_of(client.get(path))
        assert "by Nurse Amorvale" in text_of(client.get(f"/r/{on_the_road.code}/timeline/"))
        entry = Entry.objects.get(kind="examined")
        assert "Amorvale" not in str(entry.body)
        mend = f"/r/{on_the_road.code}/told/examination/{row.pk}/"
        press(client, mend, take_back="1", why="the twin")
        assert examining.standing_examination(row.baby) is None

    def test_the_unit_sees_that_it_is_not_done_and_writes_it_down(self, on_the_road, nurse):
        offer = on_the_road.accepted_offer()
        client, base = browser_of(nurse), f"/unit/{offer.pk}/"
        assert "not done yet" in text_of(client.get(base))
        answer = press(client, f"{base}examination/1/", findings="Nothing found.")
        assert answer.url == base
        page = text_of(client.get(base))
        assert "Nothing found." in page
        assert "not done yet" not in page
        row = Examination.objects.get()
        undo = f"{base}told/examination/{row.pk}/"
        press(client, undo, take_back="1", why="another baby")
        assert "not done yet" in text_of(client.get(base))

    def test_the_desk_writes_down_what_it_is_told(self, on_the_road, officer):
        client, path = browser_of(officer), f"/desk/{on_the_road.code}/"
        told = {"examined_by": "Nurse Amorvale", "findings": "warm", "said_by": "Aunt Rewa"}
        press(client, path, action="/examined/", **told)
        row = Examination.objects.get()
        assert (row.examined_by, str(row.findings)) == ("Nurse Amorvale", "warm")
        assert "examined by Nurse Amorvale" in text_of(client.get(path))

    def test_a_device_tells_and_reads_it(self, on_the_road, now):
        unit, path = device_of("hana.wendorra"), f"referrals/{on_the_road.code}/examinations/"
        assert unit.get(path).json() == []
        ahead = {"examined_at": (now + DAY).isoformat()}
        wrong = unit.post(path, ahead)
        assert (wrong.status_code, wrong.json()["errors"][0]["field"]) == (400, "examined_at")
        answer = unit.post(path, {"findings": "warm and pink"})
        assert answer.status_code == 201
        row = unit.get(path).json()[0]
        assert (row["baby"], row["findings"]) == (1, "warm and pink")
        assert row["withdrawn_at"] is None
