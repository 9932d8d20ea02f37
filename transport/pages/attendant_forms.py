"""The forms of the attendant: one group of questions a screen, nothing required but names."""

from datetime import datetime
from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from referrals.calc import terms
from referrals.labels import FIELDS, SEXES, choices
from referrals.models import Baby
from referrals.models.observations import BABY_FACTS, MOTHER_FACTS
from referrals.pages.forms import (
    NOT_KNOWN,
    ChoiceOf,
    ClockTime,
    PageForm,
    Quantity,
    Words,
    YesNo,
)
from referrals.reading import WORDS

MOST_BABIES = 4
ENDINGS_AT_THE_POST = (
    terms.Ending.RECOVERED,
    terms.Ending.FAMILY_DECLINED,
    terms.Ending.PLACED_ELSEWHERE,
    terms.Ending.DIED_BEFORE_DEPARTURE,
    terms.Ending.DIED_ON_THE_WAY,
)
"""A handover ends by its two signatures, a mistake is taken back: neither is chosen here."""


class NowForm(PageForm):
    """Screen 1: how the baby is now. Nothing here needs an instrument."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["breathing"] = ChoiceOf(terms.Breathing, _("Breathing"))
        self.fields["support"] = ChoiceOf(terms.Support, _("What helps the baby breathe"))
        self.fields["chest_moving"] = YesNo(_("Does the chest rise with each squeeze?"))
        self.fields["heart_rate_band"] = ChoiceOf(
            terms.HeartRateBand, _("Heartbeats in a minute, felt or heard")
        )
        self.fields["colour"] = ChoiceOf(terms.Colour, _("Colour"))


class MeasuredForm(PageForm):
    """Screen 2: what was measured, each with its unit."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["temperature_c"] = Quantity("temperature_c", _("Temperature"))
        self.fields["spo2"] = Quantity("spo2", _("Oxygen in the blood, SpO2"))
        self.fields["heart_rate"] = Quantity("heart_rate", _("Heart rate, if counted"))
        self.fields["oxygen_flow_l_min"] = Quantity("oxygen_flow_l_min", _("Oxygen flow"))
        self.fields["weight_g"] = Quantity("weight_g", _("Weight"))
        self.fields["weight_guessed"] = forms.ChoiceField(
            label=_("The weight is"),
            choices=[("measured", _("measured")), ("guessed", _("a guess"))],
            initial="measured",
            required=False,
            widget=forms.RadioSelect,
        )
        self.fields["gestation_weeks"] = Quantity("gestation_weeks", _("Weeks of pregnancy"))


class BirthForm(PageForm):
    """Screen 3: the birth, the mother, and whose hands there are."""

    def __init__(self, *args: Any, now: datetime, babies: int, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["born_at"] = ClockTime(_("Time of birth"), now)
        self.fields["sex"] = forms.ChoiceField(
            label=_("The baby is a"),
            choices=[*SEXES.items(), NOT_KNOWN],
            required=False,
            widget=forms.RadioSelect,
            initial="",
        )
        self.fields["babies"] = forms.ChoiceField(
            label=_("Babies that need transfer"),
            choices=[(str(count), str(count)) for count in range(babies, MOST_BABIES + 1)],
            required=False,
            widget=forms.RadioSelect,
            initial=str(babies),
        )
        self.fields["bleeding"] = ChoiceOf(terms.Bleeding, _("The mother's bleeding"))
        self.fields["placenta"] = ChoiceOf(terms.Placenta, _("The placenta"))
        self.fields["consciousness"] = ChoiceOf(terms.Consciousness, _("The mother is"))
        self.fields["systolic_mmhg"] = Quantity("systolic_mmhg", _("Blood pressure, upper"))
        self.fields["diastolic_mmhg"] = Quantity("diastolic_mmhg", _("Blood pressure, lower"))
        self.fields["alone"] = forms.ChoiceField(
            label=_("Whose hands are there?"),
            choices=[
                ("yes", _("I am alone: please ring me")),
                ("no", _("Somebody can help")),
                NOT_KNOWN,
            ],
            required=False,
            widget=forms.RadioSelect,
            initial="",
        )
        self.fields["ventilates"] = Words(_("Who ventilates"), lines=1)
        self.fields["relieves"] = Words(_("Who can relieve"), lines=1)


class CheckForm(PageForm):
    """One check: a few taps, for whoever is not ventilating."""

    def __init__(self, *args: Any, with_temperature: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["breathing"] = ChoiceOf(terms.Breathing, _("Breathing"))
        self.fields["heart_rate_band"] = ChoiceOf(terms.HeartRateBand, _("Heartbeats in a minute"))
        self.fields["colour"] = ChoiceOf(terms.Colour, _("Colour"))
        self.fields["oxygen_bar"] = Quantity("oxygen_bar", _("Oxygen gauge"))
        if with_temperature:
            self.fields["temperature_c"] = Quantity("temperature_c", _("Temperature, once an hour"))
        self.more = ("spo2", "heart_rate", "oxygen_flow_l_min", "stopped_because")
        self.fields["spo2"] = Quantity("spo2", _("Oxygen in the blood, SpO2"))
        self.fields["heart_rate"] = Quantity("heart_rate", _("Heart rate, if counted"))
        self.fields["oxygen_flow_l_min"] = Quantity("oxygen_flow_l_min", _("Oxygen flow"))
        self.fields["stopped_because"] = Words(_("We have stopped because"), lines=1)

    def first_fields(self) -> list[forms.BoundField]:
        """What is asked at once."""
        return [field for field in self if field.name not in self.more]

    def more_fields(self) -> list[forms.BoundField]:
        """What may be added."""
        return [field for field in self if field.name in self.more]


class ReadingForm(PageForm):
    """A reading to be corrected: every fact it can hold."""

    def __init__(self, data: Any, told: dict[str, Any]) -> None:
        super().__init__(data, initial=told)
        for name in (*BABY_FACTS, *MOTHER_FACTS):
            if name in told:
                self.fields[name] = _field_for(name)


class EndingForm(PageForm):
    """How it ended for one baby. A death names who determined it, when, and repeats the band."""

    def __init__(self, *args: Any, now: datetime, raised_at: datetime, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["ending"] = forms.ChoiceField(
            label=_("How did it end?"),
            choices=[
                pair
                for pair in choices(terms.Ending)
                if pair[0] in {ending.value for ending in ENDINGS_AT_THE_POST}
            ],
            widget=forms.RadioSelect,
            error_messages={"required": _("Choose one of these.")},
        )
        self.fields["determined_by"] = Words(
            gettext_lazy("Name of the person who determined it"), lines=1
        )
        self.fields["band"] = Words(_("Code on the baby's band"), lines=1)
        self.fields["ended_at"] = ClockTime(
            _("If the baby has died: at what time? Empty means now"), now, not_before=raised_at
        )
        self.fields["words"] = Words(_("Anything to add"), lines=2)


class TreatmentForm(PageForm):
    """What was given, in the words of whoever gave it."""

    def __init__(self, *args: Any, now: datetime, babies: list[Baby], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["whose"] = forms.ChoiceField(
            label=_("Who got it"),
            choices=[
                *((str(baby.birth_order), baby.code) for baby in babies),
                ("mother", _("the mother")),
            ],
            initial=str(babies[0].birth_order) if len(babies) == 1 else None,
            widget=forms.RadioSelect,
            error_messages={"required": _("Say who got it.")},
        )
        self.fields["words"] = Words(_("What was given, and how much"), required=True)
        self.fields["given_by"] = Words(_("Given by"), lines=1)
        self.fields["given_at"] = ClockTime(_("At what time"), now)


class MotherForm(PageForm):
    """How the mother is, a patient herself. Each answer can be left out."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in MOTHER_FACTS:
            self.fields[name] = _field_for(name)
        self.fields["note"] = Words(_("Anything to add"), lines=2)


class AdviceForm(PageForm):
    """Advice of a named clinician, and whether it was read back."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["given_by"] = Words(_("Who gave the advice"), required=True, lines=1)
        self.fields["words"] = Words(_("What was advised"), required=True)
        self.fields["read_back"] = forms.BooleanField(
            label=_("It was read back and confirmed"), required=False
        )


class GiverForm(PageForm):
    """The post's side of the handover."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["band"] = Words(_("Code on the baby's band, as you read it"), lines=1)
        self.fields["name"] = Words(_("Your name"), required=True, lines=1)
        self.fields["disagreement"] = Words(_("Something is not as it should be"), lines=2)


def _field_for(name: str) -> forms.Field:
    if name in WORDS:
        return ChoiceOf(WORDS[name], FIELDS[name])
    if name in ("chest_moving", "convulsions"):
        return YesNo(FIELDS[name])
    return Quantity("glucose_mg_dl" if name == "glucose" else name, FIELDS[name])
