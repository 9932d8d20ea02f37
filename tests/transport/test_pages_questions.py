"""One question a screen: after the call, about the hands, and in the check on the way."""

from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest
from pages_world import browser_of, forms_on, press, text_of
from world import BAGGED, a_journey, a_placed_referral, a_referral, told_by

from referrals import clock, lifecycle, recording, timeline, watching
from referrals.models import Observation, Referral
from referrals.reading import known_facts
from transport.calc.stages import TransferStage
from transport.models import Check
from transport.pages.questions import AFTER_THE_CALL, MORE_OF_A_CHECK, SHORT_CHECK


@pytest.fixture
def client(attendant):
    return browser_of(attendant)


def raised(client) -> Referral:
    press(client, "/post/")
    return Referral.objects.latest("pk")


def answer(client, referral: Referral, question: str, whose: str = "1", **told: str):
    path = f"/r/{referral.code}/details/{whose}/{question}/"
    return press(client, path, action=path, **told)


def asked_first(client, referral: Referral) -> str:
    """The question on the screen; the forms behind it are for scripts."""
    forms = [form["action"] for form in forms_on(client.get(f"/r/{referral.code}/details/"))]
    return next(path for path in forms if not path.endswith("/all/hands/")).rsplit("/", 2)[1]


class TestAfterTheCall:
    def test_what_changes_the_destination_is_asked_first_and_each_press_is_kept(self, client):
        referral = raised(client)
        page = text_of(client.get(f"/r/{referral.code}/details/"))
        assert "question 1 of " in page
        told = {
            "breathing": {"breathing": "ventilated"},
            "support": {"support": "bag_and_mask_oxygen"},
            "chest": {"chest_moving": "yes"},
            "heart": {"heart_rate_band": "under_60"},
        }
        for number, (question, value) in enumerate(told.items(), start=1):
            assert asked_first(client, referral) == question
            following = answer(client, referral, question, **value)
            assert following.status_code == 302
            assert Observation.objects.count() == number
        assert following.url == f"/r/{referral.code}/details/1/colour/"
        assert not timeline.faults_of(lifecycle.timeline_row(referral.pk))

    def test_whoever_left_comes_back_to_the_first_question_not_answered(self, client):
        referral = raised(client)
        answer(client, referral, "breathing", breathing="regular")
        answer(client, referral, "weight", weight_g="2100", weight_guessed="guessed")
        baby = referral.babies.get()
        assert (baby.weight_g, baby.weight_guessed) == (2100, True)
        assert asked_first(client, referral) == "support"

    def test_what_is_not_known_is_gone_past_and_tells_nothing(self, client):
        referral = raised(client)
        before = referral.entries.count()
        following = answer(client, referral, "breathing", skip="yes")
        assert following.url == f"/r/{referral.code}/details/1/support/"
        assert referral.entries.count() == before
        assert asked_first(client, referral) == "breathing"

    def test_an_answer_that_rules_a_question_out_leaves_it_out(self, client):
        referral = raised(client)
        answer(client, referral, "breathing", breathing="regular")
        following = answer(client, referral, "support", support="none")
        assert following.url == f"/r/{referral.code}/details/1/heart/"

    def test_another_answer_corrects_the_first_and_the_clock_of_ventilation_goes_with_it(
        self, client
    ):
        referral = raised(client)
        answer(client, referral, "breathing", breathing="ventilated")
        assert referral.babies.get().ventilated_since
        answer(client, referral, "breathing", breathing="slow_or_gasping")
        assert referral.babies.get().ventilated_since is None
        assert [row.facts() for row in Observation.objects.filter(corrected_by=None)] == [
            {"breathing": "slow_or_gasping"}
        ]
        page = text_of(client.get(f"/r/{referral.code}/timeline/"))
        assert "<s>Being ventilated (bag and mask)</s> Slow or gasping" in page

    def test_the_same_answer_again_changes_nothing(self, client):
        referral = raised(client)
        for _ in range(2):
            answer(client, referral, "colour", colour="pink")
        assert Observation.objects.count() == 1

    def test_not_known_after_all_takes_an_answer_back(self, client):
        referral = raised(client)
        answer(client, referral, "weight", weight_g="900", weight_guessed="measured")
        answer(client, referral, "weight", skip="yes")
        baby = referral.babies.get()
        assert baby.weight_g is None
        assert "weight_g" not in known_facts(baby.observations.all())
        assert referral.entries.filter(kind="corrected").count() == 1

    def test_a_reading_with_more_in_it_loses_nothing_by_a_correction(self, client, now):
        referral = a_referral(now)
        answer(client, referral, "breathing", breathing="none")
        known = known_facts(referral.babies.get().observations.all())
        told = {name: value for name, (value, _at) in known.items()}
        assert told == BAGGED | {"breathing": "none"}

    def test_two_values_that_belong_together_stand_on_one_screen(self, client):
        referral = raised(client)
        answer(client, referral, "meter", spo2="88", heart_rate="130")
        assert Observation.objects.get().facts() == {"spo2": 88, "heart_rate": 130}

    def test_birth_and_sex_are_described_and_shown_with_what_was_told(self, client):
        referral = raised(client)
        born = clock.now() - timedelta(minutes=30)
        answer(client, referral, "born", born_at=f"{timezone_of(referral, born):%H:%M}")
        answer(client, referral, "sex", sex="female")
        baby = referral.babies.get()
        assert abs(baby.born_at - born) < timedelta(minutes=1)
        page = text_of(client.get(f"/r/{referral.code}/told/"))
        assert "Girl" in page
        assert page.count("Not told yet") > 5

    def test_the_last_answer_leads_to_what_happens_now(self, client):
        referral = raised(client)
        last = AFTER_THE_CALL[-1].code
        assert answer(client, referral, last, "mother", note="").url == f"/r/{referral.code}/"

    def test_an_impossible_number_is_refused_beside_its_field_with_its_unit(self, client):
        referral = raised(client)
        refused = answer(client, referral, "meter", spo2="880", heart_rate="130")
        page = text_of(refused)
        assert refused.status_code == 422
        assert "880 is not possible: from 0 to 100 %." in page
        assert 'value="880"' in page
        assert 'value="130"' in page  # the rest is kept too
        assert Observation.objects.count() == 0

    def test_an_unusual_number_is_asked_about_once(self, client):
        referral = raised(client)
        asked = answer(client, referral, "temperature", temperature_c="30.5")
        assert "30.5 °C? If that is right, send it again." in text_of(asked)
        path = f"/r/{referral.code}/details/1/temperature/"
        again = next(form for form in forms_on(asked) if form["action"] == path)
        assert client.post(path, again["fields"]).status_code == 302
        assert Observation.objects.get().temperature_c == 30.5

    def test_digits_of_any_script_are_numbers(self, client):
        referral = raised(client)
        answer(client, referral, "temperature", temperature_c="٣٦٫٤")
        assert Observation.objects.get().temperature_c == 36.4

    def test_a_question_nobody_knows_is_not_found(self, client):
        referral = raised(client)
        for path in ("1/shoe-size", "2/breathing", "mother/breathing"):
            assert client.get(f"/r/{referral.code}/details/{path}/").status_code == 404


def timezone_of(referral: Referral, moment):
    return moment.astimezone(ZoneInfo(referral.district.time_zone))


def test_no_question_asks_for_two_things_that_do_not_belong_together():
    together = {"meter", "weight", "pressure", "hands", "flow", "glucose"}
    for question in (*AFTER_THE_CALL, *SHORT_CHECK, *MORE_OF_A_CHECK):
        assert len(question.fields) == 1 or question.code in together, question.code
    codes = [question.code for question in AFTER_THE_CALL]
    assert len(codes) == len(set(codes))


class TestHands:
    def test_who_ventilates_relieves_and_reports_is_one_question(self, client, officer):
        referral = raised(client)
        told = {"ventilates": "Tomasi", "relieves": "Aru", "reports": "Lio"}
        answer(client, referral, "hands", "all", **told, alone="no")
        referral.refresh_from_db()
        assert (referral.ventilates, referral.relieves, referral.reports) == (
            "Tomasi",
            "Aru",
            "Lio",
        )
        desk = text_of(browser_of(officer).get(f"/desk/{referral.code}/"))
        assert "Lio reports." in desk

    def test_whoever_is_alone_is_asked_nothing_more_and_the_desk_is_told_to_ring(
        self, client, officer, now
    ):
        referral = raised(client)
        case = f"/r/{referral.code}/"
        pressed = press(client, f"{case}details/", action="/all/hands/", alone="yes")
        assert pressed.url == case
        watching.look_at(referral.pk, clock.now())
        assert referral.alerts.open().filter(kind="alone", for_desk=True).exists()
        for path in ("details/", "details/1/heart/", "check/1/"):
            page = text_of(client.get(f"{case}{path}"))
            assert "The desk rings you" in page
            assert 'class="question"' not in page
        assert "You are alone: the desk rings" in text_of(client.get(case))
        # The desk, which holds the line, is asked all of it.
        asked = text_of(browser_of(officer).get(f"{case}details/"))
        assert "How does the baby breathe?" in asked

        press(client, case, action="/all/hands/", alone="no")
        watching.look_at(referral.pk, clock.now())
        assert not referral.alerts.open().filter(kind="alone").exists()
        assert "How does the baby breathe?" in text_of(client.get(f"{case}details/"))


class TestTwins:
    def test_a_twin_is_one_press_and_is_asked_about_next(self, client):
        referral = raised(client)
        added = press(client, f"/r/{referral.code}/details/", action="/babies/")
        assert added.url == f"/r/{referral.code}/details/2/breathing/"
        assert f"{referral.code}-2 is added" in text_of(client.get(added.url))
        answer(client, referral, "breathing", "2", breathing="none")
        assert referral.babies.get(birth_order=2).observations.get().breathing == "none"
        # Both babies' breathing comes before anything else is asked.
        assert asked_first(client, referral) == "breathing"

    def test_one_added_by_mistake_is_taken_back_alone(self, client, now, intensive):
        referral = a_placed_referral(now, intensive)
        added = press(client, f"/r/{referral.code}/", action="/babies/")
        press(client, added.url, action="/babies/2/back/")
        assert [baby.ending for baby in referral.babies.all()] == ["", "raised_in_error"]
        assert lifecycle.timeline_row(referral.pk).stage == "placed"
        told = referral.accepted_offer().alerts.get(kind="comes_no_more")
        assert f"{referral.code}-2 does not come any more. Still to come: 1." in told.message

    def test_a_baby_of_whom_something_was_told_is_not_taken_back_like_that(self, client, now):
        referral = a_referral(now, babies=2)
        client.post(f"/r/{referral.code}/babies/2/back/")
        client.post(f"/r/{referral.code}/babies/1/back/")
        assert [baby.ending for baby in referral.babies.all()] == ["", ""]

    def test_there_is_an_end_to_it(self, client, now):
        referral = a_referral(now, babies=4)
        assert "/babies/" not in text_of(client.get(f"/r/{referral.code}/"))
        client.post(f"/r/{referral.code}/babies/")
        assert referral.babies.count() == 4


class TestTheCheck:
    SHORT = {
        "breathing": {"breathing": "ventilated"},
        "heart": {"heart_rate_band": "at_least_100"},
        "colour": {"colour": "pink"},
        "gauge": {"oxygen_bar": "90"},
    }

    @pytest.fixture
    def transfer(self, district, intensive, now):
        begun = now - timedelta(hours=1)
        found = a_journey(begun, intensive, stage=TransferStage.ON_THE_ROAD)
        baby = found.referral.babies.get()
        by = told_by("tomasi.bellaqua", now - timedelta(minutes=10))
        recording.observe(by, baby, {"temperature_c": 36.4})
        return found

    def check(self, client, transfer, question: str, **told: str):
        path = f"/r/{transfer.referral.code}/check/1/{question}/"
        return press(client, path, action=path, **told)

    def test_the_short_set_is_one_check_of_four_presses(self, client, transfer):
        path = f"/r/{transfer.referral.code}/check/1/"
        for number, (question, told) in enumerate(self.SHORT.items(), start=1):
            assert f"question {number} of 4" in text_of(client.get(path))
            path = self.check(client, transfer, question, **told).url
        assert path == f"/r/{transfer.referral.code}/"
        assert "is written down" in text_of(client.get(path))
        made = transfer.checks.get()
        assert made.oxygen_bar == 90
        rows = transfer.referral.babies.get().observations.filter(observed_at__gte=made.checked_at)
        known = {name: value for name, (value, _at) in known_facts(rows).items()}
        assert known == {
            "breathing": "ventilated", "heart_rate_band": "at_least_100", "colour": "pink",
        }  # fmt: skip
        assert not timeline.faults_of(lifecycle.timeline_row(transfer.referral_id))

    def test_one_answer_is_a_check_already(self, client, transfer):
        self.check(client, transfer, "gauge", oxygen_bar="70")
        assert transfer.checks.get().oxygen_bar == 70

    def test_a_slip_of_the_finger_is_corrected_within_the_check(self, client, transfer):
        self.check(client, transfer, "colour", colour="blue_or_pale")
        self.check(client, transfer, "colour", colour="pink")
        assert transfer.checks.count() == 1
        (entry,) = transfer.referral.entries.filter(kind="corrected")
        assert entry.body["was"] == {"colour": "blue_or_pale"}

    def test_what_is_seen_later_is_another_check(self, client, transfer):
        self.check(client, transfer, "colour", colour="pink")
        Check.objects.update(checked_at=clock.now() - timedelta(minutes=6))
        Observation.objects.filter(colour="pink").update(
            observed_at=clock.now() - timedelta(minutes=6)
        )
        self.check(client, transfer, "colour", colour="blue_or_pale")
        assert transfer.checks.count() == 2
        assert not transfer.referral.entries.filter(kind="corrected").exists()

    def test_nothing_known_is_no_check(self, client, transfer):
        for question in self.SHORT:
            following = self.check(client, transfer, question, skip="yes")
        assert following.url == f"/r/{transfer.referral.code}/"
        assert not transfer.checks.exists()
        assert "is written down" not in text_of(client.get(following.url))

    def test_temperature_is_asked_once_an_hour(self, client, transfer):
        path = f"/r/{transfer.referral.code}/check/1/"
        assert "of 4" in text_of(client.get(path))
        Observation.objects.filter(temperature_c__isnull=False).update(
            observed_at=clock.now() - timedelta(minutes=61)
        )
        assert "of 5" in text_of(client.get(path))
        self.check(client, transfer, "temperature", temperature_c="36.2")
        assert Observation.objects.filter(temperature_c=36.2).exists()

    def test_more_can_be_told_beside_it_and_a_stop_reaches_the_desk(self, client, transfer):
        page = text_of(client.get(f"/r/{transfer.referral.code}/check/1/"))
        assert "More, or: we have stopped" in page
        self.check(client, transfer, "meter", spo2="91", heart_rate="")
        self.check(client, transfer, "stopped", stopped_because="the bag leaks")
        assert transfer.referral.alerts.filter(kind="stopped").exists()
        assert transfer.checks.first().observation.spo2 == 91
        assert str(transfer.checks.last().stopped_because) == "the bag leaks"
