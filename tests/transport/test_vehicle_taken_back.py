"""A vehicle fails: none of its times stay, and mother and baby are not forgotten where they are."""

from datetime import timedelta

import pytest
from world import a_journey, told_by

from referrals import endings
from referrals.calc.states import NotPossible
from referrals.models import Alert, Delivery
from transport import choosing, milestones, tracking
from transport import lifecycle as journeys
from transport.calc.stages import TransferStage
from transport.concerns import concerns_of_journey
from transport.estimating import collection_estimate, projected_arrival
from transport.models import Transfer, Vehicle

LEFT = timedelta(minutes=30)
"""After the raise the baby leaves the post, see world.a_journey."""


@pytest.fixture
def stranded(district, intensive, now):
    """The ambulance fails on the road, 50 minutes after the raise, near the unit at Kesawari."""
    transfer = a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD)
    kesawari = district.sites.get(units__code="KES-NB")
    failed = now + timedelta(minutes=50)
    told = tracking.PositionTold(
        key="the-last",
        happened_at=failed,
        latitude=kesawari.latitude + 0.02,
        longitude=kesawari.longitude,
    )
    tracking.record(transfer, [told], received_at=failed)
    journeys.unassign(told_by("leena.morrastad", failed), transfer, why="axle", broken=True)
    return Transfer.objects.get(pk=transfer.pk)


def test_the_desk_reads_where_mother_and_baby_wait(stranded):
    alert = Alert.objects.open().filter(kind="vehicle_wanted").latest("pk")
    where = f"{stranded.waits_latitude:.4f},{stranded.waits_longitude:.4f}"
    assert f"Mother and baby wait on the road near {where}" in alert.sentence


def test_the_checks_go_on_while_they_wait(stranded, now):
    missed = [
        concern
        for concern in concerns_of_journey(stranded.referral, now + timedelta(minutes=60))
        if concern.kind == "check_missed"
    ]
    # Due every 15 minutes since they left; none was made.
    grace = stranded.referral.district.check_grace_minutes
    assert [one.due_at for one in missed] == [now + LEFT + timedelta(minutes=15 + grace)]
    assert "Ring mother and baby where they wait" in missed[0].sentence
    assert stranded.referral.raised_by.phone.as_e164 in missed[0].sentence


def test_the_next_vehicle_is_sent_to_them_and_not_to_the_post(stranded, now):
    at = now + timedelta(minutes=55)
    # Based where they were stranded: to the post it would be a long way.
    near = Vehicle.objects.filter(state="free", base__units__code="KES-NB").first()
    assert near is not None
    sent = journeys.assign(told_by("leena.morrastad", at), stranded, near)
    assert collection_estimate(sent, at).geodesic_km < 3
    message = Delivery.objects.filter(alert__kind="link").latest("pk").message
    assert "collect mother and baby on the road near" in message
    assert sent.waits_on_the_road
    by = told_by("mateus.dunnaway", at + timedelta(minutes=10))
    back = milestones.reach(by, sent, TransferStage.ON_THE_ROAD)
    assert not Transfer.objects.get(pk=back.pk).waits_on_the_road
    assert Transfer.objects.get(pk=back.pk).left_post_at == now + LEFT


def test_units_are_ranked_from_where_they_wait(stranded, now):
    best = choosing.ranking_for(stranded.referral, now + timedelta(minutes=55)).candidates[0]
    kesawari = next(
        one
        for one in choosing.ranking_for(stranded.referral, now).candidates
        if one.key == "KES-NB"
    )
    assert kesawari.road.geodesic_km < 3
    assert best.road.geodesic_km >= kesawari.road.geodesic_km


def test_where_no_position_ever_came_the_place_is_asked_for(district, intensive, now):
    transfer = a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD)
    journeys.unassign(told_by("leena.morrastad", now), transfer, why="axle", broken=True)
    alert = Alert.objects.open().filter(kind="vehicle_wanted").latest("pk")
    assert "the place is not known: ask by phone" in alert.sentence


def test_a_vehicle_that_fails_before_it_has_the_baby_leaves_them_at_the_post(
    district, intensive, now
):
    transfer = a_journey(now, intensive, stage=TransferStage.COLLECTING)
    journeys.unassign(told_by("leena.morrastad", now), transfer, why="axle", broken=True)
    transfer.refresh_from_db()
    assert not transfer.waits_on_the_road
    kinds = {one.kind for one in concerns_of_journey(transfer.referral, now)}
    assert "check_missed" not in kinds


def test_after_a_breakdown_nobody_is_told_that_the_baby_arrived(district, intensive, now):
    transfer = a_journey(now, intensive, stage=TransferStage.ARRIVED)
    assert projected_arrival(transfer, now).method == "arrived"
    journeys.unassign(told_by("leena.morrastad", now), transfer, why="wrong door", broken=True)
    transfer.refresh_from_db()
    assert transfer.stage == "wanted"
    assert transfer.arrived_at is transfer.on_the_road_at is transfer.collecting_at is None
    assert projected_arrival(transfer, now) is None


def test_a_journey_that_has_ended_has_no_vehicle_to_take_back(district, intensive, now):
    transfer = a_journey(now, intensive, stage=TransferStage.COLLECTING)
    by = told_by("leena.morrastad", now)
    endings.take_back(by, transfer.referral, reason="called by mistake")
    with pytest.raises(NotPossible, match="no vehicle to take back"):
        journeys.unassign(by, transfer, why="axle")
    transfer.refresh_from_db()
    assert (transfer.stage, transfer.vehicle.state) == ("stood_down", "returning")
