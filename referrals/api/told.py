"""The shape of what is told to the API. Shape only: what is possible is for the verbs to say."""

from math import isfinite
from typing import Any

from django.utils.translation import gettext_lazy as _
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from referrals.calc.scores import ScoreKind
from referrals.calc.terms import (
    Bleeding,
    Breathing,
    Colour,
    Consciousness,
    DeclineReason,
    Ending,
    GlucoseUnit,
    HeartRateBand,
    OutcomeMoment,
    OutcomeState,
    Placenta,
    Response,
    Support,
)
from referrals.models.observations import BABY_FACTS, MOTHER_FACTS

LARGEST_ID = 2**63 - 1
LONGEST_TEXT = 4000
LONGEST_LIST = 12
LONGEST_CODE = 40


class Word(serializers.ChoiceField):
    """One word of a list of the record; the refusal names the words there are."""

    def __init__(self, words: Any, **options: Any) -> None:
        options.setdefault("required", False)
        options.setdefault("allow_null", True)
        super().__init__(choices=[word.value for word in words], **options)

    def to_internal_value(self, data: Any) -> Any:
        """A word of the list."""
        if not isinstance(data, str) or data not in self.choices:
            sentence = _("%(data)r is not a word for this; known are: %(known)s")
            known = ", ".join(self.choices)
            raise serializers.ValidationError(sentence % {"data": str(data)[:40], "known": known})
        return data


class Number(serializers.FloatField):
    """A number that was told; true and false are none."""

    def __init__(self, **options: Any) -> None:
        options.setdefault("required", False)
        options.setdefault("allow_null", True)
        super().__init__(**options)

    def to_internal_value(self, data: Any) -> float:
        """A finite number."""
        if isinstance(data, bool):
            self.fail("invalid")
        try:
            value = super().to_internal_value(data)
        except OverflowError:
            self.fail("invalid")
        return value


class Whole(serializers.IntegerField):
    """A whole number that was told."""

    def __init__(self, **options: Any) -> None:
        options.setdefault("required", False)
        options.setdefault("allow_null", True)
        super().__init__(**options)


class YesNo(serializers.BooleanField):
    """Yes, no, or not told."""

    def __init__(self, **options: Any) -> None:
        options.setdefault("required", False)
        options.setdefault("allow_null", True)
        super().__init__(**options)

    def to_internal_value(self, data: Any) -> bool:
        """Only true and false, no words or numbers for them."""
        if not isinstance(data, bool):
            self.fail("invalid", input=data)
        return data


class Text(serializers.CharField):
    """Words in free form."""

    def __init__(self, most: int = LONGEST_TEXT, **options: Any) -> None:
        if not options.get("required"):
            options["required"] = False
            options.setdefault("allow_blank", True)
            options.setdefault("allow_null", True)
        super().__init__(max_length=most, **options)

    def to_internal_value(self, data: Any) -> str:
        """Only text; a number in its place is a slip worth showing."""
        if not isinstance(data, str):
            self.fail("invalid")
        return super().to_internal_value(data)


class Moment(serializers.DateTimeField):
    """A time in ISO 8601, with its offset; without one it is read as UTC."""

    def __init__(self, **options: Any) -> None:
        options.setdefault("required", False)
        options.setdefault("allow_null", True)
        super().__init__(**options)


class Told(serializers.Serializer):
    """What is told: a field that nobody knows is refused, not lost."""

    def to_internal_value(self, data: Any) -> Any:
        """The told values, or every fault beside its field."""
        unknown = sorted(set(data) - set(self.fields)) if isinstance(data, dict) else []
        if unknown:
            known = ", ".join(self.fields)
            sentence = _("there is no field of this name; known are: %(known)s") % {"known": known}
            raise serializers.ValidationError({name: [sentence] for name in unknown})
        return super().to_internal_value(data)


class WhenTold(Told):
    """What a device says with a time: its own clock, and when it sent."""

    happened_at = Moment(help_text="When it happened, by the device's own clock.")
    sent_at = Moment(help_text="When the device sends this, by the same clock.")


class BabyFactsTold(serializers.Serializer):
    """Everything that can be seen or measured of a baby; all of it may be missing."""

    breathing = Word(Breathing)
    support = Word(Support)
    support_since = Moment(help_text="Since when it has been in use.")
    chest_moving = YesNo()
    heart_rate = Whole(help_text="beats/min")
    heart_rate_band = Word(HeartRateBand)
    respiratory_rate = Whole(help_text="breaths/min")
    temperature_c = Number(help_text="°C")
    spo2 = Whole(help_text="%")
    oxygen_flow_l_min = Number(help_text="L/min")
    fio2 = Number(help_text="0.21 to 1")
    colour = Word(Colour)
    capillary_refill_s = Number(help_text="s until pressed skin is pink again")
    response = Word(Response)
    glucose = Number(help_text="in the unit of glucose_unit")
    glucose_unit = Word(GlucoseUnit)
    convulsions = YesNo()
    weight_g = Whole(help_text="g")
    gestation_weeks = Number(help_text="completed weeks, with days as a fraction")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """A glucose means nothing without its unit, nor a time without the support it is of."""
        if attrs.get("glucose") is not None and not attrs.get("glucose_unit"):
            raise serializers.ValidationError({"glucose_unit": [_("say mg_dl or mmol_l")]})
        if attrs.get("support_since") and not attrs.get("support"):
            raise serializers.ValidationError({"support": [_("say which support it is")]})
        return super().validate(attrs)


class MotherFactsTold(serializers.Serializer):
    """What can be seen or measured of the mother."""

    bleeding = Word(Bleeding)
    placenta = Word(Placenta)
    systolic_mmhg = Whole(help_text="mmHg")
    diastolic_mmhg = Whole(help_text="mmHg")
    consciousness = Word(Consciousness)


BABY_DETAILS = ("sex", "born_at", "ventilated_since", "weight_guessed", "name")


class BabyDetailsTold(serializers.Serializer):
    """What does not change with time."""

    sex = serializers.ChoiceField(
        choices=["female", "male", "not_clear"], required=False, allow_null=True
    )
    born_at = Moment()
    ventilated_since = Moment()
    weight_guessed = YesNo()
    name = Text(200)


class BabyTold(BabyFactsTold, BabyDetailsTold, Told):
    """One baby at the raise."""


class ReferralTold(WhenTold):
    """A call for help. Everything may be missing but the caller's place, where it is not known."""

    site = Text(30, help_text="Code of the site; needed unless the caller is at one post only.")
    babies: serializers.ListSerializer = serializers.ListSerializer(
        child=BabyTold(), required=False, allow_null=True, max_length=LONGEST_LIST
    )
    note = Text()
    units = serializers.ListField(
        child=Text(30, required=True),
        required=False,
        allow_null=True,
        max_length=LONGEST_LIST,
        help_text="Ask these units (codes) instead of the best candidates.",
    )


class MendingTold(Told):
    """What stands in the place of an entry that was wrong; the old one stays in sight."""

    corrects = Whole(min_value=1, max_value=LARGEST_ID, help_text="The entry this corrects.")
    reason = Text(300, help_text="Why it is corrected, if it needs saying.")


class ObservationTold(BabyFactsTold, MotherFactsTold, MendingTold, WhenTold):
    """What was seen of one baby, or of the mother."""

    baby = Whole(min_value=1, max_value=99, help_text="Birth order; 1 when not told.")
    mother = YesNo(help_text="True when this is about the mother.")
    note = Text()

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """An observation says something."""
        said = [
            name
            for name in (*BABY_FACTS, *MOTHER_FACTS, "note")
            if attrs.get(name) not in (None, "")
        ]
        if not said:
            raise serializers.ValidationError(
                {"non_field_errors": [_("say at least one thing that was seen, or a note")]}
            )
        return super().validate(attrs)


class BabyDescribedTold(BabyDetailsTold, WhenTold):
    """What does not change with time, told or corrected later."""

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """It says something."""
        if not any(attrs.get(name) is not None for name in BABY_DETAILS):
            raise serializers.ValidationError({"non_field_errors": [_("say at least one thing")]})
        return super().validate(attrs)


class BabyAddedTold(BabyFactsTold, BabyDetailsTold, WhenTold):
    """A twin that was not told of at the raise; everything may be missing."""


class MotherTold(WhenTold):
    """What does not change on the way."""

    age_years = Whole(help_text="years")
    travels = YesNo(help_text="Whether she travels with the baby.")


class HandsTold(WhenTold):
    """Whose hands are there; what is left out stays as it was told before."""

    ventilates = Text(120)
    relieves = Text(120)
    reports = Text(120)
    alone = YesNo(help_text="One person only: the desk rings and enters the checks.")


@extend_schema_field({"oneOf": [{"type": "string"}, {"type": "number"}]})
class ItemFound(serializers.Field):
    """What was found of one item of a score: the code of a finding, or a number."""

    def to_internal_value(self, data: Any) -> str | float:
        """A word or a finite number; true and false are neither."""
        if isinstance(data, str) and len(data) <= LONGEST_CODE:
            return data
        if isinstance(data, int | float) and not isinstance(data, bool) and isfinite(data):
            return data
        raise serializers.ValidationError(_("say the word of a finding, or a number"))

    def to_representation(self, value: Any) -> Any:
        """As it was told."""
        return value


class ScoreTold(MendingTold, WhenTold):
    """A published score: what was found of each item; a missing one leaves it without a number."""

    score = Word(ScoreKind, required=True, allow_null=False)
    items = serializers.DictField(
        child=ItemFound(), allow_empty=False, help_text="By item, as in the answer."
    )
    glucose_unit = Word(GlucoseUnit, help_text="Needed with the item sugar.")
    minute = Whole(min_value=0, max_value=60, help_text="After birth; of the Apgar score.")
    help_given = YesNo(help_text="The baby was being helped to breathe.")
    baby = Whole(min_value=1, max_value=99, help_text="Birth order; 1 when not told.")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """A glucose means nothing without its unit."""
        if "sugar" in attrs["items"] and not attrs.get("glucose_unit"):
            raise serializers.ValidationError({"glucose_unit": [_("say mg_dl or mmol_l")]})
        return super().validate(attrs)


class TreatmentTold(MendingTold, WhenTold):
    """What was given, in the words of whoever told it."""

    words = Text(required=True)
    given_by = Text(120)
    given_at = Moment()
    baby = Whole(min_value=1, max_value=99)
    mother = YesNo()


class AdviceTold(MendingTold, WhenTold):
    """Advice of a named clinician."""

    given_by = Text(120, required=True)
    words = Text(required=True)
    asked_by = Text(120)
    read_back = YesNo()
    is_decision = YesNo(help_text="What that person decided, not only advice.")


class ReasonTold(WhenTold):
    """A deed that needs a reason."""

    reason = Text(300, required=True)


class JoinTold(WhenTold):
    """Which referral goes on."""

    into = Text(20, required=True)


class AskTold(WhenTold):
    """Which unit to ask."""

    unit = Text(30, required=True)


class AcceptTold(WhenTold):
    """Who receives, and at which door."""

    receiver = Text(120)
    entrance = Text(120, help_text="Needed when the unit has no usual entrance.")


class DeclineTold(WhenTold):
    """Why a unit cannot take the babies."""

    reason = Word(DeclineReason, required=True, allow_null=False)
    words = Text()


class EndingTold(WhenTold):
    """How the referral ended for one baby. A handover is signed by both sides, elsewhere."""

    ending = Word(
        [ending for ending in Ending if ending is not Ending.HANDED_OVER],
        required=True,
        allow_null=False,
    )
    determined_by = Text(120, help_text="Needed for a death and for recovered.")
    band = Text(40, help_text="Needed for a death: the code as read from the baby's band.")
    ended_at = Moment(help_text="Time of death or other end; now when not told.")
    words = Text()


class OutcomeTold(MendingTold, WhenTold):
    """How it went, for the attendant who raised the referral."""

    moment = Word(OutcomeMoment, help_text="Of when it tells; at any time when not told.")
    state = Word(OutcomeState, required=True, allow_null=False)
    words = Text(required=True)
    learn = Text(help_text="What to learn from it.")
    baby = Whole(min_value=1, max_value=99)


class CotsTold(WhenTold):
    """How many cots are free, not counting those promised to babies on the way."""

    cots_free = serializers.IntegerField(min_value=0, max_value=999)
    is_open = YesNo()


def facts_in(told: dict[str, Any]) -> dict[str, Any]:
    """The facts of a baby or the mother among what was told."""
    return {name: told[name] for name in (*BABY_FACTS, *MOTHER_FACTS) if name in told}
