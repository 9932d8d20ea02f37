"""What the service learns from its own journeys."""

from datetime import timedelta

import pytest
import world

from transport import experience, milestones, where_to
from transport.calc.stages import TransferStage
from transport.models import TravelModel
from transport.tasks import report_refit


@pytest.fixture
def arrived(district, intensive, now):
    return world.a_journey(now - timedelta(hours=2), intensive, stage=TransferStage.ARRIVED)


def test_a_journey_that_has_arrived_is_learned_from(arrived, district, intensive, now):
    (learned,) = experience.completed_journeys(district)
    assert learned.minutes == (arrived.arrived_at - arrived.on_the_road_at).total_seconds() / 60
    assert learned.started_at == arrived.on_the_road_at
    assert learned.destination.latitude == intensive.site.latitude
    assert learned.vehicle == arrived.vehicle.kind


def test_a_journey_on_the_road_is_not(district, intensive, now):
    world.a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD)
    assert not list(experience.completed_journeys(district))


def test_a_journey_sent_elsewhere_on_the_way_says_nothing_of_the_road(
    district, intensive, ward, now
):
    transfer = world.a_journey(now, intensive, stage=TransferStage.ON_THE_ROAD)
    desk = world.told_by("leena.morrastad", transfer.on_the_road_at + timedelta(minutes=3))
    where_to.set_destination(world.lifecycle.timeline_row(transfer.referral_id), ward, desk)
    later = world.told_by("mateus.dunnaway", transfer.on_the_road_at + timedelta(minutes=40))
    milestones.reach(later, transfer, TransferStage.ARRIVED)
    assert not list(experience.completed_journeys(district))


def test_after_an_arrival_a_refit_is_due_until_it_is_made(arrived, district, now):
    assert experience.refit_is_due(district, now)
    report_refit(district.pk)
    row = TravelModel.objects.get()
    assert (row.journeys, row.adopted) == (1, True)
    assert "too few" in row.reason
    assert not experience.refit_is_due(district, row.made_at)


def test_every_night_it_is_made_anew_with_the_settings_as_they_are(arrived, district, now):
    row = experience.refit(district, now + timedelta(days=1))
    district.detour_factor = 1.9
    district.save(update_fields=["detour_factor"])
    assert not experience.refit_is_due(district, row.made_at + timedelta(hours=23))
    night = row.made_at + timedelta(hours=25)
    assert experience.refit_is_due(district, night)
    anew = experience.refit(district, night)
    assert (anew.pk > row.pk, anew.settings != row.settings) == (True, True)
    assert not experience.refit_is_due(district, night + timedelta(hours=23))


def test_the_districts_estimates_use_it_and_say_so(arrived, district, intensive, now):
    experience.refit(district, now + timedelta(days=1))
    (learned,) = experience.completed_journeys(district)
    estimate = experience.estimator_for(district)(
        learned.origin, learned.destination, vehicle=learned.vehicle, rainy=False, dark=False
    )
    assert estimate.method.startswith("learned_")
    assert estimate.model_version == str(TravelModel.objects.get())
    assert estimate.inputs["journeys_on_this_corridor"] == 1


def test_without_a_journey_nothing_is_learned(district, now):
    assert experience.refit(district, now) is None
    assert not experience.refit_is_due(district, now)
