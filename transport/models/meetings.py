"""Two vehicles of one journey that meet, where mother, baby and escort change over."""

from django.db import models

from referrals.models import Site
from transport.calc.stages import TransferStage
from transport.models.transfers import Transfer
from transport.models.vehicles import Vehicle


class MeetingQuerySet(models.QuerySet["Meeting"]):
    """Meetings as the journeys ask for them."""

    def standing(self) -> "MeetingQuerySet":
        """Those agreed on, with the baby still in the first vehicle."""
        return self.filter(moved_at=None, ended_at=None)


class Meeting(models.Model):
    """A second vehicle meets the first at a site and takes mother, baby and escort on.

    ``assignment`` is the number that the transfer takes on when they change over; the link of the
    second driver holds it from the start. Called off, it has ``ended_at`` and why.
    """

    transfer = models.ForeignKey(Transfer, on_delete=models.PROTECT, related_name="meetings")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="+")
    first_vehicle = models.ForeignKey(Vehicle, on_delete=models.PROTECT, related_name="+")
    first_assignment = models.PositiveSmallIntegerField()
    first_driver = models.CharField(max_length=120, blank=True)
    first_phone = models.CharField(max_length=20, blank=True)
    vehicle = models.ForeignKey(Vehicle, on_delete=models.PROTECT, related_name="meetings")
    assignment = models.PositiveSmallIntegerField()
    driver_name = models.CharField(max_length=120, blank=True)
    driver_phone = models.CharField(max_length=20, blank=True)
    set_at = models.DateTimeField()
    second_left_at = models.DateTimeField(null=True, blank=True)
    first_there_at = models.DateTimeField(null=True, blank=True)
    second_there_at = models.DateTimeField(null=True, blank=True)
    moved_at = models.DateTimeField(null=True, blank=True)
    witness = models.CharField(max_length=150, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_why = models.CharField(max_length=200, blank=True)

    objects = MeetingQuerySet.as_manager()

    class Meta:
        ordering = ["set_at", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["transfer"],
                condition=models.Q(moved_at=None, ended_at=None),
                name="one_standing_meeting_per_transfer",
            ),
            models.UniqueConstraint(
                fields=["vehicle"],
                condition=models.Q(moved_at=None, ended_at=None),
                name="one_standing_meeting_per_vehicle",
            ),
            models.UniqueConstraint(
                fields=["transfer", "assignment"], name="one_meeting_per_assignment"
            ),
            models.CheckConstraint(
                name="moved_over_with_a_witness",
                condition=models.Q(moved_at=None) | ~models.Q(witness=""),
            ),
            models.CheckConstraint(
                name="meeting_of_two_vehicles",
                condition=~models.Q(first_vehicle=models.F("vehicle")),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.vehicle} at {self.site}"

    def reached(self) -> TransferStage:
        """How far the second vehicle is, in the stages of a journey."""
        if self.second_there_at:
            return TransferStage.AT_ORIGIN
        return TransferStage.COLLECTING if self.second_left_at else TransferStage.ASSIGNED
