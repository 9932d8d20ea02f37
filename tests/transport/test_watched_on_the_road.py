"""What positions show of trouble with mother and baby aboard: the desk is told once, in numbers."""

import re
from datetime import datetime, timedelta

import pytest

from fixtures_demo.driver import SimulatedDriver, along
from referrals import alerting, lifecycle, watching
from referrals.messages import clock_time
from referrals.models import Alert, Delivery, District, Observation, Staff
from tests.pages_world import browser_of, press, text_of
from tests.world import a_journey, told_by
from transport import on_the_way, tracking
from transport.arrival_told import arrival_told, tell_arrival
from transport.calc.stages import TransferStage
from transport.driver_links import token_for
from transport.models import Transfer

LEFT = timedelta(minutes=30)
"""After the raise the baby leaves Mirrow Heights, see world.a_journey."""

OFFICER = "leena.morrastad"
SIGNS = ("standing_still", "off_the_way", "arrival_moved", "past_a_limit")


class Road:
    """One journey on the road from Mirrow Heights, driven minute by minute."""

    def __init__(self, transfer, begun):
        self.transfer, self.begun = transfer, begun
        self.route = SimulatedDriver().route("MRW", transfer.destination.site.code)

    def at(self, minutes):
        return self.begun + timedelta(minutes=minutes)

    def drives(self, start, end, *, route=None, seed="drive"):
        """Positions of a simulated driver, with noise and silence; each told when it comes."""
        fixes = SimulatedDriver().positions(
            route or self.route, self.at(start), self.at(end), 60, seed
        )
        self.tells(fixes)

    def first_part(self):
        """About 20 minutes of the way."""
        return [along(self.route, share / 100) for share in range(26)]

    def stands(self, start, end):
        fixes = SimulatedDriver().positions(
            [self.here(), self.here()], self.at(start), self.at(end), 60, "stop"
        )
        self.tells(fixes[1:])

    def here(self):
        newest = self.transfer.positions.order_by("-recorded_at").first()
        return newest.latitude, newest.longitude

    def tells(self, fixes):
        told = [
            tracking.PositionTold(
                key=f"at {fix.recorded_at.isoformat()}",
                happened_at=fix.recorded_at,
                latitude=fix.latitude,
                longitude=fix.longitude,
                accuracy_m=fix.accuracy_m,
            )
            for fix in fixes
        ]
        tracking.record(self.transfer, told, received_at=told[-1].happened_at)

    def seen(self, minutes):
        """What the watch has raised and is open at a minute after departure, by kind."""
        moment = self.at(minutes)
        Transfer.objects.filter(pk=self.transfer.pk).update(window_at=None)
        tracking.refresh_windows(moment)
        watching.look_at(self.transfer.referral_id, moment)
        return {alert.kind: alert for alert in self.alerts().open()}

    def alerts(self):
        return Alert.objects.filter(referral=self.transfer.referral_id)


@pytest.fixture
def road(district, intensive, now):
    transfer = a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD)
    District.objects.update(arrival_slip_minutes=600)  # lateness has tests of its own
    Observation.objects.update(temperature_c=36.8)
    return Road(transfer, now + LEFT)


def test_a_vehicle_that_goes_its_way_worries_nobody(road):
    for minute in range(5, 150, 5):
        if minute == 5:
            road.drives(0, 160)
        assert not set(road.seen(minute)) & set(SIGNS)


def test_a_standstill_is_told_once_and_settled_when_the_vehicle_goes_on(road):
    road.drives(0, 20, route=road.first_part())
    road.stands(20, 45)
    assert "standing_still" not in road.seen(33)
    alert = road.seen(38)["standing_still"]
    assert re.search(r"stands since \d\d:\d\d \(1[5-8] min\) near -22", alert.sentence)
    assert "in a straight line from Port Orlime newborn intensive care" in alert.sentence
    assert alert.for_desk
    assert road.seen(44)["standing_still"] == alert
    road.drives(46, 60, route=[road.here(), road.route[-1]])
    assert "standing_still" not in road.seen(52)
    assert road.alerts().filter(kind="standing_still").count() == 1
    alert.refresh_from_db()
    assert alert.closed_reason == "settled"


def test_a_stop_whose_reason_was_told_is_brought_up_later_only(road):
    road.drives(0, 20, route=road.first_part())
    road.stands(20, 60)
    told = on_the_way.CheckTold(facts={}, stopped_because="a puncture")
    on_the_way.check(told_by("tomasi.bellaqua", road.at(30)), road.transfer, baby(road), told)
    assert "standing_still" not in road.seen(44)
    assert "standing_still" in road.seen(48)


def baby(road):
    return road.transfer.referral.babies.get()


def test_a_stop_at_a_place_of_the_district_is_not_a_standstill(road):
    road.drives(0, 40, route=SimulatedDriver().route("MRW", "SAL"))
    road.stands(41, 70)
    assert "standing_still" not in road.seen(70)


def test_driving_away_is_told_and_settled_on_the_way_back(road):
    away = SimulatedDriver().route("MRW", "PEL")
    road.drives(0, 90, route=away)
    alert = road.seen(90)["off_the_way"]
    assert "drives away from" in alert.sentence
    assert "Ring Mateus Dunnaway" in alert.sentence
    road.drives(91, 180, route=away[::-1])
    assert "off_the_way" not in road.seen(180)


def test_what_the_desk_has_taken_about_the_way_is_not_brought_up_again(road):
    road.drives(0, 90, route=SimulatedDriver().route("MRW", "PEL"))
    alert = road.seen(88)["off_the_way"]
    alerting.acknowledge(alert.pk, told_by(OFFICER, road.at(89)))
    road.drives(91, 140, route=[road.here(), (road.here()[0] - 0.2, road.here()[1])])
    assert "off_the_way" not in road.seen(138)


def test_positions_that_come_late_in_a_heap_end_a_standstill_that_was_none(road):
    road.drives(0, 20, route=road.first_part())
    road.stands(20, 45)
    assert "standing_still" in road.seen(44)
    road.drives(21, 44, route=[road.here(), road.route[-1]], seed="truth")
    assert "standing_still" not in road.seen(44)


def test_the_unit_is_told_when_the_vehicle_leaves(road):
    notice = road.alerts().get(kind="arrival_told")
    assert "is on the road to Port Orlime newborn intensive care. Expected" in notice.message
    assert not notice.needs_answer
    assert Delivery.objects.filter(alert=notice, contact_name="Hana Wendorra").exists()


@pytest.fixture
def late(road):
    """As the unit was told, but the vehicle is slow."""
    District.objects.update(arrival_slip_minutes=20)
    road.transfer = Transfer.objects.get(pk=road.transfer.pk)
    road.drives(0, 400)
    return road


def test_the_desk_is_told_that_the_baby_comes_later_than_the_unit_was_told(late):
    assert "arrival_moved" not in late.seen(2)
    alert = late.seen(120)["arrival_moved"]
    assert "min later than it was told at" in alert.sentence
    assert "Tell the unit." in alert.sentence


def test_while_much_is_left_the_unit_is_not_told_of_every_change(late):
    District.objects.update(arrival_slip_minutes=1)
    found = late.seen(7)
    transfer = Transfer.objects.get(pk=late.transfer.pk)
    likely = datetime.fromisoformat(transfer.window["p50"])
    moved = abs(likely - arrival_told(transfer).likely)
    assert timedelta(minutes=1) < moved < (likely - late.at(7)) / 3
    assert "arrival_moved" not in found


def test_telling_the_unit_settles_it_and_the_unit_reads_the_new_window(late, client):
    late.seen(120)
    page = text_of(browser_of(Staff.objects.get(username=OFFICER)).get("/desk/"))
    assert "Tell Port Orlime newborn intensive care, Port Orlime Hospital the new time" in page
    by = told_by(OFFICER, late.at(121))
    window = tell_arrival(by, Transfer.objects.get(pk=late.transfer.pk))
    assert "arrival_moved" not in late.seen(122)
    notice = late.alerts().filter(kind="arrival_told").latest("pk")
    assert f"{window.p50:%M}" in notice.message
    entry = late.transfer.referral.entries.filter(kind="arrival_told").last()
    assert (entry.actor, entry.body["p50"]) == (OFFICER, window.p50.isoformat())


def test_near_the_limit_it_stands_and_is_not_told_again_and_again(late):
    for minute in (120, 121, 122):
        late.seen(minute)
        moved = Transfer.objects.get(pk=late.transfer.pk)
        slip = (datetime.fromisoformat(moved.window["p50"]) - arrival_told(moved).likely).seconds
        # By turns a little above the limit and a little below it.
        District.objects.update(arrival_slip_minutes=slip / 60 * (0.9 if minute % 2 else 1.1))
        late.seen(minute + 0.5)
    assert late.alerts().filter(kind="arrival_moved").count() == 1


def test_the_desk_tells_the_unit_with_one_press(late):
    late.seen(120)
    desk = browser_of(Staff.objects.get(username=OFFICER))
    code = late.transfer.referral.code
    assert press(desk, f"/desk/{code}/", action="/tell_arrival/").status_code == 302
    assert late.transfer.referral.entries.filter(kind="arrival_told").last().actor == OFFICER


def test_with_no_unit_that_has_accepted_there_is_nothing_to_tell(late):
    lifecycle.divert(told_by(OFFICER, late.at(1)), late.transfer.referral, why="full")
    desk = browser_of(Staff.objects.get(username=OFFICER))
    answer = desk.post(f"/desk/{late.transfer.referral.code}/tell_arrival/", {"key": "k"})
    assert answer.status_code == 409
    assert "no unit has accepted" in text_of(answer)


def test_a_driver_never_reads_that_anybody_worries(late):
    late.seen(120)
    page = text_of(browser_of().get(f"/d/{token_for(late.transfer)}/"))
    assert late.transfer.referral.code in page
    for words in ("later than", "expected", "stands since", "drives away"):
        assert words not in page


def test_a_baby_that_will_come_after_a_line_in_time_is_told_with_both_times(road):
    born = road.at(-320)
    late_baby = road.transfer.referral.babies.get()
    late_baby.born_at = late_baby.ventilated_since = born
    late_baby.save()
    road.drives(0, 200)
    alert = road.seen(10)["past_a_limit"]
    ends = clock_time(born + timedelta(hours=6), road.transfer.referral)
    assert f"after {ends}: Six hours from birth" in alert.sentence
    alerting.acknowledge(alert.pk, told_by(OFFICER, road.at(11)))
    assert "past_a_limit" not in road.seen(35)
