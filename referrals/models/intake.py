"""What devices sent: the answer each request got, and what could not be understood."""

from django.db import models

from referrals.models.referral import Referral


class DeviceRequest(models.Model):
    """One request of a person's device under its idempotency key, and the answer it got.

    Kept for ever: a phone can be off for weeks and then send again.
    """

    caller = models.CharField(max_length=170)
    key = models.CharField(max_length=200)
    fingerprint = models.CharField(max_length=64)
    method = models.CharField(max_length=8)
    path = models.CharField(max_length=300)
    received_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True, blank=True)
    status = models.PositiveSmallIntegerField(null=True, blank=True)
    answer = models.JSONField(null=True, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["caller", "key"], name="one_answer_per_key")]

    def __str__(self) -> str:
        return f"{self.caller} {self.key}"


class KeptInput(models.Model):
    """Something that was sent and could not be used as it was; a person looks at it."""

    received_at = models.DateTimeField()
    channel = models.CharField(max_length=12)
    caller = models.CharField(max_length=170, blank=True)
    path = models.CharField(max_length=300, blank=True)
    body = models.TextField(blank=True)
    problem = models.CharField(max_length=400)
    dealt_with_at = models.DateTimeField(null=True, blank=True)
    dealt_with_by = models.CharField(max_length=150, blank=True)

    def __str__(self) -> str:
        return f"{self.received_at:%Y-%m-%d %H:%M} {self.problem}"


class InboundMessage(models.Model):
    """One SMS or missed call as the gateway handed it over, stored before anything is done with it.

    ``sender`` is the number in international form where it is one, else as it came. Whose number it
    is, is a claim: a sender can be forged. ``finished_at`` is empty until it has been acted on.
    """

    kind = models.CharField(max_length=12)
    gateway_id = models.CharField(max_length=200)
    sender = models.CharField(max_length=40)
    text = models.TextField(blank=True)
    sent_at = models.DateTimeField(null=True, blank=True, help_text="By the gateway's clock.")
    received_at = models.DateTimeField()
    referral = models.ForeignKey(
        Referral, on_delete=models.PROTECT, null=True, blank=True, related_name="inbound"
    )
    became = models.CharField(max_length=12, blank=True)
    kept = models.OneToOneField(KeptInput, on_delete=models.PROTECT, null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        indexes = [
            models.Index(
                fields=["received_at"],
                name="inbound_waiting",
                condition=models.Q(finished_at__isnull=True),
            ),
            models.Index(fields=["sender", "received_at"]),
        ]
        constraints = [
            models.UniqueConstraint(fields=["kind", "gateway_id"], name="one_row_per_gateway_id"),
            models.CheckConstraint(
                name="inbound_kind_known", condition=models.Q(kind__in=["sms", "missed_call"])
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} from {self.sender} at {self.received_at:%Y-%m-%d %H:%M}"
