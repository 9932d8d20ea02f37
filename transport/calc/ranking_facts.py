"""What the ranking is told and what it answers: plain facts, no rules."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Protocol

from referrals.calc.terms import Capability, Urgency, VehicleKind
from transport.calc.oxygen import DEFAULT_RESERVE, Cylinder, OxygenPlan, Reserve
from transport.calc.places import Place
from transport.calc.sums import SAME_DAY, Duration
from transport.calc.travel import TravelEstimate


class Needs(Protocol):
    """The care needed, as the need assessment gives it; ``limit_minutes`` counts from now."""

    @property
    def capabilities(self) -> frozenset[Capability]: ...
    @property
    def preferred_capabilities(self) -> frozenset[Capability]: ...
    @property
    def urgency(self) -> Urgency: ...
    @property
    def limit_minutes(self) -> float | None: ...


@dataclass(frozen=True, slots=True)
class UnitFacts:
    """A receiving unit as it is known now.

    ``cots_free`` None: not reported. ``already``: what became of a question for this referral
    (``"asked"``, ``"lapsed"``, ``"withdrawn"``, ``"accepted"``, ``"declined: no cot"``), None if it
    was not asked.
    """

    key: str
    name: str
    place: Place
    capabilities: frozenset[Capability]
    cots_free: int | None
    open: bool
    already: str | None = None
    is_default: bool = False


@dataclass(frozen=True, slots=True)
class VehicleFacts:
    """A vehicle that can be sent: where it is (None: not known) and when it is free."""

    key: str
    name: str
    kind: VehicleKind
    place: Place | None
    minutes_until_free: float
    capabilities: frozenset[Capability] = frozenset()
    cylinders: tuple[Cylinder, ...] = ()


@dataclass(frozen=True)
class Asking:
    """Who asks: where the baby is, what is needed, and the state of the road now.

    ``flow_l_min`` is the oxygen of all babies together: 0 none, None not known. ``cylinders`` are
    those at the post that can go along. ``now_dark`` None: not known.
    """

    origin: Place
    babies: int
    needs: Needs
    flow_l_min: float | None
    loading_minutes: float
    now_dark: bool | None
    rainy: bool
    cylinders: tuple[Cylinder, ...] = ()

    def __post_init__(self) -> None:
        if self.babies < 1:
            raise ValueError(f"a referral has at least one baby, not {self.babies}")


@dataclass(frozen=True)
class RankingSettings:
    """Weights of the order, in minutes, and how many candidates are worked out. Refuses nonsense.

    All are project choices without an outside source, for a district to set.

    - ``missing_preference_minutes``: for each preferred capability that a unit lacks.
    - ``oxygen_minutes``: times the chance that oxygen touches its reserve before the bedside.
    - ``motorcycle_minutes``: for a motorcycle while the baby is ventilated by hand.
    - ``near_tie_minutes``: units no farther apart in the order are shown as equally good.
    - ``same_day``: correlation of the way to the baby and the road, see ``sums.SAME_DAY``.
    - ``bedside_minutes``: from the door of the unit to the handover, on the same oxygen.
    - ``possible_limit``, ``impossible_limit``: nearest units worked out exactly; those already
      asked and the standing default unit always are, the others are counted.
    - ``vehicle_limit``: earliest vehicles considered of each kind, with and without oxygen.
    """

    missing_preference_minutes: float = 30.0
    oxygen_minutes: float = 60.0
    motorcycle_minutes: float = 60.0
    near_tie_minutes: float = 5.0
    same_day: float = SAME_DAY
    bedside_minutes: float = 5.0
    reserve: Reserve = DEFAULT_RESERVE
    possible_limit: int = 20
    impossible_limit: int = 10
    vehicle_limit: int = 3
    assumed_vehicle: VehicleKind = VehicleKind.AMBULANCE

    def as_method(self) -> dict[str, Any]:
        """What a kept ranking says of how it was made: plain JSON types."""
        return {
            "sum": "two_log_normal_ways_by_quadrature",
            "same_day_correlation": self.same_day,
            "missing_preference_minutes": self.missing_preference_minutes,
            "oxygen_minutes": self.oxygen_minutes,
            "motorcycle_minutes": self.motorcycle_minutes,
            "near_tie_minutes": self.near_tie_minutes,
            "bedside_minutes": self.bedside_minutes,
        }

    def __post_init__(self) -> None:
        weights = (
            self.missing_preference_minutes,
            self.oxygen_minutes,
            self.motorcycle_minutes,
            self.near_tie_minutes,
            self.bedside_minutes,
        )
        if not all(0.0 <= weight < math.inf for weight in weights):
            raise ValueError("the weights of the order are minutes from 0 up")
        if not 0.0 <= self.same_day < 1.0:
            raise ValueError("a correlation of ways is from 0 to below 1")
        if min(self.possible_limit, self.vehicle_limit) < 1 or self.impossible_limit < 0:
            raise ValueError("at least one unit and one vehicle must be worked out")


@dataclass(frozen=True)
class Candidate:
    """One unit with when the baby could be there, and the reasons for and against in words.

    ``arrival`` counts from now, None where no road is known. ``to_baby`` and ``vehicle_key`` are
    None where no vehicle is known: the collection is then not in ``arrival``. ``oxygen`` is None
    where no flow is known; ``limit_probability`` where no time limit applies. ``order_minutes`` is
    the figure by which it was ordered; ``as_good_as`` holds the keys of those that can take the
    baby too and are within the near-tie of it: of two such each names the other.
    """

    key: str
    name: str
    possible: bool
    order: int
    road: TravelEstimate
    to_baby: TravelEstimate | None
    arrival: Duration | None
    vehicle_key: str | None
    reasons_for: tuple[str, ...]
    reasons_against: tuple[str, ...]
    oxygen: OxygenPlan | None
    limit_probability: float | None
    order_minutes: float | None = None
    as_good_as: tuple[str, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON types."""
        arrival = self.arrival
        return {
            "key": self.key,
            "name": self.name,
            "possible": self.possible,
            "order": self.order,
            "road": self.road.as_dict(),
            "to_baby": self.to_baby.as_dict() if self.to_baby else None,
            "arrival": _minutes_of(arrival) if arrival else None,
            "vehicle_key": self.vehicle_key,
            "reasons_for": list(self.reasons_for),
            "reasons_against": list(self.reasons_against),
            "oxygen": self.oxygen.as_dict() if self.oxygen else None,
            "limit_probability": self.limit_probability,
            "order_minutes": self.order_minutes,
            "as_good_as": list(self.as_good_as),
        }


def _minutes_of(time: Duration) -> Mapping[str, float]:
    return {
        "p10_minutes": time.p10,
        "p50_minutes": time.p50,
        "p90_minutes": time.p90,
        "mean_minutes": time.mean,
    }


@dataclass(frozen=True)
class Plan:
    """Another way to bring equipped care to the baby, beside the candidates, with its words.

    ``kind`` is ``stop`` (first to the unit ``key``, onward later) or ``meeting`` (the vehicle
    ``helper_key`` meets ``vehicle_key`` at the site ``key``). Times count from now: ``care`` until
    equipped care is there, ``onward`` until the unit of the best candidate, ``direct`` that
    candidate's own. ``sooner_chance``, 0 to 1: that the care is there before the best candidate
    would be reached. Only for a meeting: the chances of waiting there, 0 to 1, and the likely
    minutes of such a wait (None where there is none).
    """

    kind: str
    key: str
    name: str
    onward_key: str
    onward_name: str
    vehicle_key: str | None
    helper_key: str | None
    care: Duration
    onward: Duration
    direct: Duration
    gives: tuple[str, ...]
    first_waits: float | None
    second_waits: float | None
    words: tuple[str, ...]
    sooner_chance: float
    first_wait_minutes: float | None = None
    second_wait_minutes: float | None = None

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON types."""
        return {
            "kind": self.kind,
            "key": self.key,
            "name": self.name,
            "onward_key": self.onward_key,
            "onward_name": self.onward_name,
            "vehicle_key": self.vehicle_key,
            "helper_key": self.helper_key,
            "care": _minutes_of(self.care),
            "onward": _minutes_of(self.onward),
            "direct": _minutes_of(self.direct),
            "gives": list(self.gives),
            "first_waits": self.first_waits,
            "second_waits": self.second_waits,
            "sooner_chance": self.sooner_chance,
            "first_wait_minutes": self.first_wait_minutes,
            "second_wait_minutes": self.second_wait_minutes,
            "words": list(self.words),
        }


@dataclass(frozen=True)
class Ranking:
    """The candidates in order, those that cannot take the baby last, and how many are not shown.

    ``looked_within_km``: farther units were not looked at, and are not in the counts; None: all
    were. ``method``: the settings of the order and of the sum of ways, as plain JSON types.
    """

    candidates: tuple[Candidate, ...]
    ordering_rule: str
    possible_not_shown: int
    impossible_not_shown: int
    plans: tuple[Plan, ...] = ()
    method: Mapping[str, Any] = field(default_factory=dict)
    looked_within_km: float | None = None

    @property
    def best(self) -> Candidate | None:
        """The first that can take the baby; None if no one can."""
        first = self.candidates[0] if self.candidates else None
        return first if first is not None and first.possible else None

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON types, to be stored as what was shown."""
        return {
            "ordering_rule": self.ordering_rule,
            "method": dict(self.method),
            "possible_not_shown": self.possible_not_shown,
            "impossible_not_shown": self.impossible_not_shown,
            "looked_within_km": self.looked_within_km,
            "candidates": [candidate.as_dict() for candidate in self.candidates],
            "plans": [plan.as_dict() for plan in self.plans],
        }
