"""The shape of what is told about a journey."""

from typing import Any

from django.utils.translation import gettext as _
from phonenumber_field.phonenumber import PhoneNumber
from phonenumbers import NumberParseException
from rest_framework import serializers

from referrals.api.told import (
    BabyFactsTold,
    Number,
    Text,
    Told,
    WhenTold,
    Whole,
    Word,
    YesNo,
)
from referrals.calc.terms import ConditionOnArrival, VehicleKind
from referrals.models import District
from referrals.models.observations import BABY_FACTS
from transport.calc.closures import ClosureKind
from transport.calc.stages import MILESTONES


class AssignTold(WhenTold):
    """Which vehicle, and who travels as escort."""

    vehicle = Text(30, required=True, help_text="Code of the vehicle.")
    escort_name = Text(120)


class UnassignTold(WhenTold):
    """The vehicle will not come."""

    reason = Text(300, required=True)
    broken = YesNo()


class SendTowardTold(WhenTold):
    """Drive toward a unit that has not accepted yet."""

    unit = Text(30, required=True)


class MilestoneTold(WhenTold):
    """One of the four milestones of the road."""

    milestone = Word(MILESTONES, required=True, allow_null=False)


class MilestoneWithdrawn(WhenTold):
    """Which milestone was pressed by mistake; the last one when not told."""

    milestone = Word(MILESTONES)


class CheckTold(BabyFactsTold, WhenTold):
    """One check on the way: the short set for one baby, and what the gauge shows."""

    baby = Whole(min_value=1, max_value=99, help_text="Birth order; 1 when not told.")
    oxygen_bar = Number(help_text="bar")
    stopped_because = Text(300)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """A check says something."""
        if not any(
            attrs.get(name) not in (None, "")
            for name in (*BABY_FACTS, "oxygen_bar", "stopped_because")
        ):
            raise serializers.ValidationError(
                {"non_field_errors": [_("say at least one thing that was checked")]}
            )
        return super().validate(attrs)


class AnswersTold(WhenTold):
    """Answers to a checklist, under the version that was answered."""

    template = Text(40, required=True)
    version = serializers.IntegerField(min_value=1, max_value=32767)
    answers = serializers.DictField(
        child=serializers.ChoiceField(choices=["yes", "no", "not_needed"]), allow_empty=False
    )


class BandTold(WhenTold):
    """What was read from the band of one baby before leaving."""

    baby = Whole(min_value=1, max_value=99, help_text="Birth order; 1 when not told.")
    band = Text(40, required=True)


class HandoverTold(WhenTold):
    """One side's confirmation of the handover of one baby."""

    baby = Whole(min_value=1, max_value=99, help_text="Birth order; 1 when not told.")
    side = serializers.ChoiceField(choices=["giver", "receiver"])
    name = Text(120, required=True)
    band_checked = YesNo(help_text="This side has read the band and it fits.")
    condition = Word(ConditionOnArrival)
    temperature_c = Number(help_text="°C")
    disagreement = Text(1000)


class FoundVehicleTold(Told):
    """A car, motorcycle or boat that somebody found by phone."""

    name = Text(120, required=True)
    kind = Word(VehicleKind, required=True, allow_null=False)
    driver_name = Text(120, required=True)
    driver_phone = Text(30, required=True)
    owner = Text(120)
    fuel = Text(120)
    who_pays = Text(120)


class ClosureTold(WhenTold):
    """Something closed: at a point, or on the road between two sites."""

    kind = Word(ClosureKind, required=True, allow_null=False)
    name = Text(120, required=True, help_text="How people know it.")
    one_end = Text(30, help_text="Code of a site; the road from there to the other end.")
    other_end = Text(30, help_text="Code of a site.")
    latitude = Number(min_value=-90, max_value=90)
    longitude = Number(min_value=-180, max_value=180)
    radius_km = Number(help_text="Ways that pass within; 2 when not told.")
    hours = Number(help_text="For how long; 12 when not told.")
    words = Text(300)


class PositionTold(Told):
    """One position. Written down for the schema only: the door checks thousands by hand."""

    key = serializers.CharField(max_length=64)
    happened_at = serializers.DateTimeField()
    latitude = serializers.FloatField(min_value=-90, max_value=90)
    longitude = serializers.FloatField(min_value=-180, max_value=180)
    accuracy_m = serializers.FloatField(required=False, allow_null=True, min_value=0)
    sent_at = serializers.DateTimeField(required=False, allow_null=True)


class PositionsTold(Told):
    """A batch of positions."""

    positions = PositionTold(many=True)
    sent_at = serializers.DateTimeField(required=False, allow_null=True)


def phone_in(text: str, district: District) -> Any:
    """A telephone number as people write it in the district.

    Raises:
        ValidationError: beside ``driver_phone``.
    """
    try:
        number = PhoneNumber.from_string(text, region=district.phone_region or None)
    except NumberParseException:
        number = None
    if number is None or not number.is_valid():
        sentence = _("this is not a telephone number that can be called")
        raise serializers.ValidationError({"driver_phone": [sentence]})
    return number
