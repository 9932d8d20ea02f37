"""The forms of the desk's referral page. They check shape; the verbs say what is allowed."""

from collections.abc import Iterable
from typing import Any

from django import forms
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy as _
from phonenumber_field.formfields import PhoneNumberField

from referrals.calc.quantities import QUANTITIES, Bounds
from referrals.calc.terms import (
    DeclineReason,
    VehicleKind,
)
from referrals.labels import choices
from referrals.models import Referral, Site, Unit
from referrals.pages.forms import PageForm, Quantity
from referrals.saying import to_tell
from transport.calc.places import Place
from transport.calc.stages import MILESTONES
from transport.choosing import place_of
from transport.models import Meeting
from transport.pages.words import MILESTONES_TOLD

NOT_TOLD = ("", _("not told"))
FOUND_KINDS = [VehicleKind.CAR, VehicleKind.PICKUP, VehicleKind.MOTORCYCLE, VehicleKind.BOAT]


class DeskForm(PageForm):
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


def number(quantity: str, *, label: Any) -> forms.Field:
    """A number with its bounds and unit beside it; an unusual one is asked about once."""
    return Quantity(quantity, label, help_text=_range(QUANTITIES[quantity]))


def _range(bounds: Bounds) -> Any:
    low, high = f"{bounds.possible_low:g}", f"{bounds.possible_high:g}"
    return format_lazy(_("{low} to {high} {unit}"), low=low, high=high, unit=to_tell(bounds.unit))


def _site(label: Any, *, required: bool) -> forms.ModelChoiceField:
    return forms.ModelChoiceField(Site.objects.none(), required=required, label=label)


def _offer_sites(form: DeskForm, name: str) -> None:
    field = form.fields[name]
    assert isinstance(field, forms.ModelChoiceField)  # noqa: S101 - declared so
    field.queryset = form.referral.district.sites.order_by("name")


def _degrees(most: int, label: Any) -> forms.FloatField:
    return forms.FloatField(required=False, min_value=-most, max_value=most, label=label)


def how_long_ago() -> forms.IntegerField:
    """When something was, as people say it on the phone."""
    return forms.IntegerField(
        required=False,
        min_value=0,
        max_value=24 * 60,
        label=_("Minutes ago"),
        help_text=_("Leave empty for now."),
    )


def who_said_it() -> forms.CharField:
    """Whose word it is that the officer writes down."""
    return forms.CharField(
        max_length=100,
        required=False,
        label=_("Who said it"),
        help_text=_("On the phone to you. It stands beside your name."),
    )


def which_baby() -> forms.ChoiceField:
    """Which of the babies; not asked where there is only one."""
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
    said_by = who_said_it()


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
    why = forms.CharField(
        max_length=120, required=False, label=_("Why this one, if you like to say")
    )


class KeepForm(DeskForm):
    """Keep a vehicle for this journey."""

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
    range_km = forms.FloatField(
        required=False, min_value=0, max_value=3000, label=_("How many km the fuel in it reaches")
    )
    who_pays = forms.CharField(max_length=120, required=False, label=_("Who pays"))
    stands_at = _site(_("Where it stands now, near"), required=False)
    latitude = _degrees(90, _("Or at a point: latitude"))
    longitude = _degrees(180, _("Longitude"))
    water_litres = forms.FloatField(
        required=False,
        min_value=0.1,
        max_value=100,
        label=_("Oxygen cylinder that goes along: litres of water"),
        help_text=_("Leave empty if there is none: it is then said everywhere."),
    )
    bar = number("oxygen_bar", label=_("Its gauge"))
    only_note = forms.BooleanField(
        required=False, label=_("Only write it down; it is then proposed like any other")
    )

    def __init__(self, referral: Referral, *arguments: Any, **options: Any) -> None:
        super().__init__(referral, *arguments, **options)
        _offer_sites(self, "stands_at")
        region = referral.district.phone_region or None
        self.fields["driver_phone"] = PhoneNumberField(region=region, label=_("Driver's phone"))
        self.order_fields(list(type(self).base_fields))


class MeetForm(DeskForm):
    """A second vehicle meets the first at a site of the district."""

    vehicle = forms.ChoiceField(label=_("Second vehicle"))
    site = forms.ChoiceField(label=_("They meet at"))

    def __init__(self, referral: Referral, *arguments: Any, **options: Any) -> None:
        super().__init__(referral, *arguments, **options)
        free = referral.district.vehicles.filter(state="free").order_by("code")
        standing = Meeting.objects.standing().filter(transfer__referral=referral)
        coming = referral.district.vehicles.filter(meetings__in=standing)
        rows: dict[str, Iterable[Any]] = {
            "vehicle": [*coming, *free],
            "site": referral.district.sites.order_by("name"),
        }
        for name, found in rows.items():
            field = self.fields[name]
            assert isinstance(field, forms.ChoiceField)  # noqa: S101 - declared above
            field.choices = [(each.code, each.name) for each in found]


class PlanMeetForm(MeetForm):
    """The meeting of a plan, as it was shown."""

    subject_field = "site"

    def __init__(self, referral: Referral, *arguments: Any, **options: Any) -> None:
        super().__init__(referral, *arguments, **options)
        for field in self.fields.values():
            field.widget = forms.HiddenInput()


class MeetingStepForm(DeskForm):
    """What happened at the meeting, told on the phone."""

    subject_field = "step"
    step = forms.CharField(widget=forms.HiddenInput)
    witness = forms.CharField(max_length=150, required=False)
    minutes_ago = how_long_ago()

    def __init__(self, referral: Referral, *arguments: Any, **options: Any) -> None:
        super().__init__(referral, *arguments, **options)
        step = self.data.get("step") or self.initial.get("step", "")
        if step == "moved_over":
            self.fields["witness"].label = _("Who saw the baby move over (name)")
            self.fields["witness"].required = True
        elif step == "drive_on":
            self.fields["witness"].label = _("Why")
            del self.fields["minutes_ago"]
        else:
            del self.fields["witness"]
            if step.startswith("not_"):
                del self.fields["minutes_ago"]


class PlaceForm(DeskForm):
    """Where a vehicle stands now, told on the phone."""

    subject_field = "vehicle"
    vehicle = forms.CharField(widget=forms.HiddenInput)
    stands_at = _site(_("It stands near"), required=False)
    latitude = _degrees(90, _("Or at a point: latitude"))
    longitude = _degrees(180, _("Longitude"))

    def __init__(self, referral: Referral, *arguments: Any, **options: Any) -> None:
        super().__init__(referral, *arguments, **options)
        _offer_sites(self, "stands_at")

    def clean(self) -> dict[str, Any]:
        """A site, or both numbers of a point."""
        told = super().clean() or {}
        if not self.errors and place_told(told) is None:
            raise forms.ValidationError(_("Choose a place, or give both numbers of a point."))
        return told


def place_told(told: dict[str, Any]) -> Place | None:
    """The place in a form: a point if both its numbers are there, else the site."""
    north, east, site = told.get("latitude"), told.get("longitude"), told.get("stands_at")
    if north is not None and east is not None:
        return Place(north, east)
    return place_of(site) if site else None


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


class EscortForm(DeskForm):
    """Who travels with mother and baby; empty when nobody does after all."""

    name = forms.CharField(max_length=120, required=False, label=_("Who travels with them"))
    said_by = who_said_it()

    def __init__(self, referral: Referral, *arguments: Any, **options: Any) -> None:
        super().__init__(referral, *arguments, **options)
        transfer = referral.transfers.live().first()
        self.initial.setdefault("name", transfer.escort_name if transfer else "")


class MilestoneForm(DeskForm):
    """Press a milestone on behalf of the driver."""

    milestone = forms.ChoiceField(
        label=_("What the driver says"),
        choices=[(stage.value, MILESTONES_TOLD[stage.value]) for stage in MILESTONES],
    )
    minutes_ago = how_long_ago()
    said_by = who_said_it()

    def __init__(self, referral: Referral, *arguments: Any, **options: Any) -> None:
        super().__init__(referral, *arguments, **options)
        transfer = referral.transfers.live().first()
        self.initial.setdefault("said_by", transfer.driver_name if transfer else "")


class MistakeForm(DeskForm):
    """The last milestone was pressed by mistake; which one stands in the page that was shown."""

    milestone = forms.CharField(widget=forms.HiddenInput)

    def __init__(self, referral: Referral, *arguments: Any, **options: Any) -> None:
        super().__init__(referral, *arguments, **options)
        transfer = referral.transfers.live().first()
        last = transfer.last_milestone() if transfer else None
        self.initial.setdefault("milestone", last.kind if last else "")
