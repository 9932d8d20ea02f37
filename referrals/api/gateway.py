"""The gateway's door: SMS, missed calls and delivery reports, sent by a machine with a secret.

Gateways repeat what got no answer, so everything here is deduplicated by the gateway's own ids.
"""

import base64
import binascii
import hmac
from datetime import UTC, datetime
from typing import Any

from django.conf import settings
from django.utils.translation import gettext as _
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.utils import extend_schema
from rest_framework import exceptions, serializers
from rest_framework.authentication import BaseAuthentication, get_authorization_header
from rest_framework.parsers import FormParser, JSONParser
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from referrals import clock, inbound, sending, sweeping
from referrals.api import kept
from referrals.api.base import AlwaysJSON
from referrals.calc.sms.reports import Reported, reported_state
from referrals.calc.terms import Became
from referrals.models import Delivery, InboundMessage

CALLER = "gateway"
OWN_ID = "littleroad-"


class WrongToken(exceptions.PermissionDenied):
    """Not the secret that the gateway and this service share."""

    default_code = "wrong_token"


class Gateway:
    """The machine that talks here; nothing else of the record opens for it."""

    is_authenticated = True
    is_active = True
    is_anonymous = is_staff = is_superuser = False


class GatewayAuthentication(BaseAuthentication):
    """``Authorization: Bearer <token>``, or ``Basic`` with the token as the password."""

    def authenticate(self, request: Request) -> tuple[Any, Any]:
        """The gateway.

        Raises:
            NotFound: when no token is set; there is no gateway then.
            WrongToken: when none is told, or another one.
        """
        tokens = settings.INBOUND_TOKENS
        if not tokens:
            raise exceptions.NotFound(_("No gateway is set up here (see README, Settings)."))
        given = _token_in(request)
        if not any(hmac.compare_digest(given, token.encode()) for token in tokens):
            raise WrongToken(_("This is for the gateway: send its token as Authorization: Bearer."))
        return Gateway(), None


class GatewayScheme(OpenApiAuthenticationExtension):
    """How the published schema describes it."""

    target_class = "referrals.api.gateway.GatewayAuthentication"
    name = "gatewayToken"

    def get_security_definition(self, auto_schema: Any) -> dict[str, Any]:
        """A bearer token."""
        return {"type": "http", "scheme": "bearer"}


class GatewayTime(serializers.CharField):
    """A time as gateways write it: ISO 8601, or seconds or milliseconds since 1970.

    One that cannot be read is none: nothing is ever refused for its clock.
    """

    def to_internal_value(self, data: Any) -> Any:
        """The moment, or nothing."""
        text = str(data).strip()
        try:
            if text.isdigit():
                seconds = int(text) / (1000 if len(text) > 11 else 1)
                return datetime.fromtimestamp(seconds, UTC)
            moment = datetime.fromisoformat(text)
            aware = moment if moment.tzinfo else moment.replace(tzinfo=UTC)
            return aware.astimezone(UTC)
        except (ValueError, OverflowError, OSError):
            return None


class FromGateway(serializers.Serializer):
    """What every call and message has."""

    id = serializers.CharField(max_length=200, help_text="The gateway's own id of it.")
    sender = serializers.CharField(max_length=200, help_text="The number it came from.")
    at = GatewayTime(required=False, allow_blank=True, help_text="When, by the gateway's clock.")


class SmsFromGateway(FromGateway):
    """One SMS."""

    text = serializers.CharField(allow_blank=True, trim_whitespace=False)


class ReportFromGateway(serializers.Serializer):
    """What became of a message of ours."""

    message = serializers.CharField(
        max_length=200, help_text="The id the gateway gave for it, or the `$id` that we sent."
    )
    state = serializers.CharField(
        max_length=40, help_text="queued, sent, delivered or failed; the words of SMPP too."
    )
    error = serializers.CharField(required=False, allow_blank=True, max_length=2000)


class InboundAnswer(serializers.Serializer):
    """What became of it; the same for a repeat."""

    id = serializers.CharField()
    became = serializers.ChoiceField(choices=[each.value for each in Became])
    referral = serializers.CharField(allow_null=True)


class ReportAnswer(serializers.Serializer):
    """The message as it stands now."""

    message = serializers.CharField()
    state = serializers.CharField()


class GatewayView(APIView):
    """A view for the gateway alone."""

    authentication_classes = [GatewayAuthentication]
    permission_classes = [IsAuthenticated]
    parser_classes = [JSONParser, FormParser]
    content_negotiation_class = AlwaysJSON

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Take the body whole before it is parsed, so that it can be kept as it came."""
        _ = request._request.body
        super().initial(request, *args, **kwargs)

    def told(self, request: Request, shape: type[serializers.Serializer]) -> dict[str, Any]:
        """The body in its shape, under our names for its fields; what does not fit is kept."""
        try:
            serializer = shape(data=_under_our_names(request.data))
            serializer.is_valid(raise_exception=True)
        except (exceptions.APIException, RecursionError) as error:
            kept.keep(request, CALLER, _("the gateway sent what cannot be read"))
            if isinstance(error, RecursionError):
                raise exceptions.ParseError(_("send one object, or a form")) from error
            raise
        return dict(serializer.validated_data)

    def receive(self, told: dict[str, Any], kind: str) -> Response:
        """Keep it, act on it, say what became of it."""
        arrived = inbound.Arrived(
            kind=kind,
            gateway_id=told["id"],
            sender=told["sender"],
            text=told.get("text", ""),
            sent_at=told.get("at"),
        )
        return Response(_as_answer(inbound.receive(arrived, clock.now())))


class InboundSms(GatewayView):
    """SMS that people send."""

    @extend_schema(request=SmsFromGateway, responses=InboundAnswer, operation_id="inbound_sms")
    def post(self, request: Request) -> Response:
        """Take one SMS; the same id again gets the first answer."""
        return self.receive(self.told(request, SmsFromGateway), "sms")


class InboundMissedCalls(GatewayView):
    """Calls that nobody took."""

    @extend_schema(request=FromGateway, responses=InboundAnswer, operation_id="inbound_missed_call")
    def post(self, request: Request) -> Response:
        """Take one missed call; the same id again gets the first answer."""
        return self.receive(self.told(request, FromGateway), "missed_call")


class InboundReports(GatewayView):
    """What became of messages that the gateway took from us."""

    @extend_schema(request=ReportFromGateway, responses=ReportAnswer, operation_id="inbound_report")
    def post(self, request: Request) -> Response:
        """Take one delivery report; repeated, or in any order, they amount to the same."""
        told = self.told(request, ReportFromGateway)
        state = reported_state(told["state"])
        if state is None:
            known = ", ".join(Reported)
            sentence = _("not a state; known are: %(known)s") % {"known": known}
            raise exceptions.ValidationError({"state": [sentence]})
        delivery = _delivery(told["message"])
        if sending.report(delivery, state, clock.now(), error=told.get("error", "")):
            # The next step at once; the sweep would only find it a moment later.
            sweeping.take_step(delivery.alert_id, clock.now())
        delivery.refresh_from_db()
        return Response({"message": told["message"], "state": delivery.state})


def _token_in(request: Request) -> bytes:
    scheme, _space, given = get_authorization_header(request).partition(b" ")
    if scheme.lower() == b"bearer":
        return given.strip()
    if scheme.lower() == b"basic":
        try:
            return base64.b64decode(given, validate=True).partition(b":")[2]
        except binascii.Error:
            return b""
    return b""


def _under_our_names(body: Any) -> dict[str, Any]:
    """The fields by our names; a gateway's own names for them stand in a setting."""
    if not hasattr(body, "get"):
        raise exceptions.ValidationError([_("send one object, or a form")])
    names = settings.INBOUND_FIELDS
    found = {name: body.get(name) for name in body}
    for ours, theirs in names.items():
        if theirs in body:
            found[ours] = body.get(theirs)
    return {name: _storable(value) for name, value in found.items() if value is not None}


def _storable(value: Any) -> Any:
    """Nobody corrects what a gateway sends, so what no database stores is left out of a text."""
    if not isinstance(value, str):
        return value
    return value.encode("utf-8", "replace").decode().replace("\x00", "")


def _delivery(told: str) -> Delivery:
    own = told.removeprefix(OWN_ID)
    rows = Delivery.objects.select_related("alert__referral__district")
    # Fifteen digits: what any database takes for a number of a row.
    if told.startswith(OWN_ID) and own.isascii() and own.isdigit() and len(own) <= 15:
        found = rows.filter(pk=int(own)).first()
    else:
        found = rows.filter(provider_id=told[:120]).order_by("-pk").first()
    if found is None:
        raise exceptions.NotFound(_("No message of ours has this id."))
    return found


def _as_answer(message: InboundMessage) -> dict[str, Any]:
    return {
        "id": message.gateway_id,
        "became": message.became,
        "referral": message.referral.code if message.referral else None,
    }
