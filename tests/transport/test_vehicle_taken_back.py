"""A vehicle taken back leaves none of its times behind."""

from world import a_journey, told_by

from transport import lifecycle as journeys
from transport.calc.stages import TransferStage
from transport.estimating import projected_arrival


def test_after_a_breakdown_nobody_is_told_that_the_baby_arrived(district, intensive, now):
    transfer = a_journey(now, intensive, stage=TransferStage.ARRIVED)
    assert projected_arrival(transfer, now).method == "arrived"
    journeys.unassign(told_by("leena.morrastad", now), transfer, why="wrong door", broken=True)
    transfer.refresh_from_db()
    assert transfer.stage == "wanted"
    assert transfer.arrived_at is transfer.on_the_road_at is transfer.collecting_at is None
    assert projected_arrival(transfer, now) is None
