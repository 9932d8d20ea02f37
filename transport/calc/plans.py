"""Plans beside the candidates: first to a nearer unit, or two vehicles that meet half-way.

A plan is shown only when it is expected to bring equipped care to the baby sooner by a stated
margin than the best candidate. It never replaces a candidate or changes their order; whether the
stop helps this baby is for the clinician in charge. All ways of a plan and of the best candidate
are looked at on the same days (``scenarios``), so a bad day is bad for all of them.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial

from referrals.calc.needs import lacking
from referrals.calc.terms import Capability, VehicleKind
from referrals.calc.wording import words
from transport.calc.meeting import Wait, Waiting, wait_for_each_other
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
from transport.calc.scenarios import Drawn, Minutes, on_each_day, share_of
from transport.calc.sums import SAME_DAY, Duration
from transport.calc.travel import TravelEstimator
from transport.calc.travel_time import TravelTime, certain

# Which ways vary by themselves: see ``scenarios.on_each_day``.
_COLLECTING, _DIRECT, _OURS, _THEIRS, _ONWARD = range(5)

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
    - ``same_day``: correlation of any two ways of a plan, see ``sums.SAME_DAY``.
    - ``on_the_way``: a place is on the way while the way by it is at most so many times as long.
    - ``most``: plans of each kind that are shown; ``helpers``, ``places``: how many are tried.
    """

    margin_minutes: float = 20.0
    stop_minutes: float = 30.0
    changing_minutes: float = 10.0
    waiting_minutes: float = 10.0
    same_day: float = SAME_DAY
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
    places: Callable[[Place, float], Sequence[MeetingPlace]],
    settings: PlanSettings,
    *,
    estimate: TravelEstimator,
) -> tuple[Plan, ...]:
    """The plans worth showing, stops before meetings, the soonest first.

    ``vehicles`` are all that can be sent or carry the baby already; ``places``, known
    sites around a place within so many km, is only asked when some vehicle has more equipment than
    the one of the best candidate. Without a candidate that
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
    best_arrival: Duration
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

    def plan(
        self,
        at: UnitFacts | MeetingPlace,
        gives: frozenset[Capability],
        care: Duration,
        onward: Duration,
        sooner_chance: float,
        words: tuple[str, ...],
    ) -> Plan:
        """What a plan says, be it a stop at a unit or a meeting at a place."""
        return Plan(
            kind="stop",
            key=at.key,
            name=at.name,
            onward_key=self.best.key,
            onward_name=self.best.name,
            vehicle_key=self.best.vehicle_key,
            helper_key=None,
            care=care,
            onward=onward,
            direct=self.best_arrival,
            gives=tuple(each.value for each in Capability if each in gives),
            first_waits=None,
            second_waits=None,
            words=words,
            sooner_chance=sooner_chance,
        )

    @cached_property
    def until_leaving(self) -> Minutes:
        """On each day, until the vehicle of the best candidate leaves with the baby."""
        return self.leaving(self.best, _COLLECTING)

    @cached_property
    def direct(self) -> Minutes:
        """On each day, until the best candidate is reached."""
        return self.until_leaving + self.on_each_day(self.best.road.distribution, _DIRECT)

    def leaving(self, candidate: Candidate, way: int) -> Minutes:
        """On each day, until the vehicle of a candidate leaves with the baby."""
        to_baby = candidate.to_baby.distribution if candidate.to_baby else None
        return self.on_each_day(to_baby, way) + self.asking.loading_minutes

    def on_each_day(self, time: TravelTime | None, way: int) -> Minutes:
        """The minutes of a way on each day; none where it is not known."""
        return on_each_day(time or certain(0.0), way, self.settings.same_day)

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
            yield _stop(side, unit, candidate, arrival, onward, gives)


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
    candidate: Candidate,
    arrival: Duration,
    onward_road: TravelTime,
    gives: frozenset[Capability],
) -> Plan:
    missing = lacking(needed=side.asking.needs.capabilities, offered=unit.capabilities)
    same = candidate.vehicle_key == side.best.vehicle_key
    there = side.leaving(candidate, _COLLECTING if same else _THEIRS)
    there = there + side.on_each_day(candidate.road.distribution, _OURS)
    stays = side.settings.stop_minutes
    onward = Drawn.of(there + stays + side.on_each_day(onward_road, _ONWARD))
    sooner_chance = share_of(there < side.direct)
    later = onward.mean - side.best_arrival.mean
    said = (
        words(
            "first to %(unit)s: there in about %(arrival)s, onward to %(best)s after about "
            "%(stop).0f min: there in about %(onward)s",
            unit=unit.name,
            arrival=_window(arrival),
            best=side.best.name,
            stop=side.settings.stop_minutes,
            onward=_window(onward),
        ),
        words("gives at once what the vehicle has not: %(care)s", care=named(gives)),
        words("cannot give: %(care)s", care=named(missing)),
        words(
            "that care is about %(sooner).0f min sooner on average, and sooner at all with "
            "%(chance)s chance; %(best)s is reached about %(later).0f min later than without the "
            "stop",
            chance=percent(sooner_chance),
            sooner=side.best_arrival.mean - arrival.mean,
            best=side.best.name,
            later=max(later, 0.0),
        ),
    )
    return side.plan(unit, gives, arrival, onward, sooner_chance, said)


def _meetings(
    side: _Side,
    vehicles: Sequence[VehicleFacts],
    places: Callable[[Place, float], Sequence[MeetingPlace]],
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
    start, end = side.asking.origin, side.unit.place
    longest_km = haversine_km(start, end) * side.settings.on_the_way
    on_the_way = _on_the_way(side, places(start, longest_km))
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
    best: tuple[MeetingPlace, Waiting, Minutes, Minutes] | None = None
    until_leaving = float(side.until_leaving.mean())
    for each in places:
        road = side.drive(side.asking.origin, each.place, carrier.kind)
        theirs = side.drive(helper.place, each.place, helper.kind, helper.minutes_until_free)
        if road is None or theirs is None:
            continue
        # The later of two is never expected before either of them.
        if max(until_leaving + road.mean, theirs.mean) > limit:
            continue
        ours_daily = side.until_leaving + side.on_each_day(road, _OURS)
        theirs_daily = side.on_each_day(theirs, _THEIRS)
        meeting = wait_for_each_other(
            ours_daily, theirs_daily, waiting_minutes=settings.waiting_minutes
        )
        expected = float(meeting.minutes.mean())
        if expected <= limit:
            best, limit = (each, meeting, ours_daily, theirs_daily), expected
    return _meeting(side, helper, *best) if best else None


def _meeting(
    side: _Side,
    helper: VehicleFacts,
    place: MeetingPlace,
    meeting: Waiting,
    ours: Minutes,
    theirs: Minutes,
) -> Plan | None:
    onward_road = side.drive(place.place, side.unit.place, helper.kind)
    if onward_road is None or side.carrier is None:
        return None
    settings = side.settings
    care = meeting.time
    onward_daily = meeting.minutes + settings.changing_minutes
    onward = Drawn.of(onward_daily + side.on_each_day(onward_road, _ONWARD))
    sooner_chance = share_of(meeting.minutes < side.direct)
    gives = side.useful(_equipment(helper))
    said = (
        words(
            "%(helper)s meets %(carrier)s at %(place)s: both there in about %(meeting)s, onward to "
            "%(best)s: there in about %(onward)s",
            helper=helper.name,
            carrier=side.carrier.name,
            place=place.name,
            meeting=_window(care),
            best=side.best.name,
            onward=_window(onward),
        ),
        words(
            "%(carrier)s with the baby is there in about %(ours)s, %(helper)s in about %(theirs)s",
            carrier=side.carrier.name,
            ours=_window(Drawn.of(ours)),
            helper=helper.name,
            theirs=_window(Drawn.of(theirs)),
        ),
        words("brings what the first vehicle has not: %(care)s", care=named(gives)),
        words(
            "chance that the baby waits there more than %(waiting).0f min: %(first)s; that "
            "%(helper)s does: %(second)s",
            waiting=settings.waiting_minutes,
            first=_waits(meeting.first),
            helper=helper.name,
            second=_waits(meeting.second),
        ),
        words(
            "that care is about %(sooner).0f min sooner on average, and sooner at all with "
            "%(chance)s chance; a day that is bad for one way is taken as somewhat bad for the "
            "others",
            sooner=side.best_arrival.mean - care.mean,
            chance=percent(sooner_chance),
        ),
    )
    made = side.plan(place, gives, care, onward, sooner_chance, said)
    return replace(
        made,
        kind="meeting",
        helper_key=helper.key,
        first_waits=meeting.first.chance,
        second_waits=meeting.second.chance,
        first_wait_minutes=meeting.first.minutes,
        second_wait_minutes=meeting.second.minutes,
    )


def _waits(wait: Wait) -> str:
    """A chance of waiting with the likely minutes of such a wait."""
    if wait.minutes is None:
        return percent(wait.chance)
    return words(
        "%(chance)s, then likely %(minutes).0f min",
        chance=percent(wait.chance),
        minutes=wait.minutes,
    )


def _window(time: Duration) -> str:
    return words("%(p50).0f min (%(p10).0f to %(p90).0f)", p50=time.p50, p10=time.p10, p90=time.p90)
