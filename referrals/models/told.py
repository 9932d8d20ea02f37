"""What a person told may be wrong: it is corrected by another row or withdrawn, never erased."""

from datetime import datetime
from typing import Self, TypeVar

from django.db import models

from referrals.models.referral import PrivateText

M = TypeVar("M", bound=models.Model)


class WithdrawableQuerySet(models.QuerySet[M]):
    """Rows of which some may have been taken back."""

    def standing(self) -> Self:
        """Those that count."""
        return self.filter(withdrawn_at=None)


class ToldQuerySet(models.QuerySet[M]):
    """Rows of which some may have been corrected or taken back."""

    def standing(self) -> Self:
        """Those that count: the newest of each correction, and not withdrawn."""
        return self.filter(corrected_by=None, withdrawn_at=None)

    def newest(self) -> Self:
        """Those that people read: not replaced by a correction; withdrawn ones are marked."""
        return self.filter(corrected_by=None)


class Withdrawable(models.Model):
    """Something told that can be taken back with a reason; it stays in sight."""

    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.CharField(max_length=150, blank=True)
    withdrawn_why = models.ForeignKey(
        PrivateText, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )

    class Meta:
        abstract = True

    def take_back(self, by: str, at: datetime, why: PrivateText) -> None:
        """Mark it as withdrawn; the verb that calls this appends the Entry."""
        self.withdrawn_at, self.withdrawn_by, self.withdrawn_why = at, by, why
        self.save(update_fields=["withdrawn_at", "withdrawn_by", "withdrawn_why"])


class Told(Withdrawable):
    """Something told that can also be corrected: by another row that names the one it corrects."""

    corrects = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="corrected_by"
    )

    class Meta:
        abstract = True

    def correction(self) -> Self | None:
        """The row that corrects this one, if there is one."""
        return type(self)._default_manager.filter(corrects=self.pk).first()
