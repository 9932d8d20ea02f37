"""Closures over the API: reported by anybody of the district, lifted by its desk."""

from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema
from rest_framework import exceptions
from rest_framework.request import Request
from rest_framework.response import Response

from referrals import clock
from referrals.access import desk_district, districts_of, visible_sites
from referrals.api.base import StaffView, one, page_of
from referrals.api.errors import WrongRole
from referrals.api.idempotency import once
from referrals.api.told import WhenTold
from referrals.models import Site, Staff
from transport import access, closures
from transport.api import answers, told
from transport.calc.closures import ClosureKind
from transport.calc.places import Place


def site_beside(staff: Staff, field: str, code: str) -> Site:
    """The site of that code, or the fault beside its field."""
    site = visible_sites(staff).filter(code=code).first()
    if site is None:
        raise exceptions.ValidationError({field: [_("no site has this code")]})
    return site


class Closures(StaffView):
    """What is closed now, and the report of more."""

    @extend_schema(responses=page_of(answers.ClosureAnswer), operation_id="closures_list")
    def get(self, request: Request) -> Response:
        """Those that stand now, the newest first."""
        rows = access.visible_closures(self.staff).standing(clock.now())
        return self.page(rows, answers.ClosureAnswer)

    @extend_schema(request=told.ClosureTold, responses={201: answers.ClosureAnswer})
    @once
    def post(self, request: Request) -> Response:
        """Report a road, bridge or landing closed; open journeys are estimated anew at once."""
        said = self.told(told.ClosureTold)
        ends = [
            site_beside(self.staff, name, said[name])
            for name in ("one_end", "other_end")
            if name in said
        ]
        at = [said[name] for name in ("latitude", "longitude") if name in said]
        district = ends[0].district if ends else desk_district(self.staff)
        district = district or districts_of(self.staff).order_by("pk").first()
        if district is None:
            raise WrongRole(_("You have no role in any district. Ring the desk."))
        given = {name: said[name] for name in ("radius_km", "hours", "words") if name in said}
        closure = closures.report(
            self.by(said),
            district,
            closures.ClosureTold(
                kind=ClosureKind(said["kind"]),
                name=said["name"],
                place=Place(at[0], at[1]) if len(at) == 2 else None,
                between=(ends[0], ends[1]) if len(ends) == 2 else None,
                **given,
            ),
        )
        return Response(self.shown(answers.ClosureAnswer, closure), status=201)


class ClosureLift(StaffView):
    """Open again."""

    @extend_schema(request=WhenTold, responses=answers.ClosureAnswer)
    @once
    def post(self, request: Request, pk: int) -> Response:
        """It is open again: it stops counting, and open journeys are estimated anew."""
        closure = one(access.visible_closures(self.staff), pk=pk)
        at_desk = self.scope.everything or closure.district_id in self.scope.districts
        if not (at_desk or closure.reported_by == str(self.staff)):
            raise WrongRole(_("The desk, or whoever reported it, says that a road is open again."))
        closure = closures.lift(self.by(self.told(WhenTold)), closure)
        return Response(self.shown(answers.ClosureAnswer, closure))
