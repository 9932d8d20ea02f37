"""Two vehicles meet half-way: mother, baby and escort change over, and the record goes on."""

from datetime import timedelta

import pytest

from referrals.calc.states import NotPossible
from referrals.models import Alert, Delivery, Site
from tests.api_world import Device, device_of
from tests.pages_world import browser_of, press, text_of
from tests.world import a_journey, told_by
from transport import (
    estimating,
    fleet,
    handing_over,
    invariants,
    lifecycle,
    meetings,
    milestones,
    on_the_way,
    oxygen_ahead,
    tracking,
)
from transport.calc.stages import TransferStage
from transport.concerns import concerns_of_journey
from transport.driver_links import token_for
from transport.invariants import meetings_have_two_vehicles, moment, one_journey_per_vehicle
from transport.models import Cylinder, Meeting, Milestone, Position, Transfer, Vehicle

pytestmark = pytest.mark.django_db
OFFICER = "leena.morrastad"


@pytest.fixture
def left(now):
    """The first vehicle left the post with the baby ten minutes ago."""
    return now - timedelta(minutes=40)


@pytest.fixture
def transfer(intensive, left):
    return a_journey(left, intensive, stage=TransferStage.ON_THE_ROAD, vehicle="PIC-1")


@pytest.fixture
def saltfen(district):
    return Site.objects.get(code="SAL")


@pytest.fixture
def met(transfer, saltfen, now):
    """The ambulance of Port Orlime is to meet it at Saltfen."""
    second = Vehicle.objects.get(code="AMB-1")
    return meetings.meet(told_by(OFFICER, now), transfer, second, saltfen)


def fresh(row):
    return type(row).objects.get(pk=row.pk)


def moved(transfer, at, witness="Tomasi Bellaqua"):
    meetings.move_over(told_by("tomasi.bellaqua", at), transfer, witness=witness)
    return fresh(transfer)


def fix(transfer, site, at, meeting=None):
    told = tracking.PositionTold(
        key=f"{at.isoformat()}{meeting is None}", happened_at=at, latitude=site.latitude,
        longitude=site.longitude,
    )  # fmt: skip
    tracking.record(transfer, [told], received_at=at, meeting=meeting)


def kinds_now(transfer, at):
    return {c.kind: c for c in concerns_of_journey(transfer.referral, at) if c.due_at <= at}


def all_is_sound():
    at = moment(60)
    looks = (
        one_journey_per_vehicle,
        meetings_have_two_vehicles,
        invariants.stages_follow_milestones,
        invariants.stages_follow_entries,
    )
    for look in looks:
        assert list(look(at)) == []


class TestAgreeing:
    def test_both_drivers_are_told_where_and_what_happens_there(self, met, transfer):
        first, second = (
            Delivery.objects.filter(address=phone).latest("pk").message
            for phone in (met.first_phone, met.driver_phone)
        )
        assert "meet Ambulance of Port Orlime at Saltfen Health Post" in first
        assert "Mother, baby and escort go on with it to Port Orlime newborn" in first
        assert "meet Pickup of Bandolay at Saltfen Health Post" in second
        assert met.first_phone in second
        assert fresh(met.vehicle).state == "busy"
        entry = transfer.referral.entries.get(kind="meeting_set")
        assert entry.body == {"transfer": transfer.pk, "vehicle": "AMB-1", "site": "SAL"}
        all_is_sound()

    def test_pressed_again_it_changes_nothing(self, met, transfer, saltfen, now):
        again = meetings.meet(told_by(OFFICER, now), transfer, met.vehicle, saltfen)
        assert again == met
        assert transfer.referral.entries.filter(kind="meeting_set").count() == 1

    def test_another_place_calls_the_former_off_and_the_same_vehicle_is_sent(
        self, met, transfer, now
    ):
        other = Site.objects.get(code="ISV")
        second = meetings.meet(told_by(OFFICER, now), transfer, met.vehicle, other)
        assert fresh(met).ended_at is not None
        assert second.assignment > met.assignment
        assert fresh(second.vehicle).state == "busy"
        all_is_sound()

    def test_a_vehicle_on_a_journey_cannot_meet(self, transfer, saltfen, now):
        with pytest.raises(NotPossible, match="is busy"):
            meetings.meet(told_by(OFFICER, now), transfer, transfer.vehicle, saltfen)

    def test_a_vehicle_that_is_to_meet_cannot_be_sent_elsewhere(self, met, intensive, now):
        with pytest.raises(NotPossible, match="is busy"):
            a_journey(now, intensive, stage=TransferStage.ASSIGNED, vehicle="AMB-1")

    def test_there_is_nothing_to_meet_for_without_a_vehicle_or_at_the_door(
        self, intensive, saltfen, now
    ):
        arrived = a_journey(now, intensive, stage=TransferStage.ARRIVED, vehicle="PIC-1")
        with pytest.raises(NotPossible, match="has arrived"):
            meetings.meet(
                told_by(OFFICER, now), arrived, Vehicle.objects.get(code="AMB-1"), saltfen
            )
        lifecycle.unassign(told_by(OFFICER, now), arrived, why="axle")
        with pytest.raises(NotPossible, match="no vehicle"):
            meetings.meet(
                told_by(OFFICER, now), arrived, Vehicle.objects.get(code="AMB-1"), saltfen
            )


class TestMovingOver:
    def test_the_second_vehicle_carries_the_journey_on(self, met, transfer, left, now):
        by = told_by(OFFICER, now)
        milestones.reach(by, transfer, TransferStage.COLLECTING, assignment=met.assignment)
        milestones.reach(by, transfer, TransferStage.AT_ORIGIN, assignment=met.assignment)
        meetings.reach_meeting(by, transfer)
        assert fresh(transfer).stage == "on_the_road"
        after = moved(transfer, now + timedelta(minutes=5))
        assert (after.vehicle.code, after.stage) == ("AMB-1", "at_origin")
        assert after.driver_phone == met.driver_phone
        assert after.left_post_at == left + timedelta(minutes=30)
        assert after.escort_name == transfer.escort_name
        assert fresh(transfer.vehicle).state == "returning"
        assert fresh(met).witness == "Tomasi Bellaqua"
        all_is_sound()
        later = told_by(OFFICER, now + timedelta(minutes=10))
        milestones.reach(later, after, TransferStage.ON_THE_ROAD)
        assert fresh(after).stage == "on_the_road"
        assert fresh(after).left_post_at == left + timedelta(minutes=30)
        all_is_sound()

    def test_nothing_is_handed_over_and_the_checks_go_on(self, met, transfer, now):
        after = moved(transfer, now)
        assert not after.handovers.exists()
        missed = kinds_now(after, now + timedelta(hours=1))["check_missed"]
        assert met.driver_phone in missed.sentence

    def test_pressed_twice_it_happened_once(self, met, transfer, now):
        moved(transfer, now)
        moved(transfer, now, witness="Somebody else")
        assert fresh(met).witness == "Tomasi Bellaqua"
        assert transfer.referral.entries.filter(kind="moved_over").count() == 1

    def test_the_witness_is_kept_apart_from_the_chain(self, met, transfer, now):
        moved(transfer, now)
        entry = transfer.referral.entries.get(kind="moved_over")
        assert "Tomasi" not in str(entry.body)
        assert transfer.referral.texts.filter(kind="witness", text="Tomasi Bellaqua").exists()

    def test_a_second_driver_who_leaves_with_them_has_them(self, met, transfer, now):
        by = told_by("mateus.dunnaway", now)
        number = met.assignment
        after = milestones.reach(by, transfer, TransferStage.ON_THE_ROAD, assignment=number)
        assert (after.vehicle.code, after.stage) == ("AMB-1", "on_the_road")
        assert fresh(met).witness == "Mateus Dunnaway"
        all_is_sound()

    def test_the_first_driver_is_thanked_and_the_old_link_says_where_they_are(
        self, met, transfer, now
    ):
        link = f"/d/{token_for(transfer)}/"
        moved(transfer, now)
        thanks = Delivery.objects.filter(address=met.first_phone).latest("pk").message
        assert "mother and baby go on with Ambulance of Port Orlime" in thanks
        page = browser_of().get(link)
        assert page.status_code == 200
        assert "Mother and baby have gone on with Ambulance of Port Orlime" in text_of(page)

    def test_a_slow_press_of_the_first_driver_alarms_nobody(self, met, transfer, left, now):
        Milestone.objects.filter(kind="on_the_road").delete()
        moved(transfer, now)
        early = told_by("samuel.torrivane", now - timedelta(minutes=15))
        milestones.reach(early, transfer, TransferStage.ON_THE_ROAD, assignment=1)
        assert not Alert.objects.filter(kind="late_note").exists()
        late = told_by("samuel.torrivane", now + timedelta(minutes=15))
        milestones.reach(late, transfer, TransferStage.ARRIVED, assignment=1)
        assert Alert.objects.filter(kind="late_note").exists()

    def test_without_the_first_drivers_press_they_left_when_they_moved(self, met, transfer, now):
        Milestone.objects.filter(kind="on_the_road").delete()
        assert moved(transfer, now).left_post_at == now

    def test_moved_over_by_mistake_is_taken_back(self, met, transfer, now):
        moved(transfer, now)
        by = told_by(OFFICER, now + timedelta(minutes=1))
        meetings.move_back(by, transfer)
        back = fresh(transfer)
        assert (back.vehicle.code, back.stage) == ("PIC-1", "on_the_road")
        assert back.standing_meeting() == met
        all_is_sound()
        again = moved(transfer, now + timedelta(minutes=3))
        assert (again.vehicle.code, again.stage) == ("AMB-1", "at_origin")
        all_is_sound()

    def test_it_is_not_taken_back_once_the_second_has_left(self, met, transfer, now):
        after = moved(transfer, now)
        milestones.reach(told_by(OFFICER, now), after, TransferStage.ON_THE_ROAD)
        with pytest.raises(NotPossible, match="has left"):
            meetings.move_back(told_by(OFFICER, now), after)

    def test_the_first_vehicle_is_ready_on_the_timeline_of_this_journey(self, met, transfer, now):
        moved(transfer, now)
        fleet.vehicle_ready(told_by(OFFICER, now), transfer.vehicle)
        assert fresh(transfer.vehicle).state == "free"
        entry = transfer.referral.entries.get(kind="vehicle_ready")
        assert entry.body["vehicle"] == "PIC-1"


class TestItDoesNotCome:
    def test_the_first_drives_on_in_one_press(self, met, transfer, now):
        meetings.drive_on(told_by("samuel.torrivane", now), transfer)
        after = fresh(transfer)
        assert (after.vehicle.code, after.stage) == ("PIC-1", "on_the_road")
        assert after.standing_meeting() is None
        assert fresh(met.vehicle).state == "free"
        told = Delivery.objects.filter(address=met.driver_phone).latest("pk").message
        assert "no longer needed" in told
        assert "To: Port Orlime" in Delivery.objects.filter(
            address=met.first_phone
        ).latest("pk").message  # fmt: skip
        assert Alert.objects.filter(kind="meeting_off", needs_answer=False).exists()
        meetings.drive_on(told_by("samuel.torrivane", now), transfer)
        all_is_sound()

    def test_one_that_had_set_off_comes_back_first(self, met, transfer, now):
        by = told_by(OFFICER, now)
        milestones.reach(by, transfer, TransferStage.COLLECTING, assignment=met.assignment)
        meetings.drive_on(by, transfer)
        assert fresh(met.vehicle).state == "returning"

    def test_when_it_breaks_down_the_desk_must_know(self, met, transfer, now):
        answer = browser_of().post(f"/d/{token_for(transfer, met)}/broken/", {"key": "k"})
        assert answer.status_code == 302
        assert fresh(met.vehicle).state == "out_of_service"
        assert Alert.objects.open().filter(kind="meeting_off", for_desk=True).exists()
        assert "The desk knows that the vehicle has broken down" in text_of(
            browser_of().get(answer["Location"])
        )

    def test_when_the_first_breaks_down_the_second_goes_to_them(self, met, transfer, now):
        by = told_by(OFFICER, now)
        milestones.reach(by, transfer, TransferStage.COLLECTING, assignment=met.assignment)
        milestones.reach(by, transfer, TransferStage.AT_ORIGIN, assignment=met.assignment)
        fix(transfer, Site.objects.get(code="MRW"), now)
        lifecycle.unassign(by, transfer, why="axle", broken=True)
        after = fresh(transfer)
        # At the meeting place is not with the baby.
        assert (after.vehicle.code, after.stage) == ("AMB-1", "collecting")
        assert after.waits_on_the_road
        assert after.waits_latitude == Site.objects.get(code="MRW").latitude
        assert after.standing_meeting() is None
        alert = Alert.objects.open().get(kind="second_goes")
        assert "Ambulance of Port Orlime goes to them" in alert.sentence
        assert not Alert.objects.open().filter(kind="vehicle_wanted").exists()
        told = Delivery.objects.filter(address=met.driver_phone).latest("pk").message
        assert "collect mother and baby on the road near" in told
        all_is_sound()

    def test_another_first_vehicle_ends_it(self, met, transfer, now):
        other = Vehicle.objects.get(code="AMB-2")
        lifecycle.assign(told_by(OFFICER, now), transfer, other)
        assert fresh(met).ended_at is not None
        after = fresh(transfer)
        assert after.assignment > met.assignment
        gone = browser_of().get(f"/d/{token_for(transfer, met)}/")
        assert "This link does not open any more" in text_of(gone)
        all_is_sound()

    def test_it_ends_with_the_journey(self, met, transfer, now):
        baby = transfer.referral.babies.get()
        by = told_by(OFFICER, now)
        for side in ("giver", "receiver"):
            handing_over.hand_over(by, transfer, baby, handing_over.Signature(side=side, name="H"))
        assert fresh(transfer).stage == "handed_over"
        assert fresh(met).ended_at is not None
        assert fresh(met.vehicle).state == "free"
        all_is_sound()

    @pytest.mark.parametrize("verb", ["move_over", "move_back", "drive_on", "reach_meeting"])
    def test_without_a_meeting_there_is_nothing_to_tell(self, transfer, now, verb):
        with pytest.raises(NotPossible, match="No second vehicle"):
            getattr(meetings, verb)(told_by(OFFICER, now), transfer)


class TestWatching:
    def test_positions_of_the_right_vehicle_count(self, met, transfer, saltfen, now):
        unit = transfer.destination.site
        fix(transfer, Site.objects.get(code="MRW"), now)
        fix(transfer, unit, now + timedelta(seconds=5), meeting=met)
        assert fresh(met.vehicle).latitude == unit.latitude
        assert fresh(transfer).last_fix_at == now
        here = fresh(transfer)
        live = estimating.live_window(here, now + timedelta(minutes=1))
        # Its goal is the meeting place, and the second one being at the unit says nothing.
        assert not live.suggestion_arrived
        after = moved(transfer, now + timedelta(minutes=2))
        milestones.reach(told_by(OFFICER, now + timedelta(minutes=2)), after,
                        TransferStage.ON_THE_ROAD)  # fmt: skip
        late = now + timedelta(hours=3)
        Position.objects.filter(assignment=met.assignment).update(recorded_at=late)
        assert estimating.live_window(fresh(after), late).suggestion_arrived

    def test_at_the_meeting_place_the_desk_is_asked_to_ask(self, met, transfer, saltfen, now):
        fix(transfer, saltfen, now)
        tracking.refresh_windows(now + timedelta(minutes=1))
        kinds = kinds_now(fresh(transfer), now + timedelta(minutes=2))
        assert "seems to be at Saltfen Health Post" in kinds["meeting_suggested"].sentence
        assert "arrival_suggested" not in kinds

    def test_the_arrival_includes_the_meeting(self, met, transfer, now):
        with_meeting = estimating.projected_arrival(fresh(transfer), now)
        assert with_meeting.method == "meeting"
        assert with_meeting.p10 < with_meeting.p50 < with_meeting.p90
        meetings.drive_on(told_by(OFFICER, now), transfer)
        assert estimating.projected_arrival(fresh(transfer), now).method != "meeting"

    def test_before_the_first_has_the_baby_too(self, intensive, saltfen, now):
        early = a_journey(now, intensive, stage=TransferStage.ASSIGNED, vehicle="PIC-1")
        plain = estimating.projected_arrival(early, now)
        meetings.meet(told_by(OFFICER, now), early, Vehicle.objects.get(code="AMB-1"), saltfen)
        through = estimating.projected_arrival(fresh(early), now)
        assert through.method == "meeting"
        assert abs((through.p50 - plain.p50).total_seconds()) < 3 * 3600

    def test_oxygen_is_reckoned_for_each_vehicle_and_its_own_part(self, met, transfer, now):
        plans = oxygen_ahead.oxygen_plans(fresh(transfer), now)
        assert [each.vehicle.code for each in plans] == ["PIC-1", "AMB-1"]
        alone = oxygen_ahead.oxygen_plans(transfer, now)[0].plan
        assert alone.needed_minutes == plans[0].plan.needed_minutes
        Cylinder.objects.filter(vehicle=met.vehicle).delete()
        short = [
            each for each in concerns_of_journey(transfer.referral, now)
            if each.kind == "oxygen_short"
        ]  # fmt: skip
        assert any(each.sentence.startswith("Ambulance of Port Orlime: ") for each in short)

    def test_a_gauge_read_before_they_moved_is_of_the_first_vehicle(self, met, transfer, now):
        mine = Cylinder.objects.create(
            district=met.vehicle.district, label="0", vehicle=transfer.vehicle, water_litres=5,
            bar=150,
        )  # fmt: skip
        after = moved(transfer, now)
        theirs = Cylinder.objects.filter(vehicle=met.vehicle).order_by("label").first().bar
        told = on_the_way.CheckTold(facts={}, oxygen_bar=60)
        baby = transfer.referral.babies.get()
        on_the_way.check(told_by(OFFICER, now - timedelta(minutes=5)), after, baby, told)
        assert fresh(mine).bar == 60
        assert Cylinder.objects.filter(vehicle=met.vehicle).order_by("label").first().bar == theirs
        on_the_way.check(told_by(OFFICER, now + timedelta(minutes=5)), after, baby, told)
        assert Cylinder.objects.filter(vehicle=met.vehicle).order_by("label").first().bar == 60

    def test_what_is_owed_at_a_meeting(self, met, transfer, now):
        soon = now + timedelta(minutes=11)
        assert "has not set off" in kinds_now(transfer, soon)["not_set_off"].sentence
        by = told_by(OFFICER, now)
        milestones.reach(by, transfer, TransferStage.COLLECTING, assignment=met.assignment)
        meetings.reach_meeting(by, transfer)
        waits = kinds_now(transfer, soon)
        assert "not_set_off" not in waits
        assert "is not there" in waits["meeting_waits"].sentence
        milestones.reach(by, transfer, TransferStage.AT_ORIGIN, assignment=met.assignment)
        later = kinds_now(transfer, now + timedelta(minutes=21))
        assert "meeting_waits" not in later
        assert "nobody has said" in later["not_moved_over"].sentence


class TestDriverPages:
    def test_the_second_driver_reads_whom_to_meet_and_presses_one_button(self, met, transfer):
        phone, link = browser_of(), f"/d/{token_for(transfer, met)}/"
        page = text_of(phone.get(link))
        assert "Meet Pickup of Bandolay at" in page
        assert "Saltfen Health Post" in page
        assert "I have set off" in page
        assert "I am at the meeting place" in page
        assert "We stop because" not in page
        press(phone, link, action="/reached/", milestone="collecting")
        press(phone, link, action="/reached/", milestone="at_origin")
        assert fresh(met).second_there_at is not None
        press(phone, link, action="/mistake/", mistake="at_origin")
        assert fresh(met).second_there_at is None
        answer = press(phone, link, action="/reached/", milestone="on_the_road")
        assert answer.status_code == 302
        # The same link goes on: the journey is theirs now.
        assert "Bring to" in text_of(phone.get(link))
        assert fresh(transfer).vehicle.code == "AMB-1"

    def test_the_first_driver_tells_what_happens_there(self, met, transfer):
        phone, link = browser_of(), f"/d/{token_for(transfer)}/"
        page = text_of(phone.get(link))
        assert "Meet Ambulance of Port Orlime at" in page
        assert "Nothing else is handed over" in page
        press(phone, link, action="/meeting/", step="first_there")
        assert fresh(met).first_there_at is not None
        assert "You are there" in text_of(phone.get(link))
        press(phone, link, number=1, action="/meeting/")
        assert fresh(met).first_there_at is None
        press(phone, link, action="/meeting/", step="first_there")
        answer = press(phone, link, action="/meeting/", step="moved_over", witness="Wezi Oranday")
        assert answer.status_code == 302
        assert fresh(met).witness == "Wezi Oranday"

    def test_the_first_driver_drives_on(self, met, transfer):
        phone, link = browser_of(), f"/d/{token_for(transfer)}/"
        press(phone, link, action="/meeting/", step="drive_on")
        assert fresh(met).ended_at is not None
        page = text_of(phone.get(link))
        assert "Meet Ambulance" not in page
        assert "Bring to" in page

    def test_a_step_nobody_knows_is_refused_in_words(self, met, transfer):
        link = f"/d/{token_for(transfer)}/"
        answer = browser_of().post(f"{link}meeting/", {"key": "k", "step": "fly"})
        assert answer.status_code == 409
        assert "Press one of the buttons" in text_of(answer)

    def test_the_state_changes_with_every_mark(self, met, transfer, now):
        link = f"/d/{token_for(transfer)}/state/"
        before = browser_of().get(link).json()["state"]
        meetings.reach_meeting(told_by(OFFICER, now), transfer)
        assert browser_of().get(link).json()["state"] != before

    def test_a_driver_with_an_account_finds_the_meeting(self, met, person):
        page = text_of(browser_of(person("mateus.dunnaway")).get("/drive/"))
        assert "Meet Pickup of Bandolay at" in page

    def test_the_link_in_the_message_opens_it(self, met, transfer):
        from referrals import alerting

        delivery = Delivery.objects.filter(address=met.driver_phone).latest("pk")
        path = "/" + alerting.link_of(delivery).split("/", 3)[-1]
        page = browser_of().get(path, follow=True)
        assert "Meet Pickup of Bandolay at" in text_of(page)


class TestDesk:
    def test_a_meeting_is_agreed_on_and_followed_at_the_desk(self, transfer, officer, saltfen):
        leena, path = browser_of(officer), f"/desk/{transfer.referral.code}/"
        press(leena, path, action="/meet/", vehicle="AMB-1", site="SAL")
        meeting = Meeting.objects.get()
        page = text_of(leena.get(path))
        assert "Ambulance of Port Orlime meets Pickup of Bandolay at Saltfen Health Post" in page
        assert "Both likely there at" in page
        for step in ("second_left", "first_there", "second_there"):
            leena.post(f"{path}meeting_step/", {"key": step, "step": step})
        nobody = leena.post(f"{path}meeting_step/", {"key": "m", "step": "moved_over"})
        assert nobody.status_code == 400
        assert fresh(meeting).moved_at is None
        told = {"key": "n", "step": "moved_over", "witness": "Wezi Oranday", "minutes_ago": "4"}
        assert leena.post(f"{path}meeting_step/", told).status_code == 302
        page = text_of(leena.get(path))
        assert "Changed from Pickup of Bandolay to Ambulance of Port Orlime" in page
        assert "moved over, seen by Wezi Oranday" in page
        assert "mother, baby and escort changed vehicles at Saltfen Health Post" in page
        assert leena.post(f"{path}meeting_step/", {"key": "o", "step": "fly"}).status_code == 404

    def test_a_waiting_vehicle_is_let_on_from_the_first_view(self, met, transfer, officer, now):
        meetings.reach_meeting(told_by(OFFICER, now - timedelta(minutes=30)), transfer)
        from referrals import watching

        watching.look_at(transfer.referral_id, now)
        page = text_of(browser_of(officer).get("/desk/"))
        assert "Let Pickup of Bandolay drive on" in page


class TestApi:
    def test_the_desk_sets_it_and_the_drivers_tell(self, transfer, saltfen):
        desk, number = device_of(OFFICER), transfer.pk
        told = {"vehicle": "AMB-1", "site": "SAL"}
        assert desk.post(f"transfers/{number}/meeting/", told).status_code == 200
        meeting = Meeting.objects.get()
        second = Device(authorization=f"Driver {token_for(transfer, meeting)}")
        seen = second.get(f"transfers/{number}/").json()
        assert seen["pickup"]["name"] == "Saltfen Health Post"
        assert seen["next_milestone"] == "collecting"
        assert seen["meeting"]["first_vehicle"] == "PIC-1"
        second.post(f"transfers/{number}/milestones/", {"milestone": "collecting"})
        second.post(f"transfers/{number}/milestones/", {"milestone": "at_origin"})
        second.post(f"transfers/{number}/milestones/withdraw/", {"milestone": "at_origin"})
        meeting.refresh_from_db()
        assert (meeting.second_left_at is None, meeting.second_there_at) == (False, None)
        place = {"key": "p", "happened_at": "2026-03-01T14:02:00Z", "latitude": -22.4,
                 "longitude": 85.9}  # fmt: skip
        assert second.post(f"transfers/{number}/positions/", place).json()["stored"] == 1
        assert Position.objects.get(key="p").assignment == meeting.assignment
        steps = f"transfers/{number}/meeting/steps/"
        first = Device(authorization=f"Driver {token_for(transfer)}")
        assert first.post(steps, {"step": "first_there"}).status_code == 200
        assert second.post(steps, {"step": "moved_over", "witness": "Wezi"}).status_code == 200
        detail = desk.get(f"transfers/{number}/").json()
        assert detail["vehicle"] == "AMB-1"
        assert detail["meetings"][0]["moved_at"] is not None
        assert desk.post(steps, {"step": "drive_on"}).json()["code"] == "no_meeting"

    @pytest.mark.parametrize("wrong", [{"vehicle": "NOPE"}, {"site": "NOPE"}])
    def test_what_is_not_of_the_district_is_named(self, transfer, wrong):
        told = {"vehicle": "AMB-1", "site": "SAL"} | wrong
        answer = device_of(OFFICER).post(f"transfers/{transfer.pk}/meeting/", told)
        assert answer.status_code == 400
        assert answer.json()["errors"][0]["field"] == next(iter(wrong))


def test_the_look_finds_a_meeting_that_fits_nothing(met, transfer):
    at = moment(60)
    assert list(meetings_have_two_vehicles(at)) == []
    Meeting.objects.update(first_vehicle=Vehicle.objects.get(code="AMB-2"))
    assert "does not carry it" in next(iter(meetings_have_two_vehicles(at)))
    Transfer.objects.filter(pk=transfer.pk).update(assignment=9)
    Meeting.objects.update(first_vehicle=transfer.vehicle)
    assert "fits another vehicle" in next(iter(meetings_have_two_vehicles(at)))
    Vehicle.objects.filter(pk=met.vehicle_id).update(state="free")
    assert "AMB-1 is on a journey, but it is called free." in list(one_journey_per_vehicle(at))
