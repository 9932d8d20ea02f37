"""What is reported closed: a road, a bridge or a landing, until it is lifted or its time ends."""

from datetime import datetime

from django.db import models

from referrals.models import District, Site
from transport.calc.closures import ClosureKind


class ClosureQuerySet(models.QuerySet["Closure"]):
    """Closures as the estimates ask for them."""

    def standing(self, moment: datetime) -> "ClosureQuerySet":
        """Those that count at a moment: not lifted, and their time has not ended."""
        return self.filter(lifted_at__isnull=True, ends_at__gt=moment)


class Closure(models.Model):
    """Something closed at a point with a radius, or the road between two sites.

    ``renewed_at``: when the open journeys were brought up to date after it ended by itself.
    """

    district = models.ForeignKey(District, on_delete=models.PROTECT, related_name="closures")
    kind = models.CharField(max_length=8)
    name = models.CharField(max_length=120)
    latitude = models.FloatField(null=True, blank=True)
    longitude = models.FloatField(null=True, blank=True)
    one_end = models.ForeignKey(
        Site, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    other_end = models.ForeignKey(
        Site, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    radius_km = models.FloatField()
    words = models.CharField(max_length=300, blank=True)
    reported_by = models.CharField(max_length=150)
    reported_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    lifted_by = models.CharField(max_length=150, blank=True)
    lifted_at = models.DateTimeField(null=True, blank=True)
    renewed_at = models.DateTimeField(null=True, blank=True)

    objects = ClosureQuerySet.as_manager()

    class Meta:
        ordering = ["-reported_at", "-id"]
        indexes = [models.Index(fields=["district", "ends_at"])]
        constraints = [
            models.CheckConstraint(
                name="closure_kind_known",
                condition=models.Q(kind__in=[kind.value for kind in ClosureKind]),
            ),
            models.CheckConstraint(
                name="closure_at_point_or_between_sites",
                condition=models.Q(
                    latitude__gte=-90,
                    latitude__lte=90,
                    longitude__gte=-180,
                    longitude__lte=180,
                    one_end=None,
                    other_end=None,
                )
                | models.Q(
                    latitude=None, longitude=None, one_end__isnull=False, other_end__isnull=False
                ),
            ),
            models.CheckConstraint(
                name="closure_has_radius_and_end",
                condition=models.Q(radius_km__gt=0, ends_at__gt=models.F("reported_at")),
            ),
        ]

    def __str__(self) -> str:
        return self.name
