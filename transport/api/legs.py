"""Ferry and boat legs over the API: read by anybody of the district, entered by its desk."""

from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from referrals.access import desk_district
from referrals.api.base import StaffView, one, page_of
from referrals.api.errors import WrongRole
from referrals.api.idempotency import once
from referrals.api.told import WhenTold
from transport import access, legs
from transport.api import answers, told
from transport.api.closures import site_beside
from transport.models import Leg


class Legs(StaffView):
    """What joins roads over water, running or stopped."""

    @extend_schema(responses=page_of(answers.LegAnswer), operation_id="legs_list")
    def get(self, request: Request) -> Response:
        """All legs by name."""
        return self.page(access.visible_legs(self.staff), answers.LegAnswer)

    @extend_schema(request=told.LegTold, responses={201: answers.LegAnswer})
    @once
    def post(self, request: Request) -> Response:
        """Enter a leg, one way; the way back is a leg of its own."""
        district = desk_district(self.staff)
        if district is None:
            raise WrongRole(_("The desk enters ferries and boats. Ring the desk."))
        said = self.told(told.LegTold)
        by = self.by(said)
        ends = [site_beside(self.staff, name, said.pop(name)) for name in ("origin", "destination")]
        known = {name: said[name] for name in told.LEG_FIELDS if said.get(name) is not None}
        leg = legs.LegTold(origin=ends[0], destination=ends[1], **known)
        return Response(self.shown(answers.LegAnswer, legs.enter(by, district, leg)[0]), status=201)


class _OneLeg(StaffView):
    def leg(self, pk: int) -> Leg:
        """The leg, for the desk of its district."""
        leg = one(access.visible_legs(self.staff), pk=pk)
        if not (self.scope.everything or leg.district_id in self.scope.districts):
            raise WrongRole(_("The desk says whether a ferry or boat runs. Ring the desk."))
        return leg


class LegStop(_OneLeg):
    """Runs no more."""

    @extend_schema(request=WhenTold, responses=answers.LegAnswer)
    @once
    def post(self, request: Request, pk: int) -> Response:
        """It runs no more until it is started again."""
        leg = legs.stop(self.by(self.told(WhenTold)), self.leg(pk))
        return Response(self.shown(answers.LegAnswer, leg))


class LegStart(_OneLeg):
    """Runs again."""

    @extend_schema(request=WhenTold, responses=answers.LegAnswer)
    @once
    def post(self, request: Request, pk: int) -> Response:
        """It runs again."""
        leg = legs.start(self.by(self.told(WhenTold)), self.leg(pk))
        return Response(self.shown(answers.LegAnswer, leg))
