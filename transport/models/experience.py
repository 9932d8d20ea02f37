"""What travel times are learned from, and what was learned."""

from django.db import models

from referrals.models import District
from transport.models.road_tables import RoadTable


class JourneyImport(models.Model):
    """One file of past journeys that was brought in; undone, its journeys are gone again."""

    district = models.ForeignKey(District, on_delete=models.PROTECT, null=True, blank=True)
    file_name = models.CharField(max_length=200)
    added_at = models.DateTimeField()
    undone_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return f"{self.file_name}, import {self.pk}"


class PastJourney(models.Model):
    """A completed journey from a file. ``rainy`` and ``dark`` are empty where nobody knows.

    ``key`` is made from the journey and its district, so that the same row brought in twice counts
    once.
    """

    source = models.ForeignKey(JourneyImport, on_delete=models.CASCADE, related_name="journeys")
    key = models.CharField(max_length=32, unique=True)
    started_at = models.DateTimeField()
    origin_latitude = models.FloatField()
    origin_longitude = models.FloatField()
    destination_latitude = models.FloatField()
    destination_longitude = models.FloatField()
    minutes = models.FloatField()
    rainy = models.BooleanField(null=True, blank=True)
    dark = models.BooleanField(null=True, blank=True)
    vehicle = models.CharField(max_length=20, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="past_journey_takes_time", condition=models.Q(minutes__gt=0)
            ),
        ]

    def __str__(self) -> str:
        return f"{self.minutes:.0f} min on {self.started_at:%Y-%m-%d}"


class TravelModel(models.Model):
    """One refit of the travel times, adopted or not, with how it did on held-back journeys.

    ``settings`` and ``road_table``: of the estimator without experience that it corrects.
    ``stored``: the model in use. ``judge``: the same without the held-back journeys, to compare
    the next one with.
    """

    district = models.ForeignKey(District, on_delete=models.PROTECT, null=True, blank=True)
    road_table = models.ForeignKey(RoadTable, on_delete=models.CASCADE, null=True, blank=True)
    made_at = models.DateTimeField()
    journeys = models.PositiveIntegerField()
    newest_journey_at = models.DateTimeField()
    adopted = models.BooleanField()
    reason = models.CharField(max_length=300)
    trials = models.JSONField(default=dict)
    settings = models.JSONField(default=dict)
    stored = models.BinaryField()
    judge = models.BinaryField(null=True, blank=True)

    class Meta:
        ordering = ["-id"]
        indexes = [models.Index(fields=["district", "adopted", "id"])]

    def __str__(self) -> str:
        return f"learned-{self.pk}"
