"""Which vehicle is proposed for a journey that wants one."""

from typing import Any

from django.db import models

from referrals.models import District
from transport.models.transfers import Transfer
from transport.models.vehicles import Vehicle


class Proposal(models.Model):
    """The vehicle proposed for one journey, since when, and why; a person sends it or another.

    ``vehicle`` empty: none is left that can go. ``saves``: weighted minutes to care that it is
    better than the next. ``body``: what it was worked out from, the row of costs included, so that
    only what has changed is worked out again. ``pinned_by``: the person who keeps this vehicle for
    the journey.
    """

    district = models.ForeignKey(District, on_delete=models.CASCADE, related_name="proposals")
    transfer = models.OneToOneField(Transfer, on_delete=models.CASCADE, related_name="proposal")
    vehicle = models.ForeignKey(
        Vehicle, on_delete=models.CASCADE, null=True, blank=True, related_name="proposals"
    )
    since = models.DateTimeField()
    made_at = models.DateTimeField()
    saves = models.FloatField(default=0)
    reasons = models.JSONField(default=list)
    body = models.JSONField(default=dict)
    pinned_by = models.CharField(max_length=150, blank=True)
    pinned_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["vehicle"],
                condition=models.Q(vehicle__isnull=False),
                name="one_proposal_per_vehicle",
            ),
        ]

    def cell(self) -> dict[str, Any] | None:
        """The minutes of the vehicle proposed, as they were worked out; see ``calc.Cell``."""
        costs = self.body.get("costs", {})
        kept = costs.get(self.vehicle.code) if self.vehicle else None
        return kept["cell"] if kept else None

    def __str__(self) -> str:
        return f"{self.transfer}: {self.vehicle or '-'}"
