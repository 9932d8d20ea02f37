"""Positions over the API: many at a time, checked by hand, stored once each by their own keys.

A bad position never keeps a good one out: it is named by its place in the batch, and kept. What a
phone sends every few seconds takes a straight way; whatever is not right about it goes the long
one, where it is named and kept.
"""

import json
from collections import defaultdict
from datetime import UTC, datetime
from typing import Any, cast

from django.core.exceptions import SuspiciousOperation
from django.http import HttpRequest, JsonResponse
from django.http.response import HttpResponseBase
from django.utils.translation import gettext as _
from drf_spectacular.utils import PolymorphicProxySerializer, extend_schema
from rest_framework import exceptions
from rest_framework.request import Request
from rest_framework.response import Response

from referrals import clock
from referrals.api import kept
from transport import driver_links, tracking
from transport.api import answers, told
from transport.api.driver import ACCOUNT_OR_BARE_LINK
from transport.api.journeys import TransferView
from transport.models import Meeting, Transfer
from transport.tracking import PositionTold

JSON = "application/json"
MOST_AT_ONCE = 5000
LONGEST_KEY = 64
FARTHEST_ACCURACY_M = 1_000_000
FIELDS = frozenset({"key", "happened_at", "latitude", "longitude", "accuracy_m", "sent_at"})
ONE_OR_MANY = PolymorphicProxySerializer(
    component_name="OneOrManyPositions",
    serializers=[told.PositionTold, told.PositionsTold],
    resource_type_field_name=None,
)

# The library passes these on as they are, and its annotation names strings.
WAYS_IN = cast("list[str]", [{"tokenAuth": []}, {"cookieAuth": []}, {"driverLink": []}])


class BadPosition(ValueError):
    """A position that cannot be stored; ``field`` says why."""

    def __init__(self, field: str, sentence: str) -> None:
        super().__init__(sentence)
        self.field = field


class TransferPositions(TransferView):
    """Where the vehicle was."""

    authentication_classes = ACCOUNT_OR_BARE_LINK

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """The straight way for good positions through a good link; the long one for all else."""
        stored = _straight(request, kwargs["pk"])
        if stored is not None:
            return JsonResponse({"stored": stored, "errors": []})
        return super().dispatch(request, *args, **kwargs)

    # The leaner look-up of the link is the same link to whoever reads the schema.
    @extend_schema(
        request=ONE_OR_MANY,
        responses=answers.PositionsAnswer,
        auth=WAYS_IN,
    )
    def post(self, request: Request, pk: int) -> Response:
        """Store one position or a batch, in any order; a repeat changes nothing."""
        transfer = self.transfer(pk)
        self.require_on_the_road(transfer)
        rows, sent_at = self._rows(request)
        good, bad = _sorted_out(rows, sent_at)
        if bad:
            refused = [rows[one["index"]] for one in bad]
            kept.keep_text(
                request, self.caller, _("positions that could not be stored"), json.dumps(refused)
            )
        if bad and not good:
            raise exceptions.ValidationError(
                {"positions": {str(one["index"]): {one["field"]: [one["sentence"]]} for one in bad}}
            )
        _store(transfer, good, self.now, self.second_of(transfer))
        return Response({"stored": sum(map(len, good.values())), "errors": bad})

    def _rows(self, request: Request) -> tuple[list[Any], Any]:
        """The positions told and when they were sent; what cannot be read is kept whole."""
        try:
            body = request.data
            return _batch_in(body)
        except exceptions.APIException as error:
            kept.keep(request, self.caller, str(error.detail))
            raise


def _straight(request: HttpRequest, pk: int) -> int | None:
    """How many positions were stored; nothing when anything at all is not as it should be."""
    keyword, _space, token = request.headers.get("Authorization", "").partition(" ")
    if request.method != "POST" or keyword != "Driver" or request.content_type != JSON:
        return None
    try:
        body = request.body
        # An escape may hide what no database stores: the parser of the long way looks for it.
        if b"\\u" in body:
            return None
        rows, sent_at = _batch_in(json.loads(body.decode()))
        good, bad = _sorted_out(rows, sent_at)
        now = clock.now()
        transfer, meeting = driver_links.opened_by(token, now, driver_links.bare)
    except (ValueError, RecursionError, SuspiciousOperation, exceptions.APIException):
        return None
    if bad or transfer.pk != pk:
        return None
    _store(transfer, good, now, meeting)
    return sum(map(len, good.values()))


def _batch_in(body: Any) -> tuple[list[Any], Any]:
    if not isinstance(body, dict):
        raise exceptions.ValidationError([_("send one position, or {positions: [...]}")])
    if "positions" not in body:
        return [body], None
    rows = body["positions"]
    if not isinstance(rows, list):
        raise exceptions.ValidationError({"positions": [_("this is a list of positions")]})
    if len(rows) > MOST_AT_ONCE:
        sentence = _("send at most %(most)s at once") % {"most": MOST_AT_ONCE}
        raise exceptions.ValidationError({"positions": [sentence]})
    return rows, body.get("sent_at")


def _sorted_out(
    rows: list[Any], batch_sent_at: Any
) -> tuple[dict[datetime | None, list[PositionTold]], list[dict[str, Any]]]:
    """The good positions by when they were sent, and the bad ones by their place."""
    good: dict[datetime | None, list[PositionTold]] = defaultdict(list)
    bad: list[dict[str, Any]] = []
    for index, row in enumerate(rows):
        try:
            position = _position_in(row)
            sent_at = row.get("sent_at") or batch_sent_at
            good[_moment("sent_at", sent_at) if sent_at else None].append(position)
        except BadPosition as error:
            bad.append({"index": index, "field": error.field, "sentence": str(error)})
    return good, bad


def _store(
    transfer: Transfer,
    good: dict[datetime | None, list[PositionTold]],
    now: datetime,
    meeting: Meeting | None,
) -> None:
    for sent_at, positions in good.items():
        tracking.record(transfer, positions, received_at=now, sent_at=sent_at, meeting=meeting)


def _position_in(row: Any) -> PositionTold:
    if not isinstance(row, dict):
        raise BadPosition("", _("a position is an object with key, time and place"))
    for name in row:
        if name not in FIELDS:
            raise BadPosition(str(name)[:40], _("a position has no field of this name"))
    key = row.get("key")
    if not isinstance(key, str) or not 1 <= len(key) <= LONGEST_KEY:
        raise BadPosition("key", _("the phone makes a key of 1 to 64 characters for each"))
    accuracy = row.get("accuracy_m")
    return PositionTold(
        key=key,
        happened_at=_moment("happened_at", row.get("happened_at")),
        latitude=_number("latitude", row.get("latitude"), -90, 90),
        longitude=_number("longitude", row.get("longitude"), -180, 180),
        accuracy_m=None
        if accuracy is None
        else _number("accuracy_m", accuracy, 0, FARTHEST_ACCURACY_M),
    )


def _number(field: str, value: Any, low: float, high: float) -> float:
    # A comparison refuses NaN, and numbers too large for a float, before they are converted.
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        sentence = _("a number from %(low)s to %(high)s") % {"low": low, "high": high}
        raise BadPosition(field, sentence)
    return float(value)


def _moment(field: str, value: Any) -> datetime:
    try:
        moment = datetime.fromisoformat(value)
        aware = moment if moment.tzinfo else moment.replace(tzinfo=UTC)
        return aware.astimezone(UTC)
    except (TypeError, ValueError, OverflowError) as error:
        raise BadPosition(field, _("a time as in 2026-03-01T14:02:00Z")) from error
