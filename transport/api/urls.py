"""Every address under ``/api/v1/``."""

from django.urls import path, re_path
from drf_spectacular.views import SpectacularJSONAPIView

from referrals.api import asking, calls, came_in, gateway, local, places, record, scores
from referrals.api.base import NoSuchAddress
from transport.api import (
    closures,
    corrections,
    journeys,
    legs,
    on_the_road,
    positions,
    proposals,
    referrals,
    vehicles,
)

app_name = "api"
_REFERRAL = "referrals/<str:code>/"
_BABY = _REFERRAL + "babies/<int:birth_order>/"
_OFFER = "offers/<int:pk>/"
_TRANSFER = "transfers/<int:pk>/"

urlpatterns = [
    path("schema/", SpectacularJSONAPIView.as_view(), name="schema"),
    path("me/", places.Me.as_view(), name="me"),
    path("referrals/", referrals.Referrals.as_view(), name="referrals"),
    path(_REFERRAL, referrals.ReferralDetail.as_view(), name="referral"),
    path(_REFERRAL + "observations/", record.Observations.as_view(), name="observations"),
    path(_REFERRAL + "treatments/", record.Treatments.as_view(), name="treatments"),
    path(_REFERRAL + "advice/", record.AdviceGiven.as_view(), name="advice"),
    path(_REFERRAL + "scores/", scores.Scores.as_view(), name="scores"),
    path(_REFERRAL + "chest/", local.ChestTries.as_view(), name="chest_tries"),
    path(_REFERRAL + "needs/", record.Needs.as_view(), name="needs"),
    path(
        _REFERRAL + "needs/<int:pk>/override/",
        record.NeedOverride.as_view(),
        name="need_override",
    ),
    path(_REFERRAL + "needs/<int:pk>/restore/", record.NeedRestore.as_view(), name="need_restore"),
    path(
        _REFERRAL + "told/<str:kind>/<int:pk>/withdraw/",
        corrections.ToldWithdraw.as_view(),
        name="told_withdraw",
    ),
    path(_REFERRAL + "candidates/", referrals.Candidates.as_view(), name="candidates"),
    path(_REFERRAL + "offers/<int:pk>/shown/", referrals.OfferShown.as_view(), name="offer_shown"),
    path(_REFERRAL + "offers/", asking.ReferralOffers.as_view(), name="referral_offers"),
    path(_REFERRAL + "entries/", record.Entries.as_view(), name="entries"),
    path(_REFERRAL + "outcome/", record.Outcomes.as_view(), name="outcome"),
    path(_REFERRAL + "outcome/<int:pk>/read/", record.OutcomeRead.as_view(), name="outcome_read"),
    path(_REFERRAL + "take_back/", asking.TakeBack.as_view(), name="take_back"),
    path(_REFERRAL + "join/", asking.Join.as_view(), name="join"),
    path(_REFERRAL + "divert/", asking.Divert.as_view(), name="divert"),
    path(_REFERRAL + "hands/", record.HandsAtTheBedside.as_view(), name="hands"),
    path(_REFERRAL + "calls/", calls.Calls.as_view(), name="calls"),
    path(_REFERRAL + "charge/", calls.Charge.as_view(), name="charge"),
    path(_REFERRAL + "mother/", record.MotherOf.as_view(), name="mother"),
    path(_REFERRAL + "babies/", record.Babies.as_view(), name="babies"),
    path(_BABY, record.BabyDescribed.as_view(), name="baby"),
    path(_BABY + "ending/", record.BabyEnding.as_view(), name="ending"),
    path(_BABY + "ending/reverse/", record.BabyEndingReverse.as_view(), name="ending_reverse"),
    path("offers/", asking.Offers.as_view(), name="offers"),
    path(_OFFER + "accept/", asking.OfferAccept.as_view(), name="offer_accept"),
    path(_OFFER + "reconfirm/", asking.OfferReconfirm.as_view(), name="offer_reconfirm"),
    path(_OFFER + "decline/", asking.OfferDecline.as_view(), name="offer_decline"),
    path(_OFFER + "withdraw/", asking.OfferWithdraw.as_view(), name="offer_withdraw"),
    path("transfers/", journeys.Transfers.as_view(), name="transfers"),
    path(_TRANSFER, journeys.TransferDetail.as_view(), name="transfer"),
    path(_TRANSFER + "assign/", journeys.TransferAssign.as_view(), name="assign"),
    path("proposals/", proposals.Proposals.as_view(), name="proposals"),
    path(_TRANSFER + "proposal/", proposals.TransferProposal.as_view(), name="proposal"),
    path(
        _TRANSFER + "proposal/withdraw/",
        proposals.TransferProposalWithdraw.as_view(),
        name="proposal_withdraw",
    ),
    path(_TRANSFER + "unassign/", journeys.TransferUnassign.as_view(), name="unassign"),
    path(_TRANSFER + "send_toward/", journeys.TransferSendToward.as_view(), name="send_toward"),
    path(
        _TRANSFER + "send_toward/withdraw/",
        journeys.TransferNotToward.as_view(),
        name="not_toward",
    ),
    path(_TRANSFER + "escort/", journeys.TransferEscort.as_view(), name="escort"),
    path(_TRANSFER + "go_on/", on_the_road.TransferGoOn.as_view(), name="go_on"),
    path(_TRANSFER + "meeting/", journeys.TransferMeeting.as_view(), name="meeting"),
    path(
        _TRANSFER + "meeting/steps/",
        journeys.TransferMeetingSteps.as_view(),
        name="meeting_steps",
    ),
    path(_TRANSFER + "milestones/", on_the_road.TransferMilestones.as_view(), name="milestones"),
    path(
        _TRANSFER + "milestones/withdraw/",
        on_the_road.TransferMilestonesWithdraw.as_view(),
        name="milestones_withdraw",
    ),
    path(_TRANSFER + "positions/", positions.TransferPositions.as_view(), name="positions"),
    path(_TRANSFER + "checks/", on_the_road.TransferChecks.as_view(), name="checks"),
    path(_TRANSFER + "checklists/", on_the_road.TransferChecklists.as_view(), name="checklists"),
    path(
        _TRANSFER + "checklists/leave/",
        on_the_road.TransferChecklistsLeave.as_view(),
        name="checklists_leave",
    ),
    path(_TRANSFER + "bands/", on_the_road.TransferBands.as_view(), name="bands"),
    path(_TRANSFER + "handover/", on_the_road.TransferHandover.as_view(), name="handover"),
    path(
        _TRANSFER + "handover/withdraw/",
        on_the_road.TransferHandoverWithdraw.as_view(),
        name="handover_withdraw",
    ),
    path("tables/", local.Tables.as_view(), name="tables"),
    path("sites/", places.Sites.as_view(), name="sites"),
    path("units/", places.Units.as_view(), name="units"),
    path("units/<str:code>/", places.UnitDetail.as_view(), name="unit"),
    path("units/<str:code>/cots/", places.UnitCots.as_view(), name="unit_cots"),
    path(
        "units/<str:code>/cots/withdraw/",
        places.UnitCotsWithdraw.as_view(),
        name="unit_cots_withdraw",
    ),
    path("vehicles/", vehicles.Vehicles.as_view(), name="vehicles"),
    path("vehicles/<str:code>/ready/", vehicles.VehicleReady.as_view(), name="vehicle_ready"),
    path("vehicles/<str:code>/place/", vehicles.VehiclePlace.as_view(), name="vehicle_place"),
    path("closures/", closures.Closures.as_view(), name="closures"),
    path("closures/<int:pk>/lift/", closures.ClosureLift.as_view(), name="closure_lift"),
    path("legs/", legs.Legs.as_view(), name="legs"),
    path("legs/<int:pk>/stop/", legs.LegStop.as_view(), name="leg_stop"),
    path("legs/<int:pk>/start/", legs.LegStart.as_view(), name="leg_start"),
    path("kept/", came_in.Kept.as_view(), name="kept"),
    path("kept/<int:pk>/done/", came_in.KeptDone.as_view(), name="kept_done"),
    path("inbound/sms/", gateway.InboundSms.as_view(), name="inbound_sms"),
    path(
        "inbound/missed_calls/", gateway.InboundMissedCalls.as_view(), name="inbound_missed_calls"
    ),
    path("inbound/reports/", gateway.InboundReports.as_view(), name="inbound_reports"),
    path("alerts/", places.Alerts.as_view(), name="alerts"),
    path("alerts/<int:pk>/acknowledge/", places.AlertAcknowledge.as_view(), name="acknowledge"),
    path("alerts/<int:pk>/give_back/", places.AlertGiveBack.as_view(), name="give_back"),
    re_path(r"^.*/$", NoSuchAddress.as_view(), name="nothing"),
]
