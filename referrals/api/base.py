"""What every view of the API shares: who asks, how it is parsed, how it is answered."""

from datetime import datetime
from typing import Any, TypeVar

from django.db.models import Model, QuerySet
from django.utils import translation
from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema, inline_serializer
from rest_framework import exceptions, serializers
from rest_framework.negotiation import DefaultContentNegotiation
from rest_framework.pagination import LimitOffsetPagination
from rest_framework.permissions import IsAuthenticated
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from referrals import clock
from referrals.access import Scope, scope_of
from referrals.acting import By, by_staff
from referrals.api.kept import CarefulJSONParser
from referrals.calc.terms import EntryChannel
from referrals.models import Referral, Staff
from referrals.saying import offered

M = TypeVar("M", bound=Model)


class AlwaysJSON(DefaultContentNegotiation):
    """Every answer is JSON, whatever the caller would rather have."""

    def select_renderer(
        self, request: Request, renderers: Any, format_suffix: str | None = None
    ) -> tuple[BaseRenderer, str]:
        """The JSON renderer."""
        return JSONRenderer(), "application/json"


class Pages(LimitOffsetPagination):
    """A hundred rows a page, five hundred at most."""

    default_limit = 100
    max_limit = 500


class IsStaff(IsAuthenticated):
    """A person with an account; the driver's link opens its own journey only."""

    def has_permission(self, request: Request, view: APIView) -> bool:
        """Whether a member of staff is asking."""
        return isinstance(request.user, Staff)


class StaffView(APIView):
    """A view for people with an account."""

    permission_classes = [IsStaff]
    parser_classes = [CarefulJSONParser]
    content_negotiation_class = AlwaysJSON

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Take the body whole before it is parsed, so that it can be kept as it came.

        From here on the sentences are in the person's own language, if they have one; Django's
        middleware chooses anew for the next request.
        """
        _ = request._request.body
        super().initial(request, *args, **kwargs)
        if isinstance(request.user, Staff) and request.user.language:
            translation.activate(offered(request.user.language))

    @property
    def staff(self) -> Staff:
        """Who is asking."""
        return self.request.user  # type: ignore[return-value]

    @property
    def caller(self) -> str:
        """Whose idempotency keys are used."""
        return f"staff:{self.staff.username}"

    @property
    def scope(self) -> Scope:
        """Where the person has a role, read once a request."""
        if not hasattr(self, "_scope"):
            self._scope = scope_of(self.staff)
        return self._scope

    def by(self, told: dict[str, Any], now: datetime | None = None) -> By:
        """The author of what was told, with the times the device gave."""
        return by_staff(
            self.staff,
            channel=EntryChannel.API,
            now=now or clock.now(),
            happened_at=told.get("happened_at"),
            sent_at=told.get("sent_at"),
        )

    def told(self, shape: type[serializers.Serializer]) -> dict[str, Any]:
        """The body in its shape; what is missing or told as null is left out."""
        serializer = shape(data=self.request.data, context={"view": self})
        serializer.is_valid(raise_exception=True)
        return {
            name: value for name, value in serializer.validated_data.items() if value is not None
        }

    def page(self, rows: QuerySet[M], shape: type[serializers.Serializer]) -> Response:
        """One page of a list."""
        pages = Pages()
        some = pages.paginate_queryset(rows, self.request, view=self)
        return pages.get_paginated_response(self.shown(shape, some, many=True))

    def shown(self, shape: type[serializers.Serializer], thing: Any, **options: Any) -> Any:
        """A thing, or many, as this person may see it."""
        return shape(thing, context={"view": self}, **options).data

    def answer(
        self,
        shape: type[serializers.Serializer],
        thing: Any,
        *,
        referral: int | None = None,
        status: int = 200,
    ) -> Response:
        """The answer to a verb, with the head of the timeline where there is one."""
        data = dict(self.shown(shape, thing))
        if referral is not None:
            data["entry_seq"] = Referral.objects.values_list("head_seq", flat=True).get(pk=referral)
        return Response(data, status=status)


@extend_schema(exclude=True)
class NoSuchAddress(APIView):
    """Any other address below the API: a problem like every other, not a page."""

    authentication_classes: list[Any] = []
    permission_classes: list[Any] = []
    content_negotiation_class = AlwaysJSON

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Nothing is here, whatever is asked.

        Raises:
            NotFound: always.
        """
        raise exceptions.NotFound(_("There is nothing at this address; see /api/v1/schema/."))


def page_of(shape: type[serializers.Serializer] | Any, name: str = "") -> Any:
    """The shape of a page, for the published schema."""
    name = name or shape.__name__
    rows = shape(many=True) if isinstance(shape, type) else shape
    return inline_serializer(
        f"{name}Page",
        {
            "count": serializers.IntegerField(),
            "next": serializers.URLField(allow_null=True),
            "previous": serializers.URLField(allow_null=True),
            "results": rows,
        },
    )


def one(rows: QuerySet[M], **look_up: Any) -> M:
    """The one thing in the person's scope; what is outside of it does not exist.

    Raises:
        NotFound: as for anything that was never there.
    """
    found = rows.filter(**look_up).first()
    if found is None:
        raise exceptions.NotFound(_("There is nothing here for you. Check the code and try again."))
    return found
