"""What was told and is not so, over the API: taken back with a reason, whatever its kind."""

from typing import Any

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import exceptions, serializers
from rest_framework.request import Request
from rest_framework.response import Response

from referrals.api.answers import WithdrawnAnswer
from referrals.api.base import one
from referrals.api.idempotency import once
from referrals.api.record import OfReferral
from referrals.api.rights import require_receiver_or_desk
from referrals.api.told import ReasonTold
from transport import told_rows

KIND = OpenApiParameter("kind", str, OpenApiParameter.PATH, enum=told_rows.KINDS)


class ToldAnswer(WithdrawnAnswer):
    """An entry after it was taken back."""

    id = serializers.IntegerField()


class ToldWithdraw(OfReferral):
    """Something told that was not so."""

    @extend_schema(request=ReasonTold, responses=ToldAnswer, parameters=[KIND])
    @once
    def post(self, request: Request, code: str, kind: str, pk: int) -> Response:
        """Take it back with a reason: it stays in sight, and what followed is put right."""
        if kind not in told_rows.KINDS:
            raise exceptions.NotFound
        referral = self.known_referral(code)
        if kind == "outcome":
            require_receiver_or_desk(self.scope, referral)
        row: Any = one(told_rows.rows_of(referral, kind), pk=pk)
        said = self.told(ReasonTold)
        told_rows.withdraw(self.by(said), row, reason=said["reason"])
        return self.answer(ToldAnswer, row, referral=referral.pk)
