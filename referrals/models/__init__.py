"""The rows of the record. They hold; they do not change themselves."""

from referrals.models.alerts import Alert, Delivery, SweepRun
from referrals.models.intake import DeviceRequest, KeptInput
from referrals.models.observations import (
    Advice,
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
from referrals.models.sites import Contact, CotReport, District, Site, Unit

__all__ = [
    "Advice",
    "Alert",
    "Baby",
    "Contact",
    "CotHold",
    "CotReport",
    "Delivery",
    "DeviceRequest",
    "District",
    "Entry",
    "KeptInput",
    "Mother",
    "MotherObservation",
    "Need",
    "NeverChanged",
    "Observation",
    "Offer",
    "Outcome",
    "PrivateText",
    "Referral",
    "Site",
    "Staff",
    "StaffRole",
    "SweepRun",
    "TreatmentGiven",
    "Unit",
]
