"""'Recovered' after a time of watching, and a death that names baby, time and person."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
import time_machine

from referrals import clock, describing, endings, lifecycle, recording, reopening
from referrals.calc.states import NotPossible
from referrals.calc.terms import Ending
from referrals.models import Baby, Entry
from tests.api_world import device_of
from tests.pages_world import browser_of, press, text_of
from tests.world import a_referral, told_by

pytestmark = pytest.mark.django_db
ALONE = {"breathing": "regular", "support": "none"}


def ago(now, minutes):
    return now - timedelta(minutes=minutes)


@pytest.fixture(autouse=True)
def midday():
    """Times typed as hours and minutes are of today: no test of them runs across midnight."""
    noon = datetime(2026, 11, 25, 6, 0, tzinfo=UTC)
    with time_machine.travel(noon):
        yield


@pytest.fixture
def baby(midday, district, now):
    """Ventilated by hand three hours ago; nothing was told since."""
    return a_referral(ago(now, 180)).babies.get()


def breathes_alone(baby, at):
    recording.observe(told_by("tomasi.bellaqua", at), baby, ALONE)


def recovered(baby, now, name="Dr Wendorra"):
    by = told_by("tomasi.bellaqua", now)
    return endings.end_baby(by, baby, Ending.RECOVERED, determined_by=name)


class TestRecovered:
    def test_it_names_a_clinician(self, baby, now):
        breathes_alone(baby, ago(now, 121))
        with pytest.raises(NotPossible, match="name of a person"):
            recovered(baby, now, name="")
        assert recovered(baby, now).ending == "recovered"

    def test_hours_without_a_reading_are_not_watching(self, baby, now):
        with pytest.raises(NotPossible, match="nobody has written down since") as refusal:
            recovered(baby, now)
        assert refusal.value.code == "observation_period"
        assert "steps the case down" in refusal.value.sentence

    def test_the_refusal_says_since_when_how_long_and_what_instead(self, baby, now):
        breathes_alone(baby, ago(now, 50))
        with pytest.raises(NotPossible) as refusal:
            recovered(baby, now)
        zone = ZoneInfo(baby.referral.district.time_zone)
        since = ago(now, 50).astimezone(zone)
        assert f"breathes alone since {since:%H:%M}" in refusal.value.sentence
        assert "70 min are left" in refusal.value.sentence
        assert "Keep checking" in refusal.value.sentence

    def test_what_it_tells_to_do_steps_the_case_down(self, baby, now):
        assert baby.referral.urgency == "ventilated"
        breathes_alone(baby, ago(now, 50))
        baby.referral.refresh_from_db()
        assert baby.referral.urgency == "stable"

    def test_a_breath_given_again_begins_the_watching_anew(self, baby, now):
        breathes_alone(baby, ago(now, 150))
        recording.observe(told_by("tomasi.bellaqua", ago(now, 60)), baby, {"breathing": "none"})
        breathes_alone(baby, ago(now, 30))
        with pytest.raises(NotPossible, match="90 min are left"):
            recovered(baby, now)

    def test_a_reading_that_was_corrected_does_not_count(self, baby, now):
        breathes_alone(baby, ago(now, 150))
        by = told_by("tomasi.bellaqua", ago(now, 30))
        wrong = recording.observe(by, baby, {"breathing": "none"})
        recording.observe(by, baby, {"breathing": "regular"}, corrects=wrong)
        assert recovered(baby, now).ending == "recovered"

    def test_the_district_sets_how_long(self, baby, now):
        district = baby.referral.district
        district.observation_minutes = 20
        district.save()
        breathes_alone(baby, ago(now, 21))
        assert recovered(baby, now).ending == "recovered"

    def test_a_baby_never_ventilated_needs_no_watching(self, district, attendant, post, now):
        told = describing.BabyTold(facts=dict(ALONE))
        by = told_by("tomasi.bellaqua", now)
        referral = lifecycle.raise_referral(by, origin=post, raised_by=attendant, babies=[told])
        assert recovered(referral.babies.get(), now).ending == "recovered"

    def test_page_desk_and_api_refuse_alike_and_keep_what_was_typed(
        self, baby, attendant, officer, now
    ):
        breathes_alone(baby, ago(now, 50))
        code = baby.referral.code
        told = {"ending": "recovered", "determined_by": "Dr Wendorra"}
        page = press(browser_of(attendant), f"/r/{code}/ending/1/", **told)
        desk = browser_of(officer).post(f"/desk/{code}/end/", told | {"baby": "1"})
        for answer in (page, desk):
            assert answer.status_code == 409
            assert "min are left. Keep checking" in text_of(answer)
            assert 'value="Dr Wendorra"' in text_of(answer)
        api = device_of("tomasi.bellaqua").post(f"referrals/{code}/babies/1/ending/", told)
        assert (api.status_code, api.json()["code"]) == (409, "observation_period")
        assert Baby.objects.get().ending == ""


class TestDeath:
    def death(self, baby, now, ending=Ending.DIED_BEFORE_DEPARTURE, **told):
        told = {"determined_by": "Dr Wendorra", "band": baby.code} | told
        return endings.end_baby(told_by("tomasi.bellaqua", now), baby, ending, **told)

    @pytest.mark.parametrize("ending", [Ending.DIED_BEFORE_DEPARTURE, Ending.DIED_ON_THE_WAY])
    def test_the_entry_names_band_order_time_and_person(self, baby, now, ending):
        self.death(baby, now, ending, ended_at=ago(now, 12))
        body = Entry.objects.get(kind="ended").body
        assert (body["baby"], body["band"], body["ending"]) == (1, baby.code, ending.value)
        assert clock.now() - timedelta(minutes=13) < Baby.objects.get().ended_at < ago(now, 11)
        assert body["determined_by"]["commitment"]
        assert "Wendorra" not in str(body)

    @pytest.mark.parametrize("band", ["", "K7Q4-1", "{code}-2"])
    def test_a_band_that_is_missing_or_another_is_refused(self, baby, now, band):
        with pytest.raises(NotPossible, match="band"):
            self.death(baby, now, band=band.format(code=baby.referral.code))
        assert Baby.objects.get().ending == ""

    def test_of_twins_the_birth_order_must_be_read_too(self, district, now):
        first, second = a_referral(now, babies=2).babies.all()
        for band in (first.referral.code, first.code):
            with pytest.raises(NotPossible, match="Look at the band again"):
                self.death(second, now, band=band)
        assert self.death(second, now, band=second.code.lower()).ending

    def test_a_time_to_come_is_refused_and_a_fast_clock_forgiven(self, baby, now):
        with pytest.raises(NotPossible, match="has not come yet"):
            self.death(baby, now, ended_at=now + timedelta(minutes=20))
        assert self.death(baby, now, ended_at=now + timedelta(minutes=4)).ended_at == now

    def test_a_time_before_the_birth_is_refused(self, baby, now):
        describing.describe_baby(told_by("tomasi.bellaqua", now), baby, {"born_at": ago(now, 200)})
        with pytest.raises(NotPossible, match="before the birth"):
            self.death(Baby.objects.get(), now, ended_at=ago(now, 230))

    def test_it_can_be_taken_back_with_a_reason(self, baby, now):
        self.death(baby, now)
        reopening.reverse_ending(told_by("tomasi.bellaqua", now), baby, reason="gasps, pulse felt")
        assert (Baby.objects.get().ending, Baby.objects.get().ended_at) == ("", None)

    def test_api_asks_for_the_band_and_takes_the_time(self, baby, now):
        phone, code = device_of("tomasi.bellaqua"), baby.referral.code
        path = f"referrals/{code}/babies/1/ending/"
        told = {"ending": "died_on_the_way", "determined_by": "Dr Wendorra"}
        for band, refusal in ((None, "band_needed"), ("K7Q4-1", "wrong_band")):
            answer = phone.post(path, told | {"band": band})
            assert (answer.status_code, answer.json()["code"]) == (409, refusal)
        future = (now + timedelta(hours=1)).isoformat()
        answer = phone.post(path, told | {"band": baby.code, "ended_at": future})
        assert (answer.status_code, answer.json()["code"]) == (409, "time_to_come")
        at = ago(now, 9).replace(microsecond=0)
        answer = phone.post(path, told | {"band": baby.code, "ended_at": at.isoformat()})
        assert answer.status_code == 200
        assert Baby.objects.get().ended_at == at

    @pytest.mark.parametrize("who", ["attendant", "desk"])
    def test_the_forms_take_the_time_of_death(self, baby, attendant, officer, now, who):
        zone = ZoneInfo(baby.referral.district.time_zone)
        at, code = ago(now, 25), baby.referral.code
        told = {
            "ending": "died_before_departure",
            "determined_by": "Dr Wendorra",
            "band": baby.code,
            "ended_at": f"{at.astimezone(zone):%H:%M}",
        }
        person, path = (
            (attendant, f"/r/{code}/ending/1/")
            if who == "attendant"
            else (officer, f"/desk/{code}/end/")
        )
        client = browser_of(person)
        to_come = f"{(now + timedelta(hours=2)).astimezone(zone):%H:%M}"
        sent = told | {"baby": "1", "ended_at": to_come}
        answer = client.post(path, sent)
        assert answer.status_code in (400, 422)
        assert f"{to_come} has not come yet" in text_of(answer)
        assert client.post(path, told | {"baby": "1"}).status_code == 302
        assert abs(Baby.objects.get().ended_at - at) < timedelta(minutes=1)
        page = text_of(browser_of(attendant).get(f"/r/{code}/timeline/"))
        assert f"at {told['ended_at']}, band {baby.code}" in page
