"""The rows of the journey. They hold; they do not change themselves."""

from transport.models.closures import Closure
from transport.models.estimates import DeskRow, Estimate, Ranking
from transport.models.experience import JourneyImport, PastJourney, TravelModel
from transport.models.legs import Leg
from transport.models.lists import ChecklistAnswer, ChecklistTemplate, LeftAllTheSame
from transport.models.maps import MapLine
from transport.models.meetings import Meeting
from transport.models.proposals import Proposal
from transport.models.road_tables import RoadRow, RoadTable
from transport.models.transfers import (
    BandReading,
    Check,
    Handover,
    Milestone,
    Position,
    Transfer,
)
from transport.models.vehicles import CrewShift, Cylinder, Vehicle

__all__ = [
    "BandReading",
    "Check",
    "ChecklistAnswer",
    "ChecklistTemplate",
    "Closure",
    "CrewShift",
    "Cylinder",
    "DeskRow",
    "Estimate",
    "Handover",
    "JourneyImport",
    "LeftAllTheSame",
    "Leg",
    "MapLine",
    "Meeting",
    "Milestone",
    "PastJourney",
    "Position",
    "Proposal",
    "Ranking",
    "RoadRow",
    "RoadTable",
    "Transfer",
    "TravelModel",
    "Vehicle",
]
