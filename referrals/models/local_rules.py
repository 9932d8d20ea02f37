"""What a district made its own: tables adopted by a named person, and need rules it changed."""

from typing import Any

from django.core.exceptions import ValidationError
from django.db import models
from django.utils.translation import gettext as _

from referrals.calc import needs
from referrals.calc.need_conditions import NeedRule
from referrals.calc.terms import Capability, Urgency
from referrals.calc.tightening import RuleChange, faults_of, loosened_by
from referrals.models.sites import District, known_capabilities

SHIPPED_RULES: dict[str, NeedRule[Any]] = {
    **{rule.code: rule for rule in needs.RULES},
    **{rule.code: rule for rule in needs.MOTHER_RULES},
}


class Adoption(models.Model):
    """A district takes a version of a table as its own: by whom, in which role, on which day.

    A later row for the same table takes the place of an earlier one. A table whose values changed
    since has another version, and is not adopted until somebody looks at it again.
    """

    district = models.ForeignKey(District, on_delete=models.CASCADE, related_name="adoptions")
    table = models.CharField(max_length=60)
    version = models.CharField(max_length=16)
    adopted_by = models.CharField(max_length=120)
    role = models.CharField(max_length=120, help_text="As people know it: lead clinician.")
    adopted_on = models.DateField()
    recorded_by = models.CharField(max_length=150)
    recorded_at = models.DateTimeField()
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.CharField(max_length=150, blank=True)

    class Meta:
        ordering = ["recorded_at", "id"]
        indexes = [models.Index(fields=["district", "table"])]

    def __str__(self) -> str:
        return f"{self.table}: {self.adopted_by}, {self.adopted_on}"


class LocalRule(models.Model):
    """One version of a district's own form of a need rule; the newest of a rule counts.

    It can only ask for more than the shipped rule, unless ``loosened_by`` names who answers for
    it. A version in which everything is empty is the shipped rule again.
    """

    district = models.ForeignKey(District, on_delete=models.CASCADE, related_name="local_rules")
    rule = models.CharField(max_length=60)
    version = models.PositiveSmallIntegerField(default=1, editable=False)
    also_when = models.JSONField(
        default=list, blank=True, help_text='Fires too when: [{"fact": "weight_g", "below": 2000}]'
    )
    capabilities = models.JSONField(
        null=True,
        blank=True,
        validators=[known_capabilities],
        help_text="All that must be there; empty: as shipped.",
    )
    preferred_capabilities = models.JSONField(
        null=True,
        blank=True,
        validators=[known_capabilities],
        help_text="All that is better; empty: as shipped.",
    )
    urgency = models.CharField(max_length=12, blank=True)
    source = models.CharField(max_length=200, help_text="The protocol or the reason.")
    loosened_by = models.CharField(
        max_length=120,
        blank=True,
        help_text="Who answers for it, by name, where it asks for less than the shipped rule.",
    )
    made_by = models.CharField(max_length=150, editable=False)
    made_at = models.DateTimeField(editable=False)

    class Meta:
        ordering = ["rule", "version"]
        constraints = [
            models.UniqueConstraint(
                fields=["district", "rule", "version"], name="one_local_rule_per_version"
            )
        ]

    def __str__(self) -> str:
        return f"{self.rule}, version {self.version}"

    def change(self) -> RuleChange:
        """The same for computing."""
        return RuleChange(
            version=self.version,
            also_when=tuple(self.also_when),
            capabilities=_set(self.capabilities),
            preferred_capabilities=_set(self.preferred_capabilities),
            urgency=Urgency(self.urgency) if self.urgency else None,
            source=self.source,
        )

    def clean(self) -> None:
        """Refuse a rule nobody has, a row that cannot be, and loosening that nobody stands for."""
        shipped = SHIPPED_RULES.get(self.rule)
        if shipped is None:
            known = ", ".join(SHIPPED_RULES)
            raise ValidationError({"rule": _("there is no such rule; known are: %s") % known})
        if self.urgency and self.urgency not in set(Urgency):
            raise ValidationError({"urgency": ", ".join(Urgency)})
        if not isinstance(self.also_when, list):
            raise ValidationError({"also_when": _("write a list of conditions")})
        for codes in (self.capabilities, self.preferred_capabilities):
            known_capabilities(codes or [])
        faults = faults_of(shipped, self.change())
        if faults:
            raise ValidationError({"also_when": faults})
        looser = loosened_by(shipped, self.change())
        if looser and not self.loosened_by.strip():
            said = _("This asks for less than the shipped rule: %s. Say who answers for it.")
            raise ValidationError({"loosened_by": said % "; ".join(looser)})


def _set(codes: list[str] | None) -> frozenset[Capability] | None:
    return None if codes is None else frozenset(Capability(each) for each in codes)
