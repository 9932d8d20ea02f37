"""Journeys over the API: who sees them, and what the desk decides about them."""

from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from django.utils.translation import gettext as _
from drf_spectacular.utils import PolymorphicProxySerializer, extend_schema
from rest_framework import exceptions, serializers
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from referrals import clock
from referrals.acting import By
from referrals.api.asking import unit_beside
from referrals.api.base import Pages, StaffView, one, page_of
from referrals.api.errors import WrongRole
from referrals.api.idempotency import once
from referrals.api.rights import is_at_post, keeps_desk, receives, require_desk
from referrals.api.told import WhenTold
from referrals.models import District, Site, Staff
from transport import access, driver_links, estimating, lifecycle, meetings, where_to
from transport.api import answers, told
from transport.api.driver import ACCOUNT_OR_LINK, DriverOnTheRoad
from transport.meeting_steps import MEETING_STEPS
from transport.models import Meeting, Transfer
from transport.oxygen_ahead import oxygen_plans

FOR_READER = PolymorphicProxySerializer(
    component_name="TransferForReader",
    serializers=[answers.TransferAnswer, answers.DriverAnswer],
    resource_type_field_name=None,
)
FOR_READERS = PolymorphicProxySerializer(
    component_name="TransferForReader",
    serializers=[answers.TransferAnswer, answers.DriverAnswer],
    resource_type_field_name=None,
    many=True,
)
DETAIL_FOR_READER = PolymorphicProxySerializer(
    component_name="TransferDetailForReader",
    serializers=[answers.TransferDetailAnswer, answers.DriverAnswer],
    resource_type_field_name=None,
)


class IsStaffOrDriver(IsAuthenticated):
    """A person with an account, or the holder of one journey's link."""

    def has_permission(self, request: Request, view: APIView) -> bool:
        """Whether one of the two is asking."""
        return isinstance(request.user, Staff | DriverOnTheRoad)


class TransferView(StaffView):
    """A view of journeys, for people with an account and for the driver's link."""

    authentication_classes = ACCOUNT_OR_LINK
    permission_classes = [IsStaffOrDriver]

    @property
    def driver(self) -> DriverOnTheRoad | None:
        """The holder of the link, when it is one who asks."""
        user = self.request.user
        return user if isinstance(user, DriverOnTheRoad) else None

    @property
    def caller(self) -> str:
        """Whose idempotency keys are used."""
        return self.driver.caller if self.driver else super().caller

    @property
    def now(self) -> datetime:
        """The server's clock."""
        return clock.now()

    def transfer(self, pk: int) -> Transfer:
        """The journey in scope: the one of the link, or one the person sees."""
        if self.driver:
            if self.driver.transfer.pk != pk:
                raise exceptions.NotFound(_("This link is for another journey."))
            return self.driver.transfer
        return one(access.visible_transfers(self.staff), pk=pk)

    def second_of(self, transfer: Transfer) -> Meeting | None:
        """The meeting to which the caller drives, if theirs is the second vehicle."""
        if self.driver:
            return self.driver.meeting
        meeting = transfer.standing_meeting()
        return meeting if meeting and meeting.vehicle.driver_id == self.staff.pk else None

    def by_of(self, transfer: Transfer, said: dict[str, Any]) -> By:
        """The author: the person, or the driver by the link."""
        if not self.driver:
            return self.by(said)
        return driver_links.by_driver(
            transfer,
            meeting=self.driver.meeting,
            now=clock.now(),
            happened_at=said.get("happened_at"),
            sent_at=said.get("sent_at"),
        )

    def drives(self, transfer: Transfer) -> bool:
        """Whether the caller drives this journey, by link or by account; or is to meet it."""
        if self.driver or self.second_of(transfer):
            return True
        return transfer.vehicle is not None and transfer.vehicle.driver_id == self.staff.pk

    def sees_all(self, transfer: Transfer) -> bool:
        """Whether the caller is more than the driver: post, desk, or the unit it goes to."""
        if self.driver:
            return False
        return self.travels_or_desk(transfer) or self.receives(transfer)

    def travels_or_desk(self, transfer: Transfer) -> bool:
        """Whether the caller is of the post, which escorts, or at the desk."""
        if self.driver:
            return False
        referral = transfer.referral
        return keeps_desk(self.scope, referral) or is_at_post(self.scope, referral)

    def receives(self, transfer: Transfer) -> bool:
        """Whether the caller's unit takes the babies."""
        if self.driver:
            return False
        goes_there = transfer.destination_id in self.scope.units
        return goes_there or receives(self.scope, transfer.referral)

    def for_desk_of(self, transfer: Transfer) -> bool:
        """Whether the caller works at the desk of the journey's district."""
        return not self.driver and keeps_desk(self.scope, transfer.referral)

    def require_on_the_road(self, transfer: Transfer) -> None:
        """For what is told from the vehicle."""
        if not (self.drives(transfer) or self.travels_or_desk(transfer)):
            raise WrongRole(_("This is told from the vehicle, or by the desk for it."))

    def shape_for(self, transfer: Transfer) -> type[serializers.Serializer]:
        """What the caller may see of a journey."""
        return answers.TransferAnswer if self.sees_all(transfer) else answers.DriverAnswer

    def said_of(self, transfer: Transfer) -> Response:
        """The journey after a verb."""
        fresh = self._fresh(transfer)
        return self.answer(self.shape_for(fresh), fresh, referral=fresh.referral_id)

    def _fresh(self, transfer: Transfer) -> Transfer:
        return Transfer.objects.select_related(
            "referral__district", "referral__origin", "vehicle__driver", "destination__site"
        ).get(pk=transfer.pk)


class Transfers(TransferView):
    """The journeys the caller sees."""

    @extend_schema(responses=page_of(FOR_READERS, "Transfer"), operation_id="transfers_list")
    def get(self, request: Request) -> Response:
        """The newest first; the driver's link sees its own."""
        if self.driver:
            own = [self._row(self.driver.transfer)]
            return Response({"count": 1, "next": None, "previous": None, "results": own})
        pages = Pages()
        found = access.visible_transfers(self.staff).order_by("-wanted_at", "-id")
        found = found.prefetch_related("referral__offers", "referral__babies")
        some = pages.paginate_queryset(found, request, view=self) or []
        return pages.get_paginated_response([self._row(transfer) for transfer in some])

    def _row(self, transfer: Transfer) -> Any:
        return self.shown(self.shape_for(transfer), transfer)


class TransferDetail(TransferView):
    """One journey."""

    @extend_schema(responses=DETAIL_FOR_READER, operation_id="transfers_read")
    def get(self, request: Request, pk: int) -> Response:
        """With its window and oxygen; for the driver only where, whom to call, what comes next."""
        transfer = self.transfer(pk)
        if not self.sees_all(transfer):
            return Response(self.shown(answers.DriverAnswer, transfer))
        window = estimating.projected_arrival(transfer, self.now) if transfer.is_live else None
        oxygen = oxygen_plans(transfer, self.now) if transfer.is_live else []
        context = {
            "view": self,
            "window": window.as_dict() if window else None,
            "oxygen": [{"vehicle": each.vehicle.code, **each.plan.as_dict()} for each in oxygen],
        }
        return Response(answers.TransferDetailAnswer(transfer, context=context).data)


class DeskVerb(TransferView):
    """What only the desk decides about a journey."""

    def for_desk(self, pk: int) -> Transfer:
        """The journey, for the desk of its district."""
        transfer = self.transfer(pk)
        if self.driver:
            raise WrongRole(_("This is for the district desk. Ring the desk."))
        require_desk(self.scope, transfer.referral)
        return transfer


class TransferAssign(DeskVerb):
    """Send a vehicle."""

    @extend_schema(request=told.AssignTold, responses=answers.TransferAnswer)
    @once
    def post(self, request: Request, pk: int) -> Response:
        """Send a vehicle; with one already sent the new one takes over and its link is void."""
        transfer = self.for_desk(pk)
        said = self.told(told.AssignTold)
        vehicles = access.visible_vehicles(self.staff).filter(district=transfer.referral.district)
        vehicle = vehicles.filter(code=said["vehicle"]).first()
        if vehicle is None:
            raise exceptions.ValidationError({"vehicle": [_("no vehicle has this code")]})
        lifecycle.assign(
            self.by(said),
            transfer,
            vehicle,
            escort_name=said.get("escort_name", ""),
            why=said.get("why", ""),
        )
        return self.said_of(transfer)


class TransferUnassign(DeskVerb):
    """The vehicle will not come."""

    @extend_schema(request=told.UnassignTold, responses=answers.TransferAnswer)
    @once
    def post(self, request: Request, pk: int) -> Response:
        """Take the vehicle back with a reason; the search for another one begins at once."""
        transfer = self.for_desk(pk)
        said = self.told(told.UnassignTold)
        lifecycle.unassign(
            self.by(said), transfer, why=said["reason"], broken=said.get("broken", False)
        )
        return self.said_of(transfer)


class TransferMeeting(DeskVerb):
    """Two vehicles meet, and the second takes mother, baby and escort on."""

    @extend_schema(request=told.MeetingTold, responses=answers.TransferAnswer)
    @once
    def post(self, request: Request, pk: int) -> Response:
        """Send a second vehicle to a site; both drivers are told what happens there."""
        transfer = self.for_desk(pk)
        said = self.told(told.MeetingTold)
        district = transfer.referral.district
        vehicle = self._named("vehicle", said, access.visible_vehicles(self.staff), district)
        site = self._named("site", said, Site.objects.all(), district)
        meetings.meet(self.by(said), transfer, vehicle, site)
        return self.said_of(transfer)

    def _named(self, field: str, said: dict[str, Any], rows: QuerySet, district: District) -> Any:
        row = rows.filter(code=said[field], district=district).first()
        if row is None:
            sentence = _("nothing of this district has this code")
            raise exceptions.ValidationError({field: [sentence]})
        return row


class TransferMeetingSteps(TransferView):
    """What happens at the meeting, told from either vehicle or by the desk."""

    @extend_schema(request=told.MeetingStepTold, responses=FOR_READER)
    @once
    def post(self, request: Request, pk: int) -> Response:
        """The first vehicle is there; the baby has moved over; or the first drives on."""
        transfer = self.transfer(pk)
        self.require_on_the_road(transfer)
        said = self.told(told.MeetingStepTold)
        step = MEETING_STEPS[said["step"]]
        step(self.by_of(transfer, said), transfer, said.get("witness", ""))
        return self.said_of(transfer)


class TransferSendToward(DeskVerb):
    """Drive toward a unit that has not accepted."""

    @extend_schema(request=told.SendTowardTold, responses=answers.TransferAnswer)
    @once
    def post(self, request: Request, pk: int) -> Response:
        """Send the vehicle toward a unit without an acceptance; recorded as such."""
        transfer = self.for_desk(pk)
        said = self.told(told.SendTowardTold)
        unit = unit_beside(self.staff, "unit", said["unit"])
        where_to.send_toward(self.by(said), transfer, unit)
        return self.said_of(transfer)


class TransferNotToward(DeskVerb):
    """Not toward that unit after all."""

    @extend_schema(request=WhenTold, responses=answers.TransferAnswer)
    @once
    def post(self, request: Request, pk: int) -> Response:
        """Take back that it drives toward a unit without an acceptance; the driver is told."""
        transfer = self.for_desk(pk)
        where_to.not_toward(self.by(self.told(WhenTold)), transfer)
        return self.said_of(transfer)


class TransferEscort(TransferView):
    """Who travels with mother and baby."""

    @extend_schema(request=told.EscortTold, responses=answers.TransferAnswer)
    @once
    def post(self, request: Request, pk: int) -> Response:
        """Name the escort, correct the name, or take it back by leaving it empty."""
        transfer = self.transfer(pk)
        if not self.travels_or_desk(transfer):
            raise WrongRole(_("The post or the desk says who travels."))
        said = self.told(told.EscortTold)
        lifecycle.name_escort(self.by(said), transfer, said["name"])
        return self.said_of(transfer)
