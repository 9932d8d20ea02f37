"""Vehicles over the API."""

from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from referrals.access import desk_district
from referrals.api.base import StaffView, one, page_of
from referrals.api.errors import WrongRole
from referrals.api.idempotency import once
from referrals.api.told import WhenTold
from referrals.models import District
from transport import access, lifecycle, on_the_way
from transport.api import answers, told


class Vehicles(StaffView):
    """The vehicles of the person's districts."""

    @extend_schema(responses=page_of(answers.VehicleAnswer), operation_id="vehicles_list")
    def get(self, request: Request) -> Response:
        """All vehicles by code."""
        return self.page(
            access.visible_vehicles(self.staff).order_by("code"), answers.VehicleAnswer
        )

    @extend_schema(request=told.FoundVehicleTold, responses={201: answers.VehicleAnswer})
    @once
    def post(self, request: Request) -> Response:
        """Write down a car, motorcycle or boat found by phone; then assign it like any other."""
        district = self._district()
        said = self.told(told.FoundVehicleTold)
        said["driver_phone"] = told.phone_in(said["driver_phone"], district)
        by = self.by({})
        found = on_the_way.FoundVehicle(**said)
        vehicle = on_the_way.add_found_vehicle(by, district, found, by.received_at)
        return Response(self.shown(answers.VehicleAnswer, vehicle), status=201)

    def _district(self) -> District:
        district = desk_district(self.staff)
        if district is None:
            raise WrongRole(_("This is for the district desk. Ring the desk."))
        return district


class VehicleReady(StaffView):
    """Free again."""

    @extend_schema(request=WhenTold, responses=answers.VehicleAnswer)
    @once
    def post(self, request: Request, code: str) -> Response:
        """The escort is home, the cylinders are filled, the vehicle is clean."""
        vehicle = one(access.visible_vehicles(self.staff), code=code)
        at_desk = self.scope.everything or vehicle.district_id in self.scope.districts
        if not (at_desk or vehicle.driver_id == self.staff.pk):
            raise WrongRole(_("Its driver or the desk says that a vehicle is ready."))
        vehicle = lifecycle.vehicle_ready(self.by(self.told(WhenTold)), vehicle)
        return Response(self.shown(answers.VehicleAnswer, vehicle))
