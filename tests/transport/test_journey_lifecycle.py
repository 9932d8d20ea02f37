"""A vehicle is sent, reports milestones in whatever order, is handed over by two signatures."""

from datetime import timedelta
from itertools import permutations

import pytest
from world import a_journey, a_placed_referral, a_referral, told_by

from referrals import endings, timeline
from referrals.calc.states import NotPossible
from referrals.calc.terms import Ending
from referrals.models import Alert
from transport import driver_links, fleet, handing_over, milestones, on_the_way, where_to
from transport import lifecycle as journeys
from transport.calc.stages import MILESTONES, TransferStage
from transport.models import Cylinder, Transfer, Vehicle


def fresh(transfer):
    return Transfer.objects.get(pk=transfer.pk)


@pytest.mark.parametrize("order", list(permutations(range(4)))[::5])
def test_milestones_that_come_out_of_order_amount_to_the_same_journey(
    district, intensive, now, order
):
    """The phone was offline: everything arrives at once, last things first."""
    transfer = a_journey(now, intensive, stage=TransferStage.ASSIGNED)
    for position in order:
        by = told_by("mateus.dunnaway", now + timedelta(minutes=10 * position))
        milestones.reach(by, transfer, MILESTONES[position])
    end = fresh(transfer)
    assert end.stage == "arrived"
    assert [end.collecting_at, end.at_origin_at, end.on_the_road_at, end.arrived_at] == [
        now + timedelta(minutes=10 * position) for position in range(4)
    ]
    assert timeline.faults_of(end.referral) == []


def test_a_milestone_pressed_twice_is_one_milestone(district, intensive, now):
    transfer = a_journey(now, intensive, stage=TransferStage.COLLECTING)
    before = transfer.referral.entries.count()
    milestones.reach(told_by("mateus.dunnaway", now), transfer, TransferStage.COLLECTING)
    assert transfer.referral.entries.count() == before


def test_a_milestone_after_the_stand_down_is_kept_and_the_desk_is_told(district, intensive, now):
    transfer = a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD)
    endings.end_baby(
        told_by("leena.morrastad", now), transfer.referral.babies.get(), Ending.FAMILY_DECLINED
    )
    milestones.reach(told_by("mateus.dunnaway", now), transfer, TransferStage.ARRIVED)
    note = transfer.milestones.get(kind="arrived")
    assert note.applied is False
    assert fresh(transfer).stage == "stood_down"
    assert Alert.objects.filter(kind="late_note").exists()


def test_without_a_vehicle_a_milestone_is_refused_with_what_to_do(district, now):
    transfer = a_referral(now).transfers.get()
    with pytest.raises(NotPossible, match="Assign one first"):
        milestones.reach(told_by("leena.morrastad", now), transfer, TransferStage.AT_ORIGIN)


def test_the_search_for_a_vehicle_begins_at_the_raise(district, now):
    referral = a_referral(now)
    assert referral.stage == "raised"
    assert referral.transfers.get().stage == "wanted"
    assert Alert.objects.get(kind="vehicle_wanted").raised_at == now


def test_another_vehicle_takes_over_and_the_old_link_is_void(district, intensive, now):
    transfer = a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD)
    old_link = driver_links.token_for(transfer)
    journeys.assign(told_by("leena.morrastad", now), transfer, Vehicle.objects.get(code="AMB-2"))
    changed = fresh(transfer)
    assert (changed.stage, changed.vehicle.code) == ("assigned", "AMB-2")
    assert changed.on_the_road_at is None
    assert Vehicle.objects.get(code="AMB-1").state == "returning"
    with pytest.raises(driver_links.InvalidLink):
        driver_links.transfer_for(old_link, now)


def test_a_busy_vehicle_is_refused_with_the_journey_it_is_on(district, intensive, ward, now):
    first = a_journey(now, intensive, stage=TransferStage.COLLECTING)
    second = a_placed_referral(now, ward).transfers.get()
    with pytest.raises(NotPossible, match=f"busy for {first.referral.code}"):
        journeys.assign(told_by("leena.morrastad", now), second, Vehicle.objects.get(code="AMB-1"))


def test_a_car_found_by_phone_is_sent_like_any_other(district, intensive, now):
    transfer = a_placed_referral(now, intensive).transfers.get()
    by = told_by("leena.morrastad", now)
    found = on_the_way.FoundVehicle(
        name="Blue car of the baker",
        kind="car",
        driver_name="Osei",
        driver_phone="+12025550190",
        who_pays="district",
    )
    car = on_the_way.add_found_vehicle(by, district, found, now)
    journeys.assign(by, transfer, car)
    link = Alert.objects.get(kind="link")
    assert link.deliveries.get().address == "+12025550190"


def test_the_desk_may_send_the_vehicle_before_anybody_has_accepted(district, intensive, now):
    referral = a_referral(now)
    transfer = referral.transfers.get()
    where_to.send_toward(told_by("leena.morrastad", now), transfer, intensive)
    sent = fresh(transfer)
    assert (sent.destination, sent.without_acceptance) == (intensive, True)
    assert referral.entries.filter(kind="sent_without_acceptance").exists()
    assert referral.offers.get().unit == intensive  # and it is asked at the same time


def test_a_vehicle_is_free_again_only_when_it_is_ready(district, intensive, now):
    transfer = a_journey(now, intensive, stage=TransferStage.ARRIVED)
    sign_both(transfer, now)
    vehicle = Vehicle.objects.get(code="AMB-1")
    assert vehicle.state == "returning"
    fleet.vehicle_ready(told_by("leena.morrastad", now), vehicle)
    assert Vehicle.objects.get(code="AMB-1").state == "free"
    fleet.vehicle_ready(told_by("leena.morrastad", now), vehicle)
    said = transfer.referral.entries.get(kind="vehicle_ready")
    assert (said.body["vehicle"], said.actor) == ("AMB-1", "leena.morrastad")


def sign_both(transfer, now, **received):
    for baby in transfer.referral.babies.filter(ending=""):
        for side in ("giver", "receiver"):
            details = received if side == "receiver" else {}
            signature = handing_over.Signature(side=side, name="Hana", band_checked=True, **details)
            handing_over.hand_over(told_by("hana.wendorra", now), transfer, baby, signature)


def test_one_signature_is_not_a_handover(district, intensive, now):
    transfer = a_journey(now, intensive, stage=TransferStage.ARRIVED)
    baby = transfer.referral.babies.get()
    signature = handing_over.Signature(side="giver", name="Tomasi")
    handing_over.hand_over(told_by("tomasi.bellaqua", now), transfer, baby, signature)
    assert fresh(transfer).stage == "arrived"


def test_twins_are_handed_over_one_by_one_and_the_journey_ends_with_the_second(
    district, intensive, now
):
    transfer = a_journey(now, intensive, stage=TransferStage.ARRIVED, babies=2)
    first, second = transfer.referral.babies.all()
    for side in ("giver", "receiver"):
        handing_over.hand_over(
            told_by("hana.wendorra", now),
            transfer,
            first,
            handing_over.Signature(side=side, name="H"),
        )
    assert fresh(transfer).stage == "arrived"
    sign_both(transfer, now)
    second.refresh_from_db()
    assert second.ending == "handed_over"
    assert fresh(transfer).stage == "handed_over"


def test_a_disagreement_is_recorded_and_keeps_nobody_waiting(district, intensive, now):
    transfer = a_journey(now, intensive, stage=TransferStage.ARRIVED)
    sign_both(transfer, now, disagreement="colder than we were told", temperature_c=35.4)
    handover = transfer.handovers.get()
    assert str(handover.disagreement) == "colder than we were told"
    entry = transfer.referral.entries.filter(kind="handover_signed").last()
    assert "colder" not in str(entry.body)  # the words are only committed to
    assert fresh(transfer).stage == "handed_over"


def test_the_gauge_read_on_the_way_goes_to_the_cylinder_in_use(district, intensive, now):
    transfer = a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD)
    baby = transfer.referral.babies.get()
    told = on_the_way.CheckTold(facts={"spo2": 92}, oxygen_bar=88.0)
    on_the_way.check(told_by("tomasi.bellaqua", now), transfer, baby, told)
    assert Cylinder.objects.get(label="A1").bar == 88.0


def test_stopping_is_one_press_and_the_desk_is_told_why(district, intensive, now):
    transfer = a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD)
    baby = transfer.referral.babies.get()
    told = on_the_way.CheckTold(facts={}, stopped_because="mask does not seal")
    on_the_way.check(told_by("tomasi.bellaqua", now), transfer, baby, told)
    assert "mask does not seal" in Alert.objects.get(kind="stopped").sentence
