"""The form of a published score, made from its table; corrected with the same one."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext as _

from referrals.calc.quantities import QUANTITIES
from referrals.calc.scores import Item, Score, ScoreKind, Told
from referrals.calc.terms import GlucoseUnit
from referrals.calc.wording import words
from referrals.labels import FIELDS
from referrals.models import ScoreTaken
from referrals.pages.forms import (
    GLUCOSE_UNIT,
    NOT_KNOWN,
    ChoiceOf,
    Glucose,
    PageForm,
    Quantity,
    YesNo,
)
from referrals.scoring import Found, ScoreTold

HELP, MINUTE = "help_given", "minute"
_GLUCOSE_UNITS = {f"glucose_{unit.value}": unit.value for unit in GlucoseUnit}


class ScoreForm(PageForm):
    """What was found of each item; a missing one leaves the score without a number."""

    def __init__(
        self,
        score: Score,
        data: Any = None,
        *,
        found: Mapping[str, Found] | None = None,
        minute: int | None = None,
        help_given: bool | None = None,
    ) -> None:
        super().__init__(data)
        self.score, self.minute = score, minute
        for item in score.items:
            told = (found or {}).get(item.code)
            self._ask(item, told)
        if score.asks_for_help_given:
            self.fields[HELP] = YesNo(_("The baby was being helped to breathe at that time"))
            self.initial[HELP] = help_given

    def _ask(self, item: Item, found: Found | None) -> None:
        field = self.fields[item.code] = _field_of(item)
        if found:
            self.initial[item.code] = found.told.value
            field.help_text = _("As told by %(who)s at %(at)s") % {
                "who": found.by,
                "at": f"{timezone.localtime(found.at):%H:%M}",
            }
        if item.other_units:
            self.fields[item.code + GLUCOSE_UNIT] = ChoiceOf(GlucoseUnit, FIELDS["glucose_unit"])
            if found:
                unit = _GLUCOSE_UNITS.get(found.told.quantity, "")
                self.initial[item.code + GLUCOSE_UNIT] = unit

    def clean(self) -> dict[str, Any]:
        """At least one item was found."""
        cleaned = super().clean()
        if not self.errors and not self._found(cleaned):
            raise forms.ValidationError(_("Nothing is filled in yet."))
        return cleaned

    def told(self) -> ScoreTold:
        """The score as the verb wants it."""
        return ScoreTold(
            kind=ScoreKind(self.score.kind),
            items=self._found(self.cleaned_data),
            minute=self.minute,
            help_given=self.cleaned_data.get(HELP),
        )

    def _found(self, cleaned: Mapping[str, Any]) -> dict[str, Told]:
        found = {}
        for item in self.score.items:
            value = cleaned.get(item.code)
            if value in (None, ""):
                continue
            field = self.fields[item.code]
            quantity = field.quantity if isinstance(field, Quantity) else ""
            found[item.code] = Told(value=value, quantity=quantity)
        return found


def form_of(row: ScoreTaken, data: Any) -> ScoreForm:
    """The form that corrects a score, with what stands there."""
    told = row.told()
    found = {
        code: Found(told=told[code], by=each["by"], at=datetime.fromisoformat(each["at"]))
        for code, each in row.items.items()
    }
    return ScoreForm(row.score(), data, found=found, minute=row.minute, help_given=row.help_given)


def _field_of(item: Item) -> forms.Field:
    label = words(item.words)
    if item.other_units:
        return Glucose(label)
    if item.is_measured:
        return Quantity(item.quantity, label)
    choices = [(finding.code, words(finding.words)) for finding in item.findings]
    return forms.ChoiceField(
        label=label,
        choices=[*choices, NOT_KNOWN],
        required=False,
        widget=forms.RadioSelect,
        initial="",
    )


def value_in_words(item: Item, found: Mapping[str, Any]) -> str:
    """What was found of an item, as people read it."""
    if not item.is_measured:
        named = {finding.code: finding.words for finding in item.findings}
        return words(named.get(found["value"], found["value"]))
    unit = words(QUANTITIES[found.get("quantity") or item.quantity].unit)
    return f"{found['value']:g} {unit}"
