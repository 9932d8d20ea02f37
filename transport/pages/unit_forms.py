"""The forms of the receiving unit."""

from datetime import datetime
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from referrals.calc import terms
from referrals.labels import LABELS, choices
from referrals.pages.forms import ClockTime, PageForm, Quantity, Words


class AcceptForm(PageForm):
    """Yes: one press; who receives and at which entrance stand there already."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["receiver"] = Words(_("Who receives the baby"), lines=1)
        self.fields["entrance"] = Words(_("Entrance"), lines=1)


class StillReadyForm(AcceptForm):
    """The new shift is ready too; who receives now stands there already."""


class DeclineForm(PageForm):
    """No, with a reason; the next unit is asked at once."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        words = LABELS[terms.DeclineReason]
        self.fields["reason"] = forms.ChoiceField(
            label=_("Why not?"),
            choices=[(reason.value, words[reason]) for reason in terms.DeclineReason],
            widget=forms.RadioSelect,
            error_messages={"required": _("Choose a reason, so that the next unit is asked.")},
        )
        self.fields["words"] = Words(_("In your words"), lines=1)


class CotsForm(PageForm):
    """How many cots are free, not counting those promised to babies on the way."""

    cots_free = forms.IntegerField(
        label=_("Free cots"),
        min_value=0,
        max_value=200,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
    is_open = forms.BooleanField(label=_("We are open for babies"), required=False)


class ReceiptForm(PageForm):
    """The unit's side of the handover of one baby. A disagreement never keeps a baby out."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["band"] = Words(_("Code on the baby's band, as you read it"), lines=1)
        self.fields["condition"] = forms.ChoiceField(
            label=_("Condition on arrival"),
            choices=[*choices(terms.ConditionOnArrival), ("", _("Not known"))],
            required=False,
            widget=forms.RadioSelect,
            initial="",
        )
        self.fields["temperature_c"] = Quantity("temperature_c", _("Temperature on arrival"))
        self.fields["name"] = Words(_("Received by"), required=True, lines=1)
        self.fields["disagreement"] = Words(_("Something is not as it was told"), lines=2)


class ReasonForm(PageForm):
    """Why something is taken back."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["reason"] = Words(_("Why, in a few words"), required=True, lines=1)


class OutcomeForm(PageForm):
    """How it went, told back to the attendant who called."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["moment"] = forms.ChoiceField(
            label=_("Of when do you tell?"),
            choices=[*choices(terms.OutcomeMoment), ("", _("Of another time"))],
            required=False,
            widget=forms.RadioSelect,
            initial="",
        )
        self.fields["state"] = forms.ChoiceField(
            label=_("How is the baby?"),
            choices=choices(terms.OutcomeState),
            widget=forms.RadioSelect,
        )
        self.fields["words"] = Words(
            _("A few words for the attendant, without names"), required=True
        )
        self.fields["learn"] = Words(_("What can be learned from it, if anything"), lines=2)


class ExaminationForm(PageForm):
    """The first full examination: by whom, when, what was found."""

    def __init__(self, *args: Any, now: datetime, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["examined_by"] = Words(_("Who examined the baby"), required=True, lines=1)
        self.fields["examined_at"] = ClockTime(_("At what time? Empty means now"), now)
        self.fields["findings"] = Words(_("What was found, in words"))
