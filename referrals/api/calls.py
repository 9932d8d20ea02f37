"""Calls made to find a unit or a vehicle, and who is responsible for finding one, over the API."""

from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema
from rest_framework import exceptions, serializers
from rest_framework.request import Request
from rest_framework.response import Response

from referrals import clock, ringing
from referrals.access import people_of_desk
from referrals.api.answers import WithHead
from referrals.api.idempotency import once
from referrals.api.record import OfReferral
from referrals.api.rights import require_desk
from referrals.api.told import Text, WhenTold, Word
from referrals.calc.terms import CameOf
from referrals.charge import in_charge
from referrals.models import Referral

SOMEBODY_ELSE = "other"
"""The key of whoever stands on no call list."""


class CallTold(WhenTold):
    """One call: who was rung, and what came of it. ``whom`` is a key of the desk's call list."""

    name = Text(120, required=True)
    whom = Text(80)
    came_of = Word(CameOf, required=True, allow_null=False)
    words = Text(300)


class ChargeTold(WhenTold):
    """The user name of somebody of the district's desk."""

    staff = Text(150, required=True)


class CallAnswer(serializers.Serializer):
    """One call, as it was written down."""

    at = serializers.DateTimeField()
    whom = serializers.CharField()
    name = serializers.CharField()
    came_of = serializers.ChoiceField(choices=[each.value for each in CameOf])
    words = serializers.CharField()
    actor = serializers.CharField()


class ChargeAnswer(WithHead):
    """Who is responsible; ``since`` is null while nobody took it and the desk's rota decides."""

    name = serializers.CharField(allow_null=True)
    since = serializers.DateTimeField(allow_null=True)


@dataclass(frozen=True)
class _Nobody:
    """A desk without a contact."""

    name: str | None = None
    since: datetime | None = None


class _OfDesk(OfReferral):
    def desk_referral(self, code: str) -> Referral:
        """The referral, for its desk."""
        referral = self.referral(code)
        require_desk(self.scope, referral)
        return referral


class Calls(_OfDesk):
    """The calls that were written down."""

    @extend_schema(responses=CallAnswer(many=True), operation_id="calls_list")
    def get(self, request: Request, code: str) -> Response:
        """The newest first."""
        return Response(self.shown(CallAnswer, self._calls(code), many=True))

    @extend_schema(request=CallTold, responses={201: CallAnswer})
    @once
    def post(self, request: Request, code: str) -> Response:
        """Write a call down. A yes told by voice commits nobody: accept the offer for that."""
        referral, said = self.desk_referral(code), self.told(CallTold)
        told = ringing.CallTold(
            whom=said.get("whom") or SOMEBODY_ELSE,
            name=said["name"],
            came_of=CameOf(said["came_of"]),
            words=said.get("words", ""),
        )
        ringing.log_call(self.by(said), referral, told)
        return Response(self.shown(CallAnswer, self._calls(code)[0]), status=201)

    def _calls(self, code: str) -> list[ringing.CallMade]:
        return ringing.calls_of(self.desk_referral(code))


class Charge(_OfDesk):
    """Who is responsible for finding a way where no unit or no vehicle can be had."""

    @extend_schema(responses=ChargeAnswer, operation_id="charge_read")
    def get(self, request: Request, code: str) -> Response:
        """Always a person, but where the desk has no contact at all."""
        return Response(self._in_charge(self.desk_referral(code)))

    @extend_schema(request=ChargeTold, responses=ChargeAnswer)
    @once
    def post(self, request: Request, code: str) -> Response:
        """Make somebody of the desk responsible; they are told of it."""
        referral, said = self.desk_referral(code), self.told(ChargeTold)
        staff = people_of_desk(referral.district).filter(username=said["staff"]).first()
        if staff is None:
            raise exceptions.ValidationError({"staff": [_("nobody of this desk has that name")]})
        held = ringing.give_charge(self.by(said), referral, staff)
        return Response(self._in_charge(held) | {"entry_seq": held.head_seq})

    def _in_charge(self, referral: Referral) -> dict[str, object]:
        return dict(self.shown(ChargeAnswer, in_charge(referral, clock.now()) or _Nobody()))
