"""What was seen and measured, given and advised; and what care follows from it."""

from typing import Any

from django.db import models

from referrals.models.people import Staff
from referrals.models.referral import Baby, Mother, PrivateText, Referral
from referrals.models.told import Told, ToldQuerySet, Withdrawable, WithdrawableQuerySet

BABY_FACTS = (
    "breathing", "support", "support_since", "chest_moving", "heart_rate", "heart_rate_band",
    "respiratory_rate", "temperature_c", "spo2", "oxygen_flow_l_min", "fio2", "colour",
    "capillary_refill_s", "response", "glucose", "glucose_unit", "convulsions", "weight_g",
    "gestation_weeks",
)  # fmt: skip
MOTHER_FACTS = ("bleeding", "placenta", "systolic_mmhg", "diastolic_mmhg", "consciousness")


class Observation(Told):
    """A reading of one baby at a time; every value may be missing."""

    baby = models.ForeignKey(Baby, on_delete=models.PROTECT, related_name="observations")
    observed_at = models.DateTimeField(help_text="Corrected time.")
    received_at = models.DateTimeField()
    observed_by = models.CharField(max_length=150)
    breathing = models.CharField(max_length=20, blank=True)
    support = models.CharField(max_length=24, blank=True)
    support_since = models.DateTimeField(null=True, blank=True)
    chest_moving = models.BooleanField(null=True, blank=True)
    heart_rate = models.PositiveSmallIntegerField(null=True, blank=True)
    heart_rate_band = models.CharField(max_length=20, blank=True)
    respiratory_rate = models.PositiveSmallIntegerField(null=True, blank=True)
    temperature_c = models.FloatField(null=True, blank=True)
    spo2 = models.PositiveSmallIntegerField(null=True, blank=True)
    oxygen_flow_l_min = models.FloatField(null=True, blank=True)
    fio2 = models.FloatField(null=True, blank=True)
    colour = models.CharField(max_length=24, blank=True)
    capillary_refill_s = models.FloatField(null=True, blank=True)
    response = models.CharField(max_length=12, blank=True)
    glucose = models.FloatField(null=True, blank=True)
    glucose_unit = models.CharField(max_length=8, blank=True)
    convulsions = models.BooleanField(null=True, blank=True)
    weight_g = models.PositiveIntegerField(null=True, blank=True)
    gestation_weeks = models.FloatField(null=True, blank=True)
    note = models.ForeignKey(
        PrivateText, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )

    objects = ToldQuerySet.as_manager()

    class Meta:
        ordering = ["observed_at", "id"]
        indexes = [models.Index(fields=["baby", "observed_at"])]

    def __str__(self) -> str:
        return f"{self.baby.code} at {self.observed_at:%H:%M}"

    def facts(self) -> dict[str, Any]:
        """The values that were told, missing ones left out."""
        values = {name: getattr(self, name) for name in BABY_FACTS}
        return {name: value for name, value in values.items() if value not in (None, "")}


class MotherObservation(Told):
    """A reading of the mother at a time."""

    mother = models.ForeignKey(Mother, on_delete=models.PROTECT, related_name="observations")
    observed_at = models.DateTimeField()
    received_at = models.DateTimeField()
    observed_by = models.CharField(max_length=150)
    bleeding = models.CharField(max_length=16, blank=True)
    placenta = models.CharField(max_length=16, blank=True)
    systolic_mmhg = models.PositiveSmallIntegerField(null=True, blank=True)
    diastolic_mmhg = models.PositiveSmallIntegerField(null=True, blank=True)
    consciousness = models.CharField(max_length=16, blank=True)
    note = models.ForeignKey(
        PrivateText, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )

    objects = ToldQuerySet.as_manager()

    class Meta:
        ordering = ["observed_at", "id"]

    def __str__(self) -> str:
        return f"{self.mother} at {self.observed_at:%H:%M}"

    def facts(self) -> dict[str, Any]:
        """The values that were told, missing ones left out."""
        values = {name: getattr(self, name) for name in MOTHER_FACTS}
        return {name: value for name, value in values.items() if value not in (None, "")}


class TreatmentGiven(Told):
    """What was given, in the words of whoever told it. Recorded as told, never suggested."""

    referral = models.ForeignKey(Referral, on_delete=models.PROTECT, related_name="treatments")
    baby = models.ForeignKey(Baby, on_delete=models.PROTECT, null=True, blank=True)
    told = models.ForeignKey(PrivateText, on_delete=models.PROTECT, related_name="+")
    given_at = models.DateTimeField(null=True, blank=True)
    given_by = models.CharField(max_length=120, blank=True)
    recorded_by = models.CharField(max_length=150)
    recorded_at = models.DateTimeField()

    objects = ToldQuerySet.as_manager()

    class Meta:
        verbose_name_plural = "treatments given"

    def __str__(self) -> str:
        return str(self.told)


class Advice(Told):
    """Advice a named clinician gave, and whether it was read back."""

    referral = models.ForeignKey(Referral, on_delete=models.PROTECT, related_name="advice")
    asked_by = models.CharField(max_length=120, blank=True)
    given_by = models.CharField(max_length=120)
    text = models.ForeignKey(PrivateText, on_delete=models.PROTECT, related_name="+")
    read_back = models.BooleanField(default=False)
    is_decision = models.BooleanField(
        default=False, help_text="It decides what is done, by the name of who decided."
    )
    recorded_by = models.CharField(max_length=150, blank=True)
    recorded_at = models.DateTimeField()

    objects = ToldQuerySet.as_manager()

    class Meta:
        verbose_name_plural = "advice"

    def __str__(self) -> str:
        return f"{self.given_by}: {self.text}"


class ChestTry(Withdrawable):
    """A step tried when the chest did not move with the breaths, and whether it moved then."""

    baby = models.ForeignKey(Baby, on_delete=models.PROTECT, related_name="chest_tries")
    step = models.CharField(max_length=20)
    chest_moves = models.BooleanField()
    observation = models.ForeignKey(
        Observation, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    tried_at = models.DateTimeField(help_text="Corrected time.")
    told_by = models.CharField(max_length=150)
    recorded_at = models.DateTimeField()

    objects = WithdrawableQuerySet.as_manager()

    class Meta:
        ordering = ["tried_at", "id"]
        verbose_name_plural = "chest tries"

    def __str__(self) -> str:
        return f"{self.step} for {self.baby.code} at {self.tried_at:%H:%M}"


class Examination(Withdrawable):
    """The first full examination of one baby after the birth: by whom, when, what was found."""

    baby = models.ForeignKey(Baby, on_delete=models.PROTECT, related_name="examinations")
    examined_at = models.DateTimeField(help_text="Corrected time.")
    examined_by = models.CharField(max_length=150)
    findings = models.ForeignKey(
        PrivateText, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )
    told_by = models.CharField(max_length=150)
    recorded_at = models.DateTimeField()

    objects = WithdrawableQuerySet.as_manager()

    class Meta:
        ordering = ["examined_at", "id"]

    def __str__(self) -> str:
        return f"{self.baby.code} examined at {self.examined_at:%H:%M}"


class Need(models.Model):
    """A care need and the rule that derived it; superseded rows stay for the record."""

    referral = models.ForeignKey(Referral, on_delete=models.PROTECT, related_name="needs")
    baby = models.ForeignKey(Baby, on_delete=models.PROTECT, null=True, blank=True)
    rule = models.CharField(max_length=60)
    words = models.CharField(max_length=300)
    source = models.CharField(max_length=300)
    capabilities = models.JSONField(default=list)
    preferred_capabilities = models.JSONField(default=list)
    urgency = models.CharField(max_length=12)
    limit_minutes = models.FloatField(null=True, blank=True)
    derived_at = models.DateTimeField()
    superseded_at = models.DateTimeField(null=True, blank=True)
    overridden_by = models.CharField(max_length=150, blank=True)
    override_reason = models.CharField(max_length=300, blank=True)

    class Meta:
        indexes = [models.Index(fields=["referral", "superseded_at"])]

    def __str__(self) -> str:
        return self.words


class Outcome(Told):
    """How it went, told back to the attendant who raised the referral."""

    baby = models.ForeignKey(Baby, on_delete=models.PROTECT, related_name="outcomes")
    moment = models.CharField(
        max_length=20, blank=True, help_text="Of when it tells; empty is at any time."
    )
    state = models.CharField(max_length=40)
    words = models.ForeignKey(PrivateText, on_delete=models.PROTECT, related_name="+")
    learn = models.ForeignKey(
        PrivateText,
        on_delete=models.SET_NULL,
        null=True,
        blank=True,
        related_name="+",
        help_text="What to learn from it.",
    )
    told_by = models.CharField(max_length=150)
    told_at = models.DateTimeField()
    read_at = models.DateTimeField(null=True, blank=True)

    objects = ToldQuerySet.as_manager()

    def __str__(self) -> str:
        return f"{self.baby.code}: {self.state}"

    def is_for(self, staff: Staff) -> bool:
        """Whether it is told to this person: who raised, or anybody of the post if nobody did."""
        return self.baby.referral.raised_by_id in (None, staff.pk)
