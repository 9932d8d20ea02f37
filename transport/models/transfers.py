"""One journey: its vehicle, milestones, positions, checks and handover."""

from datetime import datetime
from typing import TYPE_CHECKING, Any

from django.db import models

from referrals.models import Baby, Observation, PrivateText, Referral, Unit
from referrals.models.stages import StageQuerySet
from referrals.models.told import Told, ToldQuerySet, Withdrawable, WithdrawableQuerySet
from transport.calc.stages import FINISHED, MILESTONES, WITH_VEHICLE, TransferStage
from transport.models.vehicles import Cylinder, Vehicle

if TYPE_CHECKING:
    from transport.models.meetings import Meeting

ABOARD = (TransferStage.ON_THE_ROAD.value, TransferStage.ARRIVED.value)
"""Stages with mother and baby in the vehicle, or at the unit's door with it."""
LIVE = [stage.value for stage in TransferStage if stage not in FINISHED]


class TransferQuerySet(StageQuerySet["Transfer"]):
    """Transfers as the sweep asks for them."""

    def live(self) -> "TransferQuerySet":
        """Those neither handed over nor stood down."""
        return self.filter(stage__in=LIVE)


class Transfer(models.Model):
    """The journey of one referral: a vehicle, a destination, and how far it has come.

    ``assignment`` counts the vehicles assigned; a driver's link holds it, so that it is void as
    soon as another vehicle is assigned.
    """

    referral = models.ForeignKey(Referral, on_delete=models.PROTECT, related_name="transfers")
    stage = models.CharField(max_length=12, default=TransferStage.WANTED.value)
    vehicle = models.ForeignKey(
        Vehicle, on_delete=models.PROTECT, null=True, blank=True, related_name="transfers"
    )
    destination = models.ForeignKey(
        Unit, on_delete=models.PROTECT, null=True, blank=True, related_name="transfers"
    )
    without_acceptance = models.BooleanField(default=False)
    assignment = models.PositiveSmallIntegerField(default=0)
    stretch = models.PositiveSmallIntegerField(
        default=1, help_text="Of this vehicle: it goes on after a unit turned it away."
    )
    stands_at = models.ForeignKey(
        Unit,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        help_text="The unit at whose door it stands.",
    )
    driver_name = models.CharField(max_length=120, blank=True)
    driver_phone = models.CharField(max_length=20, blank=True)
    escort_name = models.CharField(max_length=120, blank=True)
    wanted_at = models.DateTimeField()
    assigned_at = models.DateTimeField(null=True, blank=True)
    collecting_at = models.DateTimeField(null=True, blank=True)
    at_origin_at = models.DateTimeField(null=True, blank=True)
    on_the_road_at = models.DateTimeField(null=True, blank=True)
    arrived_at = models.DateTimeField(null=True, blank=True)
    left_post_at = models.DateTimeField(
        null=True, blank=True, help_text="Mother and baby left the post, with whichever vehicle."
    )
    waits_latitude = models.FloatField(
        null=True, blank=True, help_text="Where mother and baby wait since their vehicle failed."
    )
    waits_longitude = models.FloatField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)
    last_fix_at = models.DateTimeField(null=True, blank=True)
    window = models.JSONField(null=True, blank=True, help_text="The live arrival window.")
    window_at = models.DateTimeField(null=True, blank=True)

    objects = TransferQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="transfer_stage_known",
                condition=models.Q(stage__in=[stage.value for stage in TransferStage]),
            ),
            models.UniqueConstraint(
                fields=["referral"],
                condition=models.Q(stage__in=LIVE),
                name="one_live_transfer_per_referral",
            ),
            models.UniqueConstraint(
                fields=["vehicle"],
                condition=models.Q(stage__in=[stage.value for stage in WITH_VEHICLE]),
                name="one_live_transfer_per_vehicle",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.referral.code}: {self.stage.replace('_', ' ')}"

    @property
    def is_live(self) -> bool:
        """Whether the journey still goes on."""
        return self.stage in LIVE

    @property
    def waits_on_the_road(self) -> bool:
        """Whether mother and baby have left the post and no vehicle carries them now."""
        return self.is_live and self.left_post_at is not None and self.stage not in ABOARD

    @property
    def is_turned_away(self) -> bool:
        """Whether it stands at the door of a unit to which it does not go (any more)."""
        here = self.stands_at_id if self.stage == TransferStage.ARRIVED.value else None
        return here is not None and here != self.destination_id

    def boarded_at(self) -> datetime | None:
        """Since when the baby has been in the vehicle it has now, on whichever stretch."""
        boarded = self.milestones.filter(
            assignment=self.assignment,
            kind=TransferStage.ON_THE_ROAD.value,
            applied=True,
            withdrawn_at=None,
        )
        return boarded.aggregate(first=models.Min("reached_at"))["first"]

    def entrance(self) -> str:
        """The entrance named with the acceptance, else the usual one of the destination."""
        accepted = self.referral.accepted_offer()
        if accepted and accepted.unit_id == self.destination_id and accepted.entrance:
            return accepted.entrance
        return self.destination.entrance if self.destination else ""

    def track(self) -> "models.QuerySet[Position]":
        """Where the vehicle that is assigned now has been; another one's positions do not count."""
        return self.positions.filter(assignment=self.assignment)

    def standing_meeting(self) -> "Meeting | None":
        """The meeting that is agreed on, with the baby still in the first vehicle."""
        if not self.is_live:
            return None
        rows = self.meetings.standing().select_related("vehicle__base", "vehicle__driver", "site")
        return rows.first()

    def moved_at_meeting(self) -> "Meeting | None":
        """The meeting at which mother and baby came into the vehicle they are in now."""
        rows = self.meetings.filter(assignment=self.assignment, moved_at__isnull=False)
        return rows.select_related("site", "first_vehicle").first()

    def standing_milestones(self) -> "models.QuerySet[Milestone]":
        """What counts of the vehicle assigned now, on its last stretch: in time, not withdrawn."""
        return self.milestones.filter(
            assignment=self.assignment, stretch=self.stretch, applied=True, withdrawn_at=None
        )

    def last_milestone(self) -> "Milestone | None":
        """The furthest one that stands, on which the stage rests."""
        order = [stage.value for stage in MILESTONES]
        rows = self.standing_milestones()
        return max(rows, key=lambda row: order.index(row.kind), default=None)


class Milestone(models.Model):
    """What a driver reported, in whatever order it came; not ``applied`` if it came too late.

    One pressed by mistake is ``withdrawn`` and stays in sight; it can be reported again.
    """

    transfer = models.ForeignKey(Transfer, on_delete=models.PROTECT, related_name="milestones")
    assignment = models.PositiveSmallIntegerField()
    stretch = models.PositiveSmallIntegerField(default=1)
    kind = models.CharField(max_length=12)
    reached_at = models.DateTimeField(help_text="Corrected time.")
    received_at = models.DateTimeField()
    reported_by = models.CharField(max_length=150)
    applied = models.BooleanField(default=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.CharField(max_length=150, blank=True)
    at_unit = models.ForeignKey(
        Unit,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        help_text="Where it arrived: the destination at that time.",
    )

    class Meta:
        ordering = ["reached_at", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["transfer", "assignment", "stretch", "kind"],
                condition=models.Q(withdrawn_at=None),
                name="one_milestone_of_a_kind",
            ),
            models.CheckConstraint(
                name="milestone_kind_known",
                condition=models.Q(kind__in=[stage.value for stage in MILESTONES]),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} at {self.reached_at:%H:%M}"


class Position(models.Model):
    """Where a vehicle was, as its phone told it. ``key`` is made on the phone.

    ``assignment`` says which of the journey's vehicles it was.
    """

    transfer = models.ForeignKey(Transfer, on_delete=models.PROTECT, related_name="positions")
    assignment = models.PositiveSmallIntegerField(default=0)
    key = models.CharField(max_length=64)
    recorded_at = models.DateTimeField(help_text="Corrected time.")
    received_at = models.DateTimeField()
    latitude = models.FloatField()
    longitude = models.FloatField()
    accuracy_m = models.FloatField(null=True, blank=True)

    class Meta:
        indexes = [models.Index(fields=["transfer", "recorded_at"])]
        constraints = [
            models.UniqueConstraint(fields=["transfer", "key"], name="one_position_per_key")
        ]

    def __str__(self) -> str:
        return f"{self.latitude:.4f}, {self.longitude:.4f} at {self.recorded_at:%H:%M}"


class CheckQuerySet(ToldQuerySet["Check"]):
    """Checks as the desk asks for them."""

    def seen(self) -> "CheckQuerySet":
        """Those for which somebody looked; a stop told by the driver stands among the checks."""
        return self.exclude(observation=None, oxygen_bar=None, oxygen_psi=None)


class Check(Told):
    """One check on the way: the short set for one baby, and what the gauge shows."""

    transfer = models.ForeignKey(Transfer, on_delete=models.PROTECT, related_name="checks")
    baby = models.ForeignKey(Baby, on_delete=models.PROTECT)
    # Two checks share one reading when only the gauge or the stop was corrected.
    observation = models.ForeignKey(
        Observation, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    more = models.ManyToManyField(
        Observation, blank=True, related_name="+", help_text="Answers that joined it later."
    )
    checked_at = models.DateTimeField()
    checked_by = models.CharField(max_length=150)
    recorded_at = models.DateTimeField(null=True, blank=True)
    oxygen_bar = models.FloatField(null=True, blank=True)
    oxygen_psi = models.FloatField(null=True, blank=True)
    stopped_because = models.ForeignKey(
        PrivateText, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )
    cylinder = models.ForeignKey(
        Cylinder, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )
    shown_before = models.FloatField(
        null=True, blank=True, help_text="What was known of the cylinder before this check."
    )
    read_before = models.DateTimeField(null=True, blank=True)

    objects = CheckQuerySet.as_manager()

    class Meta:
        ordering = ["checked_at", "id"]

    def __str__(self) -> str:
        return f"check of {self.baby.code} at {self.checked_at:%H:%M}"

    def readings(self) -> list[Observation]:
        """What was seen of the baby, as it stands: each may have been corrected by itself."""
        rows = [*([self.observation] if self.observation else []), *self.more.all()]
        return [newest for row in rows if not (newest := _newest(row)).withdrawn_at]

    def gauges(self) -> dict[str, float]:
        """What the gauge showed, by the name of its field."""
        told = {"oxygen_bar": self.oxygen_bar, "oxygen_psi": self.oxygen_psi}
        return {name: pressure for name, pressure in told.items() if pressure is not None}

    def facts(self) -> dict[str, Any]:
        """Everything that was seen, the newest of each."""
        return {name: value for row in self.readings() for name, value in row.facts().items()}


def _newest(row: Observation) -> Observation:
    later = row.correction()
    return _newest(later) if later else row


class BandReading(Withdrawable):
    """The code on a baby's band was read before leaving, and it was this baby's."""

    transfer = models.ForeignKey(Transfer, on_delete=models.PROTECT, related_name="band_readings")
    baby = models.ForeignKey(Baby, on_delete=models.PROTECT, related_name="band_readings")
    read_at = models.DateTimeField()
    read_by = models.CharField(max_length=150)

    objects = WithdrawableQuerySet.as_manager()

    class Meta:
        ordering = ["read_at", "id"]

    def __str__(self) -> str:
        return f"band of {self.baby.code} at {self.read_at:%H:%M}"


class Handover(models.Model):
    """The handover of one baby, confirmed by the one who gives and the one who receives."""

    transfer = models.ForeignKey(Transfer, on_delete=models.PROTECT, related_name="handovers")
    baby = models.OneToOneField(Baby, on_delete=models.PROTECT, related_name="handover")
    given_by = models.CharField(max_length=150, blank=True)
    given_at = models.DateTimeField(null=True, blank=True)
    received_by = models.CharField(max_length=150, blank=True)
    received_at = models.DateTimeField(null=True, blank=True)
    given_band_checked = models.BooleanField(default=False)
    received_band_checked = models.BooleanField(default=False)
    condition = models.CharField(max_length=24, blank=True)
    temperature_c = models.FloatField(null=True, blank=True)
    disagreement = models.ForeignKey(
        PrivateText, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )

    def __str__(self) -> str:
        return f"handover of {self.baby.code}"

    @property
    def is_signed(self) -> bool:
        """Whether both sides have confirmed."""
        return self.given_at is not None and self.received_at is not None

    @property
    def band_checked(self) -> bool:
        """Whether both sides have read the band."""
        return self.given_band_checked and self.received_band_checked
