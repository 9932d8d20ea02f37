"""Celery tasks of the journey. Sending and sweeping are tasks of ``referrals``."""

from celery import shared_task

from referrals import clock
from referrals.models import District
from transport import experience, road_table


@shared_task
def report_refit(district_id: int) -> None:
    """Learn a district's travel times anew, if a journey was completed since the last time."""
    district = District.objects.get(pk=district_id)
    if experience.refit_is_due(district, clock.now()):
        experience.refit(district, clock.now())


@shared_task
def work_out_ways(table_id: int) -> None:
    """The ways by road of sites that were added or moved."""
    road_table.fill_sites(table_id)
