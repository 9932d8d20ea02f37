"""What the invented phones of the demo have received, and how the invented gateway behaves."""

from django.db import models


class Behaviour(models.TextChoices):
    """How the gateway answers the service."""

    WORKS = "works", "works"
    REFUSES = "refuses", "refuses every message"
    LOSES = "loses", "takes messages that never arrive, and reports it"
    HANGS = "hangs", "hangs until the sender gives up"
    DOWN = "down", "is down"


class PhoneMessage(models.Model):
    """One SMS, voice call or mail as it came to a phone. ``gateway_id`` is the sender's own.

    What the phone's owner ``wrote`` or ``rang`` stands among them, with the service's answer.
    """

    to = models.CharField(max_length=40, db_index=True)
    kind = models.CharField(max_length=8)
    text = models.TextField()
    gateway_id = models.CharField(max_length=200, unique=True)
    received_at = models.DateTimeField()
    read_at = models.DateTimeField(null=True, blank=True)
    answer = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering = ["-received_at", "-id"]
        constraints = [
            models.CheckConstraint(
                name="phone_message_kind_known",
                condition=models.Q(kind__in=["sms", "voice", "mail", "wrote", "rang"]),
            )
        ]

    def __str__(self) -> str:
        return f"{self.kind} to {self.to}: {self.text}"


class Gateway(models.Model):
    """The one row that says how the gateway behaves now."""

    behaviour = models.CharField(
        max_length=8, choices=Behaviour.choices, default=Behaviour.WORKS.value
    )

    def __str__(self) -> str:
        return f"the gateway {self.get_behaviour_display()}"
