"""The forms of the desk's referral page. They check shape; the verbs say what is allowed."""

from typing import Any

from django import forms
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy as _
from phonenumber_field.formfields import PhoneNumberField

from referrals import clock
from referrals.calc.quantities import QUANTITIES, Bounds
from referrals.calc.terms import (
    Bleeding,
    Breathing,
    Colour,
    Consciousness,
    DeclineReason,
    Ending,
    HeartRateBand,
    OutcomeState,
    Placenta,
    Support,
    VehicleKind,
)
from referrals.labels import choices
from referrals.models import Referral, Unit
from referrals.models.observations import MOTHER_FACTS
from referrals.pages.forms import ClockTime
from transport.calc.stages import MILESTONES
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


class ReconfirmForm(AcceptForm):
    """The unit's new shift said on the phone that it is still ready."""

    receiver = forms.CharField(max_length=120, label=_("Who receives now"))


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


class MistakeForm(DeskForm):
    """The last milestone was pressed by mistake; which one stands in the page that was shown."""

    milestone = forms.CharField(widget=forms.HiddenInput)

    def __init__(self, referral: Referral, *arguments: Any, **options: Any) -> None:
        super().__init__(referral, *arguments, **options)
        transfer = referral.transfers.live().first()
        last = transfer.last_milestone() if transfer else None
        self.initial.setdefault("milestone", last.kind if last else "")


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


class MotherForm(DeskForm):
    """How the mother is, told on the phone."""

    bleeding = forms.ChoiceField(
        required=False, choices=lambda: [NOT_TOLD, *choices(Bleeding)], label=_("Bleeding")
    )
    placenta = forms.ChoiceField(
        required=False, choices=lambda: [NOT_TOLD, *choices(Placenta)], label=_("Placenta")
    )
    systolic_mmhg = _number("systolic_mmhg", label=_("Blood pressure, upper"), whole=True)
    diastolic_mmhg = _number("diastolic_mmhg", label=_("Blood pressure, lower"), whole=True)
    consciousness = forms.ChoiceField(
        required=False, choices=lambda: [NOT_TOLD, *choices(Consciousness)], label=_("She is")
    )
    note = forms.CharField(max_length=300, required=False, label=_("In their words"))
    minutes_ago = _ago()

    def clean(self) -> dict[str, Any]:
        """At least one thing was told."""
        told = super().clean() or {}
        if not self.errors and not any(
            told.get(name) not in (None, "") for name in (*MOTHER_FACTS, "note")
        ):
            raise forms.ValidationError(_("Nothing was told yet. Enter at least one thing."))
        return told


class TreatmentForm(DeskForm):
    """A treatment that was given: what and how much as told, when, by whom."""

    whose = forms.ChoiceField(label=_("Who got it"))
    words = forms.CharField(max_length=600, label=_("What was given, and how much, as told"))
    given_by = forms.CharField(max_length=120, required=False, label=_("Given by"))
    minutes_ago = _ago()

    def __init__(self, referral: Referral, *arguments: Any, **options: Any) -> None:
        super().__init__(referral, *arguments, **options)
        babies = [(str(baby.birth_order), baby.code) for baby in referral.babies.all()]
        field = self.fields["whose"]
        assert isinstance(field, forms.ChoiceField)  # noqa: S101 - declared above
        first = [("", "---")] if len(babies) > 1 else []
        field.choices = [*first, *babies, ("mother", _("the mother"))]


class AdviceForm(DeskForm):
    """Advice a named clinician gave."""

    asked_by = forms.CharField(max_length=120, required=False, label=_("Who asked"))
    given_by = forms.CharField(max_length=120, label=_("Who gave the advice"))
    words = forms.CharField(max_length=600, label=_("What was advised"))
    read_back = forms.BooleanField(required=False, label=_("It was read back and confirmed"))


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
    state = forms.ChoiceField(choices=lambda: choices(OutcomeState), label=_("How the baby is"))
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
    band = forms.CharField(
        max_length=40,
        required=False,
        label=_("Code on the baby's band"),
        help_text=_("Needed for a death: let it be read out from the band."),
    )
    words = forms.CharField(max_length=300, required=False, label=_("Words"))

    def __init__(self, referral: Referral, *arguments: Any, **options: Any) -> None:
        super().__init__(referral, *arguments, **options)
        self.fields["ended_at"] = ClockTime(
            _("Time of death, as in 14:05; empty means now"),
            clock.now(),
            not_before=referral.raised_at,
        )
        self.order_fields(["baby", "ending", "determined_by", "band", "ended_at", "words"])


class JoinForm(DeskForm):
    """The same baby was called for twice: which code goes on."""

    into = forms.ChoiceField(label=_("It goes on as"))

    def __init__(self, referral: Referral, *arguments: Any, **options: Any) -> None:
        super().__init__(referral, *arguments, **options)
        others = Referral.objects.open().filter(district=referral.district).exclude(pk=referral.pk)
        here_first = sorted(
            others.select_related("origin").order_by("-raised_at"),
            key=lambda other: other.origin_id != referral.origin_id,
        )
        field = self.fields["into"]
        assert isinstance(field, forms.ChoiceField)  # noqa: S101 - declared above
        field.choices = [(each.code, f"{each.code}, {each.origin.name}") for each in here_first]


class ReverseForm(DeskForm):
    """An ending was entered in error."""

    baby = _baby()
    reason = forms.CharField(max_length=300, label=_("Why it is taken back"))
