"""A district's roads as they were read from a map: the network, and the ways between places."""

from django.db import models

from referrals.models import District


class RoadTableQuerySet(models.QuerySet["RoadTable"]):
    """Tables as the estimates ask for them."""

    def of(self, district: District | None) -> "RoadTableQuerySet":
        """Not taken back, of a district or of all; the one in force first."""
        whose = models.Q(district=None) | models.Q(district=district)
        return self.filter(whose, undone_at=None).order_by("-id")


class RoadTable(models.Model):
    """One map that was read; of those of a district the newest that is not undone is in force.

    ``source`` names whose map it is and under which licence; ``map_date`` of which day, where the
    file says it. ``network``: see ``RoadNetwork``.
    """

    district = models.ForeignKey(District, on_delete=models.PROTECT, null=True, blank=True)
    file_name = models.CharField(max_length=200)
    file_sha256 = models.CharField(max_length=64)
    source = models.CharField(max_length=200)
    map_date = models.DateField(null=True, blank=True)
    road_km = models.FloatField()
    added_at = models.DateTimeField()
    undone_at = models.DateTimeField(null=True, blank=True)
    network = models.BinaryField()

    objects = RoadTableQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return f"roads-{self.pk}"


class RoadRow(models.Model):
    """The ways from one place to others; ``ways`` as ``road_rows.packed`` writes them.

    The place is known by its coordinates in millionths of a degree, so that a site that moves, and
    a journey that was driven before there was a site, need no row of their own kind.
    ``land``: which roads that hang together are near; empty where none are. ``is_near``: within
    reach of a road. ``is_site``: to and from every site of its district all ways are worked out.
    """

    table = models.ForeignKey(RoadTable, on_delete=models.CASCADE, related_name="rows")
    latitude_e6 = models.IntegerField()
    longitude_e6 = models.IntegerField()
    land = models.IntegerField(null=True, blank=True)
    is_near = models.BooleanField()
    is_site = models.BooleanField(default=False)
    ways = models.BinaryField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                name="road_row_once", fields=["table", "latitude_e6", "longitude_e6"]
            ),
        ]

    def __str__(self) -> str:
        return f"{self.latitude_e6 / 1e6:.6f},{self.longitude_e6 / 1e6:.6f}"
