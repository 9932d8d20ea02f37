"""Plans beside the candidates: first to a nearer unit, or two vehicles that meet half-way.

A plan is shown only when it is expected to bring equipped care to the baby sooner by a stated
margin than the best candidate. It never replaces a candidate or changes their order; whether the
stop helps this baby is for the clinician in charge.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial

from referrals.calc.needs import lacking
from referrals.calc.terms import Capability, VehicleKind
from transport.calc.meeting import Meeting, meet
from transport.calc.places import Place, haversine_km
from transport.calc.ranking_facts import (
    Asking,
    Candidate,
    Plan,
    Ranking,
    UnitFacts,
    VehicleFacts,
)
from transport.calc.ranking_rules import named, percent
from transport.calc.travel import TravelEstimator
from transport.calc.travel_time import TravelTime, add, certain

USEFUL_NOW = frozenset(
    {
        Capability.BAG_AND_MASK,
        Capability.THERMAL_CARE,
        Capability.OXYGEN,
        Capability.CPAP,
        Capability.VENTILATOR,
    }
)
"""Care that helps from the minute it is there; a project choice, no source."""


@dataclass(frozen=True, slots=True)
class MeetingPlace:
    """A known site at which two vehicles can meet."""

    key: str
    name: str
    place: Place


@dataclass(frozen=True)
class PlanSettings:
    """When a plan is worth showing; project choices, no source. Raises ValueError for nonsense.

    - ``margin_minutes``: sooner by at least this, in expected minutes.
    - ``stop_minutes``: stay at a nearer unit before going on.
    - ``changing_minutes``: to move mother and baby from one vehicle to the other.
    - ``waiting_minutes``: a longer stand at the meeting place counts as waiting.
    - ``on_the_way``: a place is on the way while the way by it is at most so many times as long.
    - ``most``: plans of each kind that are shown; ``helpers``, ``places``: how many are tried.
    """

    margin_minutes: float = 20.0
    stop_minutes: float = 30.0
    changing_minutes: float = 10.0
    waiting_minutes: float = 10.0
    on_the_way: float = 1.25
    most: int = 2
    helpers: int = 4
    places: int = 12

    def __post_init__(self) -> None:
        minutes = (
            self.margin_minutes,
            self.stop_minutes,
            self.changing_minutes,
            self.waiting_minutes,
        )
        if not all(0.0 <= each < 24 * 60 for each in minutes) or self.on_the_way < 1.0:
            raise ValueError("minutes of a plan are from 0 to a day, a way by a place at least 1")


def plans_for(
    asking: Asking,
    ranking: Ranking,
    units: Sequence[UnitFacts],
    vehicles: Sequence[VehicleFacts],
    places: Callable[[], Sequence[MeetingPlace]],
    settings: PlanSettings,
    *,
    estimate: TravelEstimator,
) -> tuple[Plan, ...]:
    """The plans worth showing, stops before meetings, the soonest first.

    ``vehicles`` are all that can be sent or carry the baby already; ``places`` is only asked when
    some vehicle has more equipment than the one of the best candidate. Without a candidate that
    can take the baby and be reached there is nothing to be sooner than, and no plan.
    """
    best = ranking.best
    if best is None or best.arrival is None:
        return ()
    side = _Side(
        asking=asking,
        best=best,
        best_arrival=best.arrival,
        unit=next(unit for unit in units if unit.key == best.key),
        carrier=next((each for each in vehicles if each.key == best.vehicle_key), None),
        settings=settings,
        estimate=estimate,
    )
    stops = _soonest(_stops(side, ranking, units), settings.most)
    return (*stops, *_soonest(_meetings(side, vehicles, places), settings.most))


@dataclass(frozen=True)
class _Side:
    """The question, and the best candidate with its vehicle: what a plan must beat."""

    asking: Asking
    best: Candidate
    best_arrival: TravelTime
    unit: UnitFacts
    carrier: VehicleFacts | None
    settings: PlanSettings
    estimate: TravelEstimator

    @property
    def carried(self) -> frozenset[Capability]:
        """What the vehicle that carries the baby has."""
        return _equipment(self.carrier) if self.carrier else frozenset()

    def useful(self, offered: frozenset[Capability]) -> frozenset[Capability]:
        """Of what is needed or preferred, what helps at once and is not in the vehicle already."""
        needs = self.asking.needs
        wanted = (needs.capabilities | needs.preferred_capabilities) & USEFUL_NOW
        given = wanted - lacking(needed=wanted, offered=offered)
        return given - (wanted - lacking(needed=wanted, offered=self.carried))

    def is_sooner(self, minutes: float) -> bool:
        """Whether expected minutes beat the best candidate by the margin."""
        return minutes + self.settings.margin_minutes <= self.best_arrival.mean

    def drive(
        self, origin: Place, destination: Place, kind: VehicleKind, extra_minutes: float = 0.0
    ) -> TravelTime | None:
        """Minutes of a way; None where no way is known."""
        return self.estimate(
            origin,
            destination,
            vehicle=kind,
            rainy=self.asking.rainy,
            dark=self.asking.now_dark,
            extra_minutes=extra_minutes,
        ).distribution


def _equipment(vehicle: VehicleFacts) -> frozenset[Capability]:
    oxygen = {Capability.OXYGEN} if vehicle.cylinders else set()
    return vehicle.capabilities | oxygen


def _soonest(plans: Iterable[Plan], count: int) -> list[Plan]:
    return sorted(plans, key=lambda plan: (plan.care.mean, plan.key))[:count]


def _stops(side: _Side, ranking: Ranking, units: Sequence[UnitFacts]) -> Iterator[Plan]:
    """Nearer units that lack the full care and have some that helps at once."""
    facts = {unit.key: unit for unit in units}
    for candidate in ranking.candidates:
        unit, arrival = facts.get(candidate.key), candidate.arrival
        if unit is None or arrival is None or not _may_stop_at(side, unit):
            continue
        gives = side.useful(unit.capabilities)
        if not gives or not side.is_sooner(arrival.mean):
            continue
        kind = side.carrier.kind if side.carrier else VehicleKind.AMBULANCE
        onward = side.drive(unit.place, side.unit.place, kind)
        if onward is not None:
            stay = certain(side.settings.stop_minutes)
            yield _stop(side, unit, arrival, add((arrival, stay, onward)), gives)


def _may_stop_at(side: _Side, unit: UnitFacts) -> bool:
    """Open, not declined, without the full care, and not known to be full.

    With the full care it is a candidate; a full unit could not take the baby even for the stop.
    """
    declined = unit.already is not None and unit.already.startswith("declined")
    missing = lacking(needed=side.asking.needs.capabilities, offered=unit.capabilities)
    full = unit.cots_free is not None and unit.cots_free < side.asking.babies
    return unit.open and not declined and not full and bool(missing)


def _stop(
    side: _Side,
    unit: UnitFacts,
    arrival: TravelTime,
    onward: TravelTime,
    gives: frozenset[Capability],
) -> Plan:
    missing = lacking(needed=side.asking.needs.capabilities, offered=unit.capabilities)
    later = onward.mean - side.best_arrival.mean
    words = (
        f"first to {unit.name}: there in about {_window(arrival)}, onward to {side.best.name} "
        f"after about {side.settings.stop_minutes:.0f} min: there in about {_window(onward)}",
        f"gives at once what the vehicle has not: {named(gives)}",
        f"cannot give: {named(missing)}",
        f"that care is about {side.best_arrival.mean - arrival.mean:.0f} min sooner; "
        f"{side.best.name} is reached about {max(later, 0.0):.0f} min later than without the stop",
    )
    return Plan(
        kind="stop",
        key=unit.key,
        name=unit.name,
        onward_key=side.best.key,
        onward_name=side.best.name,
        vehicle_key=side.best.vehicle_key,
        helper_key=None,
        care=arrival,
        onward=onward,
        direct=side.best_arrival,
        gives=tuple(each.value for each in Capability if each in gives),
        first_waits=None,
        second_waits=None,
        words=words,
    )


def _meetings(
    side: _Side, vehicles: Sequence[VehicleFacts], places: Callable[[], Sequence[MeetingPlace]]
) -> Iterator[Plan]:
    """For each better equipped vehicle the place at which both are soonest."""
    if side.carrier is None or side.carrier.kind is VehicleKind.BOAT:
        return
    helpers = [
        each
        for each in vehicles
        if each.key != side.carrier.key
        and each.place is not None
        and each.kind not in (VehicleKind.BOAT, VehicleKind.MOTORCYCLE)
        and side.useful(_equipment(each))
    ]
    if not helpers:
        return
    on_the_way = _on_the_way(side, places())
    # The nearest to the baby first; those far behind cannot be sooner.
    helpers.sort(key=partial(_far_from_baby, side))
    for helper in helpers[: side.settings.helpers]:
        plan = _best_meeting(side, helper, on_the_way)
        if plan:
            yield plan


def _far_from_baby(side: _Side, vehicle: VehicleFacts) -> tuple[float, float, str]:
    far = haversine_km(vehicle.place, side.asking.origin) if vehicle.place else 0.0
    return vehicle.minutes_until_free, far, vehicle.key


def _on_the_way(side: _Side, places: Sequence[MeetingPlace]) -> list[MeetingPlace]:
    start, end = side.asking.origin, side.unit.place
    longest = haversine_km(start, end) * side.settings.on_the_way
    by_length = [
        (haversine_km(start, each.place) + haversine_km(each.place, end), each.key, each)
        for each in places
        if each.place not in (start, end)
    ]
    by_length.sort(key=lambda row: row[:2])
    chosen = [each for length, _, each in by_length if length <= longest]
    return chosen[: side.settings.places]


def _best_meeting(side: _Side, helper: VehicleFacts, places: Sequence[MeetingPlace]) -> Plan | None:
    carrier, settings = side.carrier, side.settings
    if carrier is None or helper.place is None:
        return None
    # The better vehicle could as well come to the baby: a meeting must beat that too.
    direct = side.drive(helper.place, side.asking.origin, helper.kind, helper.minutes_until_free)
    if direct is None:
        return None
    limit = min(side.best_arrival.mean, direct.mean) - settings.margin_minutes
    until_leaving = add((_collection(side), certain(side.asking.loading_minutes)))
    best: tuple[MeetingPlace, Meeting, TravelTime, TravelTime] | None = None
    for each in places:
        road = side.drive(side.asking.origin, each.place, carrier.kind)
        theirs = side.drive(helper.place, each.place, helper.kind, helper.minutes_until_free)
        if road is None or theirs is None:
            continue
        ours = add((until_leaving, road))
        # The later of two is never expected before either of them.
        if max(ours.mean, theirs.mean) > limit:
            continue
        meeting = meet(ours, theirs, waiting_minutes=settings.waiting_minutes)
        if meeting.time.mean <= limit:
            best, limit = (each, meeting, ours, theirs), meeting.time.mean
    return _meeting(side, helper, *best) if best else None


def _collection(side: _Side) -> TravelTime:
    to_baby = side.best.to_baby
    return (to_baby.distribution if to_baby else None) or certain(0.0)


def _meeting(
    side: _Side,
    helper: VehicleFacts,
    place: MeetingPlace,
    meeting: Meeting,
    ours: TravelTime,
    theirs: TravelTime,
) -> Plan | None:
    onward_road = side.drive(place.place, side.unit.place, helper.kind)
    if onward_road is None or side.carrier is None:
        return None
    settings = side.settings
    onward = add((meeting.time, certain(settings.changing_minutes), onward_road))
    gives = side.useful(_equipment(helper))
    words = (
        f"{helper.name} meets {side.carrier.name} at {place.name}: both there in about "
        f"{_window(meeting.time)}, onward to {side.best.name}: there in about {_window(onward)}",
        f"{side.carrier.name} with the baby is there in about {_window(ours)}, {helper.name} in "
        f"about {_window(theirs)}",
        f"brings what the first vehicle has not: {named(gives)}",
        f"chance that the baby waits there more than {settings.waiting_minutes:.0f} min: "
        f"{percent(meeting.first_waits)}; that {helper.name} does: {percent(meeting.second_waits)}",
        f"that care is about {side.best_arrival.mean - meeting.time.mean:.0f} min sooner; both "
        "times are taken as independent, which on a bad day they are not",
    )
    return Plan(
        kind="meeting",
        key=place.key,
        name=place.name,
        onward_key=side.best.key,
        onward_name=side.best.name,
        vehicle_key=side.carrier.key,
        helper_key=helper.key,
        care=meeting.time,
        onward=onward,
        direct=side.best_arrival,
        gives=tuple(each.value for each in Capability if each in gives),
        first_waits=meeting.first_waits,
        second_waits=meeting.second_waits,
        words=words,
    )


def _window(time: TravelTime) -> str:
    return f"{time.p50:.0f} min ({time.p10:.0f} to {time.p90:.0f})"
