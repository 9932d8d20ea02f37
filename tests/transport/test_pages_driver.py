"""The driver's pages: opening changes nothing, one button, and presses kept while offline."""

import gzip
from datetime import timedelta
from pathlib import Path

import pytest
from django.conf import settings

from referrals import clock
from referrals.models import Alert, KeptInput
from tests.pages_world import browser_of, forms_on, press, text_of
from tests.world import a_journey, told_by
from transport import lifecycle as journeys
from transport.calc.stages import TransferStage
from transport.driver_links import token_for
from transport.models import Check, Transfer, Vehicle

pytestmark = pytest.mark.django_db
FIRST_LOAD_BYTES = 14_000


@pytest.fixture
def phone():
    """A phone that was never signed in."""
    return browser_of()


@pytest.fixture
def transfer(now, ward):
    """The ambulance of Port Orlime was sent to Mirrow Heights, half an hour ago."""
    return a_journey(now - timedelta(minutes=30), ward, stage=TransferStage.ASSIGNED)


@pytest.fixture
def path(transfer):
    return f"/d/{token_for(transfer)}/"


def stage_of(transfer):
    return Transfer.objects.get(pk=transfer.pk).stage


class TestThePage:
    def test_opening_it_changes_nothing(self, phone, path, transfer):
        before = transfer.referral.entries.count()
        assert phone.get(path).status_code == 200
        assert phone.head(path).status_code == 200
        assert (stage_of(transfer), transfer.referral.entries.count()) == ("assigned", before)

    def test_it_says_where_to_collect_and_where_to_bring(self, phone, path, transfer, ward):
        page = text_of(phone.get(path))
        post = transfer.referral.origin
        assert f"Collect at <b>{post.name}</b>" in page
        assert f"geo:{post.latitude},{post.longitude}" in page
        assert ward.entrance in page
        for number in (post.phone, ward.phone, transfer.referral.district.desk_phone):
            assert f"tel:{number.as_e164}" in page

    def test_it_holds_no_name_of_a_patient_and_no_word_about_lateness(self, phone, path, transfer):
        from referrals import describing

        referral = transfer.referral
        by = told_by("tomasi.bellaqua", clock.now())
        describing.name_person(by, referral.babies.get(), "Little Quenby")
        describing.name_person(by, referral.mother, "Mother Quenby")
        page = text_of(phone.get(path))
        assert "Quenby" not in page
        assert not any(word in page.lower() for word in (" late", "overdue", "delay", "hurry"))

    def test_it_has_one_button_for_the_next_milestone(self, phone, path):
        forms = [f for f in forms_on(phone.get(path)) if f["action"].endswith("/reached/")]
        assert [form["fields"]["milestone"] for form in forms] == [
            "collecting", "at_origin", "on_the_road", "arrived",
        ]  # fmt: skip
        # Without script only the first is seen; the script shows the next when one is kept.
        assert text_of(phone.get(path)).count('data-queue class="hidden"') == 3

    def test_a_link_that_is_not_ours_opens_nothing(self, phone, transfer, path):
        for bad in ("d1-nothing", "x", token_for(transfer)[:-1] + "_", "a1-abc"):
            answer = phone.get(f"/d/{bad}/")
            assert answer.status_code == 404
            assert transfer.referral.code not in text_of(answer)

    def test_the_link_is_void_when_another_vehicle_is_sent(self, phone, path, transfer, now):
        journeys.assign(
            told_by("leena.morrastad", now), transfer, Vehicle.objects.get(code="AMB-2")
        )
        page = phone.get(path)
        assert page.status_code == 404
        assert transfer.referral.district.desk_phone.as_e164 in text_of(page)
        assert not forms_on(page)

    def test_what_is_pressed_after_that_is_kept_as_a_late_note_and_the_desk_told(
        self, phone, path, transfer, now
    ):
        desk = told_by("leena.morrastad", now)
        journeys.assign(desk, transfer, Vehicle.objects.get(code="AMB-2"))
        for _ in range(2):
            told = {"milestone": "on_the_road", "key": "one-press"}
            answer = phone.post(f"{path}reached/", told, follow=True)
            assert answer.status_code == 404
            assert transfer.referral.district.desk_phone.as_e164 in text_of(answer)
        note = transfer.milestones.get()
        assert (note.applied, note.assignment, note.kind) == (False, 1, "on_the_road")
        assert stage_of(transfer) == "assigned", "another vehicle's journey is not moved"
        assert transfer.referral.entries.filter(kind="milestone").count() == 1
        alert = Alert.objects.open().get(referral=transfer.referral, kind="late_note")
        assert "who has mother and baby?" in alert.sentence

    def test_a_press_with_no_vehicle_left_is_kept_too(self, phone, path, transfer, now):
        journeys.unassign(told_by("leena.morrastad", now), transfer, why="does not answer")
        phone.post(f"{path}reached/", {"milestone": "at_origin"})
        assert transfer.milestones.get().applied is False
        assert stage_of(transfer) == "wanted"

    def test_any_other_press_through_it_is_kept_as_it_came(self, phone, path, transfer, now):
        journeys.unassign(told_by("leena.morrastad", now), transfer, why="does not answer")
        phone.post(f"{path}stopped/", {"key": "one", "reason": "oxygen"})
        kept = KeptInput.objects.get()
        assert "reason=oxygen" in kept.body
        assert kept.path == f"{path}stopped/"

    def test_the_first_load_fits_into_the_first_packets(self, phone, path):
        root = Path(settings.BASE_DIR)
        files = [
            "referrals/static/referrals/palette.css", "referrals/static/referrals/page.css",
            "referrals/static/referrals/mark.svg", "transport/static/transport/driver.css",
            "transport/static/transport/driver.js",
        ]  # fmt: skip
        sent = len(gzip.compress(phone.get(path).content))
        sent += sum(len(gzip.compress((root / name).read_bytes())) for name in files)
        assert sent <= FIRST_LOAD_BYTES


class TestPresses:
    def test_the_whole_road_is_four_presses(self, phone, path, transfer):
        for wanted in ("collecting", "at_origin", "on_the_road", "arrived"):
            press(phone, path, action="/reached/")
            assert stage_of(transfer) == wanted
        assert "All told." in text_of(phone.get(path))

    def test_a_press_stands_on_the_timeline_under_the_link(self, phone, path, transfer):
        press(phone, path, action="/reached/")
        entry = transfer.referral.entries.get(kind="milestone")
        assert (entry.actor, entry.channel) == (f"link:transfer:{transfer.pk}", "link")
        assert transfer.milestones.get().reported_by == "Mateus Dunnaway"

    def test_a_milestone_pressed_twice_is_one(self, phone, path, transfer):
        for _ in range(2):
            phone.post(f"{path}reached/", {"milestone": "collecting"})
        assert transfer.milestones.count() == 1

    def test_a_press_kept_offline_counts_from_when_it_was_made(self, phone, path, transfer):
        # The phone's clock is three hours off; it says so by when it thinks it is sending.
        sent = clock.now() + timedelta(hours=3)
        told = {"milestone": "collecting", "happened_at": (sent - timedelta(minutes=9)).isoformat()}
        phone.post(f"{path}reached/", told, headers={"Sent-At": sent.isoformat()})
        ago = clock.now() - transfer.milestones.get().reached_at
        assert abs(ago - timedelta(minutes=9)) < timedelta(seconds=30)

    def test_a_time_that_cannot_be_read_does_not_lose_the_press(self, phone, path, transfer):
        phone.post(f"{path}reached/", {"milestone": "collecting", "happened_at": "yesterday"})
        assert stage_of(transfer) == "collecting"

    def test_a_press_needs_no_cookie_and_no_session(self, path, transfer):
        phone = browser_of(enforce_csrf_checks=True)
        assert phone.post(f"{path}reached/", {"milestone": "collecting"}).status_code == 302
        assert stage_of(transfer) == "collecting"

    def test_a_milestone_nobody_knows_is_refused_in_words(self, phone, path):
        answer = phone.post(f"{path}reached/", {"milestone": "flying"})
        assert answer.status_code == 409
        assert "is not a milestone" in text_of(answer)

    def test_a_stop_tells_the_desk_why_once(self, phone, path, transfer):
        told = {"key": "one-press", "reason": "oxygen"}
        for _ in range(2):
            answer = phone.post(f"{path}stopped/", told)
        assert "The desk knows that you have stopped" in text_of(phone.get(answer["Location"]))
        assert Check.objects.get().stopped_because.text == "oxygen"
        assert Alert.objects.filter(referral=transfer.referral, kind="stopped").count() == 1

    def test_a_stop_without_a_known_reason_is_refused(self, phone, path):
        assert phone.post(f"{path}stopped/", {"reason": "lunch"}).status_code == 409
        assert not Check.objects.exists()

    def test_a_breakdown_ends_the_link_and_shows_the_desks_number(self, phone, path, transfer):
        answer = press(phone, path, action="/broken/")
        page = text_of(phone.get(answer["Location"]))
        assert transfer.referral.district.desk_phone.as_e164 in page
        assert stage_of(transfer) == "wanted"
        assert Vehicle.objects.get(code="AMB-1").state == "out_of_service"
        assert phone.get(path).status_code == 404

    def test_the_page_learns_of_another_destination(self, phone, path, transfer, intensive):
        before = phone.get(f"{path}state/").json()
        Transfer.objects.filter(pk=transfer.pk).update(destination=intensive)
        assert phone.get(f"{path}state/").json() != before


class TestSignedIn:
    def test_a_driver_sees_the_journey_of_the_vehicle(self, person, transfer):
        page = text_of(browser_of(person("mateus.dunnaway")).get("/drive/"))
        assert transfer.referral.code in page
        assert token_for(transfer) in page

    def test_a_driver_without_a_journey_is_told_so(self, person, transfer):
        answer = browser_of(person("ilse.kambarra")).get("/drive/")
        assert "No journey for you now" in text_of(answer)
        assert transfer.referral.code not in text_of(answer)

    def test_nobody_else_has_a_drive(self, officer, nurse, attendant):
        for staff in (officer, nurse, attendant):
            assert browser_of(staff).get("/drive/").status_code == 404
