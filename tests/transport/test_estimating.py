"""What the desk is told about oxygen and candidates while the vehicle is under way."""

from datetime import timedelta

import pytest
from world import a_journey

from transport import choosing, estimating, oxygen_ahead, tracking
from transport.calc.stages import TransferStage


def test_oxygen_used_since_the_last_reading_is_not_counted_again(district, intensive, now):
    transfer = a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD)
    left = now + timedelta(minutes=30)  # when the baby left, see world.a_journey
    at_departure = oxygen_ahead.oxygen_plan(transfer, left)
    later = oxygen_ahead.oxygen_plan(transfer, left + timedelta(minutes=20))
    assert at_departure.minutes_left - later.minutes_left == pytest.approx(20)


def test_a_diverted_baby_is_ranked_from_where_it_is(district, intensive, ward, now):
    transfer = a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD)
    site = ward.site
    told = tracking.PositionTold(
        key="near-the-ward",
        happened_at=now + timedelta(minutes=60),
        latitude=site.latitude + 0.01,
        longitude=site.longitude,
    )
    moment = now + timedelta(minutes=61)
    tracking.record(transfer, [told], received_at=moment)
    ranking = choosing.ranking_for(transfer.referral, moment)
    best = ranking.best
    assert best.key == ward.code
    assert best.arrival.p50 < 10
    assert best.vehicle_key == "AMB-1"


def test_with_a_vehicle_sent_no_other_one_counts(district, intensive, now):
    transfer = a_journey(now, intensive, stage=TransferStage.ASSIGNED, vehicle="AMB-2")
    ranking = choosing.ranking_for(transfer.referral, now)
    assert {each.vehicle_key for each in ranking.candidates if each.vehicle_key} == {"AMB-2"}
    minutes = estimating.collection_estimate(transfer, now).p50_minutes
    # On a journey it would count as back only after 90 minutes: this is that very journey.
    assert ranking.best.to_baby.p50_minutes == pytest.approx(minutes)


def test_with_the_vehicle_at_the_post_nothing_is_left_to_collect(district, intensive, now):
    transfer = a_journey(now, intensive, stage=TransferStage.AT_ORIGIN)
    ranking = choosing.ranking_for(transfer.referral, now)
    assert ranking.best.to_baby.p50_minutes == pytest.approx(0, abs=1)


def test_the_collection_and_the_road_are_kept_with_their_inputs(district, intensive, now):
    transfer = a_journey(now, intensive, stage=TransferStage.ASSIGNED)
    kept = {row.purpose: row for row in transfer.estimate_set.all()}
    assert set(kept) == {"road", "collection"}
    assert kept["road"].inputs["vehicle"] == "ambulance"
    assert kept["collection"].p90_minutes > kept["collection"].p50_minutes > 0
