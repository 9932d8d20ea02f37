"""What a district says of its roads reaches every estimate: season, darkness, oxygen reserve."""

from datetime import UTC, datetime

import pytest

from tests.world import a_journey, a_referral
from transport import choosing, estimating, oxygen_ahead
from transport.calc.stages import TransferStage

pytestmark = pytest.mark.django_db
# Taluvesi is six hours ahead of UTC.
NOON = datetime(2026, 6, 15, 6, tzinfo=UTC)
MIDNIGHT = datetime(2026, 6, 15, 18, tzinfo=UTC)


def test_the_ranking_knows_whether_it_is_dark(district, now):
    referral = a_referral(now)
    by_day, by_night = (choosing.ranking_for(referral, at).best for at in (NOON, MIDNIGHT))
    assert by_day.road.inputs["dark"] is False
    assert by_night.road.inputs["dark"] is True
    assert by_night.road.p50_minutes > by_day.road.p50_minutes


def test_the_ranking_knows_the_season(district, now):
    referral = a_referral(now)
    referral.district.rainy_season = None
    january = datetime(2026, 1, 15, 6, tzinfo=UTC)
    wet, dry = (choosing.ranking_for(referral, at).best.road for at in (january, NOON))
    assert wet.p50_minutes > dry.p50_minutes


def test_the_journey_on_the_road_is_estimated_for_when_it_set_off(ward):
    transfer = a_journey(MIDNIGHT, ward, stage=TransferStage.ON_THE_ROAD)
    assert estimating.road_estimate(transfer, NOON).inputs["dark"] is True


def test_the_oxygen_reserve_of_the_district_is_kept(ward, now):
    transfer = a_journey(now, ward, stage=TransferStage.ASSIGNED)
    small = oxygen_ahead.oxygen_plan(transfer, now)
    transfer.referral.district.oxygen_reserve_bar = 60
    large = oxygen_ahead.oxygen_plan(transfer, now)
    assert large.minutes_to_reserve < small.minutes_to_reserve
