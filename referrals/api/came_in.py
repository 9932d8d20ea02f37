"""What came in and could not be used as it was, for the desk."""

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from referrals import access, clock
from referrals.api.base import StaffView, one, page_of
from referrals.api.errors import WrongRole
from referrals.api.idempotency import once
from referrals.api.told import WhenTold
from referrals.models import District


class KeptAnswer(serializers.Serializer):
    """One input as it came, and what is the matter with it."""

    id = serializers.IntegerField()
    received_at = serializers.DateTimeField()
    channel = serializers.CharField()
    caller = serializers.CharField(allow_blank=True)
    path = serializers.CharField(allow_blank=True)
    body = serializers.CharField(allow_blank=True)
    problem = serializers.CharField()
    dealt_with_at = serializers.DateTimeField(allow_null=True)
    dealt_with_by = serializers.CharField(allow_blank=True)


class OfDesk(StaffView):
    """A view for a district desk."""

    def district(self) -> District:
        """The desk's district.

        Raises:
            WrongRole: for everybody else.
        """
        district = access.desk_district(self.staff)
        if district is None:
            raise WrongRole
        return district


class Kept(OfDesk):
    """What waits for a person."""

    @extend_schema(responses=page_of(KeptAnswer), operation_id="kept_list")
    def get(self, request: Request) -> Response:
        """What nobody has dealt with yet, the newest first."""
        return self.page(access.kept_inputs(self.district()), KeptAnswer)


class KeptDone(OfDesk):
    """Somebody has dealt with it."""

    @extend_schema(request=WhenTold, responses=KeptAnswer)
    @once
    def post(self, request: Request, pk: int) -> Response:
        """It leaves the list; the row stays."""
        row = one(access.kept_inputs(self.district()), pk=pk)
        row.dealt_with_at, row.dealt_with_by = clock.now(), self.staff.username
        row.save(update_fields=["dealt_with_at", "dealt_with_by"])
        return Response(self.shown(KeptAnswer, row))
