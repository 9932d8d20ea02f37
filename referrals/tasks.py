"""What the Celery workers do: fetch by number, call, nothing else."""

from celery import shared_task

from referrals import sending, sweeping


@shared_task
def deliver(delivery_id: int) -> None:
    """Send one delivery now, if it is still due."""
    sending.send_one(delivery_id)


@shared_task
def sweep() -> None:
    """One pass of the sweep, booked by beat."""
    sweeping.sweep("celery")
