"""The rules of the ranking, each a small function, and the sentence that states the order.

A *gate* says whether a unit can take the baby at all, and is cheap, since every unit of the
district passes through it. A *weight* looks at one trip to one unit: what it adds to the order, in
minutes, and what it says. It never excludes.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from referrals.calc.needs import lacking
from referrals.calc.spelled import spelled
from referrals.calc.terms import Capability, Urgency, VehicleKind
from referrals.calc.wording import marked, words
from transport.calc.closures import closures_of
from transport.calc.legs import leg_of, leg_words
from transport.calc.oxygen import OxygenPlan
from transport.calc.ranking_facts import Asking, RankingSettings, UnitFacts, VehicleFacts
from transport.calc.sums import Duration
from transport.calc.travel import TravelEstimate

ORDERING_RULE = marked(
    "Units that can take the baby come first, the earliest to give the care needed at the top: by "
    "the expected minutes from now until the baby is there (vehicle to the baby, loading, road). "
    "For the order only, minutes are added: %(preferred).0f for each preferred kind of care that a "
    "unit lacks, up to %(oxygen).0f with the chance that oxygen touches its reserve before the "
    "bedside, and %(motorcycle).0f for a motorcycle while the baby is ventilated by hand. Units no "
    "more than %(tie).0f min apart in this order are as good as each other. Units that cannot take "
    "the baby follow, with the reasons. A shortage of oxygen or a time limit never takes a unit "
    "off this list."
)


def ordering_rule(settings: RankingSettings) -> str:
    """The rule of the order in words, with the minutes of a district."""
    return words(
        ORDERING_RULE,
        preferred=settings.missing_preference_minutes,
        oxygen=settings.oxygen_minutes,
        motorcycle=settings.motorcycle_minutes,
        tie=settings.near_tie_minutes,
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
    arrival: Duration
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


def named(capabilities: Iterable[Capability]) -> str:
    """Capabilities in words, always in the same order."""
    wanted = frozenset(capabilities)
    return ", ".join(spelled(each) for each in Capability if each in wanted)


def _gives_care(asking: Asking, unit: UnitFacts) -> bool:
    return not lacking(needed=asking.needs.capabilities, offered=unit.capabilities)


def _care_held(asking: Asking, unit: UnitFacts) -> str | None:
    needed = asking.needs.capabilities
    return words("gives the care needed: %(care)s", care=named(needed)) if needed else None


def _care_refused(asking: Asking, unit: UnitFacts) -> str:
    missing = lacking(needed=asking.needs.capabilities, offered=unit.capabilities)
    return words("cannot give: %(care)s", care=named(missing))


def _has_cots(asking: Asking, unit: UnitFacts) -> bool:
    return unit.cots_free is None or unit.cots_free >= asking.babies


def _cots_held(asking: Asking, unit: UnitFacts) -> str | None:
    if unit.cots_free is None:
        return None
    return words("cots free: %(cots)d", cots=unit.cots_free)


def _cots_refused(asking: Asking, unit: UnitFacts) -> str:
    if not unit.cots_free:
        return words("no cot free")
    return words(
        "cots free: %(cots)d, babies: %(babies)d", cots=unit.cots_free, babies=asking.babies
    )


def _not_declined(asking: Asking, unit: UnitFacts) -> bool:
    return unit.already is None or not unit.already.startswith("declined")


def _question_held(asking: Asking, unit: UnitFacts) -> str | None:
    if unit.already is None:
        return None
    return words("at your question: %(answer)s", answer=spelled(unit.already))


def _question_refused(asking: Asking, unit: UnitFacts) -> str:
    reason = (unit.already or "").removeprefix("declined").lstrip(": ")
    return words(
        "declined at your question: %(reason)s",
        reason=spelled(reason) if reason else words("no reason given"),
    )


# Cheapest first: in a large district most units fall at the first or the second.
GATES: tuple[Gate, ...] = (
    Gate(lambda a, u: u.open, lambda a, u: None, lambda a, u: words("closed now")),
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
    return Reasons(tuple(said for said in held if said), tuple(refused))


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
    return Reasons(
        (
            words(
                "counts %(minutes)d min in the order: the average, with long delays in it",
                minutes=mean,
            ),
        )
    )


def standing_default(case: Case) -> Reasons:
    """The standing default unit is named as such; only a tie is decided by it."""
    return Reasons((words("standing default unit"),)) if case.unit.is_default else NOTHING


def preferred_care(case: Case) -> Reasons:
    """Preferred care that is there, or that is missing."""
    preferred = case.asking.needs.preferred_capabilities
    missing = lacking(needed=preferred, offered=case.unit.capabilities)
    if missing:
        return Reasons(
            against=(words("does not have, though preferred: %(care)s", care=named(missing)),)
        )
    if not preferred:
        return NOTHING
    return Reasons((words("also has: %(care)s", care=named(preferred)),))


def preferred_care_minutes(case: Case) -> float:
    """Minutes for each preferred kind of care that is missing."""
    return missing_preferences(case.asking, case.unit) * case.settings.missing_preference_minutes


def missing_preferences(asking: Asking, unit: UnitFacts) -> int:
    """How many preferred kinds of care the unit lacks."""
    return len(lacking(needed=asking.needs.preferred_capabilities, offered=unit.capabilities))


def unknown_cots(case: Case) -> Reasons:
    """Cots not reported is said, and costs nothing: the unit is asked."""
    if case.unit.cots_free is not None:
        return NOTHING
    return Reasons(against=(words("free cots not reported"),))


def collection(case: Case) -> Reasons:
    """Which vehicle, and what is not known about the collection."""
    vehicle, to_baby = case.trip.vehicle, case.trip.to_baby
    if vehicle is None or to_baby is None:
        return Reasons(
            against=(words("no vehicle known yet: the collection is not in these minutes"),)
        )
    against: tuple[str, ...] = ()
    if vehicle.kind is VehicleKind.BOAT and leg_of(case.trip.road):
        landing = case.trip.road.inputs["steps"][2]["to_name"]
        against = (words("by boat: another vehicle must wait at %(landing)s", landing=landing),)
    elif vehicle.kind is VehicleKind.BOAT:
        against = (words("by boat: landing places are not checked"),)
    elif motorcycle_minutes(case):
        against = (words("a baby can hardly be ventilated on a motorcycle"),)
    there = words(
        "%(vehicle)s can be with the baby in %(minutes)s",
        vehicle=vehicle.name,
        minutes=about(to_baby),
    )
    return Reasons((there,), against)


def about(estimate: TravelEstimate) -> str:
    """The likely minutes of a way, with those from P10 to P90 beside them."""
    if estimate.distribution is None:
        return words("a time not known")
    time = estimate.distribution
    return words(
        "about %(p50).0f min (%(p10).0f to %(p90).0f)", p50=time.p50, p10=time.p10, p90=time.p90
    )


def motorcycle_minutes(case: Case) -> float:
    """Minutes for a motorcycle while the baby is ventilated by hand."""
    vehicle = case.trip.vehicle
    on_motorcycle = vehicle is not None and vehicle.kind is VehicleKind.MOTORCYCLE
    ventilated = case.asking.needs.urgency is Urgency.VENTILATED
    return case.settings.motorcycle_minutes if on_motorcycle and ventilated else 0.0


def closures_on_the_way(case: Case) -> Reasons:
    """What is reported closed on either way, with the minutes that it adds in the estimate."""
    ways = ((case.trip.to_baby, _CLOSED_TO_BABY), (case.trip.road, _CLOSED_TO_UNIT))
    return Reasons(
        against=tuple(
            words(
                sentence,
                closures=", ".join(closures_of(way)),
                minutes=round(way.inputs["closure_minutes"]),
            )
            for way, sentence in ways
            if way is not None and closures_of(way)
        )
    )


_CLOSED_TO_BABY = marked(
    "reported closed on the straight way to the baby: %(closures)s; about %(minutes)d min are "
    "added, a guess without a road map"
)
_CLOSED_TO_UNIT = marked(
    "reported closed on the straight way to the unit: %(closures)s; about %(minutes)d min are "
    "added, a guess without a road map"
)


def legs_on_the_way(case: Case) -> Reasons:
    """The ferry or boat leg on either way, step by step."""
    ways = [
        (case.trip.to_baby, marked("to the baby %(way)s")),
        (case.trip.road, marked("to the unit %(way)s")),
    ]
    return Reasons(
        tuple(
            words(where, way=leg_words(way.inputs))
            for way, where in ways
            if way is not None and leg_of(way)
        )
    )


def time_limit(case: Case) -> Reasons:
    """The chance of being there within the time limit, or that it has passed."""
    limit = case.asking.needs.limit_minutes
    if limit is None:
        return NOTHING
    if limit <= 0:
        return Reasons(against=(words("the time limit has passed"),))
    chance = case.trip.arrival.probability_within(limit)
    within = (
        words(
            "%(chance)s chance to arrive before the time limit, %(limit)d min from now",
            chance=percent(chance),
            limit=round(limit),
        ),
    )
    return Reasons(within) if chance >= 0.5 else Reasons(against=within)


def oxygen_on_the_way(case: Case) -> Reasons:
    """Whether the oxygen lasts: a warning with what closes the gap, never an exclusion."""
    plan = case.trip.oxygen
    if plan is None:
        return Reasons(against=(words("oxygen flow not known: not worked out"),))
    if case.asking.flow_l_min == 0.0:
        return NOTHING
    if plan.enough:
        return Reasons((words("oxygen lasts with reserve"), plan.chance_words))
    return Reasons(against=plan.words)


def oxygen_minutes(case: Case) -> float:
    """Minutes in proportion to the chance that oxygen touches its reserve."""
    return case.settings.oxygen_minutes * case.trip.chance_of_touching_reserve


def percent(chance: float) -> str:
    """A chance in words that never claim certainty."""
    if chance < 0.01:
        return words("less than 1 %")
    if chance > 0.99:
        return words("more than 99 %")
    return words("%(percent)d %%", percent=round(chance * 100))


WEIGHTS: tuple[Weight, ...] = (
    Weight(expected_time),
    Weight(standing_default),
    Weight(preferred_care, preferred_care_minutes),
    Weight(unknown_cots),
    Weight(collection, motorcycle_minutes),
    Weight(closures_on_the_way),
    Weight(legs_on_the_way),
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
        tuple(reason for reasons in said for reason in reasons.on_its_side),
        tuple(reason for reasons in said for reason in reasons.against),
    )
