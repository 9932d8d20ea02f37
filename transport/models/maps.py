"""The coast and the roads of a district, as they are drawn; nothing is reckoned from them."""

from django.core.exceptions import ValidationError
from django.db import models

from referrals.models import District
from transport.calc.map_drawing import fault_of_line

COAST, ROAD = "coast", "road"


class MapLine(models.Model):
    """One line of the map: a closed coast, or a road with its surface where that is known.

    ``points`` are [longitude, latitude] in degrees, as in the GeoJSON they came from.
    """

    district = models.ForeignKey(District, on_delete=models.CASCADE, related_name="map_lines")
    kind = models.CharField(max_length=8, choices=[(COAST, COAST), (ROAD, ROAD)])
    name = models.CharField(max_length=120, blank=True)
    surface = models.CharField(max_length=12, blank=True)
    points = models.JSONField(help_text="[[longitude, latitude], ...] in degrees.")

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                name="map_line_kind_known", condition=models.Q(kind__in=[COAST, ROAD])
            )
        ]

    def clean(self) -> None:
        """Refuse what cannot be drawn."""
        fault = fault_of_line(self.points, closed=self.kind == COAST)
        if fault:
            raise ValidationError({"points": fault})

    def __str__(self) -> str:
        return f"{self.kind} {self.name}".strip()
