"""The fields of the phone pages: everything optional, numbers checked beside their field.

A number that cannot be true is refused with its bounds and unit. An unusual one is asked about
once: sending the same number again is the answer 'yes, that is right'.
"""

import unicodedata
from collections.abc import Callable, Iterable
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from referrals.calc.device_time import NOTICEABLE_SKEW
from referrals.calc.quantities import QUANTITIES, Verdict, check_quantity
from referrals.calc.status import quantity_of
from referrals.calc.terms import GlucoseUnit
from referrals.labels import FIELDS, Text, choices
from referrals.saying import to_tell

NOT_KNOWN = ("", gettext_lazy("Not known"))
WHOLE = (
    "heart_rate", "respiratory_rate", "spo2", "weight_g", "systolic_mmhg", "diastolic_mmhg",
    "baby_systolic_mmhg",
)  # fmt: skip
YES_NO = [("yes", gettext_lazy("Yes")), ("no", gettext_lazy("No")), NOT_KNOWN]


class ChoiceOf(forms.ChoiceField):
    """One of a list of words, or not known."""

    def __init__(self, kind: type[StrEnum], label: Text, only: Iterable[StrEnum] = ()) -> None:
        codes = {member.value for member in only}
        # A callable, so that the words are looked up in the reader's language.
        offered: Callable[[], list[Any]] = lambda: [  # noqa: E731
            *[pair for pair in choices(kind) if not codes or pair[0] in codes],
            NOT_KNOWN,
        ]
        super().__init__(
            choices=offered, label=label, required=False, widget=forms.RadioSelect, initial=""
        )


class YesNo(forms.ChoiceField):
    """Yes, no, or not known."""

    def __init__(self, label: Text) -> None:
        super().__init__(
            choices=YES_NO, label=label, required=False, widget=forms.RadioSelect, initial=""
        )

    def prepare_value(self, value: Any) -> Any:
        """Show a stored yes or no as its choice."""
        return {True: "yes", False: "no"}.get(value, value) if isinstance(value, bool) else value

    def clean(self, value: Any) -> bool | None:
        """True, False or nothing."""
        return {"yes": True, "no": False}.get(super().clean(value))


class Quantity(forms.Field):
    """A measured number with its unit; local digits and a decimal comma are understood."""

    def __init__(self, name: str, label: Text = "", **options: Any) -> None:
        self.bounds = QUANTITIES[name]
        self.quantity = name
        self.unit = to_tell(self.bounds.unit)
        super().__init__(
            label=label or FIELDS.get(name, name),
            required=False,
            widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
            **options,
        )

    def clean(self, value: Any) -> float | int | None:
        """The number, or nothing.

        Raises:
            forms.ValidationError: for what is no number, and for one that cannot be true.
        """
        text = _plain_number(str(value or ""))
        if not text:
            return None
        try:
            number = float(text)
        except ValueError as error:
            raise forms.ValidationError(_("'%s' is not a number.") % value) from error
        if check_quantity(self.quantity, number) is Verdict.IMPOSSIBLE:
            raise forms.ValidationError(
                _("%(value)s is not possible: from %(low)g to %(high)g %(unit)s.")
                % {
                    "value": text,
                    "low": self.bounds.possible_low,
                    "high": self.bounds.possible_high,
                    "unit": self.unit,
                }
            )
        return round(number) if self.quantity in WHOLE else number


GLUCOSE_UNIT = "_unit"
"""Ends the name of the field beside a glucose that says in which unit it was read."""


class Glucose(Quantity):
    """A glucose as the meter shows it; its bounds are those of the unit told beside it."""

    def __init__(self, label: Text) -> None:
        super().__init__("glucose_mg_dl", label)
        self.unit = ""
        self.unit_is_told = False

    def read_in(self, unit: str) -> None:
        """Take the bounds of a unit, ``mg_dl`` or ``mmol_l``."""
        self.unit_is_told = unit in set(GlucoseUnit)
        if self.unit_is_told:
            self.quantity = quantity_of("glucose", glucose_unit=GlucoseUnit(unit)) or self.quantity
            self.bounds = QUANTITIES[self.quantity]
            self.unit = to_tell(self.bounds.unit)

    def clean(self, value: Any) -> float | int | None:
        """The number in the unit that was told.

        Raises:
            forms.ValidationError: as for any quantity, and for a number without its unit.
        """
        number = super().clean(value)
        if number is not None and not self.unit_is_told:
            raise forms.ValidationError(_("In which unit does the meter show it?"))
        return number


class ClockTime(forms.Field):
    """Hours and minutes of the last 24 hours, in the district's zone.

    A clock that is a little fast is forgiven. A time that would lie before ``not_before`` if it
    were of the day before is refused as one that has not come yet.
    """

    def __init__(self, label: Text, now: datetime, *, not_before: datetime | None = None) -> None:
        self.now, self.not_before = now, not_before
        super().__init__(
            label=label,
            required=False,
            widget=forms.TextInput(attrs={"inputmode": "numeric", "placeholder": "14:05"}),
        )

    def prepare_value(self, value: Any) -> Any:
        """Show a stored time as hours and minutes."""
        return f"{timezone.localtime(value):%H:%M}" if isinstance(value, datetime) else value

    def clean(self, value: Any) -> datetime | None:
        """The latest such time that is not in the future.

        Raises:
            forms.ValidationError: for what is no time, and for one that is still to come.
        """
        text = _plain_number(str(value or "")).replace(".", ":")
        if not text:
            return None
        if ":" not in text and len(text) in (3, 4):
            text = f"{text[:-2]}:{text[-2:]}"
        try:
            told = datetime.strptime(text, "%H:%M").time()  # noqa: DTZ007 - a time of day only
        except ValueError as error:
            raise forms.ValidationError(
                _("'%s' is not a time. Write hours and minutes, as in 14:05.") % value
            ) from error
        local = timezone.localtime(self.now)
        moment = local.replace(hour=told.hour, minute=told.minute, second=0, microsecond=0)
        if moment <= local + NOTICEABLE_SKEW:
            return min(moment, local)
        moment -= timedelta(days=1)
        if self.not_before and moment < self.not_before - NOTICEABLE_SKEW:
            raise forms.ValidationError(
                _("%s has not come yet. Leave it out for now.") % f"{told:%H:%M}"
            )
        return moment


class Words(forms.CharField):
    """Free words, a few lines."""

    def __init__(self, label: Text, *, required: bool = False, lines: int = 3) -> None:
        widget = forms.Textarea(attrs={"rows": lines}) if lines > 1 else forms.TextInput()
        super().__init__(
            label=label, required=required, widget=widget, max_length=600 if lines > 1 else 120
        )


class PageForm(forms.Form):
    """A form of a phone page: unusual numbers are asked about once, beside their field."""

    required_css_class = "required"

    def full_clean(self) -> None:
        """Read each glucose in the unit that stands beside it."""
        for name, field in self.fields.items():
            if isinstance(field, Glucose):
                field.read_in(self.data.get(self.add_prefix(name + GLUCOSE_UNIT), ""))
        super().full_clean()

    def clean(self) -> dict[str, Any]:
        """Ask about unusual numbers that were not yet confirmed by sending them again."""
        cleaned = super().clean() or {}
        for name, field in self.fields.items():
            if isinstance(field, Glucose) and cleaned.get(name) is None:
                cleaned[name + GLUCOSE_UNIT] = ""
        self.asked: dict[str, str] = {}
        for name, field in self.fields.items():
            value = cleaned.get(name)
            if not isinstance(field, Quantity) or value is None:
                continue
            if check_quantity(field.quantity, value) is not Verdict.UNUSUAL:
                continue
            self.asked[name] = f"{value:g}"
            if self.data.get(f"asked_{name}") != f"{value:g}":
                self.add_error(
                    name,
                    forms.ValidationError(
                        _("%(value)g %(unit)s? If that is right, send it again.")
                        % {"value": value, "unit": field.unit},
                        code="unusual",
                    ),
                )
        return cleaned

    def facts(self, names: Iterable[str]) -> dict[str, Any]:
        """The facts that were told, those not known left out."""
        return {
            name: self.cleaned_data[name]
            for name in names
            if self.cleaned_data.get(name) not in (None, "")
        }


def _plain_number(text: str) -> str:
    """Digits of any script as 0-9, a decimal comma as a point."""
    plain = "".join(str(unicodedata.decimal(character, character)) for character in text.strip())
    return plain.replace(",", ".").replace("٫", ".").replace(" ", "")
