"""The first full examination of a baby over the API."""

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from referrals import examining
from referrals.api.answers import WithdrawnAnswer
from referrals.api.idempotency import once
from referrals.api.record import OfReferral, baby_of
from referrals.api.told import Moment, Text, WhenTold, Whole
from referrals.models import Examination


class ExaminationTold(WhenTold):
    """That a baby was examined in full for the first time; nothing here suggests what to do."""

    baby = Whole(min_value=1, max_value=99, help_text="Birth order; 1 when not told.")
    examined_by = Text(120, help_text="Whoever tells it when not told.")
    examined_at = Moment(help_text="When it happened when not told.")
    findings = Text(help_text="In words.")


class ExaminationAnswer(WithdrawnAnswer):
    """An examination as it was told."""

    id = serializers.IntegerField()
    baby = serializers.IntegerField(source="baby.birth_order")
    examined_by = serializers.CharField()
    examined_at = serializers.DateTimeField()
    findings = serializers.SerializerMethodField()
    told_by = serializers.CharField()
    recorded_at = serializers.DateTimeField()

    def get_findings(self, row: Examination) -> str:
        """What was found; empty when nothing was told."""
        return str(row.findings or "")


class Examinations(OfReferral):
    """First full examinations; a baby without one that stands has not been told of yet."""

    @extend_schema(responses=ExaminationAnswer(many=True), operation_id="examinations_list")
    def get(self, request: Request, code: str) -> Response:
        """All of them, those taken back among them."""
        rows = Examination.objects.filter(baby__referral=self.referral(code))
        rows = rows.select_related("baby", "findings", "withdrawn_why")
        return Response(self.shown(ExaminationAnswer, rows, many=True))

    @extend_schema(request=ExaminationTold, responses={201: ExaminationAnswer})
    @once
    def post(self, request: Request, code: str) -> Response:
        """Record one; a wrong one is taken back and told again."""
        referral = self.known_referral(code)
        said = self.told(ExaminationTold)
        baby = baby_of(referral, said.get("baby"))
        row = examining.examine(
            self.by(said),
            baby,
            examined_by=said.get("examined_by") or "",
            examined_at=said.get("examined_at"),
            findings=said.get("findings") or "",
        )
        return self.answer(ExaminationAnswer, row, referral=referral.pk, status=201)
