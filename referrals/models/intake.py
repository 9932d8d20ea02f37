"""What devices sent: the answer each request got, and what could not be understood."""

from django.db import models


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
