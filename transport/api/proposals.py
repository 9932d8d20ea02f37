"""What is proposed for a journey that wants a vehicle, over the API. A person sends; this never."""

from typing import Any

from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema
from rest_framework import exceptions, serializers
from rest_framework.request import Request
from rest_framework.response import Response

from referrals.api.base import StaffView, page_of
from referrals.api.errors import WrongRole
from referrals.api.idempotency import once
from referrals.api.told import WhenTold
from transport import access, proposing
from transport.api.journeys import DeskVerb
from transport.api.told import KeepTold
from transport.models import Proposal, Transfer


class ProposalAnswer(serializers.Serializer):
    """The vehicle proposed for one journey; null where none is left, or none is wanted."""

    referral = serializers.CharField(source="transfer.referral.code")
    transfer = serializers.IntegerField(source="transfer_id")
    vehicle = serializers.CharField(source="vehicle.code", default=None, allow_null=True)
    since = serializers.DateTimeField()
    made_at = serializers.DateTimeField()
    saves = serializers.FloatField(help_text="Weighted minutes to care, beside the next best.")
    to_baby_p50_minutes = serializers.SerializerMethodField()
    to_baby_p90_minutes = serializers.SerializerMethodField()
    to_care_minutes = serializers.SerializerMethodField()
    weight = serializers.SerializerMethodField()
    reasons = serializers.ListField(child=serializers.CharField())
    pinned_by = serializers.CharField(allow_blank=True)

    def get_to_baby_p50_minutes(self, row: Proposal) -> float | None:
        """Median minutes from ``made_at`` until the vehicle is with the baby."""
        return _cell(row).get("baby_p50")

    def get_to_baby_p90_minutes(self, row: Proposal) -> float | None:
        """Not exceeded in nine of ten."""
        return _cell(row).get("baby_p90")

    def get_to_care_minutes(self, row: Proposal) -> float | None:
        """Expected minutes until the baby is in care."""
        return _cell(row).get("care_expected")

    def get_weight(self, row: Proposal) -> float | None:
        """How much a minute counts beside one of a baby that is ventilated by hand."""
        return row.body.get("weight")


def _cell(row: Proposal) -> dict[str, Any]:
    return row.cell() or {}


class ProposalHere(serializers.Serializer):
    """What is proposed now; ``proposal`` is null once the journey wants no vehicle."""

    proposal = ProposalAnswer(allow_null=True)


class Proposals(StaffView):
    """What is proposed in the district, for its desk."""

    @extend_schema(responses=page_of(ProposalAnswer), operation_id="proposals_list")
    def get(self, request: Request) -> Response:
        """Those of all journeys that want a vehicle, as they were worked out last."""
        if not (self.scope.everything or self.scope.districts):
            raise WrongRole(_("This is for the district desk. Ring the desk."))
        journeys = access.dispatchable_transfers(self.staff).order_by().values("pk")
        rows = Proposal.objects.filter(transfer__in=journeys)
        rows = rows.select_related("vehicle", "transfer__referral").order_by("since", "pk")
        return self.page(rows, ProposalAnswer)


class ProposalView(DeskVerb):
    """What the desk is told of the proposal for one journey."""

    def said(self, transfer: Transfer) -> Response:
        """What is proposed now."""
        row = proposing.proposal_for(transfer, self.now)
        shown = self.shown(ProposalAnswer, row) if row else None
        return Response({"proposal": shown})


class TransferProposal(ProposalView):
    """The vehicle proposed for one journey, and keeping one for it."""

    @extend_schema(responses=ProposalHere, operation_id="proposal_read")
    def get(self, request: Request, pk: int) -> Response:
        """Brought up to date; nothing is sent."""
        return self.said(self.for_desk(pk))

    @extend_schema(request=KeepTold, responses=ProposalHere)
    @once
    def post(self, request: Request, pk: int) -> Response:
        """Keep a vehicle for this journey: it is then proposed for no other. Nothing is sent."""
        transfer = self.for_desk(pk)
        said = self.told(KeepTold)
        vehicles = access.visible_vehicles(self.staff).filter(district=transfer.referral.district)
        vehicle = vehicles.filter(code=said["vehicle"]).first()
        if vehicle is None:
            raise exceptions.ValidationError({"vehicle": [_("no vehicle has this code")]})
        proposing.keep_for(self.by(said), transfer, vehicle)
        return self.said(transfer)


class TransferProposalWithdraw(ProposalView):
    """No vehicle is kept for this journey any more."""

    @extend_schema(request=WhenTold, responses=ProposalHere)
    @once
    def post(self, request: Request, pk: int) -> Response:
        """Let it go; what is best over all journeys is proposed again."""
        transfer = self.for_desk(pk)
        proposing.let_go(self.by(self.told(WhenTold)), transfer)
        return self.said(transfer)
