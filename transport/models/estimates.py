"""What was estimated and shown, with its inputs; and the desk's stored rows."""

from django.db import models

from referrals.models import District, Referral
from transport.models.transfers import Transfer


class Ranking(models.Model):
    """The candidates as they were ranked and shown at a moment, reasons included."""

    referral = models.ForeignKey(Referral, on_delete=models.PROTECT, related_name="rankings")
    made_at = models.DateTimeField()
    body = models.JSONField()

    class Meta:
        get_latest_by = "made_at"

    def __str__(self) -> str:
        return f"{self.referral.code} at {self.made_at:%H:%M}"


class Estimate(models.Model):
    """One travel estimate that people saw: what for, how it was made, from what.

    Minutes count from ``made_at``; they are empty when no way is known.
    """

    referral = models.ForeignKey(Referral, on_delete=models.PROTECT, related_name="estimates")
    transfer = models.ForeignKey(Transfer, on_delete=models.PROTECT, null=True, blank=True)
    purpose = models.CharField(max_length=20)
    made_at = models.DateTimeField()
    method = models.CharField(max_length=40)
    model_version = models.CharField(max_length=40)
    inputs = models.JSONField(default=dict)
    p10_minutes = models.FloatField(null=True, blank=True)
    p50_minutes = models.FloatField(null=True, blank=True)
    p90_minutes = models.FloatField(null=True, blank=True)
    geodesic_km = models.FloatField(null=True, blank=True)
    road_km = models.FloatField(null=True, blank=True)

    class Meta:
        ordering = ["made_at", "id"]

    def __str__(self) -> str:
        return f"{self.purpose} of {self.referral.code}"


class DeskRow(models.Model):
    """One row of the time ribbon, worked out when its referral changed and stored whole.

    ``head_seq`` is the timeline's head it was made from: a row behind its referral is made anew.
    """

    referral = models.OneToOneField(Referral, on_delete=models.CASCADE, related_name="desk_row")
    district = models.ForeignKey(District, on_delete=models.CASCADE)
    head_seq = models.PositiveIntegerField(default=0)
    version = models.PositiveIntegerField(default=0)
    is_open = models.BooleanField(default=True)
    needs_person = models.BooleanField(default=False)
    sort_at = models.DateTimeField()
    body = models.JSONField(default=dict)
    made_at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["district", "is_open"])]

    def __str__(self) -> str:
        return f"row of {self.referral.code}"
