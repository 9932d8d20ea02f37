"""People and what they may do where."""

from django.contrib.auth.models import AbstractUser
from django.db import models
from phonenumber_field.modelfields import PhoneNumberField

from referrals.calc.terms import Role


class Staff(AbstractUser):
    """A person who signs in: attendant, nurse, doctor, driver, desk officer, district lead."""

    display_name = models.CharField(max_length=120)
    phone = PhoneNumberField(blank=True)
    language = models.CharField(max_length=12, blank=True, default="")

    class Meta:
        verbose_name_plural = "staff"

    def __str__(self) -> str:
        return self.display_name or self.username


class StaffRole(models.Model):
    """What a person does at one place: a site, a unit, or the whole district."""

    staff = models.ForeignKey(Staff, on_delete=models.CASCADE, related_name="roles")
    role = models.CharField(max_length=20)
    district = models.ForeignKey("District", on_delete=models.CASCADE)
    site = models.ForeignKey("Site", on_delete=models.CASCADE, null=True, blank=True)
    unit = models.ForeignKey("Unit", on_delete=models.CASCADE, null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="staff_role_known", condition=models.Q(role__in=[role.value for role in Role])
            ),
            models.CheckConstraint(
                name="attendant_has_site",
                condition=~models.Q(role=Role.ATTENDANT.value) | models.Q(site__isnull=False),
            ),
            models.CheckConstraint(
                name="unit_role_has_unit",
                condition=~models.Q(role=Role.UNIT.value) | models.Q(unit__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.staff}: {self.role} at {self.unit or self.site or self.district}"
