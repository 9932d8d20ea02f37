"""Steps tried for a chest that does not move, and the rules and tables with who adopted them."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import exceptions, serializers
from rest_framework.request import Request
from rest_framework.response import Response

from referrals import tables, ventilating
from referrals.access import districts_of
from referrals.api.answers import WithHead
from referrals.api.base import StaffView
from referrals.api.idempotency import once
from referrals.api.record import OfReferral, baby_of
from referrals.api.told import WhenTold, Whole
from referrals.calc.chest_steps import CHEST_STEPS
from referrals.models import ChestTry


class ChestTryTold(WhenTold):
    """One step that was tried, and whether the chest moved then."""

    baby = Whole(min_value=1, max_value=99, help_text="Birth order; 1 when not told.")
    step = serializers.ChoiceField(choices=[step.code for step in CHEST_STEPS])
    chest_moves = serializers.BooleanField()


class ChestTryAnswer(WithHead):
    """One step that was tried."""

    id = serializers.IntegerField()
    baby = serializers.IntegerField(source="baby.birth_order")
    step = serializers.CharField()
    chest_moves = serializers.BooleanField()
    tried_at = serializers.DateTimeField()
    told_by = serializers.CharField()
    withdrawn_at = serializers.DateTimeField(allow_null=True)


class ChestTries(OfReferral):
    """What was tried when the chest did not move."""

    @extend_schema(responses=ChestTryAnswer(many=True), operation_id="chest_tries_list")
    def get(self, request: Request, code: str) -> Response:
        """All of it, oldest first."""
        rows = ChestTry.objects.filter(baby__referral=self.referral(code)).select_related("baby")
        return Response(self.shown(ChestTryAnswer, rows, many=True))

    @extend_schema(request=ChestTryTold, responses={201: ChestTryAnswer})
    @once
    def post(self, request: Request, code: str) -> Response:
        """Record one step; it is a reading of the baby too."""
        referral = self.known_referral(code)
        said = self.told(ChestTryTold)
        baby = baby_of(referral, said.get("baby"))
        row = ventilating.try_step(
            self.by(said), baby, said["step"], chest_moves=said["chest_moves"]
        )
        return self.answer(ChestTryAnswer, row, referral=referral.pk, status=201)


class LineAnswer(serializers.Serializer):
    """One rule or value with its source."""

    code = serializers.CharField()
    words = serializers.CharField()
    value = serializers.CharField(allow_blank=True)
    source = serializers.CharField(allow_blank=True)  # type: ignore[assignment]


class TableAnswer(serializers.Serializer):
    """A table as it holds in a district, and who adopted the values that hold now."""

    code = serializers.CharField(source="table.code")
    district = serializers.SerializerMethodField()
    title = serializers.CharField(source="table.title")
    version = serializers.CharField(source="table.version")
    adopted_by = serializers.SerializerMethodField()
    adopted_role = serializers.SerializerMethodField()
    adopted_on = serializers.SerializerMethodField()
    lines = LineAnswer(source="table.lines", many=True)

    def get_district(self, row: tables.Standing) -> str:
        """The code of the district."""
        return str(self.context["district"].code)

    def get_adopted_by(self, row: tables.Standing) -> str | None:
        """The name of who adopted it; nothing while it is not adopted as it is now."""
        return row.adopted.adopted_by if row.adopted else None

    def get_adopted_role(self, row: tables.Standing) -> str | None:
        """In which role."""
        return row.adopted.role if row.adopted else None

    def get_adopted_on(self, row: tables.Standing) -> str | None:
        """On which day."""
        return row.adopted.adopted_on.isoformat() if row.adopted else None


class Tables(StaffView):
    """Every rule and table, with its values and sources."""

    @extend_schema(responses=TableAnswer(many=True), operation_id="tables_list")
    def get(self, request: Request) -> Response:
        """Those of the person's district, of the first by code where there are several."""
        district = districts_of(self.staff).order_by("code").first()
        if district is None:
            raise exceptions.NotFound
        shown = [
            table
            for table in tables.tables_of(district)
            if not table.for_units or self.scope.is_desk or self.scope.units
        ]
        context: dict[str, Any] = {"district": district}
        rows = tables.standing_of(district, shown)
        return Response(TableAnswer(rows, many=True, context=context).data)
