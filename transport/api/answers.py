"""The shape of what is answered about a journey: one for the record, one for the driver."""

from datetime import datetime
from typing import Any

from django.db.models import Prefetch, QuerySet
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from referrals.api.answers import (
    MendedAnswer,
    OwnWords,
    Phone,
    ReferralAnswer,
    WithdrawnAnswer,
    WithHead,
    readable_referrals,
)
from referrals.models import Referral, Staff, Unit
from transport.api.oxygen import OxygenAnswer
from transport.api.told import ClockTime
from transport.calc.stages import TransferStage, next_milestone
from transport.models import Transfer

WINDOW = ("p10", "p50", "p90", "method")


class MeetingAnswer(serializers.Serializer):
    """Two vehicles that meet, and how far that has come."""

    site = serializers.CharField(source="site.code")
    site_name = serializers.CharField(source="site.name")
    first_vehicle = serializers.CharField(source="first_vehicle.code")
    vehicle = serializers.CharField(source="vehicle.code")
    driver_phone = serializers.CharField(allow_blank=True)
    set_at = serializers.DateTimeField()
    second_left_at = serializers.DateTimeField(allow_null=True)
    first_there_at = serializers.DateTimeField(allow_null=True)
    second_there_at = serializers.DateTimeField(allow_null=True)
    moved_at = serializers.DateTimeField(allow_null=True)
    ended_at = serializers.DateTimeField(allow_null=True)


class TransferSummary(serializers.Serializer):
    """The newest journey of a referral."""

    id = serializers.IntegerField()
    stage = serializers.CharField()
    vehicle = serializers.SerializerMethodField()
    vehicle_name = serializers.SerializerMethodField()
    driver_name = serializers.CharField(allow_blank=True)
    driver_phone = serializers.CharField(allow_blank=True)
    destination = serializers.SerializerMethodField()
    without_acceptance = serializers.BooleanField()

    def get_vehicle(self, transfer: Transfer) -> str | None:
        """Code of the vehicle sent."""
        return transfer.vehicle.code if transfer.vehicle else None

    def get_vehicle_name(self, transfer: Transfer) -> str:
        """What people call it."""
        return transfer.vehicle.name if transfer.vehicle else ""

    def get_destination(self, transfer: Transfer) -> str | None:
        """Code of the unit it goes to."""
        return transfer.destination.code if transfer.destination else None


class ReferralWithJourney(ReferralAnswer):
    """A referral with the summary of its journey."""

    transfer = serializers.SerializerMethodField()

    @extend_schema_field(TransferSummary(allow_null=True))
    def get_transfer(self, referral: Referral) -> dict[str, Any] | None:
        """The newest journey."""
        rows = referral.transfers.all()
        return TransferSummary(rows[0]).data if rows else None


def referrals_with_journeys(staff: Staff) -> QuerySet[Referral]:
    """The referrals a person sees, with their journeys."""
    newest_first = Transfer.objects.select_related("vehicle", "destination").order_by("-pk")
    return readable_referrals(staff).prefetch_related(Prefetch("transfers", queryset=newest_first))


class WindowAnswer(serializers.Serializer):
    """When the baby is expected at the unit: early, likely, late."""

    p10 = serializers.DateTimeField()
    p50 = serializers.DateTimeField()
    p90 = serializers.DateTimeField()
    method = serializers.CharField()


class MilestoneRow(serializers.Serializer):
    """One milestone as it was reported."""

    milestone = serializers.CharField(source="kind")
    reached_at = serializers.DateTimeField()
    received_at = serializers.DateTimeField()
    reported_by = serializers.CharField()
    applied = serializers.BooleanField()
    withdrawn_at = serializers.DateTimeField(allow_null=True)
    withdrawn_by = serializers.CharField(allow_blank=True)


class TransferAnswer(TransferSummary, WithHead):
    """A journey for the post, the unit and the desk."""

    referral = serializers.CharField(source="referral.code")
    site = serializers.CharField(source="referral.origin.code")
    escort_name = serializers.CharField(allow_blank=True)
    wanted_at = serializers.DateTimeField()
    assigned_at = serializers.DateTimeField(allow_null=True)
    collecting_at = serializers.DateTimeField(allow_null=True)
    at_origin_at = serializers.DateTimeField(allow_null=True)
    on_the_road_at = serializers.DateTimeField(allow_null=True)
    arrived_at = serializers.DateTimeField(allow_null=True)
    finished_at = serializers.DateTimeField(allow_null=True)
    last_fix_at = serializers.DateTimeField(allow_null=True)
    next_milestone = serializers.SerializerMethodField()

    def get_next_milestone(self, transfer: Transfer) -> str | None:
        """The one the driver reports next."""
        step = next_milestone(TransferStage(transfer.stage))
        return step.value if step else None


class TransferDetailAnswer(TransferAnswer):
    """A journey with its arrival window, its oxygen and milestones."""

    window = serializers.SerializerMethodField()
    oxygen = serializers.SerializerMethodField()
    milestones = MilestoneRow(many=True)
    meetings = MeetingAnswer(many=True)

    @extend_schema_field(WindowAnswer(allow_null=True))
    def get_window(self, transfer: Transfer) -> dict[str, Any] | None:
        """The window as things stand now; nothing while it is not known."""
        return self.context.get("window")

    @extend_schema_field(OxygenAnswer(many=True))
    def get_oxygen(self, transfer: Transfer) -> list[dict[str, Any]]:
        """Of the vehicle with the baby, then of one that meets it; none while it is not known."""
        return self.context.get("oxygen", [])


class PlaceForDriver(serializers.Serializer):
    """Where to drive and whom to call there."""

    name = serializers.CharField()
    latitude = serializers.FloatField()
    longitude = serializers.FloatField()
    phone = serializers.CharField(allow_blank=True)
    entrance = serializers.CharField(allow_blank=True)


class DriverAnswer(WithHead):
    """The journey for its driver: where, whom to call, what comes next. No names, no lateness."""

    id = serializers.IntegerField()
    referral = serializers.CharField(source="referral.code")
    stage = serializers.CharField()
    babies = serializers.SerializerMethodField()
    meeting = serializers.SerializerMethodField()
    pickup = serializers.SerializerMethodField()
    destination = serializers.SerializerMethodField()
    without_acceptance = serializers.BooleanField()
    desk_phone = Phone(source="referral.district.desk_phone")
    next_milestone = serializers.SerializerMethodField()
    server_time = serializers.SerializerMethodField()

    def get_babies(self, transfer: Transfer) -> list[str]:
        """The codes on the written bands."""
        return [baby.code for baby in transfer.referral.babies.all()]

    @extend_schema_field(MeetingAnswer(allow_null=True))
    def get_meeting(self, transfer: Transfer) -> dict[str, Any] | None:
        """Where the other vehicle is met, while the baby has not moved over."""
        meeting = transfer.standing_meeting()
        return MeetingAnswer(meeting).data if meeting else None

    @extend_schema_field(PlaceForDriver())
    def get_pickup(self, transfer: Transfer) -> dict[str, Any]:
        """The post; for the second driver of a meeting the place where the two meet."""
        meeting = self.context["view"].second_of(transfer)
        if meeting:
            return _place(meeting.site.name, meeting.site, meeting.site.phone, "")
        site = transfer.referral.origin
        return _place(site.name, site, site.phone, "")

    @extend_schema_field(PlaceForDriver(allow_null=True))
    def get_destination(self, transfer: Transfer) -> dict[str, Any] | None:
        """The unit, with the entrance named when it accepted; nothing while none is known."""
        unit: Unit | None = transfer.destination
        if unit is None:
            return None
        return _place(str(unit), unit.site, unit.phone, transfer.entrance())

    def get_next_milestone(self, transfer: Transfer) -> str | None:
        """The one button; of the second driver of a meeting, their own."""
        meeting = self.context["view"].second_of(transfer)
        stage = meeting.reached() if meeting else TransferStage(transfer.stage)
        step = next_milestone(stage)
        return step.value if step else None

    def get_server_time(self, transfer: Transfer) -> datetime:
        """For the phone to know its own offset."""
        return self.context["view"].now


def _place(name: str, site: Any, phone: Any, entrance: str) -> dict[str, Any]:
    return {
        "name": name,
        "latitude": site.latitude,
        "longitude": site.longitude,
        "phone": phone.as_e164 if phone else "",
        "entrance": entrance,
    }


class CheckAnswer(MendedAnswer):
    """One check of one baby."""

    id = serializers.IntegerField()
    baby = serializers.CharField(source="baby.code")
    checked_at = serializers.DateTimeField()
    checked_by = serializers.CharField()
    oxygen_bar = serializers.FloatField(allow_null=True)
    oxygen_psi = serializers.FloatField(allow_null=True)
    facts = serializers.SerializerMethodField()
    stopped_because = serializers.SerializerMethodField()

    def get_facts(self, row: Any) -> dict[str, Any]:
        """What was seen."""
        return row.facts()

    def get_stopped_because(self, row: Any) -> str:
        """Why the vehicle stopped, if it did."""
        return row.stopped_because.text if row.stopped_because else ""


class BandReadingAnswer(WithdrawnAnswer):
    """The band of one baby was read before leaving."""

    id = serializers.IntegerField()
    baby = serializers.CharField(source="baby.code")
    read_at = serializers.DateTimeField()
    read_by = serializers.SerializerMethodField()

    def get_read_by(self, row: Any) -> str:
        """Who read it; the driver's link sees only that it was read."""
        return "" if self.context["view"].driver else row.read_by


class TemplateItem(serializers.Serializer):
    """One thing to see to, with its source and the newest answer."""

    code = serializers.CharField()
    words = OwnWords()
    source = serializers.CharField()  # type: ignore[assignment]
    must = serializers.BooleanField()
    answer = serializers.CharField(allow_null=True)
    answered_by = serializers.CharField(allow_null=True)
    answered_at = serializers.DateTimeField(allow_null=True)
    answered_version = serializers.IntegerField(
        allow_null=True, help_text="Of the list that the answer was given to."
    )


class ChecklistAnswered(WithHead):
    """A checklist of a journey: its newest version, and the newest answer to each item."""

    template = serializers.CharField()
    version = serializers.IntegerField()
    title = serializers.CharField()
    when = serializers.CharField()
    items = TemplateItem(many=True)
    open = serializers.ListField(
        child=serializers.CharField(), help_text="Codes that must be seen to and are not."
    )
    left_because = serializers.CharField(
        allow_blank=True, help_text="Why they left with some of it open."
    )
    left_at = serializers.DateTimeField(allow_null=True)


class HandoverAnswer(WithHead):
    """The handover of one baby."""

    baby = serializers.CharField(source="baby.code")
    given_by = serializers.CharField(allow_blank=True)
    given_at = serializers.DateTimeField(allow_null=True)
    received_by = serializers.CharField(allow_blank=True)
    received_at = serializers.DateTimeField(allow_null=True)
    giver_band_checked = serializers.BooleanField(source="given_band_checked")
    receiver_band_checked = serializers.BooleanField(source="received_band_checked")
    band_checked = serializers.BooleanField(help_text="Both sides have read the band.")
    condition = serializers.CharField(allow_blank=True)
    temperature_c = serializers.FloatField(allow_null=True)
    disagreement = serializers.SerializerMethodField()
    is_signed = serializers.BooleanField()

    def get_disagreement(self, row: Any) -> str:
        """What one side did not agree with."""
        return row.disagreement.text if row.disagreement else ""

    def to_representation(self, row: Any) -> dict[str, Any]:
        """The driver's link sees that both have signed, not who received."""
        data = super().to_representation(row)
        if self.context["view"].driver:
            data |= {"received_by": "", "disagreement": ""}
        return data


class VehicleAnswer(serializers.Serializer):
    """A vehicle."""

    code = serializers.CharField()
    name = serializers.CharField()
    kind = serializers.CharField()
    base = serializers.SerializerMethodField()
    state = serializers.CharField()
    capabilities = serializers.ListField(child=serializers.CharField())
    registered = serializers.BooleanField()
    driver_name = serializers.SerializerMethodField()
    driver_phone = serializers.SerializerMethodField()
    owner = serializers.CharField(allow_blank=True)
    fuel = serializers.CharField(allow_blank=True)
    who_pays = serializers.CharField(allow_blank=True)
    latitude = serializers.FloatField(allow_null=True)
    longitude = serializers.FloatField(allow_null=True)
    seen_at = serializers.DateTimeField(allow_null=True)
    fixings = serializers.ListField(child=serializers.CharField(), allow_null=True)
    range_km = serializers.FloatField(allow_null=True)
    escort_home_at = serializers.DateTimeField(allow_null=True)
    filled_at = serializers.DateTimeField(allow_null=True)
    clean_at = serializers.DateTimeField(allow_null=True)
    gauges = serializers.SerializerMethodField()

    def get_gauges(self, vehicle: Any) -> dict[str, float]:
        """What its cylinders showed last, by label: bar, or psi for a US size."""
        return {row.label: row.shows for row in vehicle.cylinders.all()}

    oxygen = serializers.CharField(source="oxygen_words")

    def get_base(self, vehicle: Any) -> str | None:
        """Code of the site where it stands."""
        return vehicle.base.code if vehicle.base else None

    def get_driver_name(self, vehicle: Any) -> str:
        """Who drives."""
        return vehicle.who_drives()[0]

    def get_driver_phone(self, vehicle: Any) -> str:
        """Whom to call."""
        return vehicle.who_drives()[1]


class RefusedPosition(serializers.Serializer):
    """A position that could not be stored, by its place in the batch."""

    index = serializers.IntegerField()
    field = serializers.CharField()
    sentence = serializers.CharField()


class PositionsAnswer(serializers.Serializer):
    """How many positions are stored now, and those that could not be."""

    stored = serializers.IntegerField()
    errors = RefusedPosition(many=True)  # type: ignore[assignment]


class CandidateAnswer(serializers.Serializer):
    """One unit as a candidate; minutes count from ``made_at``."""

    key = serializers.CharField(help_text="Code of the unit.")
    name = serializers.CharField()
    possible = serializers.BooleanField()
    order = serializers.IntegerField()
    road = serializers.DictField()
    to_baby = serializers.DictField(allow_null=True)
    arrival = serializers.DictField(allow_null=True)
    vehicle_key = serializers.CharField(allow_null=True)
    reasons_for = serializers.ListField(child=serializers.CharField())
    reasons_against = serializers.ListField(child=serializers.CharField())
    oxygen = serializers.DictField(allow_null=True)
    limit_probability = serializers.FloatField(allow_null=True)
    order_minutes = serializers.FloatField(
        allow_null=True, help_text="The figure of the order; null where no way is known."
    )
    as_good_as = serializers.ListField(
        child=serializers.CharField(), help_text="Codes of units hardly apart in the order."
    )


class PlanAnswer(serializers.Serializer):
    """A plan beside the candidates: a stop at a nearer unit, or a meeting of two vehicles."""

    kind = serializers.ChoiceField(choices=["stop", "meeting"])
    key = serializers.CharField(help_text="Code of the unit of a stop, of the site of a meeting.")
    name = serializers.CharField()
    onward_key = serializers.CharField(help_text="Code of the unit to which it goes on.")
    onward_name = serializers.CharField()
    vehicle_key = serializers.CharField(allow_null=True)
    helper_key = serializers.CharField(allow_null=True)
    care = serializers.DictField(help_text="Minutes until equipped care.")
    onward = serializers.DictField(help_text="Minutes until the unit onward.")
    direct = serializers.DictField(help_text="Minutes of the best candidate.")
    gives = serializers.ListField(child=serializers.CharField())
    first_waits = serializers.FloatField(allow_null=True)
    second_waits = serializers.FloatField(allow_null=True)
    sooner_chance = serializers.FloatField(help_text="0 to 1: sooner than the best candidate.")
    first_wait_minutes = serializers.FloatField(allow_null=True, help_text="Likely, if it waits.")
    second_wait_minutes = serializers.FloatField(allow_null=True)
    words = serializers.ListField(child=serializers.CharField())


class RankingAnswer(serializers.Serializer):
    """The candidates as they stand now, with reasons; the rejected ones too."""

    made_at = serializers.DateTimeField()
    ordering_rule = serializers.CharField()
    method = serializers.DictField(help_text="Settings of the order and of the sum of ways.")
    possible_not_shown = serializers.IntegerField()
    impossible_not_shown = serializers.IntegerField()
    looked_within_km = serializers.FloatField(
        allow_null=True, help_text="Units farther away, in a straight line, are not counted."
    )
    candidates = CandidateAnswer(many=True)
    plans = PlanAnswer(many=True)


class PassedOver(serializers.Serializer):
    """A unit that stood before the one asked, could take the baby and had not been asked."""

    key = serializers.CharField()
    name = serializers.CharField()
    order = serializers.IntegerField()


class ShownAnswer(RankingAnswer):
    """The list as it stood when a unit was asked, and which unit that was."""

    offer = serializers.IntegerField()
    unit = serializers.CharField(help_text="Code of the unit that was asked.")
    asked_at = serializers.DateTimeField()
    passed_over = PassedOver(many=True)


class ClosureAnswer(serializers.Serializer):
    """Something reported closed, until when, and whether it was lifted before."""

    id = serializers.IntegerField()
    kind = serializers.CharField()
    name = serializers.CharField()
    one_end = serializers.CharField(source="one_end.code", default=None, allow_null=True)
    other_end = serializers.CharField(source="other_end.code", default=None, allow_null=True)
    latitude = serializers.FloatField(allow_null=True)
    longitude = serializers.FloatField(allow_null=True)
    radius_km = serializers.FloatField()
    words = serializers.CharField(allow_blank=True)
    reported_by = serializers.CharField()
    reported_at = serializers.DateTimeField()
    ends_at = serializers.DateTimeField()
    lifted_at = serializers.DateTimeField(allow_null=True)


class LegAnswer(serializers.Serializer):
    """A ferry or boat from one landing to another, and whether it runs."""

    id = serializers.IntegerField()
    name = serializers.CharField()
    origin = serializers.CharField(source="origin.code")
    destination = serializers.CharField(source="destination.code")
    median_minutes = serializers.FloatField()
    p90_minutes = serializers.FloatField()
    waiting_minutes = serializers.FloatField()
    runs_from = ClockTime(allow_null=True)
    runs_until = ClockTime(allow_null=True)
    kinds = serializers.ListField(child=serializers.CharField())
    stopped_at = serializers.DateTimeField(allow_null=True)
