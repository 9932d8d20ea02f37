"""The same baby called for twice: the desk is told, a person joins the two, nothing is lost."""

from datetime import timedelta

import pytest
from api_world import device_of
from pages_world import browser_of, press, text_of
from world import a_placed_referral, a_referral, an_offer, told_by

from referrals import endings, joining, lifecycle, recording, reopening, timeline, watching
from referrals.calc.states import NotPossible
from referrals.calc.terms import Ending
from referrals.labels import fact_in_words
from referrals.models import Alert, Referral
from transport import lifecycle as journeys
from transport.models import Transfer, Vehicle
from transport.pages import needs_person

BLEEDING = fact_in_words("bleeding", "heavy")
BETWEEN = timedelta(minutes=12)


@pytest.fixture
def first(district, now) -> Referral:
    """Called for by the attendant."""
    return a_referral(now - BETWEEN)


@pytest.fixture
def second(first, now) -> Referral:
    """Called for once more, twelve minutes later."""
    return a_referral(now)


@pytest.fixture
def desk(now):
    return told_by("leena.morrastad", now)


def fresh(referral: Referral) -> Referral:
    return lifecycle.timeline_row(referral.pk)


def notices() -> list[Alert]:
    return list(Alert.objects.filter(kind="perhaps_twice"))


def send(transfer_of: Referral, vehicle: str, now) -> Transfer:
    by = told_by("leena.morrastad", now)
    return journeys.assign(by, transfer_of.transfers.get(), Vehicle.objects.get(code=vehicle))


class TestTheDeskIsTold:
    def test_of_a_second_call_from_the_same_place_within_half_an_hour(self, first, second):
        (notice,) = notices()
        assert notice.referral == second
        assert first.code in notice.sentence
        assert second.code in notice.sentence
        assert notice.for_desk

    def test_quietly_it_stands_at_the_desk_and_never_climbs(self, first, second, now):
        (notice,) = notices()
        assert not notice.needs_answer
        assert notice.due_at is None
        assert notice in needs_person.alerts_about(second)

    def test_not_of_a_call_from_another_place(self, first, now):
        a_referral(now, attendant="mei.corrowan")
        assert notices() == []

    def test_not_of_a_call_long_after(self, first, now):
        a_referral(now + timedelta(minutes=20))
        assert notices() == []

    def test_not_of_a_call_after_the_first_one_is_over(self, first, now):
        endings.take_back(told_by("tomasi.bellaqua", now), first, reason="by mistake")
        a_referral(now)
        assert notices() == []

    def test_also_when_the_two_were_raised_without_seeing_each_other(self, first, second, now):
        (notice,) = notices()
        notice.deliveries.all().delete()
        notice.delete()
        watching.look_at(second.pk, now)
        watching.look_at(first.pk, now)
        assert [each.referral for each in notices()] == [second]

    def test_nothing_is_joined_without_a_person(self, first, second, now):
        watching.look_at(second.pk, now)
        assert fresh(first).is_open
        assert fresh(second).is_open

    def test_it_is_settled_when_the_call_ends_by_itself(self, first, second, now):
        endings.take_back(told_by("tomasi.bellaqua", now), second, reason="by mistake")
        assert not notices()[0].is_open


class TestJoining:
    def test_the_duplicate_closes_and_names_the_other_code(self, first, second, desk):
        joining.join(desk, second, first)
        baby = second.babies.get()
        assert baby.ending == Ending.RAISED_IN_ERROR
        assert fresh(second).stage == "closed"
        assert fresh(second).joined_into == first
        assert fresh(first).is_open
        words = second.texts.get(kind="ending")
        assert first.code in words.text

    def test_both_timelines_say_so_and_their_chains_hold(self, first, second, desk):
        joining.join(desk, second, first)
        assert second.entries.get(kind="joined").body == {"into": first.code}
        assert first.entries.get(kind="joined").body == {"from": second.code}
        for referral in (first, second):
            assert timeline.faults_of(fresh(referral)) == []

    def test_the_notice_is_settled(self, first, second, desk):
        joining.join(desk, first, second)  # whichever way round
        assert not notices()[0].is_open

    def test_a_unit_asked_under_the_closed_code_hears_it_is_no_longer_asked(
        self, first, second, desk, intensive, now
    ):
        offer = an_offer(second, intensive, now)
        joining.join(desk, second, first)
        offer.refresh_from_db()
        assert offer.stage == "withdrawn"
        message = offer.alerts.get(kind="withdrawn").message
        assert first.code in message

    def test_a_unit_that_had_said_yes_is_asked_under_the_code_that_goes_on(
        self, first, desk, intensive, now
    ):
        placed = a_placed_referral(now, intensive)
        joining.join(desk, placed, first)
        assert first.offers.get().unit == intensive
        intensive.refresh_from_db()
        assert intensive.cots_free == 2  # the cot held under the other code is free again

    def test_the_attendant_who_called_learns_which_code_goes_on(self, first, second, desk):
        joining.join(desk, second, first)
        message = Alert.objects.get(referral=second, kind="joined").message
        assert f"goes on as {first.code}" in message

    def test_its_vehicle_is_released_when_the_other_has_one(self, first, second, desk, now):
        send(first, "AMB-2", now)
        lost = send(second, "AMB-1", now)
        joining.join(desk, second, first)
        assert Transfer.objects.get(pk=lost.pk).stage == "stood_down"
        assert Vehicle.objects.get(code="AMB-1").state == "free"
        told = Alert.objects.get(key__startswith=f"transfer:{lost.pk}:stood_down")
        assert told.deliveries.get().address == lost.driver_phone

    def test_the_only_vehicle_is_never_lost(self, first, second, desk, now):
        send(second, "AMB-1", now)
        with pytest.raises(NotPossible, match="has a vehicle, Ambulance of Port") as refusal:
            joining.join(desk, second, first)
        assert f"Close {first.code} into {second.code} instead" in refusal.value.sentence
        assert fresh(second).is_open
        joining.join(desk, first, second)  # what the sentence says is possible
        assert not fresh(first).is_open

    def test_not_with_itself_nor_with_one_that_is_over(self, first, second, desk):
        with pytest.raises(NotPossible, match="Choose the other code"):
            joining.join(desk, first, first)
        joining.join(desk, second, first)
        with pytest.raises(NotPossible, match="closed"):
            joining.join(desk, first, second)


class TestTakingItBack:
    def test_reversing_the_ending_parts_the_two_and_both_say_so(
        self, first, second, desk, officer, now
    ):
        joining.join(desk, second, first)
        reopening.reverse_ending(desk, second.babies.get(), reason="two babies after all")
        assert fresh(second).stage == "asking"
        assert fresh(second).joined_into is None
        for referral, other in ((first, second), (second, first)):
            assert referral.entries.get(kind="parted").body == {"other": other.code}
            assert timeline.faults_of(fresh(referral)) == []
            page = text_of(browser_of(officer).get(f"/desk/{referral.code}/"))
            assert f"not the same baby as {other.code} after all" in page
            assert "too</summary>" not in page

    def test_the_desk_is_not_asked_again_about_what_it_has_decided(self, first, second, desk, now):
        joining.join(desk, second, first)
        reopening.reverse_ending(desk, second.babies.get(), reason="two babies after all")
        watching.look_at(second.pk, now)
        assert len(notices()) == 1
        assert not notices()[0].is_open


class TestThePages:
    @pytest.fixture
    def told(self, first, second, now) -> Referral:
        by = told_by("tomasi.bellaqua", now)
        recording.observe(by, second.babies.get(), {"heart_rate": 84}, note="cord around the neck")
        recording.observe_mother(by, second.mother, {"bleeding": "heavy"})
        recording.record_treatment(by, second, recording.Told(words="vitamin K", given_by="Tomasi"))
        recording.record_advice(
            by, second, given_by="Dr Wendorra", words="keep warm", read_back=True
        )
        return second

    def test_one_press_from_the_desks_first_page_joins_them(self, first, second, officer, now):
        matters = needs_person.matters(first.district, now)
        actions = [action for matter in matters for action in matter.actions]
        (button,) = [action for action in actions if action.label.startswith("The same baby")]
        assert button.label.endswith(first.code)
        answer = browser_of(officer).post(button.target, {"key": "j1", **dict(button.fields)})
        assert answer.status_code == 302
        assert fresh(second).joined_into == first

    def test_all_that_was_told_is_read_on_the_others_page(
        self, first, told, desk, officer, attendant, nurse, intensive, now
    ):
        offer = an_offer(first, intensive, now)
        observations = first.babies.get().observations.count()
        joining.join(desk, told, first)
        for person, path in (
            (officer, f"/desk/{first.code}/"),
            (attendant, f"/r/{first.code}/"),
            (nurse, f"/unit/{offer.pk}/"),
        ):
            page = text_of(browser_of(person).get(path)).split(f"Told under {told.code} too")[1]
            for words in (
                "84", "cord around the neck", "vitamin K", "keep warm", "Dr Wendorra", BLEEDING,
            ):  # fmt: skip
                assert words in page
        assert first.babies.get().observations.count() == observations  # copied nothing

    def test_the_closed_one_stays_readable_and_leads_to_the_other(
        self, first, told, desk, officer, attendant
    ):
        joining.join(desk, told, first)
        for person, path, there in (
            (officer, f"/desk/{told.code}/", f'href="/desk/{first.code}/"'),
            (attendant, f"/r/{told.code}/", f'href="/r/{first.code}/"'),
        ):
            page = text_of(browser_of(person).get(path))
            assert "goes on under another code" in page
            assert there in page
            assert "vitamin K" in page

    def test_a_refusal_at_the_desk_says_what_to_do_first(self, first, second, officer, now):
        send(second, "AMB-1", now)
        answer = press(
            browser_of(officer), f"/desk/{second.code}/", action="/join/", into=first.code
        )
        assert answer.status_code == 409
        assert "first send a vehicle for" in text_of(answer)

    def test_an_attendant_joins_nothing(self, first, second, attendant):
        answer = browser_of(attendant).post(f"/desk/{second.code}/join/", {"into": first.code})
        assert answer.status_code == 404


class TestTheApi:
    def test_the_desk_joins_and_a_repeat_answers_as_before(self, first, second):
        device, path = device_of("leena.morrastad"), f"referrals/{second.code}/join/"
        answer = device.post(path, {"into": first.code}, key="join-1")
        assert answer.status_code == 200
        assert (answer.json()["stage"], answer.json()["joined_into"]) == ("closed", first.code)
        assert device.post(path, {"into": first.code}, key="join-1").json() == answer.json()
        goes_on = device.get(f"referrals/{first.code}/").json()
        assert goes_on["joined_from"] == [second.code]

    def test_a_code_nobody_has_is_named_beside_its_field(self, first):
        answer = device_of("leena.morrastad").post(
            f"referrals/{first.code}/join/", {"into": "K7Q4"}
        )
        assert answer.status_code == 400
        assert "no referral has this code" in str(answer.json())

    def test_a_refusal_has_a_code_of_its_own(self, first, second, now):
        send(second, "AMB-1", now)
        answer = device_of("leena.morrastad").post(
            f"referrals/{second.code}/join/", {"into": first.code}
        )
        assert answer.status_code == 409
        assert answer.json()["code"] == "only_vehicle"
