"""Places, units and their cots, alerts, and who is asking."""

from django.db.models import QuerySet
from django.utils.translation import gettext as _
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from referrals import access, alerting, clock, cots
from referrals.api import answers, told
from referrals.api.base import StaffView, one, page_of
from referrals.api.idempotency import once
from referrals.api.rights import require_unit
from referrals.calc.states import NotPossible
from referrals.models import Alert, CotReport, Unit


class Me(StaffView):
    """Who is asking."""

    @extend_schema(responses=answers.MeAnswer, operation_id="me")
    def get(self, request: Request) -> Response:
        """The person, their roles, and the server's time."""
        shape = answers.MeAnswer(self.staff, context={"now": clock.now()})
        return Response(shape.data)


class Sites(StaffView):
    """The places of the person's districts."""

    @extend_schema(responses=page_of(answers.SiteAnswer), operation_id="sites_list")
    def get(self, request: Request) -> Response:
        """All places by code."""
        return self.page(access.visible_sites(self.staff).order_by("code"), answers.SiteAnswer)


class Units(StaffView):
    """The receiving units of the person's districts."""

    @extend_schema(responses=page_of(answers.UnitAnswer), operation_id="units_list")
    def get(self, request: Request) -> Response:
        """All units by code."""
        return self.page(access.visible_units(self.staff).order_by("code"), answers.UnitAnswer)


class UnitDetail(StaffView):
    """One unit."""

    @extend_schema(responses=answers.UnitAnswer, operation_id="units_read")
    def get(self, request: Request, code: str) -> Response:
        """What it can do, its free cots and when they were reported."""
        unit = one(access.visible_units(self.staff), code=code)
        return Response(self.shown(answers.UnitAnswer, unit))


class UnitCots(StaffView):
    """How many cots are free."""

    @extend_schema(request=told.CotsTold, responses=answers.UnitAnswer)
    @once
    def post(self, request: Request, code: str) -> Response:
        """Report free cots, not counting those promised to babies on the way."""
        unit = one(access.visible_units(self.staff), code=code)
        require_unit(self.scope, unit)
        said = self.told(told.CotsTold)
        unit = cots.report_cots(
            self.by(said),
            unit,
            cots_free=said["cots_free"],
            is_open=said.get("is_open", unit.is_open),
        )
        return Response(self.shown(answers.UnitAnswer, unit))


class UnitCotsWithdraw(StaffView):
    """The newest report of free cots was wrong."""

    @extend_schema(request=told.ReasonTold, responses=answers.UnitAnswer)
    @once
    def post(self, request: Request, code: str) -> Response:
        """Take the newest report back, with a reason; what was promised since stays promised."""
        unit = one(access.visible_units(self.staff), code=code)
        require_unit(self.scope, unit)
        said = self.told(told.ReasonTold)
        unit = cots.withdraw_report(self.by(said), _newest_report(unit), why=said["reason"])
        return Response(self.shown(answers.UnitAnswer, unit))


def _newest_report(unit: Unit) -> CotReport:
    report = unit.cot_reports.filter(withdrawn_at=None).order_by("-pk").first()
    if report is None:
        raise NotPossible(
            _("No report stands that could be taken back."), code="nothing_to_withdraw"
        )
    return report


ALL = OpenApiParameter("all", bool, description="1: those dealt with, too.")


class Alerts(StaffView):
    """What people must deal with."""

    @extend_schema(
        responses=page_of(answers.AlertAnswer), parameters=[ALL], operation_id="alerts_list"
    )
    def get(self, request: Request) -> Response:
        """The open ones, oldest first; with ``?all=1`` all, newest first."""
        rows: QuerySet[Alert] = access.visible_alerts(self.staff)
        if request.query_params.get("all") in ("1", "true"):
            return self.page(rows.order_by("-raised_at", "-id"), answers.AlertAnswer)
        still = rows.filter(acknowledged_at__isnull=True, closed_at__isnull=True)
        return self.page(still.order_by("raised_at", "id"), answers.AlertAnswer)


class AlertAcknowledge(StaffView):
    """I have it."""

    @extend_schema(request=told.WhenTold, responses=answers.AlertAnswer)
    @once
    def post(self, request: Request, pk: int) -> Response:
        """Take an alert: its ladder stops. A second press changes nothing."""
        alert = one(access.visible_alerts(self.staff), pk=pk)
        alert = alerting.acknowledge(alert.pk, self.by(self.told(told.WhenTold)))
        return self.answer(answers.AlertAnswer, alert, referral=alert.referral_id)


class AlertGiveBack(StaffView):
    """I cannot after all."""

    @extend_schema(request=told.WhenTold, responses=answers.AlertAnswer)
    @once
    def post(self, request: Request, pk: int) -> Response:
        """Give a taken alert back: the others are told again, and the ladder runs on."""
        alert = one(access.visible_alerts(self.staff), pk=pk)
        alert = alerting.give_back(alert.pk, self.by(self.told(told.WhenTold)))
        return self.answer(answers.AlertAnswer, alert, referral=alert.referral_id)
