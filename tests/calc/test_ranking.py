"""The order of candidate units, the reasons, and the laws that hold whatever the district."""

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from referrals.calc.needs import NeedAssessment
from referrals.calc.terms import Capability, Urgency, VehicleKind
from transport.calc.oxygen import AIR_WORDS, metric_cylinder, uk_cylinder
from transport.calc.ranking import (
    Asking,
    Candidate,
    Ranking,
    RankingSettings,
    UnitFacts,
    VehicleFacts,
    rank,
)
from transport.calc.ranking_rules import ordering_rule
from transport.calc.travel import (
    Place,
    TravelEstimate,
    TravelSettings,
    estimate_travel,
    fixed_estimator,
    unreachable,
)

CARE = frozenset({Capability.OXYGEN, Capability.CPAP})
POST = Place(-1.0, -30.0)


@dataclass(frozen=True)
class Needed:
    capabilities: frozenset[Capability] = CARE
    preferred_capabilities: frozenset[Capability] = frozenset()
    urgency: Urgency = Urgency.VENTILATED
    limit_minutes: float | None = None


def asking(**changes: object) -> Asking:
    told = {
        "origin": POST,
        "babies": 1,
        "needs": Needed(),
        "flow_l_min": 2.0,
        "loading_minutes": 15.0,
        "now_dark": False,
        "rainy": False,
    }
    return Asking(**(told | changes))


def east(km: float) -> Place:
    return Place(-1.0, -30.0 + km / 111.3)


HARBOUR = UnitFacts("harbour", "Harbour unit", east(30), CARE, 2, True)
HILL = UnitFacts("hill", "Hill unit", east(60), CARE, 2, True)
AMBULANCE = VehicleFacts(
    "blue", "Blue ambulance", VehicleKind.AMBULANCE, east(-10), 0, cylinders=(uk_cylinder("G"),)
)


def ranked(
    units: Sequence[UnitFacts],
    vehicles: Sequence[VehicleFacts] = (AMBULANCE,),
    question: Asking | None = None,
    **weights: object,
) -> Ranking:
    return rank(
        question or asking(),
        units,
        vehicles,
        RankingSettings(**weights),
        estimate=fixed_estimator(TravelSettings()),
    )


def keys(ranking: Ranking) -> list[str]:
    return [candidate.key for candidate in ranking.candidates]


def only(ranking: Ranking) -> Candidate:
    (candidate,) = ranking.candidates
    return candidate


# The order


def test_the_nearer_of_two_units_alike_comes_first() -> None:
    found = ranked([HILL, HARBOUR])
    assert keys(found) == ["harbour", "hill"]
    assert [candidate.order for candidate in found.candidates] == [1, 2]
    assert found.best.key == "harbour"


def test_the_time_is_that_of_the_vehicle_the_loading_and_the_road() -> None:
    candidate = only(ranked([HARBOUR]))
    parts = candidate.to_baby.distribution.mean + 15 + candidate.road.distribution.mean
    assert candidate.arrival.mean == pytest.approx(parts)
    assert candidate.arrival.p10 > 15


def test_one_arrival_is_said_and_it_is_the_window() -> None:
    """The average that orders the units is no time at which anybody should be expected."""
    found = only(ranked([HARBOUR], [AMBULANCE]))
    said = " ".join(found.reasons_for)
    assert f"counts {round(found.arrival.mean)} min in the order" in said
    assert "expected there" not in said
    collects = found.to_baby.distribution
    window = f"({collects.p10:.0f} to {collects.p90:.0f})"
    assert f"can be with the baby in about {collects.p50:.0f} min {window}" in said


def test_a_vehicle_that_is_not_yet_free_makes_all_of_it_later() -> None:
    now, later = (
        only(ranked([HARBOUR], [replace(AMBULANCE, minutes_until_free=m)])) for m in (0, 40)
    )
    assert later.arrival.p50 == pytest.approx(now.arrival.p50 + 40)


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"capabilities": frozenset({Capability.OXYGEN})}, "cannot give: CPAP"),
        ({"open": False}, "closed now"),
        ({"cots_free": 0}, "no cot free"),
        ({"already": "declined: no staff"}, "declined at your question: no staff"),
    ],
)
def test_a_unit_that_cannot_take_the_baby_is_kept_last_with_the_reason(
    change: dict[str, object], reason: str
) -> None:
    found = ranked([replace(HARBOUR, **change), HILL])
    assert keys(found) == ["hill", "harbour"]
    last = found.candidates[-1]
    assert not last.possible
    assert reason in last.reasons_against
    assert last.arrival is not None


def test_twins_need_two_cots() -> None:
    found = only(ranked([replace(HARBOUR, cots_free=1)], question=asking(babies=2)))
    assert not found.possible
    assert "cots free: 1, babies: 2" in found.reasons_against


def test_cots_not_reported_do_not_exclude() -> None:
    found = only(ranked([replace(HARBOUR, cots_free=None)]))
    assert found.possible
    assert "free cots not reported" in found.reasons_against


def test_a_unit_already_asked_keeps_its_place_and_says_so() -> None:
    found = ranked([replace(HARBOUR, already="asked"), HILL])
    assert keys(found) == ["harbour", "hill"]
    assert "at your question: asked" in found.candidates[0].reasons_for


def test_preferred_care_outweighs_a_short_way_but_not_a_long_one() -> None:
    question = asking(needs=Needed(preferred_capabilities=frozenset({Capability.VENTILATOR})))
    near = replace(HILL, key="near", place=east(35), capabilities=CARE | {Capability.VENTILATOR})
    far = replace(near, key="far", place=east(90))
    assert keys(ranked([HARBOUR, near], question=question)) == ["near", "harbour"]
    found = ranked([HARBOUR, far], question=question)
    assert keys(found) == ["harbour", "far"]
    assert "does not have, though preferred: ventilator" in found.candidates[0].reasons_against
    assert "also has: ventilator" in found.candidates[1].reasons_for


def test_the_standing_default_unit_decides_a_tie_only() -> None:
    twin = replace(HARBOUR, key="zulu", name="Zulu unit", is_default=True)
    assert keys(ranked([HARBOUR, twin])) == ["zulu", "harbour"]
    assert keys(ranked([HARBOUR, replace(twin, place=east(31))])) == ["harbour", "zulu"]


# Vehicles


def test_the_vehicle_that_is_there_first_is_taken() -> None:
    late = replace(AMBULANCE, key="green", place=east(-2), minutes_until_free=50)
    assert only(ranked([HARBOUR], [late, AMBULANCE])).vehicle_key == "blue"


def test_a_vehicle_with_oxygen_is_preferred_to_one_a_little_earlier_without() -> None:
    bare = replace(AMBULANCE, key="bare", place=east(-8), cylinders=())
    assert only(ranked([HARBOUR], [bare, AMBULANCE])).vehicle_key == "blue"


def test_a_motorcycle_is_taken_for_a_ventilated_baby_only_if_all_else_is_far_later() -> None:
    motorcycle = replace(AMBULANCE, key="motorcycle", kind=VehicleKind.MOTORCYCLE, place=east(-1))
    assert only(ranked([HARBOUR], [motorcycle, AMBULANCE])).vehicle_key == "blue"
    far = replace(AMBULANCE, place=east(-100))
    found = only(ranked([HARBOUR], [motorcycle, far]))
    assert found.vehicle_key == "motorcycle"
    assert "a baby can hardly be ventilated on a motorcycle" in found.reasons_against


def test_a_boat_is_taken_only_where_no_road_vehicle_is() -> None:
    boat = replace(AMBULANCE, key="boat", kind=VehicleKind.BOAT, place=east(-0.1))
    assert only(ranked([HARBOUR], [boat, AMBULANCE])).vehicle_key == "blue"
    by_boat = only(ranked([HARBOUR], [boat]))
    assert by_boat.vehicle_key == "boat"
    assert "by boat: landing places are not checked" in by_boat.reasons_against


@pytest.mark.parametrize("vehicles", [[], [replace(AMBULANCE, place=None)]])
def test_without_a_known_vehicle_the_minutes_begin_at_the_post_and_say_so(
    vehicles: list[VehicleFacts],
) -> None:
    found = only(ranked([HARBOUR], vehicles))
    assert found.possible
    assert found.vehicle_key is None
    assert found.arrival.mean == pytest.approx(15 + found.road.distribution.mean)
    assert any("no vehicle known yet" in words for words in found.reasons_against)


def island(origin: Place, destination: Place, **asked: object) -> TravelEstimate:
    """An estimator that knows no way to anything east of 10 degrees west."""
    if destination.longitude > -10:
        return unreachable(geodesic_km=1, method="table", inputs={}, model_version="t")
    return estimate_travel(origin, destination, settings=TravelSettings(), **asked)


def test_a_unit_to_which_no_way_is_known_is_kept_last_of_all() -> None:
    beyond = replace(HARBOUR, key="beyond", place=Place(-1.0, -5.0))
    closed = replace(HILL, open=False)
    found = rank(
        asking(), [beyond, closed, HARBOUR], [AMBULANCE], RankingSettings(), estimate=island
    )
    assert keys(found) == ["harbour", "hill", "beyond"]
    assert found.candidates[-1].arrival is None
    assert found.candidates[-1].reasons_against == ("no way there is known",)


# Oxygen and limits


def test_a_shortage_of_oxygen_warns_with_air_and_never_excludes() -> None:
    short = replace(AMBULANCE, cylinders=(metric_cylinder(2, 40),))
    found = only(ranked([HARBOUR], [short]))
    assert found.possible
    assert not found.oxygen.enough
    assert AIR_WORDS in found.reasons_against


def test_beside_a_shortage_stands_the_first_unit_that_the_oxygen_lasts_to() -> None:
    far = replace(HARBOUR, key="far", name="Far", place=Place(-24.0, 88.0))
    held = replace(AMBULANCE, cylinders=(metric_cylinder(10, 137),))
    near, away = ranked([far, HARBOUR], [held]).candidates
    assert near.oxygen.enough
    assert not away.oxygen.enough
    assert f"The oxygen is planned to last to {near.name}." in away.reasons_against
    alone = only(ranked([far], [held]))
    assert "planned to last to" not in " ".join(alone.reasons_against)


def test_no_reason_ever_says_to_wait_or_stop() -> None:
    bad = [replace(HARBOUR, already="asked", cots_free=None), replace(HILL, open=False)]
    found = ranked(bad, [replace(AMBULANCE, cylinders=())], asking(babies=2))
    said = " ".join(w for c in found.candidates for w in c.reasons_for + c.reasons_against)
    assert not any(word in f"{said} {found.ordering_rule}".lower() for word in ("wait", "stop"))


def test_oxygen_at_the_post_is_used_from_now_or_left_behind_if_it_helps_nothing() -> None:
    bare = replace(AMBULANCE, cylinders=())
    with_it = only(ranked([HARBOUR], [bare], asking(cylinders=(uk_cylinder("G"),))))
    assert with_it.oxygen.enough
    drop = asking(cylinders=(metric_cylinder(1, 31),))
    plain = only(ranked([HARBOUR], [AMBULANCE]))
    assert only(ranked([HARBOUR], [AMBULANCE], drop)).oxygen == plain.oxygen


def test_a_flow_that_is_not_known_is_said_and_one_of_zero_needs_nothing() -> None:
    unknown = only(ranked([HARBOUR], question=asking(flow_l_min=None)))
    assert unknown.oxygen is None
    assert "oxygen flow not known: not worked out" in unknown.reasons_against
    none = only(ranked([HARBOUR], [replace(AMBULANCE, cylinders=())], asking(flow_l_min=0.0)))
    assert none.oxygen.enough


def test_the_chance_to_keep_a_time_limit_is_given() -> None:
    found = ranked([HARBOUR, HILL], question=asking(needs=Needed(limit_minutes=120)))
    near, far = found.candidates
    assert near.limit_probability == pytest.approx(near.arrival.probability_within(120))
    assert near.limit_probability > far.limit_probability
    percent = round(100 * near.limit_probability)
    said = f"{percent} % chance to arrive before the time limit, 120 min from now"
    assert said in near.reasons_for
    passed = only(ranked([HARBOUR], question=asking(needs=Needed(limit_minutes=-5))))
    assert passed.limit_probability == 0
    assert "the time limit has passed" in passed.reasons_against


def test_the_chance_is_given_for_a_unit_that_cannot_take_the_baby_too() -> None:
    question = asking(needs=Needed(limit_minutes=120))
    found = only(ranked([replace(HARBOUR, open=False)], question=question))
    assert not found.possible
    assert any("chance to arrive before the time limit" in words for words in found.reasons_for)
    assert any("bedside before the reserve is touched" in words for words in found.reasons_for)


def test_the_chance_to_arrive_before_the_reserve_is_touched_is_given() -> None:
    short = replace(AMBULANCE, cylinders=(metric_cylinder(4, 80),))
    found = only(ranked([HARBOUR], [short]))
    percent = round(100 * (1 - found.oxygen.chance_of_touching_reserve))
    assert 0 < percent < 100
    said = f"{percent} % chance of reaching the bedside before the reserve is touched"
    assert said in " ".join(found.reasons_against)


# As good as each other


def test_two_that_are_hardly_apart_are_shown_as_good_as_each_other() -> None:
    beside = replace(HARBOUR, key="beside", name="Beside unit", place=east(31))
    near, next_to, far = ranked([HARBOUR, beside, HILL]).candidates
    assert (near.as_good_as, next_to.as_good_as, far.as_good_as) == (("beside",), ("harbour",), ())
    said = "as good as Beside unit: no more than 5 min apart in the order"
    assert near.reasons_for[0] == said
    assert [each.order for each in (near, next_to, far)] == [1, 2, 3]


def test_a_unit_that_cannot_take_the_baby_is_as_good_as_none() -> None:
    closed = replace(HARBOUR, key="closed", open=False)
    assert all(not each.as_good_as for each in ranked([HARBOUR, closed]).candidates)


def test_of_many_that_are_as_good_three_are_named() -> None:
    many = [replace(HARBOUR, key=f"u{n}", name=f"Unit {n}") for n in range(6)]
    first = ranked(many).candidates[0]
    assert len(first.as_good_as) == 5
    assert "as good as Unit 1; Unit 2; Unit 3 and 2 more" in first.reasons_for[0]


# Laws

units = st.builds(
    UnitFacts,
    key=st.uuids().map(str),
    name=st.sampled_from(["Reef unit", "Cape unit", "Bay unit"]),
    place=st.builds(Place, st.floats(-2, 0), st.floats(-31, -29)),
    capabilities=st.sampled_from([CARE, CARE | {Capability.VENTILATOR}, frozenset()]),
    cots_free=st.sampled_from([None, 0, 1, 2]),
    open=st.booleans(),
    already=st.sampled_from([None, "asked", "declined: no cot"]),
)
PREFERRING = asking(needs=Needed(preferred_capabilities=frozenset({Capability.VENTILATOR})))


def best_minutes(ranking: Ranking) -> float:
    """Expected minutes with the minutes added for care that is only preferred."""
    best = ranking.best
    if best is None:
        return float("inf")
    lacks = any("preferred" in words for words in best.reasons_against)
    added = 60 * best.oxygen.chance_of_touching_reserve + (30 if lacks else 0)
    return best.arrival.mean + added


@given(st.lists(units, max_size=12), units)
@settings(max_examples=50, deadline=None)
def test_one_more_unit_never_worsens_the_best(known: list[UnitFacts], another: UnitFacts) -> None:
    few = {"possible_limit": 2, "impossible_limit": 1}
    before = ranked(known, question=PREFERRING, **few)
    after = ranked([*known, another], question=PREFERRING, **few)
    assert best_minutes(after) <= best_minutes(before) + 1e-9


@given(st.lists(units, max_size=12))
@settings(max_examples=50, deadline=None)
def test_every_unit_is_shown_or_counted_and_the_possible_come_first(
    known: list[UnitFacts],
) -> None:
    found = ranked(known, possible_limit=3, impossible_limit=2)
    not_shown = found.possible_not_shown + found.impossible_not_shown
    assert len(found.candidates) + not_shown == len(known)
    possible = [candidate.possible for candidate in found.candidates]
    assert possible == sorted(possible, reverse=True)
    shown = set(keys(found))
    assert all(unit.key in shown for unit in known if unit.already is not None)


@given(st.lists(units, max_size=8), st.randoms(use_true_random=False))
@settings(max_examples=30, deadline=None)
def test_the_order_told_does_not_matter(known: list[UnitFacts], rng: object) -> None:
    shuffled = list(known)
    rng.shuffle(shuffled)
    assert ranked(shuffled) == ranked(known)


@given(st.floats(5, 137), st.floats(5, 137))
@settings(max_examples=30, deadline=None)
def test_more_oxygen_never_worsens_a_candidate(held: float, more: float) -> None:
    one = replace(AMBULANCE, cylinders=(uk_cylinder("D", held),))
    two = replace(one, cylinders=(*one.cylinders, uk_cylinder("D", more)))
    before, after = only(ranked([HILL], [one])), only(ranked([HILL], [two]))
    assert after.oxygen.minutes_to_reserve >= before.oxygen.minutes_to_reserve
    before_chance = before.oxygen.chance_of_touching_reserve
    assert after.oxygen.chance_of_touching_reserve <= before_chance


@given(st.floats(1, 100), st.floats(1, 100))
@settings(max_examples=30, deadline=None)
def test_all_else_equal_nearer_is_never_behind(first_km: float, second_km: float) -> None:
    first = replace(HARBOUR, key="first", place=east(first_km))
    second = replace(HARBOUR, key="second", place=east(second_km))
    order = keys(ranked([first, second]))
    # Below a millimetre the degrees round to either side.
    alike = abs(first_km - second_km) < 1e-6
    assert alike or order[0] == ("first" if first_km < second_km else "second")


@given(st.lists(units, max_size=8))
@settings(max_examples=50, deadline=None)
def test_a_tie_is_one_from_both_sides(known: list[UnitFacts]) -> None:
    found = {each.key: each for each in ranked(known).candidates}
    for key, each in found.items():
        assert key not in each.as_good_as
        for other in each.as_good_as:
            assert key in found[other].as_good_as
            assert abs(each.order_minutes - found[other].order_minutes) <= 5


@given(st.lists(units, max_size=8))
@settings(max_examples=50, deadline=None)
def test_the_order_is_that_of_the_figure_it_is_said_to_be(known: list[UnitFacts]) -> None:
    able = [each.order_minutes for each in ranked(known).candidates if each.possible]
    assert able == sorted(able)


@given(st.lists(units, max_size=8))
@settings(max_examples=50, deadline=None)
def test_late_is_never_before_likely(known: list[UnitFacts]) -> None:
    for each in ranked(known).candidates:
        assert each.arrival.p10 <= each.arrival.p50 <= each.arrival.p90


@given(st.floats(1, 100), st.floats(0.1, 50), st.floats(0.01, 0.99))
@settings(max_examples=50, deadline=None)
def test_a_longer_way_is_never_earlier(km: float, more: float, chance: float) -> None:
    near = only(ranked([replace(HARBOUR, place=east(km))])).arrival
    far = only(ranked([replace(HARBOUR, place=east(km + more))])).arrival
    assert far.quantile(chance) >= near.quantile(chance) * (1 - 1e-5)
    assert far.mean >= near.mean


@given(st.lists(units, min_size=1, max_size=8), st.data())
@settings(max_examples=60, deadline=None)
def test_a_unit_that_lost_something_it_could_do_never_rises(
    known: list[UnitFacts], data: st.DataObject
) -> None:
    unit = data.draw(st.sampled_from(known))
    lost = data.draw(st.sampled_from([*Capability]))
    poorer = replace(unit, capabilities=unit.capabilities - {lost})
    before = keys(ranked(known, question=PREFERRING))
    changed = [poorer if each.key == unit.key else each for each in known]
    after = keys(ranked(changed, question=PREFERRING))
    assert after.index(unit.key) >= before.index(unit.key)


@given(st.lists(units, max_size=8), st.floats(5, 137), st.floats(5, 137))
@settings(max_examples=50, deadline=None)
def test_more_oxygen_worsens_no_unit_and_takes_none_off(
    known: list[UnitFacts], held: float, more: float
) -> None:
    """Nor does it put a unit behind one that has the same care and is farther.

    Behind one that is farther and has more of the care it may fall: there the oxygen stood in the
    way, and no longer does.
    """
    one = replace(AMBULANCE, cylinders=(uk_cylinder("D", held),))
    two = replace(one, cylinders=(*one.cylinders, uk_cylinder("D", more)))
    before = {each.key: each for each in ranked(known, [one]).candidates}
    after = {each.key: each for each in ranked(known, [two]).candidates}
    assert before.keys() == after.keys()
    for key, each in after.items():
        assert each.possible == before[key].possible
        assert each.order_minutes <= before[key].order_minutes + 1e-9
        assert each.order == before[key].order


# What was shown is stored


def test_what_was_shown_is_plain_json_with_the_rule_in_words() -> None:
    found = ranked([HARBOUR, replace(HILL, open=False)], question=asking(flow_l_min=0.0))
    stored = json.loads(json.dumps(found.as_dict(), allow_nan=False))
    assert stored["ordering_rule"] == ordering_rule(RankingSettings())
    assert "30 for each preferred kind of care" in stored["ordering_rule"]
    assert stored["method"]["same_day_correlation"] == 0.25
    assert [each["key"] for each in stored["candidates"]] == ["harbour", "hill"]
    assert stored["candidates"][0]["road"]["method"] == "geodesic_detour"
    assert stored["candidates"][0]["arrival"]["p90_minutes"] > 0


def test_the_assessment_of_needs_is_understood_as_it_is() -> None:
    assessment = NeedAssessment(
        needs=(),
        capabilities=CARE,
        preferred_capabilities=frozenset(),
        urgency=Urgency.URGENT,
        limit_minutes=90.0,
        missing=(),
    )
    assert only(ranked([HARBOUR], question=asking(needs=assessment))).possible


def test_nobody_left_to_ask_is_a_defined_answer() -> None:
    assert ranked([]).best is None
    assert ranked([replace(HARBOUR, open=False)]).best is None


def test_a_question_without_a_baby_and_weights_that_cannot_be_are_refused() -> None:
    with pytest.raises(ValueError, match="at least one baby"):
        asking(babies=0)
    with pytest.raises(ValueError, match="from 0 up"):
        RankingSettings(oxygen_minutes=-1)
    with pytest.raises(ValueError, match="at least one unit"):
        RankingSettings(possible_limit=0)
