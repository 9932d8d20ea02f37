"""Published scores as they were taken of a baby: what was found of each item, by whom and when."""

from typing import Any

from django.db import models

from referrals.calc import scores
from referrals.calc.score_tables import score_named
from referrals.calc.scores import ScoreKind
from referrals.models.referral import Baby
from referrals.models.told import Told, ToldQuerySet


class ScoreTaken(Told):
    """One score of one baby at a time.

    ``items`` holds, by item, the ``value`` found, for a number its ``quantity`` (unit), and who
    saw it ``by`` name and ``at`` what time. ``points`` and ``total`` are as they were counted
    then, with the ``limits`` of the district at that time; ``total`` is missing as long as an
    item is. ``help_given`` is whether the baby was being helped to breathe.
    """

    baby = models.ForeignKey(Baby, on_delete=models.PROTECT, related_name="scores")
    kind = models.CharField(max_length=12)
    minute = models.PositiveSmallIntegerField(null=True, blank=True)
    scored_at = models.DateTimeField(help_text="Corrected time.")
    received_at = models.DateTimeField()
    scored_by = models.CharField(max_length=150)
    items = models.JSONField(default=dict)
    points = models.JSONField(default=dict)
    total = models.PositiveSmallIntegerField(null=True, blank=True)
    limits = models.JSONField(default=dict, blank=True)
    help_given = models.BooleanField(null=True, blank=True)

    objects = ToldQuerySet.as_manager()

    class Meta:
        verbose_name_plural = "scores taken"
        ordering = ["scored_at", "id"]
        indexes = [models.Index(fields=["baby", "scored_at"])]
        constraints = [
            models.CheckConstraint(
                name="score_kind_known",
                condition=models.Q(kind__in=[kind.value for kind in ScoreKind]),
            )
        ]

    def __str__(self) -> str:
        return f"{self.baby.code}: {self.kind} at {self.scored_at:%H:%M}"

    def score(self) -> scores.Score:
        """The table by which it was counted."""
        return score_named(ScoreKind(self.kind), self.limits)

    def told(self) -> dict[str, scores.Told]:
        """What was found, as the pure computation takes it."""
        return {
            code: scores.Told(value=found["value"], quantity=found.get("quantity", ""))
            for code, found in self.items.items()
        }

    def counted(self) -> scores.Counted:
        """What it comes to."""
        return scores.count(self.score(), self.told())

    def in_words(self) -> str:
        """One line: what it is, and its total or what is missing."""
        return scores.in_words(
            self.score(), self.counted(), minute=self.minute, assisted=self.help_given
        )

    def facts(self) -> dict[str, Any]:
        """The values found, by item."""
        return {code: found["value"] for code, found in self.items.items()}
