"""The attendant's forms beside the questions."""

from datetime import datetime
from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from referrals import clock
from referrals.calc import terms
from referrals.labels import choices
from referrals.models import Baby
from referrals.models.observations import BABY_FACTS, MOTHER_FACTS
from referrals.pages.forms import ClockTime, PageForm, Words
from transport.pages.questions import field_of

ENDINGS_AT_THE_POST = (
    terms.Ending.RECOVERED,
    terms.Ending.FAMILY_DECLINED,
    terms.Ending.PLACED_ELSEWHERE,
    terms.Ending.DIED_BEFORE_DEPARTURE,
    terms.Ending.DIED_ON_THE_WAY,
)
"""A handover ends by its two signatures, a mistake is taken back: neither is chosen here."""


class ReadingForm(PageForm):
    """A reading to be corrected: every fact it can hold."""

    def __init__(self, data: Any, told: dict[str, Any]) -> None:
        super().__init__(data, initial=told)
        for name in (*BABY_FACTS, *MOTHER_FACTS):
            if name in told:
                self.fields[name] = field_of(name, clock.now())


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


class AdviceForm(PageForm):
    """Advice of a named clinician, and whether it was read back."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["given_by"] = Words(_("Who gave the advice"), required=True, lines=1)
        self.fields["words"] = Words(_("What was advised"), required=True)
        self.fields["read_back"] = forms.BooleanField(
            label=_("It was read back and confirmed"), required=False
        )


class UnitAdviceForm(AdviceForm):
    """The same at a unit, whose clinician may decide; the post is never asked to."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["is_decision"] = forms.BooleanField(
            label=_("This is what that person decided, not only advice"), required=False
        )


class GiverForm(PageForm):
    """The post's side of the handover."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["band"] = Words(_("Code on the baby's band, as you read it"), lines=1)
        self.fields["name"] = Words(_("Your name"), required=True, lines=1)
        self.fields["disagreement"] = Words(_("Something is not as it should be"), lines=2)
