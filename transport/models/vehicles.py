"""Vehicles and the oxygen they carry."""

from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils.translation import gettext as _
from phonenumber_field.modelfields import PhoneNumberField

from referrals.models.sites import District, Site, known_capabilities
from transport.calc.vehicle_costs import Fixing

VEHICLE_STATES = ["free", "busy", "returning", "out_of_service"]
READY_STEPS = ("escort_home", "filled", "clean")
"""What must be done before a vehicle that comes back is free again."""
FIXINGS = [fixing.value for fixing in Fixing]


def known_fixings(value: Any) -> None:
    """Refuse a fixing that no rule knows."""
    if not isinstance(value, list) or not set(value) <= set(FIXINGS):
        raise ValidationError(_("must be a list of: %s") % ", ".join(FIXINGS))


class Vehicle(models.Model):
    """A vehicle of the district, or one that somebody found by phone.

    After a journey it is ``returning`` until the escort is home, the cylinders are filled and it
    is clean; only then ``free`` again.
    """

    district = models.ForeignKey(District, on_delete=models.PROTECT, related_name="vehicles")
    code = models.SlugField(max_length=30, unique=True)
    name = models.CharField(max_length=120)
    kind = models.CharField(max_length=16)
    base = models.ForeignKey(Site, on_delete=models.PROTECT, null=True, blank=True)
    capabilities = models.JSONField(default=list, blank=True, validators=[known_capabilities])
    driver = models.ForeignKey(
        "referrals.Staff", on_delete=models.SET_NULL, null=True, blank=True, related_name="vehicles"
    )
    driver_name = models.CharField(max_length=120, blank=True)
    driver_phone = PhoneNumberField(blank=True)
    state = models.CharField(max_length=16, default="free")
    registered = models.BooleanField(default=True)
    owner = models.CharField(max_length=120, blank=True)
    fuel = models.CharField(max_length=120, blank=True)
    who_pays = models.CharField(max_length=120, blank=True)
    fixings = models.JSONField(
        null=True,
        blank=True,
        validators=[known_fixings],
        help_text=(
            "What is built in for those who lie in it: mother_lies, cot_fixed. An empty list says "
            "that there is none; nothing at all, that nobody has said."
        ),
    )
    range_km = models.FloatField(
        null=True,
        blank=True,
        validators=[MinValueValidator(0), MaxValueValidator(3000)],
        help_text="How far the fuel aboard reaches; empty where nobody has said.",
    )
    latitude = models.FloatField(null=True, blank=True)
    longitude = models.FloatField(null=True, blank=True)
    seen_at = models.DateTimeField(null=True, blank=True)
    escort_home_at = models.DateTimeField(null=True, blank=True)
    filled_at = models.DateTimeField(null=True, blank=True)
    clean_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="vehicle_state_known", condition=models.Q(state__in=VEHICLE_STATES)
            )
        ]

    def __str__(self) -> str:
        return self.name

    def oxygen_words(self) -> str:
        """The oxygen aboard as it was told."""
        aboard = sorted(self.cylinders.all(), key=lambda cylinder: cylinder.label)
        told = [cylinder.contents() for cylinder in aboard]
        return ", ".join(told) or _("no oxygen cylinder written down")

    def steps_done(self) -> dict[str, datetime | None]:
        """Each step toward being ready again, and when it was done."""
        return {step: getattr(self, f"{step}_at") for step in READY_STEPS}

    def who_drives(self) -> tuple[str, str]:
        """Name and number of the driver, from the account where there is one."""
        if self.driver:
            return str(self.driver), self.driver.phone.as_e164 if self.driver.phone else ""
        return self.driver_name, self.driver_phone.as_e164 if self.driver_phone else ""


class CrewShift(models.Model):
    """When a vehicle has a crew, in a week that repeats, on the district's clock.

    A shift that ends at or before its start ends the next day. A vehicle without any always has
    one.
    """

    vehicle = models.ForeignKey(Vehicle, on_delete=models.CASCADE, related_name="crew_shifts")
    weekday = models.PositiveSmallIntegerField(
        validators=[MaxValueValidator(6)], help_text="0 is Monday, 6 is Sunday."
    )
    starts = models.TimeField()
    ends = models.TimeField()

    class Meta:
        ordering = ["weekday", "starts", "id"]
        constraints = [
            models.CheckConstraint(
                name="crew_shift_on_a_weekday",
                condition=models.Q(weekday__gte=0, weekday__lte=6),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.vehicle}: {self.weekday} {self.starts:%H:%M} to {self.ends:%H:%M}"


class Cylinder(models.Model):
    """An oxygen cylinder: by water capacity and bar, or by US letter and psi."""

    district = models.ForeignKey(District, on_delete=models.PROTECT)
    label = models.CharField(max_length=40)
    vehicle = models.ForeignKey(
        Vehicle, on_delete=models.SET_NULL, null=True, blank=True, related_name="cylinders"
    )
    site = models.ForeignKey(Site, on_delete=models.SET_NULL, null=True, blank=True)
    water_litres = models.FloatField(null=True, blank=True)
    bar = models.FloatField(null=True, blank=True)
    us_size = models.CharField(max_length=2, blank=True)
    psi = models.FloatField(null=True, blank=True)
    full_bar = models.FloatField(
        null=True, blank=True, help_text="What the gauge shows when it is full, where known."
    )
    full_psi = models.FloatField(null=True, blank=True)
    read_at = models.DateTimeField(null=True, blank=True)
    read_by = models.CharField(max_length=150, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="cylinder_metric_or_us",
                condition=models.Q(water_litres__isnull=False, bar__isnull=False, us_size="")
                | (models.Q(water_litres__isnull=True, psi__isnull=False) & ~models.Q(us_size="")),
            )
        ]

    def __str__(self) -> str:
        return self.label

    @property
    def gauge(self) -> str:
        """The field that holds what its gauge shows: ``bar``, or ``psi`` for a US size."""
        return "psi" if self.us_size else "bar"

    @property
    def shows(self) -> float:
        """What its gauge showed last."""
        return (self.psi if self.us_size else self.bar) or 0.0

    @property
    def full(self) -> float | None:
        """What its gauge shows when it is full; nothing where nobody has written it down."""
        return self.full_psi if self.us_size else self.full_bar

    def read(self, pressure: float, at: datetime | None, by: str) -> None:
        """Store a reading in its own unit."""
        setattr(self, self.gauge, pressure)
        self.read_at, self.read_by = at, by
        self.save(update_fields=[self.gauge, "read_at", "read_by"])

    def contents(self) -> str:
        """Size and gauge as they are read off."""
        if self.us_size:
            return _("size %(size)s at %(psi)g psi") % {"size": self.us_size, "psi": self.psi}
        return _("%(litres)g L at %(bar)g bar") % {"litres": self.water_litres, "bar": self.bar}
