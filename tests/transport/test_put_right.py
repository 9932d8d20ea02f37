"""A wrong entry is corrected or taken back, never erased; what followed from it is put right."""

from datetime import timedelta

import pytest

from referrals import correcting, examining, recording, scoring, timeline, ventilating, watching
from referrals.calc.scores import ScoreKind
from referrals.calc.states import NotPossible
from referrals.models import Alert, Baby, Entry, Observation, Outcome, Referral
from tests.api_world import device_of
from tests.pages_world import browser_of, forms_on, press, text_of
from tests.world import BAGGED, a_journey, told_by
from transport import on_the_way, told_rows
from transport.calc.stages import TransferStage
from transport.models import Check, Cylinder
from transport.pages.entry_words import lines_of

pytestmark = pytest.mark.django_db
WHY = "it was the other twin"


@pytest.fixture
def transfer(now, intensive):
    return a_journey(now - timedelta(hours=1), intensive, stage=TransferStage.ON_THE_ROAD)


@pytest.fixture
def referral(transfer):
    return transfer.referral


@pytest.fixture
def baby(referral):
    return referral.babies.get()


@pytest.fixture
def tomasi(now):
    return told_by("tomasi.bellaqua", now)


@pytest.fixture
def hana(now):
    return told_by("hana.wendorra", now)


def told_again(referral, who):
    """Whom a correction was told to."""
    rows = Alert.objects.filter(referral=referral, kind="put_right")
    return [alert for alert in rows if alert.deliveries.filter(username=who).exists()]


class TestReadings:
    def test_what_a_wrong_one_had_put_on_the_baby_comes_from_the_others(self, baby, tomasi):
        right = recording.observe(tomasi, baby, {"weight_g": 2400})
        wrong = recording.observe(tomasi, baby, {"weight_g": 900})
        assert Baby.objects.get().weight_g == 900
        correcting.withdraw(tomasi, wrong, reason=WHY)
        assert Baby.objects.get().weight_g == 2400
        correcting.withdraw(tomasi, right, reason=WHY)
        assert Baby.objects.get().weight_g is None

    def test_the_ventilation_begins_with_the_first_reading_that_says_so(self, now, post):
        from referrals import lifecycle

        earlier = told_by("tomasi.bellaqua", now - timedelta(minutes=30))
        referral = lifecycle.raise_referral(earlier, origin=post)
        baby = referral.babies.get()
        slip = recording.observe(earlier, baby, dict(BAGGED))
        later = told_by("tomasi.bellaqua", now)
        recording.observe(later, baby, dict(BAGGED))
        assert Baby.objects.get().ventilated_since == earlier.at
        correcting.withdraw(later, slip, reason=WHY)
        assert Baby.objects.get().ventilated_since == now

    def test_needs_are_derived_again_and_the_unit_is_told_when_they_change(
        self, referral, baby, tomasi
    ):
        recording.observe(tomasi, baby, {"heart_rate": 130})
        rules = correcting.standing_needs(Referral.objects.get())
        wrong = recording.observe(tomasi, baby, {"convulsions": True, "weight_g": 900})
        assert correcting.standing_needs(Referral.objects.get()) != rules
        correcting.withdraw(tomasi, wrong, reason=WHY)
        assert correcting.standing_needs(Referral.objects.get()) == rules
        assert told_again(referral, "hana.wendorra")

    def test_a_correction_that_changes_no_need_tells_nobody(self, referral, baby, tomasi):
        row = recording.observe(tomasi, baby, {"heart_rate": 130})
        new = correcting.observation(tomasi, row, {"heart_rate": 120}, why=WHY)
        assert (new.corrects, new.observed_at) == (row, row.observed_at)
        assert not Alert.objects.filter(kind="put_right").exists()

    def test_the_mother_is_corrected_in_the_same_way(self, referral, tomasi, officer):
        wrong = recording.observe_mother(tomasi, referral.mother, {"bleeding": "heavy"})
        assert referral.needs.filter(rule__startswith="mother", superseded_at=None).exists()
        desk, path = browser_of(officer), f"/desk/{referral.code}/told/mother/{wrong.pk}/"
        assert press(desk, path, bleeding="none_or_usual", why=WHY).status_code == 302
        assert [row.bleeding for row in referral.mother.observations.standing()] == [
            "none_or_usual"
        ]
        assert not referral.needs.filter(rule__startswith="mother", superseded_at=None).exists()

    def test_a_row_that_was_corrected_is_not_put_right_again(self, baby, tomasi):
        row = recording.observe(tomasi, baby, {"heart_rate": 130})
        correcting.observation(tomasi, row, {"heart_rate": 120})
        with pytest.raises(NotPossible) as refusal:
            correcting.withdraw(tomasi, row, reason=WHY)
        assert refusal.value.code == "corrected_since"

    def test_the_reasons_on_the_timeline_hold_in_the_chain(self, referral, baby, tomasi):
        row = recording.observe(tomasi, baby, {"heart_rate": 130}, note="pale")
        row = correcting.observation(tomasi, row, {"heart_rate": 120}, note="pink", why=WHY)
        correcting.withdraw(tomasi, row, reason="another baby")
        withdrawn, corrected = [
            line for line in lines_of(referral) if WHY in line.said or "another baby" in line.said
        ]
        assert withdrawn.sentence == "taken back: a reading of the baby"
        assert ("words", "pale", "pink") in corrected.changes
        assert timeline.faults_of(Referral.objects.get()) == []


class TestTreatmentsAndAdvice:
    def test_a_corrected_treatment_is_told_to_the_unit_and_both_stay_in_sight(
        self, referral, baby, tomasi, attendant, nurse
    ):
        wrong = recording.record_treatment(
            tomasi, referral, recording.Told(words="glucose 20 ml"), baby=baby
        )
        phone, path = browser_of(attendant), f"/r/{referral.code}/told/treatment/{wrong.pk}/"
        assert press(phone, path, words="glucose 2 ml", why=WHY).status_code == 302
        (notice,) = told_again(referral, "hana.wendorra")
        assert "a treatment given was written down wrongly" in notice.message
        assert "glucose" not in notice.message
        offer = referral.accepted_offer()
        for page in (
            phone.get(f"/r/{referral.code}/"),
            browser_of(nurse).get(f"/unit/{offer.pk}/"),
        ):
            assert "glucose 2 ml" in text_of(page)
            assert "<s>glucose 20 ml</s>" in text_of(page)
            assert "by Tomasi Bellaqua, before:" in text_of(page)
        (line,) = [one for one in lines_of(referral) if one.sentence.startswith("corrected")]
        assert line.changes == (("words", "glucose 20 ml", "glucose 2 ml"),)

    def test_taking_it_back_needs_a_reason_and_what_was_typed_stays(
        self, referral, tomasi, attendant
    ):
        given = recording.record_treatment(tomasi, referral, recording.Told(words="glucose"))
        phone, path = browser_of(attendant), f"/r/{referral.code}/told/treatment/{given.pk}/"
        answer = press(phone, path, words="glucose typed", take_back="1", why=" ")
        assert answer.status_code == 422
        assert "glucose typed" in text_of(answer)
        assert press(phone, path, take_back="1", why=WHY).status_code == 302
        page = text_of(phone.get(f"/r/{referral.code}/"))
        assert f"by Tomasi Bellaqua: {WHY}" in page
        given.refresh_from_db()
        assert (given.withdrawn_by, str(given.withdrawn_why)) == ("Tomasi Bellaqua", WHY)

    def test_the_attendant_is_told_when_advice_was_written_down_wrongly(
        self, referral, hana, nurse
    ):
        row = recording.record_advice(hana, referral, given_by="Dr W", words="wait", read_back=True)
        offer = referral.accepted_offer()
        unit, path = browser_of(nurse), f"/unit/{offer.pk}/told/advice/{row.pk}/"
        assert press(unit, path, words="do not wait", read_back="on").status_code == 302
        assert told_again(referral, "tomasi.bellaqua")
        assert not told_again(referral, "hana.wendorra")

    def test_a_unit_mends_nothing_that_others_told(self, referral, baby, tomasi, nurse):
        given = recording.record_treatment(tomasi, referral, recording.Told(words="glucose"))
        offer = referral.accepted_offer()
        answer = browser_of(nurse).get(f"/unit/{offer.pk}/told/treatment/{given.pk}/")
        assert answer.status_code == 404

    def test_undo_on_the_line_that_says_written_down(self, referral, attendant):
        phone = browser_of(attendant)
        press(phone, f"/r/{referral.code}/treatment/", words="vitamin K", whose="1")
        (undo,) = [
            f for f in forms_on(phone.get(f"/r/{referral.code}/")) if "take_back" in f["fields"]
        ]
        phone.post(undo["action"], undo["fields"])
        assert referral.treatments.get().withdrawn_at
        assert not referral.treatments.standing().exists()


class TestOutcomes:
    @pytest.fixture
    def outcome(self, transfer, baby, hana):
        from transport import handing_over

        for side in ("giver", "receiver"):
            handing_over.hand_over(
                hana, transfer, baby, handing_over.Signature(side=side, name="Hana")
            )
        baby.refresh_from_db()
        return recording.tell_outcome(hana, baby, state="died", words="quietly")

    def test_a_wrong_one_is_told_right_to_the_attendant(self, outcome, referral, nurse, attendant):
        offer = referral.accepted_offer()
        unit, path = browser_of(nurse), f"/unit/{offer.pk}/told/outcome/{outcome.pk}/"
        assert press(unit, path, state="improving", words="feeds well").status_code == 302
        assert told_again(referral, "tomasi.bellaqua")
        page = text_of(browser_of(attendant).get("/post/"))
        assert "feeds well" in page
        assert "<s>Has died. quietly</s>" in page

    def test_taken_back_it_is_owed_again(self, outcome, referral, hana, now):
        correcting.withdraw(hana, outcome, reason=WHY)
        later = now + timedelta(days=30)
        kinds = {concern.kind for concern in watching.concerns_of(Referral.objects.get(), later)}
        assert "outcome_not_told" in kinds
        assert not Outcome.objects.standing().exists()


class TestChecks:
    @pytest.fixture
    def cylinder(self, transfer):
        row = Cylinder.objects.filter(vehicle=transfer.vehicle, us_size="").order_by("label")[0]
        Cylinder.objects.filter(pk=row.pk).update(bar=140, read_at=None)
        return row

    def made(self, transfer, by, bar=120, **told):
        words = on_the_way.CheckTold(facts={"heart_rate": 130}, oxygen_bar=bar, **told)
        return on_the_way.check(by, transfer, transfer.referral.babies.get(), words)

    def test_withdrawn_its_reading_and_its_gauge_do_not_count(self, transfer, cylinder, tomasi):
        check = self.made(transfer, tomasi)
        cylinder.refresh_from_db()
        assert cylinder.bar == 120
        on_the_way.withdraw(tomasi, check, reason=WHY)
        cylinder.refresh_from_db()
        assert (cylinder.bar, cylinder.read_at) == (140, None)
        assert not Observation.objects.standing().filter(heart_rate=130).exists()
        assert not transfer.checks.standing().exists()

    def test_the_gauge_falls_back_to_the_check_before(self, transfer, cylinder, now):
        first = self.made(transfer, told_by("tomasi.bellaqua", now - timedelta(minutes=15)), 130)
        wrong = self.made(transfer, told_by("tomasi.bellaqua", now), 12)
        by = told_by("tomasi.bellaqua", now)
        fixed = on_the_way.correct_check(
            by, wrong, on_the_way.CheckTold(facts={"heart_rate": 130}, oxygen_bar=112)
        )
        cylinder.refresh_from_db()
        assert (cylinder.bar, cylinder.read_at) == (112, now)
        on_the_way.withdraw(by, fixed, reason=WHY)
        cylinder.refresh_from_db()
        assert (cylinder.bar, cylinder.read_at) == (130, first.checked_at)

    def test_a_check_that_is_taken_back_is_missed_again(self, transfer, tomasi, now):
        before = due_check(transfer.referral, now)
        check = self.made(transfer, tomasi)
        assert due_check(transfer.referral, now) != before
        on_the_way.withdraw(tomasi, check, reason=WHY)
        assert due_check(transfer.referral, now) == before

    def test_the_desk_need_not_see_to_a_stop_that_was_none(self, transfer, tomasi):
        check = self.made(transfer, tomasi, stopped_because="tyre")
        alert = Alert.objects.get(kind="stopped")
        on_the_way.withdraw(tomasi, check, reason=WHY)
        alert.refresh_from_db()
        assert alert.closed_reason == "the check was taken back"

    def test_only_the_gauge_corrected_keeps_the_reading(self, transfer, tomasi, attendant):
        check = self.made(transfer, tomasi)
        phone, path = browser_of(attendant), f"/r/{transfer.referral.code}/told/check/{check.pk}/"
        assert press(phone, path, oxygen_bar="110").status_code == 302
        newest = Check.objects.standing().get()
        assert (newest.oxygen_bar, newest.observation) == (110, check.observation)
        assert Entry.objects.filter(kind="corrected").count() == 1
        page = text_of(phone.get(f"/r/{transfer.referral.code}/"))
        assert "110 bar" in page

    def test_told_answer_by_answer_it_is_one_check_and_nothing_beside_it(
        self, transfer, tomasi, attendant
    ):
        baby = transfer.referral.babies.get()
        recording.observe(tomasi, baby, {"weight_g": 2400})
        for facts in ({"breathing": "ventilated"}, {"colour": "pink"}):
            told = on_the_way.CheckTold(facts=facts)
            check = on_the_way.answer_of_check(tomasi, transfer, baby, told)
        assert check.facts() == {"breathing": "ventilated", "colour": "pink"}
        words = on_the_way.CheckTold(facts={"breathing": "regular", "colour": "pink"})
        fixed = on_the_way.correct_check(tomasi, check, words)
        assert fixed.facts() == words.facts
        on_the_way.withdraw(tomasi, fixed, reason=WHY)
        assert [row.weight_g for row in baby.observations.standing()][-1] == 2400
        assert not baby.observations.standing().filter(colour="pink").exists()

    def test_the_reading_of_a_band_is_taken_back(self, transfer, tomasi, attendant):
        baby = transfer.referral.babies.get()
        row = on_the_way.read_band(tomasi, transfer, baby, baby.code)
        phone, path = browser_of(attendant), f"/r/{transfer.referral.code}/before-leaving/"
        assert f"/told/band/{row.pk}/" in text_of(phone.get(path))
        told = {"take_back": "1", "why": "read from the paper"}
        press(phone, f"/r/{transfer.referral.code}/told/band/{row.pk}/", **told)
        assert "Read at" not in text_of(phone.get(path))


def due_check(referral, now):
    found = watching.concerns_of(Referral.objects.get(pk=referral.pk), now)
    return [concern.key for concern in found if concern.kind == "check_missed"]


class TestApi:
    def test_everything_is_corrected_where_it_is_told(self, referral, transfer, baby):
        phone, unit = device_of("tomasi.bellaqua"), device_of("hana.wendorra")
        base, journey = f"referrals/{referral.code}", f"transfers/{transfer.pk}"
        told = [
            (phone, f"{base}/treatments/", {"words": "20 ml"}, {"words": "2 ml"}),
            (unit, f"{base}/advice/", {"given_by": "Dr W", "words": "cool"},
             {"given_by": "Dr W", "words": "warm"}),
            (unit, f"{base}/outcome/", {"state": "died", "words": "x"},
             {"state": "improving", "words": "y"}),
            (phone, f"{journey}/checks/", {"oxygen_bar": 20}, {"oxygen_bar": 120}),
        ]  # fmt: skip
        for device, path, wrong, right in told:
            first = device.post(path, wrong).json()
            second = device.post(path, right | {"corrects": first["id"], "reason": WHY})
            assert second.status_code == 201, second.content
            assert second.json()["corrects"] == first["id"]
            again = device.post(path, right | {"corrects": first["id"]})
            assert (again.status_code, again.json()["errors"][0]["field"]) == (400, "corrects")

    def test_and_taken_back_under_one_address(self, referral, transfer, baby, tomasi, hana):
        rows = {
            "reading": recording.observe(tomasi, baby, {"heart_rate": 130}),
            "mother": recording.observe_mother(tomasi, referral.mother, {"bleeding": "heavy"}),
            "treatment": recording.record_treatment(
                tomasi, referral, recording.Told(words="glucose")
            ),
            "advice": recording.record_advice(
                hana, referral, given_by="Dr W", words="warm", read_back=True
            ),
            "outcome": recording.tell_outcome(hana, baby, state="died", words="x"),
            "score": scoring.take(hana, baby, scoring.ScoreTold(kind=ScoreKind.TRIPS)),
            "chest": ventilating.try_step(tomasi, baby, "seal", chest_moves=True),
            "examination": examining.examine(hana, baby, findings="warm and pink"),
            "check": on_the_way.check(
                tomasi, transfer, baby, on_the_way.CheckTold(facts={}, oxygen_bar=120)
            ),
            "band": on_the_way.read_band(tomasi, transfer, baby, baby.code),
        }
        assert list(rows) == told_rows.KINDS
        desk = device_of("leena.morrastad")
        for kind, row in rows.items():
            path = f"referrals/{referral.code}/told/{kind}/{row.pk}/withdraw/"
            assert desk.post(path, {}).status_code == 400
            answer = desk.post(path, {"reason": WHY}).json()
            assert (answer["withdrawn_by"], answer["withdrawn_because"]) == (
                "Leena Morrastad",
                WHY,
            )
            row.refresh_from_db()
            assert row.withdrawn_at
        assert desk.post(f"referrals/{referral.code}/told/shoes/1/withdraw/").status_code == 404

    def test_a_need_that_was_set_aside_counts_again(self, referral):
        desk = device_of("leena.morrastad")
        need = referral.needs.filter(superseded_at=None).first()
        path = f"referrals/{referral.code}/needs/{need.pk}"
        desk.post(f"{path}/override/", {"reason": "not here"})
        answer = desk.post(f"{path}/restore/", {"reason": "read wrongly"}).json()
        assert answer["overridden_by"] == ""
        assert Entry.objects.filter(kind="need_restored").exists()
