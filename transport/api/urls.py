"""Every address under ``/api/v1/``."""

from django.urls import path, re_path
from drf_spectacular.views import SpectacularJSONAPIView

from referrals.api import asking, places, record
from referrals.api.base import NoSuchAddress
from transport.api import closures, journeys, on_the_road, positions, referrals, vehicles

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
    path(_REFERRAL + "needs/", record.Needs.as_view(), name="needs"),
    path(
        _REFERRAL + "needs/<int:pk>/override/",
        record.NeedOverride.as_view(),
        name="need_override",
    ),
    path(_REFERRAL + "candidates/", referrals.Candidates.as_view(), name="candidates"),
    path(_REFERRAL + "offers/", asking.ReferralOffers.as_view(), name="referral_offers"),
    path(_REFERRAL + "entries/", record.Entries.as_view(), name="entries"),
    path(_REFERRAL + "outcome/", record.Outcomes.as_view(), name="outcome"),
    path(_REFERRAL + "outcome/<int:pk>/read/", record.OutcomeRead.as_view(), name="outcome_read"),
    path(_REFERRAL + "take_back/", asking.TakeBack.as_view(), name="take_back"),
    path(_REFERRAL + "join/", asking.Join.as_view(), name="join"),
    path(_REFERRAL + "divert/", asking.Divert.as_view(), name="divert"),
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
    path(_TRANSFER + "unassign/", journeys.TransferUnassign.as_view(), name="unassign"),
    path(_TRANSFER + "send_toward/", journeys.TransferSendToward.as_view(), name="send_toward"),
    path(_TRANSFER + "milestones/", on_the_road.TransferMilestones.as_view(), name="milestones"),
    path(
        _TRANSFER + "milestones/withdraw/",
        on_the_road.TransferMilestonesWithdraw.as_view(),
        name="milestones_withdraw",
    ),
    path(_TRANSFER + "positions/", positions.TransferPositions.as_view(), name="positions"),
    path(_TRANSFER + "checks/", on_the_road.TransferChecks.as_view(), name="checks"),
    path(_TRANSFER + "checklists/", on_the_road.TransferChecklists.as_view(), name="checklists"),
    path(_TRANSFER + "bands/", on_the_road.TransferBands.as_view(), name="bands"),
    path(_TRANSFER + "handover/", on_the_road.TransferHandover.as_view(), name="handover"),
    path("sites/", places.Sites.as_view(), name="sites"),
    path("units/", places.Units.as_view(), name="units"),
    path("units/<str:code>/", places.UnitDetail.as_view(), name="unit"),
    path("units/<str:code>/cots/", places.UnitCots.as_view(), name="unit_cots"),
    path("vehicles/", vehicles.Vehicles.as_view(), name="vehicles"),
    path("vehicles/<str:code>/ready/", vehicles.VehicleReady.as_view(), name="vehicle_ready"),
    path("closures/", closures.Closures.as_view(), name="closures"),
    path("closures/<int:pk>/lift/", closures.ClosureLift.as_view(), name="closure_lift"),
    path("alerts/", places.Alerts.as_view(), name="alerts"),
    path("alerts/<int:pk>/acknowledge/", places.AlertAcknowledge.as_view(), name="acknowledge"),
    re_path(r"^.*/$", NoSuchAddress.as_view(), name="nothing"),
]
