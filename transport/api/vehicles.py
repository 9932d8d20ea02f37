"""Vehicles over the API."""

from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from referrals.access import desk_district
from referrals.api.base import StaffView, one, page_of
from referrals.api.errors import WrongRole
from referrals.api.idempotency import once
from referrals.calc.states import NotPossible
from referrals.models import District
from transport import access, fleet, on_the_way
from transport.api import answers, told
from transport.api.closures import site_beside
from transport.calc.places import Place
from transport.choosing import place_of


class Vehicles(StaffView):
    """The vehicles of the person's districts."""

    @extend_schema(responses=page_of(answers.VehicleAnswer), operation_id="vehicles_list")
    def get(self, request: Request) -> Response:
        """All vehicles by code."""
        return self.page(
            access.visible_vehicles(self.staff).prefetch_related("cylinders").order_by("code"),
            answers.VehicleAnswer,
        )

    @extend_schema(request=told.FoundVehicleTold, responses={201: answers.VehicleAnswer})
    @once
    def post(self, request: Request) -> Response:
        """Write down a car, motorcycle or boat found by phone; then assign it like any other."""
        district = self._district()
        said = self.told(told.FoundVehicleTold)
        said["driver_phone"] = told.phone_in(said["driver_phone"], district)
        by = self.by({})
        said["place"] = _point(said.pop("latitude", None), said.pop("longitude", None))
        found = on_the_way.FoundVehicle(**said)
        vehicle = on_the_way.add_found_vehicle(by, district, found, by.received_at)
        return Response(self.shown(answers.VehicleAnswer, vehicle), status=201)

    def _district(self) -> District:
        district = desk_district(self.staff)
        if district is None:
            raise WrongRole(_("This is for the district desk. Ring the desk."))
        return district


def _point(latitude: float | None, longitude: float | None) -> Place | None:
    """Half a point is none."""
    return None if latitude is None or longitude is None else Place(latitude, longitude)


class VehiclePlace(StaffView):
    """Where it is, told on the phone."""

    @extend_schema(request=told.PlaceTold, responses=answers.VehicleAnswer)
    @once
    def post(self, request: Request, code: str) -> Response:
        """At a site or at a point; the vehicle's time to the baby is worked out from there."""
        vehicle = one(access.visible_vehicles(self.staff), code=code)
        at_desk = self.scope.everything or vehicle.district_id in self.scope.districts
        if not (at_desk or vehicle.driver_id == self.staff.pk):
            raise WrongRole(_("Its driver or the desk says where a vehicle is."))
        said = self.told(told.PlaceTold)
        place = _point(said.get("latitude"), said.get("longitude"))
        if place is None and said.get("site"):
            place = place_of(site_beside(self.staff, "site", said["site"]))
        if place is None:
            raise NotPossible(_("Name a site, or both numbers of a point."), code="no_place")
        vehicle = on_the_way.stands_at(self.by(said), vehicle, place)
        return Response(self.shown(answers.VehicleAnswer, vehicle))


class VehicleReady(StaffView):
    """Free again."""

    @extend_schema(request=told.ReadyTold, responses=answers.VehicleAnswer)
    @once
    def post(self, request: Request, code: str) -> Response:
        """The escort is home, the cylinders are filled, the vehicle is clean; or one step of it."""
        vehicle = one(access.visible_vehicles(self.staff), code=code)
        at_desk = self.scope.everything or vehicle.district_id in self.scope.districts
        if not (at_desk or vehicle.driver_id == self.staff.pk):
            raise WrongRole(_("Its driver or the desk says that a vehicle is ready."))
        said = self.told(told.ReadyTold)
        if said.get("step"):
            tell = fleet.step_undone if said.get("done") is False else fleet.step_done
            vehicle = tell(self.by(said), vehicle, said["step"])
            return Response(self.shown(answers.VehicleAnswer, vehicle))
        vehicle = fleet.vehicle_ready(
            self.by(said),
            vehicle,
            filled=said.get("filled") is not False,
            gauges=said.get("gauges"),
        )
        return Response(self.shown(answers.VehicleAnswer, vehicle))
