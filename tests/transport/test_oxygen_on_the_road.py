"""Oxygen: which cylinder a gauge belongs to, what closes a gap, and what a filled vehicle holds."""

from datetime import timedelta

import pytest

from referrals import recording, watching
from referrals.calc.quantities import ImpossibleQuantity
from referrals.calc.states import NotPossible
from referrals.models import Alert, Observation, Site, Staff
from tests.api_world import device_of
from tests.pages_world import browser_of, forms_on, press, text_of
from tests.world import a_journey, told_by
from transport import cylinders, fleet, handing_over, on_the_way, oxygen_ahead
from transport import lifecycle as journeys
from transport.calc.oxygen import CHANGEOVER_MINUTES
from transport.calc.stages import TransferStage
from transport.models import Cylinder, Transfer, Vehicle

LEFT = timedelta(minutes=30)
"""After the raise the baby leaves the post, see world.a_journey."""
OFFICER = "leena.morrastad"


@pytest.fixture
def aboard(district, intensive, now):
    """On the road with the cylinders A1 (10 L, 130 bar) and A2 (4.7 L, 95 bar)."""
    return a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD)


def read(transfer, at, baby=None, **gauge):
    by = told_by("tomasi.bellaqua", at)
    baby = baby or transfer.referral.babies.first()
    return on_the_way.check(by, transfer, baby, on_the_way.CheckTold(facts={}, **gauge))


def shows(label):
    row = Cylinder.objects.get(label=label)
    return row.shows


def test_the_next_cylinder_is_read_when_the_first_is_used_up(aboard, now):
    read(aboard, now + timedelta(minutes=40), oxygen_bar=12)
    read(aboard, now + timedelta(minutes=55), oxygen_bar=92)
    assert (shows("A1"), shows("A2")) == (12, 92)
    assert aboard.referral.entries.filter(kind="checked").last().body["cylinder"] == "A2"


def test_a_reading_corrected_at_once_is_of_the_same_cylinder(aboard, now):
    at = now + timedelta(minutes=40)
    read(aboard, at, oxygen_bar=9)
    read(aboard, at + timedelta(minutes=1), oxygen_bar=90)
    assert (shows("A1"), shows("A2")) == (90, 95)


def test_a_reading_that_comes_late_changes_no_newer_one(aboard, now):
    read(aboard, now + timedelta(minutes=55), oxygen_bar=60)
    read(aboard, now + timedelta(minutes=40), oxygen_bar=100)
    assert shows("A1") == 60
    assert aboard.checks.count() == 2


def test_a_reading_of_the_vehicle_before_is_not_this_one_s(aboard, now):
    at = now + timedelta(minutes=50)
    journeys.assign(told_by(OFFICER, at), aboard, Vehicle.objects.get(code="AMB-2"))
    read(Transfer.objects.get(pk=aboard.pk), now + timedelta(minutes=45), oxygen_bar=20)
    assert shows("A3") == 120


def test_a_us_cylinder_is_read_in_psi(district, intensive, now):
    transfer = a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD, vehicle="PIC-1")
    read(transfer, now + timedelta(minutes=40), oxygen_psi=900)
    assert shows("A4") == 900
    plan = oxygen_ahead.oxygen_plan(transfer, now + timedelta(minutes=40))
    assert plan.minutes_left == pytest.approx(0.28 * 900 / 5)
    # Told in bar, as every gauge is that comes by SMS: kept in the unit of the one aboard.
    read(transfer, now + timedelta(minutes=50), oxygen_bar=50)
    assert shows("A4") == pytest.approx(50 * 14.5038, abs=0.01)


def test_a_pressure_that_cannot_be_is_refused(aboard, now):
    with pytest.raises(ImpossibleQuantity):
        read(aboard, now, oxygen_psi=9000)


def test_the_check_asks_in_the_unit_of_the_gauges_that_are_aboard(district, intensive, now):
    transfer = a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD, vehicle="PIC-1")
    code = transfer.referral.code
    phone = browser_of(Staff.objects.get(username="tomasi.bellaqua"))
    path = f"/r/{code}/check/1/gauge/"
    page = text_of(phone.get(path))
    assert 'name="oxygen_psi"' in page
    assert 'name="oxygen_bar"' not in page
    assert press(phone, path, oxygen_psi="1200").status_code == 302
    assert shows("A4") == 1200
    assert press(phone, path, oxygen_psi="1300").status_code == 302  # 1200 was a slip
    assert transfer.checks.get().oxygen_psi == 1300
    assert shows("A4") == 1300
    assert press(phone, path, oxygen_psi="1200").status_code == 302
    assert shows("A4") == 1200
    desk = browser_of(Staff.objects.get(username=OFFICER))
    press(desk, f"/desk/{code}/", action="/check/", baby="1", oxygen_psi="1100")
    assert shows("A4") == 1100
    assert "oxygen gauge 1100 psi (cylinder A4)" in text_of(desk.get(f"/desk/{code}/"))


def test_over_the_api_a_gauge_in_psi_is_a_check_of_its_own(district, intensive, now):
    transfer = a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD, vehicle="PIC-1")
    phone = device_of("tomasi.bellaqua")
    answer = phone.post(f"transfers/{transfer.pk}/checks/", {"oxygen_psi": 700})
    assert answer.status_code == 201, answer.content
    assert answer.json()["oxygen_psi"] == 700


def test_two_babies_on_one_set_add_up(district, intensive, now):
    transfer = a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD, babies=2)
    left = now + LEFT
    assert cylinders.oxygen_flow(transfer.referral) == 10
    Cylinder.objects.filter(vehicle=transfer.vehicle).update(read_at=left)
    both = oxygen_ahead.oxygen_plan(transfer, left).minutes_left
    second = transfer.referral.babies.last()
    recording.observe(told_by("tomasi.bellaqua", left), second, {"oxygen_flow_l_min": 0.0})
    one = oxygen_ahead.oxygen_plan(transfer, left).minutes_left
    assert one + CHANGEOVER_MINUTES == pytest.approx((both + CHANGEOVER_MINUTES) * 2)


def test_a_twin_on_oxygen_whose_flow_nobody_told_counts_with_the_other_s(district, intensive, now):
    transfer = a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD, babies=2)
    Observation.objects.filter(baby__birth_order=2).update(oxygen_flow_l_min=None)
    assert cylinders.oxygen_flow(transfer.referral) == 10
    Observation.objects.filter(baby__birth_order=2).update(support="bag_and_mask_air")
    assert cylinders.oxygen_flow(transfer.referral) == 5


def test_only_the_fraction_is_known_the_flow_is_what_it_takes_of_ten_litres(
    district, intensive, now
):
    transfer = a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD)
    baby, later = transfer.referral.babies.get(), now + LEFT
    recording.observe(told_by("tomasi.bellaqua", later), baby, {"fio2": 0.4})
    # 10 x (0.40 - 0.21) / 0.79, the mixing law.
    assert cylinders.oxygen_flow(transfer.referral) == pytest.approx(2.405, abs=0.001)
    again = told_by("tomasi.bellaqua", later + timedelta(minutes=1))
    recording.observe(again, baby, {"oxygen_flow_l_min": 3.0})
    assert cylinders.oxygen_flow(transfer.referral) == 3


def test_a_check_in_the_other_unit_taken_back_gives_the_reading_before(district, intensive, now):
    transfer = a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD, vehicle="PIC-1")
    read(transfer, now + timedelta(minutes=40), oxygen_bar=100)
    wrong = read(transfer, now + timedelta(minutes=55), oxygen_psi=300)
    assert shows("A4") == 300
    by = told_by("tomasi.bellaqua", now + timedelta(minutes=56))
    on_the_way.withdraw(by, wrong, reason="another gauge")
    assert shows("A4") == pytest.approx(1450.38, abs=0.01)


def test_a_shortage_names_a_filled_cylinder_at_a_site_on_the_way(district, intensive, now):
    transfer = a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD)
    here, goal = transfer.referral.origin, transfer.destination.site
    between = Site.objects.create(
        district=district,
        code="HLF",
        name="Halfway Post",
        kind="health_post",
        latitude=(here.latitude + goal.latitude) / 2,
        longitude=(here.longitude + goal.longitude) / 2,
    )
    Cylinder.objects.create(
        district=district, label="S1", site=between, water_litres=47.2, bar=137
    )  # fmt: skip
    Cylinder.objects.filter(vehicle=transfer.vehicle).update(bar=65)
    said = oxygen_ahead.oxygen_plan(transfer, now + LEFT).words
    assert said[1].startswith("On the way, change to cylinder S1, Halfway Post (47.2 L, 137 bar)")
    Cylinder.objects.filter(label="S1").update(bar=5)
    assert "On the way" not in " ".join(oxygen_ahead.oxygen_plan(transfer, now + LEFT).words)


def test_from_the_loading_on_the_vehicle_s_own_oxygen_is_drawn(district, intensive, now):
    """The vehicle stood at the post from the 20th minute, and left at the 30th."""
    loading = district.loading_minutes
    there = a_journey(now, intensive, stage=TransferStage.AT_ORIGIN)
    at_once, soon, later = (
        oxygen_ahead.oxygen_plan(there, now + timedelta(minutes=minutes)).minutes_left
        for minutes in (20, 20 + loading / 2, 120)
    )
    assert at_once - soon == pytest.approx(loading / 2)
    # Longer than loading takes, nobody knows from what the baby got oxygen.
    assert at_once - later == pytest.approx(loading)


def short(transfer, at):
    watching.look_at(transfer.referral_id, at)
    return Alert.objects.open().filter(referral=transfer.referral_id, kind="oxygen_short").first()


def test_a_shortage_on_the_road_says_minutes_chance_and_what_closes_the_gap(aboard, now):
    Cylinder.objects.filter(vehicle=aboard.vehicle).update(bar=30, read_at=now + LEFT)
    alert = short(aboard, now + LEFT)
    # 14.7 L x 30 bar at 5 L/min, less 2 min to change from one cylinder to the other.
    assert "about 86 min left" in alert.sentence
    assert "% chance of reaching the bedside before the reserve is touched" in alert.sentence
    assert "Send to meet them cylinder B" in alert.sentence
    assert "Hospital" in alert.sentence or "Health Centre" in alert.sentence
    assert "keep ventilating with air" in alert.sentence
    assert not {"wait", "stop"} & set(alert.sentence.lower().replace(".", " ").split())


def test_before_leaving_the_cylinder_that_stands_at_the_post_is_named(district, intensive, now):
    post = Site.objects.get(code="MRW")
    Cylinder.objects.create(
        district=district, label="P1", site=post, water_litres=47.2, bar=137
    )  # fmt: skip
    transfer = a_journey(now, intensive, stage=TransferStage.AT_ORIGIN)
    Cylinder.objects.filter(vehicle=transfer.vehicle).update(bar=30)
    words = " ".join(oxygen_ahead.oxygen_plan(transfer, now + timedelta(minutes=20)).words)
    assert f"Take along cylinder P1, {post} (47.2 L, 137 bar)" in words


def test_a_shortage_near_its_limit_stands_until_it_is_well_over(aboard, now):
    rows = Cylinder.objects.filter(vehicle=aboard.vehicle)
    plan = oxygen_ahead.oxygen_plan(aboard, now + LEFT)
    fits = plan.needed_minutes * 5 / 14.7  # bar at which the oxygen is just enough
    rows.update(bar=fits * 0.9)
    alert = short(aboard, now + LEFT)
    for share in (1.05, 0.95, 1.05):
        rows.update(bar=fits * share)
        assert short(aboard, now + LEFT) == alert
    rows.update(bar=fits * 1.6)
    assert short(aboard, now + LEFT) is None


@pytest.fixture
def back(aboard, now):
    """Used on the road; handed over; the ambulance is on its way back."""
    read(aboard, now + timedelta(minutes=40), oxygen_bar=20)
    baby = aboard.referral.babies.get()
    for side in ("giver", "receiver"):
        by = told_by("hana.wendorra", now + timedelta(minutes=90))
        handing_over.hand_over(by, aboard, baby, handing_over.Signature(side=side, name="H"))
    return Vehicle.objects.get(code="AMB-1")


def test_ready_again_means_full_by_the_word_of_a_person(back, aboard, now):
    at = now + timedelta(minutes=200)
    fleet.vehicle_ready(told_by(OFFICER, at), back)
    assert (shows("A1"), shows("A2")) == (137, 137)
    row = Cylinder.objects.get(label="A1")
    assert (row.read_by, row.read_at) == ("Leena Morrastad", at)
    body = aboard.referral.entries.get(kind="vehicle_ready").body
    assert body["gauges"] == {"A1": 137, "A2": 137}


def test_called_ready_by_mistake_the_cylinders_are_as_they_were(back, aboard, now):
    at = now + timedelta(minutes=200)
    fleet.vehicle_ready(told_by(OFFICER, at), back)
    Cylinder.objects.get(label="A2").read(90, at + timedelta(minutes=1), "Mateus Dunnaway")
    fleet.vehicle_not_ready(told_by(OFFICER, at + timedelta(minutes=2)), back)
    assert (shows("A1"), shows("A2")) == (20, 90)  # A2 was read since
    assert aboard.referral.entries.get(kind="vehicle_not_ready").body["gauges"] == {"A1": 20}


def test_a_check_taken_back_gives_its_cylinder_the_reading_before(aboard, now):
    read(aboard, now + timedelta(minutes=40), oxygen_bar=100)
    wrong = read(aboard, now + timedelta(minutes=55), oxygen_bar=10)
    by = told_by("tomasi.bellaqua", now + timedelta(minutes=56))
    on_the_way.withdraw(by, wrong, reason="the other vehicle's")
    assert shows("A1") == 100
    on_the_way.withdraw(by, aboard.checks.first(), reason="that one too")
    assert shows("A1") == 130


def test_a_check_in_psi_is_corrected_in_psi(district, intensive, now):
    transfer = a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD, vehicle="PIC-1")
    made = read(transfer, now + timedelta(minutes=40), oxygen_psi=400)
    by = told_by("tomasi.bellaqua", now + timedelta(minutes=50))
    on_the_way.correct_check(by, made, on_the_way.CheckTold(facts={}, oxygen_psi=1400))
    assert shows("A4") == 1400


def test_pressures_that_were_read_stand_and_nothing_else_is_made_up(back, now):
    fleet.vehicle_ready(told_by(OFFICER, now), back, filled=False, gauges={"A2": 60})
    assert (shows("A1"), shows("A2")) == (20, 60)


def test_where_nobody_knows_what_full_is_the_reading_stays(district, intensive, now):
    vehicle = Vehicle.objects.get(code="PIC-1")
    fleet.vehicle_ready(told_by(OFFICER, now), vehicle)
    assert shows("A4") == 1800
    Cylinder.objects.filter(label="A4").update(full_psi=2000)
    fleet.vehicle_ready(told_by(OFFICER, now), vehicle)
    assert shows("A4") == 2000


def test_a_cylinder_the_vehicle_does_not_carry_is_refused_with_those_it_does(back, now):
    with pytest.raises(NotPossible, match="no cylinder B1; it carries: A1, A2"):
        fleet.vehicle_ready(told_by(OFFICER, now), back, gauges={"B1": 100})
    back.refresh_from_db()
    assert back.state == "returning"


def test_a_check_of_the_journey_before_that_comes_after_filling_changes_nothing(back, aboard, now):
    fleet.vehicle_ready(told_by(OFFICER, now + timedelta(minutes=200)), back)
    read(aboard, now + timedelta(minutes=60), oxygen_bar=15)
    assert shows("A1") == 137


def test_the_desk_writes_down_the_gauges_of_a_vehicle_that_is_back(back):
    desk = browser_of(Staff.objects.get(username=OFFICER))
    path = f"/desk/vehicles/{back.code}/gauges/"
    assert path in text_of(desk.get("/desk/"))
    page = text_of(desk.get(path))
    assert "last read: 20 bar" in page
    first = Cylinder.objects.get(label="A1")
    wrong = press(desk, path, **{f"gauge_{first.pk}": "9000"})
    assert wrong.status_code == 400
    assert "9000" in text_of(wrong)
    assert press(desk, path, **{f"gauge_{first.pk}": "110"}).status_code == 302
    assert (shows("A1"), shows("A2")) == (110, 95)
    back.refresh_from_db()
    assert back.state == "free"


def test_a_vehicle_on_a_journey_is_not_made_free_on_that_page(aboard):
    desk = browser_of(Staff.objects.get(username=OFFICER))
    answer = press(desk, "/desk/vehicles/AMB-1/gauges/")
    assert answer.status_code == 409
    assert "is on a journey" in text_of(answer)
    assert forms_on(answer)


def test_over_the_api_gauges_are_told_and_read_back(back):
    told = {"gauges": {"A1": 120}, "filled": False}
    answer = device_of(OFFICER).post("vehicles/AMB-1/ready/", told)
    assert answer.status_code == 200, answer.content
    assert answer.json()["gauges"] == {"A1": 120, "A2": 95}
