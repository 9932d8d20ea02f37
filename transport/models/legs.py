"""A ferry or boat leg as the district states it: it joins two road parts of a journey."""

from datetime import time

from django.core.exceptions import ValidationError
from django.db import models
from django.utils.translation import gettext_lazy as _

from referrals.calc.terms import VehicleKind
from referrals.models import District, Site

KINDS = [kind.value for kind in VehicleKind]


def known_kinds(value: object) -> None:
    """At least one kind of vehicle, each by its known word."""
    if not isinstance(value, list) or not value or not set(value) <= set(KINDS):
        raise ValidationError(_("Name at least one of: %(kinds)s") % {"kinds": ", ".join(KINDS)})


class LegQuerySet(models.QuerySet["Leg"]):
    """Legs as the estimates ask for them."""

    def running(self) -> "LegQuerySet":
        """Those that the district has not stopped."""
        return self.filter(stopped_at=None)


class Leg(models.Model):
    """From one landing to another, one way; without hours it runs at any time.

    ``kinds`` are the vehicles whose journey can include it: those it takes aboard, or ``boat`` for
    one that takes people alone. ``stopped_at``: the district says that it runs no more.
    """

    district = models.ForeignKey(District, on_delete=models.PROTECT, related_name="legs")
    name = models.CharField(max_length=120)
    origin = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="+")
    destination = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="+")
    median_minutes = models.FloatField(help_text="The crossing itself, in one of two cases.")
    p90_minutes = models.FloatField(help_text="Not exceeded in nine of ten crossings.")
    waiting_minutes = models.FloatField(
        default=0, help_text="To plan with, from reaching the landing to leaving it."
    )
    runs_from = models.TimeField(null=True, blank=True, help_text="In the district's zone.")
    runs_until = models.TimeField(null=True, blank=True)
    kinds = models.JSONField(default=list, validators=[known_kinds])
    entered_by = models.CharField(max_length=150, blank=True)
    stopped_at = models.DateTimeField(null=True, blank=True)
    stopped_by = models.CharField(max_length=150, blank=True)

    objects = LegQuerySet.as_manager()

    class Meta:
        ordering = ["name", "id"]
        constraints = [
            models.CheckConstraint(
                name="leg_has_two_landings",
                condition=~models.Q(origin=models.F("destination")),
                violation_error_message=_("Name two different landings."),
            ),
            models.CheckConstraint(
                name="leg_minutes_possible",
                condition=models.Q(
                    median_minutes__gt=0,
                    p90_minutes__gte=models.F("median_minutes"),
                    p90_minutes__lte=models.F("median_minutes") * 20,
                    waiting_minutes__gte=0,
                    waiting_minutes__lt=1440,
                ),
                violation_error_message=_(
                    "The crossing takes more than 0 min; nine of ten take at least as long as one "
                    "of two, and at most 20 times that; the wait is from 0 to below a day."
                ),
            ),
            models.CheckConstraint(
                name="leg_hours_both_or_none",
                condition=models.Q(runs_from=None, runs_until=None)
                | models.Q(runs_from__isnull=False, runs_until__isnull=False),
                violation_error_message=_("Say from when until when it runs, or neither."),
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def hours(self) -> tuple[time, time] | None:
        """From when until when it runs; nothing: at any time."""
        if self.runs_from is None or self.runs_until is None:
            return None
        return self.runs_from, self.runs_until
