"""Referrals with their journeys: the list, the raise, one referral, its candidates."""

import logging
from typing import Any

from django.utils.translation import gettext as _
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import exceptions
from rest_framework.request import Request
from rest_framework.response import Response

from referrals import access, clock, lifecycle
from referrals.api import told
from referrals.api.asking import unit_beside
from referrals.api.base import StaffView, one, page_of
from referrals.api.idempotency import once
from referrals.api.record import OfReferral, baby_told
from referrals.api.rights import require_post_or_desk, require_raise
from referrals.models import Referral, Site, Unit
from transport import choosing
from transport.api import answers

log = logging.getLogger(__name__)
OPEN = OpenApiParameter("open", bool, description="1: only those not closed.")


class Referrals(StaffView):
    """All referrals the person sees; the raise of a new one."""

    @extend_schema(
        responses=page_of(answers.ReferralWithJourney),
        parameters=[OPEN],
        operation_id="referrals_list",
    )
    def get(self, request: Request) -> Response:
        """The newest first."""
        rows = answers.referrals_with_journeys(self.staff).order_by("-raised_at", "-id")
        if request.query_params.get("open") in ("1", "true"):
            rows = rows.exclude(stage="closed")
        return self.page(rows, answers.ReferralWithJourney)

    @extend_schema(
        request=told.ReferralTold,
        responses={201: answers.ReferralWithJourney},
        operation_id="referrals_raise",
    )
    @once
    def post(self, request: Request) -> Response:
        """Call for help: the search for a vehicle begins, and units are asked at once."""
        said = self.told(told.ReferralTold)
        site = self._site(said)
        require_raise(self.scope, site)
        self._units = [
            unit_beside(self.staff, f"units.{position}", code)
            for position, code in enumerate(said.get("units", []))
        ]
        self._raised = lifecycle.raise_referral(
            self.by(said),
            origin=site,
            raised_by=self.staff if site.pk in self.scope.sites else None,
            babies=[baby_told(baby) for baby in said.get("babies", [])],
            note=said.get("note", ""),
        )
        return Response(self._as_it_stands(), status=201)

    def follow_up(self, response: Response) -> Response:
        """Ask units in transactions of their own: a fault there never undoes the raise.

        What failed here is found by the sweep, which asks on.
        """
        try:
            self._ask(self._raised, self._units)
            return Response(self._as_it_stands(), status=response.status_code)
        except Exception:
            log.exception("%s was raised, and no unit could be asked", self._raised.code)
            return response

    def _ask(self, referral: Referral, units: list[Unit]) -> None:
        if not units:
            lifecycle.ask_best(referral.pk, clock.now())
        for unit in units:
            lifecycle.ask(self.by({}), referral, unit)

    def _as_it_stands(self) -> Any:
        rows = answers.referrals_with_journeys(self.staff)
        return self.shown(answers.ReferralWithJourney, one(rows, pk=self._raised.pk))

    def _site(self, said: dict[str, Any]) -> Site:
        """The site told, else the one post of the caller."""
        if code := said.get("site"):
            site = access.visible_sites(self.staff).filter(code=code).first()
            if site is None:
                raise exceptions.ValidationError({"site": [_("no site has this code")]})
            return site
        if len(self.scope.sites) != 1:
            raise exceptions.ValidationError({"site": [_("say from which site this is")]})
        return Site.objects.select_related("district").get(pk__in=self.scope.sites)


class ReferralDetail(StaffView):
    """One referral."""

    @extend_schema(responses=answers.ReferralWithJourney, operation_id="referrals_read")
    def get(self, request: Request, code: str) -> Response:
        """Everything the person may see of it."""
        referral = one(answers.referrals_with_journeys(self.staff), code=code)
        return Response(self.shown(answers.ReferralWithJourney, referral))


class Candidates(OfReferral):
    """Which units could take the babies, and when."""

    @extend_schema(responses=answers.RankingAnswer, operation_id="candidates")
    def get(self, request: Request, code: str) -> Response:
        """The ranking as things stand now, with reasons; it is kept as it was shown."""
        referral = self.referral(code)
        require_post_or_desk(self.scope, referral)
        now = clock.now()
        ranking = choosing.ranking_for(referral, now)
        choosing.keep(referral, ranking, now)
        body = ranking.as_dict() | {"made_at": now}
        return Response(self.shown(answers.RankingAnswer, body))


class OfferShown(OfReferral):
    """What was shown when a unit was asked."""

    @extend_schema(responses=answers.ShownAnswer, operation_id="offer_shown")
    def get(self, request: Request, code: str, pk: int) -> Response:
        """The list as it was kept with the offer; nothing where none was."""
        referral = self.referral(code)
        require_post_or_desk(self.scope, referral)
        offer = one(referral.offers.select_related("unit"), pk=pk)
        kept = one(referral.rankings.all(), pk=offer.shown.get("ranking"))
        body = kept.body | {
            "made_at": kept.made_at,
            "offer": offer.pk,
            "unit": offer.unit.code,
            "asked_at": offer.asked_at,
            "passed_over": offer.shown.get("passed_over", []),
        }
        return Response(self.shown(answers.ShownAnswer, body))
