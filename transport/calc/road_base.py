"""What a road knows of one journey before any experience: the protocol of those who answer it.

A table of shortest ways is one; a routing engine asked one to many would be another; the straight
line with a detour is the one that always answers.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol

from transport.calc.places import Place

ROAD_TABLE = "road_table"


@dataclass(frozen=True, slots=True)
class RoadWay:
    """A way by road: km, and minutes of a car by day, dry, at the speeds of ``road_tags``.

    ``middle``, ``minor``, ``track`` and ``unpaved`` are the shares of the minutes on such roads,
    0 to 1.
    """

    km: float
    minutes: float
    middle: float = 0.0
    minor: float = 0.0
    track: float = 0.0
    unpaved: float = 0.0

    @property
    def shares(self) -> tuple[float, float, float, float]:
        """As the model that learns takes them."""
        return self.middle, self.minor, self.track, self.unpaved


class NoRoad(StrEnum):
    """Why there is no way by road."""

    UNREACHABLE = "unreachable"
    """No road joins the two places."""
    NOT_NEAR = "not_near"
    """One of them is too far from a road to say."""
    UNKNOWN = "unknown"
    """Nobody has worked it out: this pair stands in no row."""


RoadAnswer = RoadWay | NoRoad


class RoadBase(Protocol):
    """Whoever answers for roads. One to many, as tables and routing engines do it."""

    def ways_from(self, origin: Place, destinations: Sequence[Place]) -> Sequence[RoadAnswer]:
        """One answer for each destination, in their order."""
