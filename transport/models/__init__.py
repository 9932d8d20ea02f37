"""The rows of the journey. They hold; they do not change themselves."""

from transport.models.closures import Closure
from transport.models.estimates import DeskRow, Estimate, Ranking
from transport.models.transfers import (
    BandReading,
    Check,
    ChecklistAnswer,
    ChecklistTemplate,
    Handover,
    Milestone,
    Position,
    Transfer,
)
from transport.models.vehicles import Cylinder, Vehicle

__all__ = [
    "BandReading",
    "Check",
    "ChecklistAnswer",
    "ChecklistTemplate",
    "Closure",
    "Cylinder",
    "DeskRow",
    "Estimate",
    "Handover",
    "Milestone",
    "Position",
    "Ranking",
    "Transfer",
    "Vehicle",
]
