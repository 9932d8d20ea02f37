"""The forms of the desk's referral page. They check shape; the verbs say what is allowed."""

from typing import Any

from django import forms
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy as _
from phonenumber_field.formfields import PhoneNumberField

from referrals.calc.quantities import QUANTITIES, Bounds
from referrals.calc.terms import (
    Breathing,
    Colour,
    DeclineReason,
    Ending,
    HeartRateBand,
    Support,
    VehicleKind,
)
from referrals.labels import choices
from referrals.models import Referral, Unit
from transport.calc.stages import MILESTONES
from transport.pages.unit_forms import OUTCOMES
from transport.pages.words import MILESTONES_TOLD

NOT_TOLD = ("", _("not told"))
FOUND_KINDS = [VehicleKind.CAR, VehicleKind.PICKUP, VehicleKind.MOTORCYCLE, VehicleKind.BOAT]


class DeskForm(forms.Form):
    """A form about one referral; ``subject`` names the row it is about where there are several."""

    subject_field = ""

    def __init__(self, referral: Referral, *arguments: Any, **options: Any) -> None:
        super().__init__(*arguments, **options)
        self.referral = referral
        if "baby" in self.fields:
            self._offer_babies()

    def _offer_babies(self) -> None:
        field = self.fields["baby"]
        assert isinstance(field, forms.ChoiceField)  # noqa: S101 - declared below
        field.choices = [(str(b.birth_order), b.code) for b in self.referral.babies.all()]
        if len(field.choices) == 1:
            field.widget = forms.HiddenInput()
            self.initial.setdefault("baby", field.choices[0][0])


def _number(quantity: str, *, label: Any, whole: bool = False) -> forms.Field:
    """A number with its bounds and unit beside it; the verb refuses what is outside."""
    bounds = QUANTITIES[quantity]
    kind = forms.IntegerField if whole else forms.FloatField
    return kind(required=False, label=label, help_text=_range(bounds))


def _range(bounds: Bounds) -> Any:
    low, high = f"{bounds.possible_low:g}", f"{bounds.possible_high:g}"
    return format_lazy(_("{low} to {high} {unit}"), low=low, high=high, unit=bounds.unit)


def _ago() -> forms.IntegerField:
    return forms.IntegerField(
        required=False,
        min_value=0,
        max_value=24 * 60,
        label=_("Minutes ago"),
        help_text=_("Leave empty for now."),
    )


def _baby() -> forms.ChoiceField:
    return forms.ChoiceField(label=_("Baby"))


class Nothing(DeskForm):
    """A button and nothing else."""


class AskForm(DeskForm):
    """Ask one unit; ``ranking`` is the one that was shown."""

    subject_field = "unit"
    unit = forms.CharField(widget=forms.HiddenInput)
    ranking = forms.IntegerField(required=False, widget=forms.HiddenInput)


class AskStopForm(AskForm):
    """Ask a nearer unit for a stop on the way, as the plan was shown."""


class AcceptForm(DeskForm):
    """A unit said yes on the phone."""

    subject_field = "offer"
    offer = forms.IntegerField(widget=forms.HiddenInput)
    receiver = forms.CharField(max_length=150, label=_("Who said yes"))
    entrance = forms.CharField(max_length=120, required=False, label=_("Entrance"))


class DeclineForm(DeskForm):
    """A unit said no on the phone."""

    subject_field = "offer"
    offer = forms.IntegerField(widget=forms.HiddenInput)
    reason = forms.ChoiceField(choices=lambda: choices(DeclineReason), label=_("Reason"))
    words = forms.CharField(max_length=300, required=False, label=_("In their words"))


class WithdrawForm(DeskForm):
    """Take a question or an acceptance back."""

    subject_field = "offer"
    offer = forms.IntegerField(widget=forms.HiddenInput)
    why = forms.CharField(max_length=120, label=_("Why"))


class WhyForm(DeskForm):
    """Something that needs a reason."""

    why = forms.CharField(max_length=120, label=_("Why"))


class AssignForm(DeskForm):
    """Send a vehicle of the district."""

    subject_field = "vehicle"
    vehicle = forms.CharField(widget=forms.HiddenInput)


class FoundForm(DeskForm):
    """A car, motorcycle or boat that somebody found by phone."""

    kind = forms.ChoiceField(
        label=_("What it is"),
        choices=lambda: [pair for pair in choices(VehicleKind) if pair[0] in FOUND_KINDS],
    )
    name = forms.CharField(max_length=120, label=_("How people know it"))
    driver_name = forms.CharField(max_length=120, label=_("Who drives"))
    driver_phone = PhoneNumberField(label=_("Driver's phone"))
    owner = forms.CharField(max_length=120, required=False, label=_("Whose it is"))
    fuel = forms.CharField(max_length=120, required=False, label=_("Fuel: how much, from whom"))
    who_pays = forms.CharField(max_length=120, required=False, label=_("Who pays"))

    def __init__(self, referral: Referral, *arguments: Any, **options: Any) -> None:
        super().__init__(referral, *arguments, **options)
        region = referral.district.phone_region or None
        self.fields["driver_phone"] = PhoneNumberField(region=region, label=_("Driver's phone"))
        self.order_fields(list(type(self).base_fields))


class TakeBackForm(DeskForm):
    """The vehicle will not come after all."""

    why = forms.CharField(max_length=120, label=_("Why"))
    broken = forms.BooleanField(required=False, label=_("It has broken down"))


class TowardForm(DeskForm):
    """Send the vehicle toward a unit that has not accepted yet."""

    unit = forms.ChoiceField(label=_("Unit"))

    def __init__(self, referral: Referral, *arguments: Any, **options: Any) -> None:
        super().__init__(referral, *arguments, **options)
        units = Unit.objects.filter(site__district=referral.district, is_open=True)
        field = self.fields["unit"]
        assert isinstance(field, forms.ChoiceField)  # noqa: S101 - declared above
        field.choices = [(u.code, str(u)) for u in units.select_related("site").order_by("code")]
        standing = referral.district.standing_unit
        if standing:
            self.initial.setdefault("unit", standing.code)


class MilestoneForm(DeskForm):
    """Press a milestone on behalf of the driver."""

    milestone = forms.ChoiceField(
        label=_("What the driver says"),
        choices=[(stage.value, MILESTONES_TOLD[stage.value]) for stage in MILESTONES],
    )
    minutes_ago = _ago()


class CheckForm(DeskForm):
    """One check, told on the phone and entered by the desk."""

    baby = _baby()
    breathing = forms.ChoiceField(
        required=False, choices=lambda: [NOT_TOLD, *choices(Breathing)], label=_("Breathing")
    )
    support = forms.ChoiceField(
        required=False, choices=lambda: [NOT_TOLD, *choices(Support)], label=_("Helped by")
    )
    heart_rate = _number("heart_rate", label=_("Heart rate, counted"), whole=True)
    heart_rate_band = forms.ChoiceField(
        required=False,
        choices=lambda: [NOT_TOLD, *choices(HeartRateBand)],
        label=_("Heart rate, as felt"),
    )
    spo2 = _number("spo2", label=_("SpO2"), whole=True)
    colour = forms.ChoiceField(
        required=False, choices=lambda: [NOT_TOLD, *choices(Colour)], label=_("Colour")
    )
    temperature_c = _number("temperature_c", label=_("Temperature"))
    oxygen_flow_l_min = _number("oxygen_flow_l_min", label=_("Oxygen flow"))
    oxygen_bar = _number("oxygen_bar", label=_("Oxygen gauge"))
    minutes_ago = _ago()
    stopped_because = forms.CharField(
        max_length=200, required=False, label=_("They have stopped because")
    )

    def clean(self) -> dict[str, Any]:
        """At least one thing was told."""
        told = super().clean() or {}
        if not self.errors and not any(
            told.get(name) not in (None, "")
            for name in self.fields
            if name not in ("baby", "minutes_ago")
        ):
            raise forms.ValidationError(_("Nothing was told yet. Enter at least one thing."))
        return told


class SignForm(DeskForm):
    """One side's confirmation of a handover, told on the phone."""

    baby = _baby()
    side = forms.ChoiceField(
        label=_("Which side"),
        choices=[("receiver", _("the unit that receives")), ("giver", _("the escort who gives"))],
    )
    name = forms.CharField(max_length=150, label=_("Name of the person"))
    band_checked = forms.BooleanField(required=False, label=_("The band was read and fits"))
    temperature_c = _number("temperature_c", label=_("Temperature on arrival"))
    disagreement = forms.CharField(
        max_length=300, required=False, label=_("What they do not agree on")
    )


class OutcomeForm(DeskForm):
    """Tell the attendant how it went."""

    baby = _baby()
    state = forms.ChoiceField(choices=OUTCOMES, label=_("How the baby is"))
    words = forms.CharField(
        max_length=1000, label=_("Words to the attendant"), widget=forms.Textarea({"rows": 3})
    )


class EndForm(DeskForm):
    """How the referral ended for one baby; a death and a recovery need a name."""

    baby = _baby()
    ending = forms.ChoiceField(
        label=_("How it ended"),
        choices=lambda: [p for p in choices(Ending) if p[0] != Ending.HANDED_OVER],
    )
    determined_by = forms.CharField(
        max_length=150,
        required=False,
        label=_("Who determined it"),
        help_text=_("Needed for a death, and when the baby breathes well and stays."),
    )
    words = forms.CharField(max_length=300, required=False, label=_("Words"))
    minutes_ago = _ago()


class ReverseForm(DeskForm):
    """An ending was entered in error."""

    baby = _baby()
    reason = forms.CharField(max_length=300, label=_("Why it is taken back"))
