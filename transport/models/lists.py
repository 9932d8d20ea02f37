"""Checklists: versioned templates, who answered what and when, and leaving all the same."""

from django.db import models

from referrals.models import District, PrivateText, Site
from transport.models.transfers import Transfer

MOMENTS = ("birth", "departure", "preparation")
"""When a list is gone through: before any birth at a post, before leaving it, at the unit."""


class ChecklistTemplate(models.Model):
    """A list of things to see to, versioned; answers keep the version they answered.

    Items are data: ``code``, ``words``, ``source``, ``must``, and where they apply ``group`` and
    ``needs`` (the capability that asks for it). A template with a district is that district's own
    and comes before the shipped one of the same moment.
    """

    code = models.SlugField(max_length=40)
    version = models.PositiveSmallIntegerField(default=1)
    district = models.ForeignKey(
        District, on_delete=models.PROTECT, null=True, blank=True, related_name="checklists"
    )
    title = models.CharField(max_length=120)
    when = models.CharField(max_length=20, help_text="birth, departure or preparation")
    items = models.JSONField(default=list)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["code", "version"], name="one_template_per_version")
        ]

    def __str__(self) -> str:
        return f"{self.title}, version {self.version}"


class ChecklistAnswer(models.Model):
    """What somebody answered to one item; a later answer is another row.

    Before a birth there is no journey yet: the answer then belongs to the post.
    """

    transfer = models.ForeignKey(
        Transfer, on_delete=models.PROTECT, null=True, blank=True, related_name="answers"
    )
    site = models.ForeignKey(
        Site, on_delete=models.PROTECT, null=True, blank=True, related_name="answers"
    )
    template = models.ForeignKey(ChecklistTemplate, on_delete=models.PROTECT)
    item = models.CharField(max_length=60)
    answer = models.CharField(max_length=20)
    note = models.ForeignKey(
        PrivateText, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )
    answered_by = models.CharField(max_length=150)
    answered_at = models.DateTimeField()

    class Meta:
        ordering = ["answered_at", "id"]
        constraints = [
            models.CheckConstraint(
                name="answer_of_journey_or_post",
                condition=models.Q(transfer__isnull=False, site__isnull=True)
                | models.Q(transfer__isnull=True, site__isnull=False),
            )
        ]

    def __str__(self) -> str:
        return f"{self.item}: {self.answer}"


class LeftAllTheSame(models.Model):
    """They leave with items of a list open, and why: an emergency never waits for a form."""

    transfer = models.ForeignKey(Transfer, on_delete=models.PROTECT, related_name="left_with")
    template = models.ForeignKey(ChecklistTemplate, on_delete=models.PROTECT)
    items = models.JSONField(default=list, help_text="Codes of what was open then.")
    reason = models.ForeignKey(
        PrivateText, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )
    said_by = models.CharField(max_length=150)
    said_at = models.DateTimeField()

    class Meta:
        ordering = ["said_at", "id"]
        verbose_name_plural = "left all the same"

    def __str__(self) -> str:
        return f"{self.transfer}: {len(self.items)} open"
