"""Who must be told what, by when; every attempt; and the watch over the sweep itself."""

from datetime import datetime

from django.db import models

from referrals.models.referral import Offer, Referral
from referrals.models.sites import District, Unit


class AlertQuerySet(models.QuerySet["Alert"]):
    """Alerts as the sweep and the desk ask for them."""

    def open(self) -> "AlertQuerySet":
        """Those nobody has answered and that still matter."""
        return self.filter(acknowledged_at__isnull=True, closed_at__isnull=True)

    def unsettled(self) -> "AlertQuerySet":
        """Those whose cause still stands, taken by somebody or not."""
        return self.filter(closed_at__isnull=True)

    def due(self, now: datetime) -> "AlertQuerySet":
        """Open ones whose next step has come."""
        return self.open().filter(due_at__lte=now).order_by("due_at")


class Alert(models.Model):
    """Something a person must know, as a row with a deadline, written with its cause.

    ``plan`` is frozen when the alert is raised: a list of steps, each with the minutes after the
    raise, the contacts to reach, and whether the next unit is asked. ``key`` makes raising
    repeatable: the same cause never raises a second alert.
    """

    key = models.CharField(max_length=160, unique=True)
    kind = models.CharField(max_length=40)
    district = models.ForeignKey(District, on_delete=models.PROTECT)
    referral = models.ForeignKey(
        Referral, on_delete=models.PROTECT, null=True, blank=True, related_name="alerts"
    )
    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, null=True, blank=True)
    offer = models.ForeignKey(
        Offer, on_delete=models.PROTECT, null=True, blank=True, related_name="alerts"
    )
    sentence = models.CharField(max_length=400)
    message = models.CharField(max_length=400)
    # The message by language, in those that are offered beside the record's own.
    other_languages = models.JSONField(default=dict, blank=True)
    path = models.CharField(max_length=200, blank=True)
    urgency = models.CharField(max_length=12)
    needs_answer = models.BooleanField(default=True)
    for_desk = models.BooleanField(default=False)
    plan = models.JSONField(default=list)
    step = models.PositiveSmallIntegerField(default=0)
    round = models.PositiveSmallIntegerField(default=0)
    raised_at = models.DateTimeField()
    due_at = models.DateTimeField(null=True, blank=True)
    acknowledged_at = models.DateTimeField(null=True, blank=True)
    acknowledged_by = models.CharField(max_length=150, blank=True)
    acknowledged_channel = models.CharField(max_length=12, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_reason = models.CharField(max_length=120, blank=True)

    objects = AlertQuerySet.as_manager()

    class Meta:
        indexes = [
            models.Index(
                fields=["due_at"],
                name="alert_due",
                condition=models.Q(acknowledged_at__isnull=True, closed_at__isnull=True),
            ),
        ]

    def __str__(self) -> str:
        return self.sentence

    @property
    def is_open(self) -> bool:
        """Whether somebody still has to answer it."""
        return self.acknowledged_at is None and self.closed_at is None

    def message_in(self, language: str) -> str:
        """The message in a person's language, where it was told in that one."""
        return self.other_languages.get(language, self.message)


class Delivery(models.Model):
    """One message to one contact at one step of an alert: first the row, then the sending.

    ``queued`` waits for its turn, ``accepted`` means the gateway took it, ``delivered`` that the
    handset has it; neither says that a person has read it. ``refused`` will never work on this
    channel.
    """

    alert = models.ForeignKey(Alert, on_delete=models.PROTECT, related_name="deliveries")
    step = models.PositiveSmallIntegerField()
    round = models.PositiveSmallIntegerField(default=0)
    contact_name = models.CharField(max_length=150)
    username = models.CharField(max_length=150, blank=True)
    channel = models.CharField(max_length=12)
    address = models.CharField(max_length=200, blank=True)
    message = models.TextField()
    state = models.CharField(max_length=12, default="queued")
    created_at = models.DateTimeField()
    due_at = models.DateTimeField(null=True, blank=True)
    lease_until = models.DateTimeField(null=True, blank=True)
    tries = models.PositiveSmallIntegerField(default=0)
    accepted_at = models.DateTimeField(null=True, blank=True)
    delivered_at = models.DateTimeField(null=True, blank=True)
    provider_id = models.CharField(max_length=120, blank=True)
    reported_state = models.CharField(
        max_length=12, blank=True, help_text="The gateway's last report: queued, sent and so on."
    )
    reported_at = models.DateTimeField(null=True, blank=True)
    error = models.CharField(max_length=300, blank=True)

    class Meta:
        verbose_name_plural = "deliveries"
        indexes = [
            models.Index(
                fields=["due_at"], name="delivery_due", condition=models.Q(state="queued")
            ),
            models.Index(fields=["provider_id"]),
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["alert", "step", "round", "channel", "address"],
                name="one_delivery_per_step_and_contact",
            ),
            models.CheckConstraint(
                name="delivery_state_known",
                condition=models.Q(
                    state__in=["queued", "accepted", "delivered", "refused", "dropped"]
                ),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.channel} to {self.contact_name}: {self.state}"


class SweepRun(models.Model):
    """When each sweeper last finished; read by code that is not the sweep."""

    name = models.CharField(max_length=60, unique=True)
    finished_at = models.DateTimeField()
    seconds = models.FloatField(default=0)
    problem = models.CharField(max_length=300, blank=True)

    def __str__(self) -> str:
        return f"{self.name} at {self.finished_at:%H:%M:%S}"
