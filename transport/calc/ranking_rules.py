"""The rules of the ranking, each a small function, and the sentence that states the order.

A *gate* says whether a unit can take the baby at all, and is cheap, since every unit of the
district passes through it. A *weight* looks at one trip to one unit: what it adds to the order, in
minutes, and what it says. It never excludes.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from referrals.calc.needs import lacking
from referrals.calc.terms import Capability, Urgency, VehicleKind
from transport.calc.closures import closures_of
from transport.calc.oxygen import OxygenPlan
from transport.calc.ranking_facts import Asking, RankingSettings, UnitFacts, VehicleFacts
from transport.calc.travel import TravelEstimate
from transport.calc.travel_time import TravelTime

ORDERING_RULE = (
    "Units that can take the baby come first, the earliest to give the care needed at the top: by "
    "the expected minutes from now until the baby is there (vehicle to the baby, loading, road). "
    "For the order only, minutes are added for each preferred kind of care that a unit lacks, for "
    "the chance that oxygen touches its reserve before the bedside, and for a motorcycle while "
    "the baby is ventilated by hand. Units that cannot take the baby follow, with the reasons."
)


@dataclass(frozen=True, slots=True)
class Trip:
    """One unit reached by one vehicle (None: not known).

    ``chance_of_touching_reserve`` is 0 to 1; ``oxygen``, the whole plan, is there for the trip that
    was chosen.
    """

    vehicle: VehicleFacts | None
    to_baby: TravelEstimate | None
    road: TravelEstimate
    arrival: TravelTime
    chance_of_touching_reserve: float
    oxygen: OxygenPlan | None = None


@dataclass(frozen=True, slots=True)
class Case:
    """All that a weight may look at."""

    asking: Asking
    unit: UnitFacts
    trip: Trip
    settings: RankingSettings


@dataclass(frozen=True, slots=True)
class Reasons:
    """Words for and against, as people read them."""

    on_its_side: tuple[str, ...] = ()
    against: tuple[str, ...] = ()


NOTHING = Reasons()


@dataclass(frozen=True, slots=True)
class Gate:
    """A condition without which a unit cannot take the baby, and the words for either answer."""

    holds: Callable[[Asking, UnitFacts], bool]
    held: Callable[[Asking, UnitFacts], str | None]
    refused: Callable[[Asking, UnitFacts], str]


WRITTEN_IN_CAPITALS = {Capability.CPAP}


def named(capabilities: Iterable[Capability]) -> str:
    """Capabilities in words, always in the same order."""
    wanted = frozenset(capabilities)
    return ", ".join(_named(each) for each in Capability if each in wanted)


def _named(capability: Capability) -> str:
    words = capability.value.replace("_", " ")
    return words.upper() if capability in WRITTEN_IN_CAPITALS else words


def _gives_care(asking: Asking, unit: UnitFacts) -> bool:
    return not lacking(needed=asking.needs.capabilities, offered=unit.capabilities)


def _care_held(asking: Asking, unit: UnitFacts) -> str | None:
    needed = asking.needs.capabilities
    return f"gives the care needed: {named(needed)}" if needed else None


def _care_refused(asking: Asking, unit: UnitFacts) -> str:
    missing = lacking(needed=asking.needs.capabilities, offered=unit.capabilities)
    return f"cannot give: {named(missing)}"


def _has_cots(asking: Asking, unit: UnitFacts) -> bool:
    return unit.cots_free is None or unit.cots_free >= asking.babies


def _cots_held(asking: Asking, unit: UnitFacts) -> str | None:
    return None if unit.cots_free is None else f"cots free: {unit.cots_free}"


def _cots_refused(asking: Asking, unit: UnitFacts) -> str:
    if not unit.cots_free:
        return "no cot free"
    return f"cots free: {unit.cots_free}, babies: {asking.babies}"


def _not_declined(asking: Asking, unit: UnitFacts) -> bool:
    return unit.already is None or not unit.already.startswith("declined")


def _question_held(asking: Asking, unit: UnitFacts) -> str | None:
    return None if unit.already is None else f"at your question: {unit.already}"


def _question_refused(asking: Asking, unit: UnitFacts) -> str:
    reason = (unit.already or "").removeprefix("declined").lstrip(": ")
    return f"declined at your question: {reason or 'no reason given'}"


# Cheapest first: in a large district most units fall at the first or the second.
GATES: tuple[Gate, ...] = (
    Gate(lambda a, u: u.open, lambda a, u: None, lambda a, u: "closed now"),
    Gate(_gives_care, _care_held, _care_refused),
    Gate(_has_cots, _cots_held, _cots_refused),
    Gate(_not_declined, _question_held, _question_refused),
)


def can_take(asking: Asking, unit: UnitFacts) -> bool:
    """Whether every gate holds."""
    return all(gate.holds(asking, unit) for gate in GATES)


def gate_reasons(asking: Asking, unit: UnitFacts) -> Reasons:
    """The words of all gates for one unit."""
    held = (gate.held(asking, unit) for gate in GATES if gate.holds(asking, unit))
    refused = (gate.refused(asking, unit) for gate in GATES if not gate.holds(asking, unit))
    return Reasons(tuple(words for words in held if words), tuple(refused))


def _adds_nothing(case: Case) -> float:
    return 0.0


@dataclass(frozen=True, slots=True)
class Weight:
    """One rule of the order: what it says of a case, and the minutes it adds."""

    says: Callable[[Case], Reasons]
    adds_minutes: Callable[[Case], float] = _adds_nothing


def expected_time(case: Case) -> Reasons:
    """The average by which the order goes, said as such: when it will be there is the window."""
    mean = round(case.trip.arrival.mean)
    return Reasons((f"counts {mean} min in the order: the average, with long delays in it",))


def standing_default(case: Case) -> Reasons:
    """The standing default unit is named as such; only a tie is decided by it."""
    return Reasons(("standing default unit",)) if case.unit.is_default else NOTHING


def preferred_care(case: Case) -> Reasons:
    """Preferred care that is there, or that is missing."""
    preferred = case.asking.needs.preferred_capabilities
    missing = lacking(needed=preferred, offered=case.unit.capabilities)
    if missing:
        return Reasons(against=(f"does not have, though preferred: {named(missing)}",))
    return Reasons((f"also has: {named(preferred)}",)) if preferred else NOTHING


def preferred_care_minutes(case: Case) -> float:
    """Minutes for each preferred kind of care that is missing."""
    return missing_preferences(case.asking, case.unit) * case.settings.missing_preference_minutes


def missing_preferences(asking: Asking, unit: UnitFacts) -> int:
    """How many preferred kinds of care the unit lacks."""
    return len(lacking(needed=asking.needs.preferred_capabilities, offered=unit.capabilities))


def unknown_cots(case: Case) -> Reasons:
    """Cots not reported is said, and costs nothing: the unit is asked."""
    return Reasons(against=("free cots not reported",)) if case.unit.cots_free is None else NOTHING


def collection(case: Case) -> Reasons:
    """Which vehicle, and what is not known about the collection."""
    vehicle, to_baby = case.trip.vehicle, case.trip.to_baby
    if vehicle is None or to_baby is None:
        return Reasons(against=("no vehicle known yet: the collection is not in these minutes",))
    against: tuple[str, ...] = ()
    if vehicle.kind is VehicleKind.BOAT:
        against = ("by boat: landing places are not checked",)
    elif motorcycle_minutes(case):
        against = ("a baby can hardly be ventilated on a motorcycle",)
    minutes = about(to_baby)
    return Reasons((f"{vehicle.name} can be with the baby in {minutes}",), against)


def about(estimate: TravelEstimate) -> str:
    """The likely minutes of a way, with those from P10 to P90 beside them."""
    if estimate.distribution is None:
        return "a time not known"
    time = estimate.distribution
    return f"about {time.p50:.0f} min ({time.p10:.0f} to {time.p90:.0f})"


def motorcycle_minutes(case: Case) -> float:
    """Minutes for a motorcycle while the baby is ventilated by hand."""
    vehicle = case.trip.vehicle
    on_motorcycle = vehicle is not None and vehicle.kind is VehicleKind.MOTORCYCLE
    ventilated = case.asking.needs.urgency is Urgency.VENTILATED
    return case.settings.motorcycle_minutes if on_motorcycle and ventilated else 0.0


def closures_on_the_way(case: Case) -> Reasons:
    """What is reported closed on either way, with the minutes that it adds in the estimate."""
    ways = [(case.trip.to_baby, "to the baby"), (case.trip.road, "to the unit")]
    return Reasons(
        against=tuple(
            f"reported closed on the straight way {where}: {', '.join(closures_of(way))}; about "
            f"{round(way.inputs['closure_minutes'])} min are added, a guess without a road map"
            for way, where in ways
            if way is not None and closures_of(way)
        )
    )


def time_limit(case: Case) -> Reasons:
    """The chance of being there within the time limit, or that it has passed."""
    limit = case.asking.needs.limit_minutes
    if limit is None:
        return NOTHING
    if limit <= 0:
        return Reasons(against=("the time limit has passed",))
    chance = case.trip.arrival.probability_within(limit)
    words = (f"within the limit of {round(limit)} min: {percent(chance)} likely",)
    return Reasons(words) if chance >= 0.5 else Reasons(against=words)


def oxygen_on_the_way(case: Case) -> Reasons:
    """Whether the oxygen lasts: a warning with what closes the gap, never an exclusion."""
    plan = case.trip.oxygen
    if plan is None:
        return Reasons(against=("oxygen flow not known: not worked out",))
    if case.asking.flow_l_min == 0.0:
        return NOTHING
    if plan.enough:
        return Reasons(("oxygen lasts with reserve",))
    touching = f"chance of touching the oxygen reserve: {percent(plan.chance_of_touching_reserve)}"
    return Reasons(against=(touching, *plan.words))


def oxygen_minutes(case: Case) -> float:
    """Minutes in proportion to the chance that oxygen touches its reserve."""
    return case.settings.oxygen_minutes * case.trip.chance_of_touching_reserve


def percent(chance: float) -> str:
    """A chance in words that never claim certainty."""
    if chance < 0.01:
        return "less than 1 %"
    if chance > 0.99:
        return "more than 99 %"
    return f"{round(chance * 100)} %"


WEIGHTS: tuple[Weight, ...] = (
    Weight(expected_time),
    Weight(standing_default),
    Weight(preferred_care, preferred_care_minutes),
    Weight(unknown_cots),
    Weight(collection, motorcycle_minutes),
    Weight(closures_on_the_way),
    Weight(time_limit),
    Weight(oxygen_on_the_way, oxygen_minutes),
)


def order_minutes(case: Case) -> float:
    """The figure by which candidates are ordered: expected minutes and what the weights add."""
    return case.trip.arrival.mean + sum(weight.adds_minutes(case) for weight in WEIGHTS)


def reasons_of(case: Case) -> Reasons:
    """The words of all gates and weights for one case."""
    said = [gate_reasons(case.asking, case.unit), *(weight.says(case) for weight in WEIGHTS)]
    return Reasons(
        tuple(words for reasons in said for words in reasons.on_its_side),
        tuple(words for reasons in said for words in reasons.against),
    )
