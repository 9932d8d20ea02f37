"""The desk's forms for what is told by voice of baby and mother, and how it ended."""

from dataclasses import asdict
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from referrals import clock, owed_after
from referrals.calc.chest_steps import CHEST_STEPS
from referrals.calc.terms import (
    Bleeding,
    Breathing,
    Colour,
    Consciousness,
    Ending,
    GlucoseUnit,
    HeartRateBand,
    OutcomeMoment,
    OutcomeState,
    Placenta,
    Response,
    Support,
)
from referrals.calc.wording import words
from referrals.describing import Hands
from referrals.labels import choices
from referrals.models import Referral
from referrals.models.observations import MOTHER_FACTS
from referrals.pages.forms import ClockTime, Glucose
from transport.checklists import newest
from transport.cylinders import units_of_gauges
from transport.models import ChecklistTemplate
from transport.pages.desk_forms import (
    NOT_TOLD,
    DeskForm,
    how_long_ago,
    number,
    which_baby,
    who_said_it,
)


class HandsForm(DeskForm):
    """Who does what beside the baby, told on the phone; stands there as it was told last."""

    alone = forms.ChoiceField(
        required=False,
        label=_("Whose hands are there"),
        choices=[
            NOT_TOLD,
            ("yes", _("one person alone: the desk rings and enters the checks")),
            ("no", _("somebody can help")),
        ],
    )
    ventilates = forms.CharField(max_length=120, required=False, label=_("Who ventilates"))
    relieves = forms.CharField(max_length=120, required=False, label=_("Who can relieve"))
    reports = forms.CharField(max_length=120, required=False, label=_("Who reports"))
    said_by = who_said_it()

    def __init__(self, referral: Referral, *arguments: Any, **options: Any) -> None:
        super().__init__(referral, *arguments, **options)
        alone = "" if referral.alone is None else "yes" if referral.alone else "no"
        self.initial = {**asdict(Hands.of(referral)), "alone": alone}


class CheckForm(DeskForm):
    """One check, told on the phone and entered by the desk."""

    baby = which_baby()
    breathing = forms.ChoiceField(
        required=False, choices=lambda: [NOT_TOLD, *choices(Breathing)], label=_("Breathing")
    )
    support = forms.ChoiceField(
        required=False, choices=lambda: [NOT_TOLD, *choices(Support)], label=_("Helped by")
    )
    heart_rate = number("heart_rate", label=_("Heart rate, counted"))
    heart_rate_band = forms.ChoiceField(
        required=False,
        choices=lambda: [NOT_TOLD, *choices(HeartRateBand)],
        label=_("Heart rate, as felt"),
    )
    spo2 = number("spo2", label=_("SpO2"))
    colour = forms.ChoiceField(
        required=False, choices=lambda: [NOT_TOLD, *choices(Colour)], label=_("Colour")
    )
    temperature_c = number("temperature_c", label=_("Temperature"))
    oxygen_flow_l_min = number("oxygen_flow_l_min", label=_("Oxygen flow"))
    fio2 = number("fio2", label=_("Oxygen fraction"))
    respiratory_rate = number("respiratory_rate", label=_("Breathing rate"))
    response = forms.ChoiceField(
        required=False, choices=lambda: [NOT_TOLD, *choices(Response)], label=_("Answer to touch")
    )
    capillary_refill_s = number("capillary_refill_s", label=_("Pink again after pressing"))
    glucose = Glucose(_("Glucose"))
    glucose_unit = forms.ChoiceField(
        required=False,
        choices=lambda: [NOT_TOLD, *choices(GlucoseUnit)],
        label=_("Glucose unit"),
    )
    oxygen_bar = number("oxygen_bar", label=_("Oxygen gauge, bar"))
    oxygen_psi = number("oxygen_psi", label=_("Oxygen gauge, psi"))
    minutes_ago = how_long_ago()
    stopped_because = forms.CharField(
        max_length=200, required=False, label=_("They have stopped because")
    )
    said_by = who_said_it()

    def __init__(self, referral: Referral, *arguments: Any, **options: Any) -> None:
        super().__init__(referral, *arguments, **options)
        units = units_of_gauges(referral.transfers.select_related("vehicle").last())
        for unit in ("bar", "psi"):
            if unit not in units:
                del self.fields[f"oxygen_{unit}"]

    def clean(self) -> dict[str, Any]:
        """At least one thing was told."""
        told = super().clean() or {}
        if not self.errors and not any(
            told.get(name) not in (None, "")
            for name in self.fields
            if name not in ("baby", "minutes_ago", "said_by")
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
    systolic_mmhg = number("systolic_mmhg", label=_("Blood pressure, upper"))
    diastolic_mmhg = number("diastolic_mmhg", label=_("Blood pressure, lower"))
    consciousness = forms.ChoiceField(
        required=False, choices=lambda: [NOT_TOLD, *choices(Consciousness)], label=_("She is")
    )
    note = forms.CharField(max_length=300, required=False, label=_("In their words"))
    minutes_ago = how_long_ago()
    said_by = who_said_it()

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
    minutes_ago = how_long_ago()
    said_by = who_said_it()

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
    is_decision = forms.BooleanField(
        required=False, label=_("This is what that person decided, not only advice")
    )


class ChestForm(DeskForm):
    """A step tried when the chest did not move, told on the phone."""

    baby = which_baby()
    step = forms.ChoiceField(
        label=_("What was tried"),
        choices=lambda: [(step.code, words(step.words)) for step in CHEST_STEPS],
    )
    moves = forms.ChoiceField(
        label=_("The chest"), choices=[("no", _("did not move")), ("yes", _("moved"))]
    )
    minutes_ago = how_long_ago()
    said_by = who_said_it()


class TickForm(DeskForm):
    """Items of the list before leaving, told on the phone."""

    items = forms.MultipleChoiceField(
        label=_("Seen to, as told"), widget=forms.CheckboxSelectMultiple
    )
    said_by = who_said_it()

    def __init__(self, referral: Referral, *arguments: Any, **options: Any) -> None:
        super().__init__(referral, *arguments, **options)
        field = self.fields["items"]
        assert isinstance(field, forms.MultipleChoiceField)  # noqa: S101 - declared above
        template = newest("departure", referral.district)
        field.choices = [(item["code"], words(item["words"])) for item in _items(template)]


class LeaveForm(DeskForm):
    """They leave with something of the list open."""

    reason = forms.CharField(max_length=200, label=_("Why they leave now"))
    said_by = who_said_it()


def _items(template: ChecklistTemplate | None) -> list[dict[str, Any]]:
    return template.items if template else []


class SignForm(DeskForm):
    """One side's confirmation of a handover, told on the phone."""

    baby = which_baby()
    side = forms.ChoiceField(
        label=_("Which side"),
        choices=[("receiver", _("the unit that receives")), ("giver", _("the escort who gives"))],
    )
    name = forms.CharField(max_length=150, label=_("Name of the person"))
    band_checked = forms.BooleanField(required=False, label=_("The band was read and fits"))
    temperature_c = number("temperature_c", label=_("Temperature on arrival"))
    disagreement = forms.CharField(
        max_length=300, required=False, label=_("What they do not agree on")
    )


class UnsignForm(DeskForm):
    """One side signed wrongly; the other side's signature stays."""

    baby = which_baby()
    side = forms.ChoiceField(
        label=_("Which side"),
        choices=[("receiver", _("the unit that receives")), ("giver", _("the escort who gives"))],
    )
    reason = forms.CharField(max_length=300, label=_("Why it is taken back"))


class OutcomeForm(DeskForm):
    """Tell the attendant how it went."""

    baby = which_baby()
    moment = forms.ChoiceField(
        choices=lambda: [("", _("Of another time")), *choices(OutcomeMoment)],
        required=False,
        label=_("Of when it tells"),
    )
    state = forms.ChoiceField(choices=lambda: choices(OutcomeState), label=_("How the baby is"))
    words = forms.CharField(
        max_length=1000, label=_("Words to the attendant"), widget=forms.Textarea({"rows": 3})
    )
    learn = forms.CharField(
        max_length=1000,
        required=False,
        label=_("What can be learned from it, if anything"),
        widget=forms.Textarea({"rows": 2}),
    )

    def __init__(self, referral: Referral, *arguments: Any, **options: Any) -> None:
        super().__init__(referral, *arguments, **options)
        now = clock.now()
        for baby in referral.babies.order_by("birth_order"):
            if moment := owed_after.moment_now(baby, now):
                self.initial.update({"baby": str(baby.birth_order), "moment": moment})
                return


class ExaminedForm(DeskForm):
    """The first full examination, told on the phone."""

    baby = which_baby()
    examined_by = forms.CharField(max_length=120, label=_("Who examined the baby"))
    findings = forms.CharField(
        max_length=1000,
        required=False,
        label=_("What was found, in words"),
        widget=forms.Textarea({"rows": 3}),
    )
    minutes_ago = how_long_ago()
    said_by = who_said_it()


class EndForm(DeskForm):
    """How the referral ended for one baby; a death and a recovery need a name."""

    baby = which_baby()
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

    baby = which_baby()
    reason = forms.CharField(max_length=300, label=_("Why it is taken back"))


class OverrideForm(DeskForm):
    """A need that was worked out does not hold for this baby; the reason stands beside it."""

    subject_field = "need"
    need = forms.IntegerField(widget=forms.HiddenInput)
    reason = forms.CharField(max_length=300, label=_("Why, and which clinician in charge says so"))
    said_by = who_said_it()


class RestoreForm(OverrideForm):
    """A need that was set aside counts again."""

    reason = forms.CharField(max_length=300, label=_("Why it counts again"))
