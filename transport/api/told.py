"""The shape of what is told about a journey."""

from typing import Any

from django.utils.translation import gettext as _
from phonenumber_field.phonenumber import PhoneNumber
from phonenumbers import NumberParseException
from rest_framework import serializers

from referrals.api.told import (
    BabyFactsTold,
    MendingTold,
    Number,
    ReasonTold,
    Text,
    Told,
    WhenTold,
    Whole,
    Word,
    YesNo,
)
from referrals.calc.shifts import NotAClockTime, clock_time_in
from referrals.calc.terms import ConditionOnArrival, VehicleKind
from referrals.models import District
from referrals.models.observations import BABY_FACTS
from transport.calc.closures import ClosureKind
from transport.calc.stages import MILESTONES


class AssignTold(WhenTold):
    """Which vehicle, and who travels as escort."""

    vehicle = Text(30, required=True, help_text="Code of the vehicle.")
    escort_name = Text(120)
    why = Text(120, help_text="Why this one and not the one proposed.")


class KeepTold(WhenTold):
    """Which vehicle is kept for the journey."""

    vehicle = Text(30, required=True, help_text="Code of the vehicle.")


class UnassignTold(WhenTold):
    """The vehicle will not come."""

    reason = Text(300, required=True)
    broken = YesNo()


class SendTowardTold(WhenTold):
    """Drive toward a unit that has not accepted yet."""

    unit = Text(30, required=True)


class MeetingTold(WhenTold):
    """Which second vehicle meets the first, and where."""

    vehicle = Text(30, required=True, help_text="Code of the second vehicle.")
    site = Text(30, required=True, help_text="Code of the site.")


class MeetingStepTold(WhenTold):
    """What happened at the meeting."""

    step = serializers.ChoiceField(
        choices=[
            "first_there", "not_there", "second_left", "second_there", "moved_over", "not_moved",
            "drive_on",
        ]
    )  # fmt: skip
    witness = Text(150, help_text="Who saw the baby move over; the caller when not told.")


class MilestoneTold(WhenTold):
    """One of the four milestones of the road."""

    milestone = Word(MILESTONES, required=True, allow_null=False)


class MilestoneWithdrawn(WhenTold):
    """Which milestone was pressed by mistake; the last one when not told."""

    milestone = Word(MILESTONES)


class CheckTold(BabyFactsTold, MendingTold, WhenTold):
    """One check on the way: the short set for one baby, and what the gauge shows."""

    baby = Whole(min_value=1, max_value=99, help_text="Birth order; 1 when not told.")
    oxygen_bar = Number(help_text="bar")
    oxygen_psi = Number(help_text="psi, where the gauge is in psi")
    stopped_because = Text(300)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """A check says something."""
        if not any(
            attrs.get(name) not in (None, "")
            for name in (*BABY_FACTS, "oxygen_bar", "oxygen_psi", "stopped_because")
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


class SignatureWithdrawn(ReasonTold):
    """Which side of a handover was signed wrongly."""

    baby = Whole(min_value=1, max_value=99, help_text="Birth order; 1 when not told.")
    side = serializers.ChoiceField(choices=["giver", "receiver"])


class EscortTold(WhenTold):
    """Who travels with mother and baby; empty when nobody does after all."""

    name = serializers.CharField(max_length=120, allow_blank=True)


class FoundVehicleTold(Told):
    """A car, motorcycle or boat that somebody found by phone."""

    name = Text(120, required=True)
    kind = Word(VehicleKind, required=True, allow_null=False)
    driver_name = Text(120, required=True)
    driver_phone = Text(30, required=True)
    owner = Text(120)
    fuel = Text(120)
    range_km = Number(min_value=0, max_value=3000, help_text="How far the fuel in it reaches.")
    who_pays = Text(120)
    latitude = Number(min_value=-90, max_value=90, help_text="Where it stands now.")
    longitude = Number(min_value=-180, max_value=180)
    water_litres = Number(min_value=0.1, max_value=100, help_text="Of a cylinder that goes along.")
    bar = Number(help_text="bar, its gauge")


class PlaceTold(WhenTold):
    """Where a vehicle is now: at a site, or at a point."""

    site = Text(30, help_text="Code of a site.")
    latitude = Number(min_value=-90, max_value=90)
    longitude = Number(min_value=-180, max_value=180)


class ReadyTold(WhenTold):
    """A vehicle is free again, with its cylinders filled unless told otherwise.

    With ``step`` only that one is done, or with ``done`` false was not; the last one frees it.
    """

    step = Text(20, help_text="``escort_home``, ``filled`` or ``clean``.")
    done = YesNo(help_text="False takes the step back; true when not told.")

    filled = YesNo(help_text="The cylinders not in ``gauges`` are full; true when not told.")
    gauges = serializers.DictField(
        child=serializers.FloatField(min_value=0),
        required=False,
        help_text="What cylinders show, by label: bar, or psi for a US size.",
    )


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


class ClockTime(serializers.CharField):
    """A time of day as people write it, 06:00; the zone is the district's."""

    def to_internal_value(self, data: Any) -> Any:
        """Read it."""
        try:
            return clock_time_in(super().to_internal_value(data))
        except NotAClockTime as error:
            raise serializers.ValidationError(str(error)) from error

    def to_representation(self, value: Any) -> str:
        """Hours and minutes."""
        return f"{value:%H:%M}"


LEG_FIELDS = (
    "name", "median_minutes", "p90_minutes", "waiting_minutes", "runs_from", "runs_until", "kinds",
)  # fmt: skip


class LegTold(WhenTold):
    """A ferry or boat from one landing to another, one way."""

    name = Text(120, required=True, help_text="How people know it.")
    origin = Text(30, required=True, help_text="Code of the site where it leaves.")
    destination = Text(30, required=True, help_text="Code of the site where it lands.")
    median_minutes = Number(required=True, help_text="The crossing, in one of two cases.")
    p90_minutes = Number(required=True, help_text="Not exceeded in nine of ten crossings.")
    waiting_minutes = Number(help_text="From reaching the landing to leaving it; 0 when not told.")
    runs_from = ClockTime(required=False, allow_null=True, help_text="Local, as in 06:00.")
    runs_until = ClockTime(required=False, allow_null=True)
    kinds = serializers.ListField(
        child=Text(16),
        allow_empty=False,
        help_text="Kinds of vehicle it takes aboard, or boat for one that takes people alone.",
    )


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
