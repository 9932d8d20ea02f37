"""The rows of the record. They hold; they do not change themselves."""

from referrals.models.alerts import Alert, Delivery, SweepRun
from referrals.models.intake import DeviceRequest, InboundMessage, KeptInput
from referrals.models.local_rules import Adoption, LocalRule
from referrals.models.observations import (
    Advice,
    ChestTry,
    Examination,
    MotherObservation,
    Need,
    Observation,
    Outcome,
    TreatmentGiven,
)
from referrals.models.people import Staff, StaffRole
from referrals.models.referral import (
    Baby,
    CotHold,
    Entry,
    Mother,
    NeverChanged,
    Offer,
    PrivateText,
    Referral,
)
from referrals.models.scores import ScoreTaken
from referrals.models.sites import (
    Contact,
    CotReport,
    District,
    ReserveContact,
    Shift,
    Site,
    Unit,
)

__all__ = [
    "Adoption",
    "Advice",
    "Alert",
    "Baby",
    "ChestTry",
    "Contact",
    "CotHold",
    "CotReport",
    "Delivery",
    "DeviceRequest",
    "District",
    "Entry",
    "Examination",
    "InboundMessage",
    "KeptInput",
    "LocalRule",
    "Mother",
    "MotherObservation",
    "Need",
    "NeverChanged",
    "Observation",
    "Offer",
    "Outcome",
    "PrivateText",
    "Referral",
    "ReserveContact",
    "ScoreTaken",
    "Shift",
    "Site",
    "Staff",
    "StaffRole",
    "SweepRun",
    "TreatmentGiven",
    "Unit",
]
