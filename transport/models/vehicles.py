"""Vehicles and the oxygen they carry."""

from django.db import models
from phonenumber_field.modelfields import PhoneNumberField

from referrals.models.sites import District, Site, known_capabilities

VEHICLE_STATES = ["free", "busy", "returning", "out_of_service"]


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
    latitude = models.FloatField(null=True, blank=True)
    longitude = models.FloatField(null=True, blank=True)
    seen_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="vehicle_state_known", condition=models.Q(state__in=VEHICLE_STATES)
            )
        ]

    def __str__(self) -> str:
        return self.name

    def who_drives(self) -> tuple[str, str]:
        """Name and number of the driver, from the account where there is one."""
        if self.driver:
            return str(self.driver), self.driver.phone.as_e164 if self.driver.phone else ""
        return self.driver_name, self.driver_phone.as_e164 if self.driver_phone else ""


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
    read_at = models.DateTimeField(null=True, blank=True)

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
