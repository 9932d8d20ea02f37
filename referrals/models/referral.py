"""One referral: its babies and mother, the units asked, the timeline."""

from datetime import datetime
from typing import Any, NoReturn
from zoneinfo import ZoneInfo

from django.db import models
from django.utils.translation import gettext

from referrals.calc.codes import is_on_band
from referrals.calc.shifts import clock_time_in, last_shift_change
from referrals.calc.states import OfferStage, ReferralStage
from referrals.calc.terms import Ending, Urgency
from referrals.models.sites import Site, Unit
from referrals.models.stages import StageQuerySet


class ReferralQuerySet(StageQuerySet["Referral"]):
    """Referrals as the desk and the sweep ask for them."""

    def open(self) -> "ReferralQuerySet":
        """Those not yet closed."""
        return self.exclude(stage=ReferralStage.CLOSED.value)

    def to_look_at(self, now: datetime) -> "ReferralQuerySet":
        """Those whose next deadline has come, oldest first."""
        return self.filter(next_look_at__lte=now).order_by("next_look_at")


class Referral(models.Model):
    """A call for help for a mother and her newborn, from raise to the last ending.

    ``next_look_at`` is when somebody next owes something; the sweep works from it alone.
    """

    code = models.CharField(max_length=8, unique=True)
    district = models.ForeignKey("District", on_delete=models.PROTECT)
    origin = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="referrals")
    raised_by = models.ForeignKey("Staff", on_delete=models.PROTECT, null=True)
    raised_at = models.DateTimeField()
    caller_name = models.CharField(
        max_length=120, blank=True, help_text="Who called, where that is nobody with an account."
    )
    caller_phone = models.CharField(max_length=20, blank=True)
    responsible = models.ForeignKey(
        "Staff",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        help_text="Who finds a way where no unit and no vehicle can be had.",
    )
    responsible_since = models.DateTimeField(null=True, blank=True)
    stage = models.CharField(max_length=12, default=ReferralStage.RAISED.value)
    urgency = models.CharField(max_length=12, default=Urgency.VENTILATED.value)
    ventilates = models.CharField(max_length=120, blank=True)
    relieves = models.CharField(max_length=120, blank=True)
    reports = models.CharField(max_length=120, blank=True)
    alone = models.BooleanField(null=True, help_text="One pair of hands only.")
    post_seen_at = models.DateTimeField(
        null=True, blank=True, help_text="When the post last fetched a page about it."
    )
    closed_at = models.DateTimeField(null=True, blank=True)
    joined_into = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="joined_from"
    )
    next_look_at = models.DateTimeField(null=True, blank=True)
    head_seq = models.PositiveIntegerField(default=0)
    head_hash = models.CharField(max_length=64, default="0" * 64)

    objects = ReferralQuerySet.as_manager()

    class Meta:
        indexes = [
            models.Index(fields=["next_look_at"]),
            models.Index(fields=["stage", "district"]),
        ]
        constraints = [
            models.CheckConstraint(
                name="referral_stage_known",
                condition=models.Q(stage__in=[stage.value for stage in ReferralStage]),
            ),
        ]

    def __str__(self) -> str:
        return self.code

    @property
    def is_open(self) -> bool:
        """Whether anybody still owes this referral anything on the road."""
        return self.stage != ReferralStage.CLOSED.value

    def who_called(self) -> tuple[str, str]:
        """Name and number of whoever called for help; empty where they are not known."""
        if self.raised_by:
            phone = self.raised_by.phone
            return str(self.raised_by), phone.as_e164 if phone else ""
        return self.caller_name, self.caller_phone

    def accepted_offer(self) -> "Offer | None":
        """The one offer a unit has accepted, if any."""
        return (
            self.offers.filter(stage=OfferStage.ACCEPTED.value).select_related("unit__site").first()
        )


class PrivateText(models.Model):
    """Words that may name a person, kept apart from the timeline so that they can be erased.

    The timeline holds a commitment to the text under ``key``; erasing empties both.
    """

    referral = models.ForeignKey(Referral, on_delete=models.PROTECT, related_name="texts")
    kind = models.CharField(max_length=30)
    text = models.TextField(blank=True)
    key = models.BinaryField(max_length=32)
    erased_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return self.text or gettext("(erased)")


class Baby(models.Model):
    """One newborn of a referral, known by birth order and the code on the written band."""

    referral = models.ForeignKey(Referral, on_delete=models.PROTECT, related_name="babies")
    birth_order = models.PositiveSmallIntegerField(default=1)
    name = models.ForeignKey(
        PrivateText, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )
    sex = models.CharField(max_length=12, blank=True)
    born_at = models.DateTimeField(null=True, blank=True)
    ventilated_since = models.DateTimeField(null=True, blank=True)
    gestation_weeks = models.FloatField(null=True, blank=True)
    weight_g = models.PositiveIntegerField(null=True, blank=True)
    weight_guessed = models.BooleanField(default=False)
    ending = models.CharField(max_length=24, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.CharField(max_length=150, blank=True)

    class Meta:
        ordering = ["birth_order"]
        verbose_name_plural = "babies"
        constraints = [
            models.UniqueConstraint(
                fields=["referral", "birth_order"], name="one_baby_per_birth_order"
            ),
            models.CheckConstraint(
                name="baby_ending_known",
                condition=models.Q(ending__in=["", *[ending.value for ending in Ending]]),
            ),
        ]

    def __str__(self) -> str:
        return self.code

    @property
    def code(self) -> str:
        """What stands on the band: the case code and the birth order."""
        return f"{self.referral.code}-{self.birth_order}"

    def band_is(self, told: str) -> bool:
        """Whether what was read from a band is this baby's."""
        return is_on_band(
            told,
            code=self.referral.code,
            birth_order=self.birth_order,
            only_baby=self.referral.babies.count() == 1,
        )


class Mother(models.Model):
    """The mother, a patient herself."""

    referral = models.OneToOneField(Referral, on_delete=models.PROTECT, related_name="mother")
    name = models.ForeignKey(
        PrivateText, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )
    age_years = models.PositiveSmallIntegerField(null=True, blank=True)
    travels = models.BooleanField(
        null=True, blank=True, help_text="With the baby; taken as yes while nobody has told."
    )

    def __str__(self) -> str:
        return f"mother of {self.referral.code}"


class Offer(models.Model):
    """The question to one unit: can you take this baby?"""

    referral = models.ForeignKey(Referral, on_delete=models.PROTECT, related_name="offers")
    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="offers")
    stage = models.CharField(max_length=12, default=OfferStage.OPEN.value)
    asked_at = models.DateTimeField()
    answered_at = models.DateTimeField(null=True, blank=True)
    answered_by = models.CharField(max_length=150, blank=True)
    decline_reason = models.CharField(max_length=24, blank=True)
    receiver = models.CharField(max_length=120, blank=True)
    entrance = models.CharField(max_length=120, blank=True)
    reconfirmed_at = models.DateTimeField(null=True, blank=True)
    reconfirmed_by = models.CharField(max_length=150, blank=True)
    one_time_code = models.CharField(max_length=8, blank=True)
    shown = models.JSONField(default=dict, help_text="The candidate as it was shown when asked.")

    objects = StageQuerySet["Offer"].as_manager()

    class Meta:
        ordering = ["asked_at", "id"]
        constraints = [
            models.CheckConstraint(
                name="offer_stage_known",
                condition=models.Q(stage__in=[stage.value for stage in OfferStage]),
            ),
            models.UniqueConstraint(
                fields=["referral"],
                condition=models.Q(stage=OfferStage.ACCEPTED.value),
                name="one_accepted_offer",
            ),
            models.UniqueConstraint(
                fields=["referral", "unit"],
                condition=models.Q(stage__in=[OfferStage.OPEN.value, OfferStage.ACCEPTED.value]),
                name="one_live_offer_per_unit",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.referral.code} to {self.unit}"

    def shift_to_confirm(self, now: datetime) -> datetime | None:
        """The unit's last shift change, if it came after the acceptance was last confirmed."""
        if self.stage != OfferStage.ACCEPTED.value or self.answered_at is None:
            return None
        change = last_shift_change(
            [clock_time_in(text) for text in self.unit.shift_changes],
            ZoneInfo(self.referral.district.time_zone),
            now,
        )
        confirmed = max(self.answered_at, self.reconfirmed_at or self.answered_at)
        return change if change and change > confirmed else None


class CotHold(models.Model):
    """Cots kept for babies on the way, taken from the unit's free count when it accepted."""

    offer = models.OneToOneField(Offer, on_delete=models.PROTECT, related_name="hold")
    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="holds")
    cots = models.PositiveSmallIntegerField()
    held_at = models.DateTimeField()
    released_at = models.DateTimeField(null=True, blank=True)
    used_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return f"{self.cots} at {self.unit} for {self.offer.referral.code}"


class NeverChanged(TypeError):
    """Somebody tried to change or delete an Entry."""


class EntryQuerySet(models.QuerySet["Entry"]):
    """Entries can be read and appended, nothing else."""

    def update(self, **values: Any) -> NoReturn:
        """Refused: a correction is a new Entry."""
        raise NeverChanged("an Entry is never changed; append a correction")

    def delete(self) -> NoReturn:
        """Refused: the timeline keeps everything."""
        raise NeverChanged("an Entry is never deleted")


class Entry(models.Model):
    """One line of a referral's timeline. Appended by ``referrals/timeline.py`` alone."""

    referral = models.ForeignKey(Referral, on_delete=models.PROTECT, related_name="entries")
    seq = models.PositiveIntegerField()
    kind = models.CharField(max_length=40)
    actor = models.CharField(max_length=150)
    channel = models.CharField(max_length=12)
    happened_at = models.DateTimeField(help_text="By the device's own clock.")
    received_at = models.DateTimeField(help_text="By the server's clock.")
    corrected_at = models.DateTimeField(help_text="When it most likely was.")
    body = models.JSONField(default=dict)
    previous_hash = models.CharField(max_length=64)
    hash = models.CharField(max_length=64)

    objects = EntryQuerySet.as_manager()

    class Meta:
        ordering = ["referral", "seq"]
        verbose_name_plural = "entries"
        constraints = [
            models.UniqueConstraint(fields=["referral", "seq"], name="one_entry_per_place_in_chain")
        ]

    def __str__(self) -> str:
        return f"{self.referral.code} {self.seq} {self.kind}"
