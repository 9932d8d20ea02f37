"""Whether oxygen lasts to the bedside: the planning rule, the chance, what closes a gap."""

import json
import math
import random
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from transport.calc.oxygen import (
    AIR_WORDS,
    CHANGEOVER_MINUTES,
    Cylinder,
    InvalidOxygen,
    OxygenPlan,
    Reserve,
    Swap,
    metric_cylinder,
    oxygen_for_fraction,
    plan_oxygen,
    together,
    uk_cylinder,
    us_cylinder,
)
from transport.calc.travel_time import TravelTime, add, certain

cylinders = st.one_of(
    st.builds(metric_cylinder, st.floats(0.5, 50), st.floats(0, 300)),
    st.builds(us_cylinder, st.sampled_from("DEMGHK"), st.floats(0, 2500)),
)
NONE_KEPT = Reserve(bar=0, psi=0)
journeys = st.builds(TravelTime, st.floats(0, 400), st.floats(0, 0.8))


def plan(held: list[Cylinder], flow_l_min: float = 2.0, **changes: object) -> OxygenPlan:
    asked = {
        "journey": TravelTime(60, 0.3),
        "waiting_minutes": 0.0,
        "loading_minutes": 10.0,
        "bedside_minutes": 5.0,
        "reserve": Reserve(bar=30),
    }
    return plan_oxygen(cylinders=held, flow_l_min=flow_l_min, **(asked | changes))


def test_the_need_is_the_larger_of_p95_with_reserve_and_twice_the_median() -> None:
    # Median 75 (60 road, 15 standing), P95 98.28 + 15 (log-normal m 60, s 0.30).
    # UK D, 2.3 L: reserve 30 bar x 2.3 / 2 L/min = 34.5 min, so 147.8 is below twice 75.
    assert plan([uk_cylinder("D")]).needed_minutes == pytest.approx(150)
    # UK E, 4.7 L: reserve 70.5 min makes 113.28 + 70.5 the larger.
    assert plan([uk_cylinder("E")]).needed_minutes == pytest.approx(183.78, abs=0.01)


def test_a_full_cylinder_for_a_short_road_is_enough_without_words() -> None:
    enough = plan([uk_cylinder("E")])
    assert enough.enough
    assert enough.minutes_left == pytest.approx(4.7 * 137 / 2)
    assert enough.minutes_to_reserve == pytest.approx(4.7 * 107 / 2)
    assert enough.shortfall_litres == 0
    assert enough.words == ()


def test_the_chance_counts_all_minutes_to_the_bedside() -> None:
    # 107.5 usable L at 1 L/min; 15 standing minutes leave 92.5 for a journey m 60, s 0.30.
    found = plan([metric_cylinder(2.15, 80)], flow_l_min=1.0)
    assert found.chance_of_touching_reserve == pytest.approx(
        1 - TravelTime(60, 0.3).probability_within(92.5)
    )


def test_a_shortage_names_the_cylinder_at_hand_that_closes_the_gap() -> None:
    spares = [metric_cylinder(1, 50, "small"), uk_cylinder("E"), uk_cylinder("J")]
    short = plan([uk_cylinder("D", 60)], spares=spares)
    assert not short.enough
    assert "Take along cylinder UK E (4.7 L, 137 bar)." in short.words[1]
    assert plan([uk_cylinder("D", 60), uk_cylinder("E")]).enough


def test_without_a_single_cylinder_that_closes_it_the_litres_are_named() -> None:
    short = plan([], spares=[metric_cylinder(1, 50)])
    assert short.minutes_left == 0
    assert short.chance_of_touching_reserve == 1
    assert f"{math.ceil(short.shortfall_litres)} L more are needed" in short.words[1]


@given(st.lists(cylinders, max_size=3), st.floats(0.1, 15), journeys, st.floats(0, 120))
def test_a_shortage_always_says_air_and_never_to_wait_or_stop(
    held: list[Cylinder], flow: float, journey: TravelTime, waiting: float
) -> None:
    found = plan(held, flow, journey=journey, waiting_minutes=waiting)
    said = " ".join(found.words).lower()
    assert found.enough == (found.words == ()) == (found.shortfall_litres == 0)
    assert found.enough or AIR_WORDS in found.words
    assert not any(word in said for word in ("wait", "stop", "delay", "do not"))
    assert "keep ventilating with air" in AIR_WORDS


@given(st.lists(cylinders, max_size=3), cylinders, st.floats(0.1, 15), journeys)
def test_more_oxygen_is_never_less_time_nor_a_greater_chance(
    held: list[Cylinder], another: Cylinder, flow: float, journey: TravelTime
) -> None:
    before, after = plan(held, flow, journey=journey), plan([*held, another], flow, journey=journey)
    assert after.minutes_left >= before.minutes_left
    assert after.minutes_to_reserve >= before.minutes_to_reserve
    assert after.chance_of_touching_reserve <= before.chance_of_touching_reserve
    assert after.chance_of_running_out <= before.chance_of_running_out
    assert after.shortfall_litres <= before.shortfall_litres + 1e-6
    assert after.enough or not before.enough


@given(st.lists(cylinders, max_size=2), st.floats(0.1, 15), journeys, st.floats(0, 90))
def test_a_longer_road_never_makes_oxygen_more_enough(
    held: list[Cylinder], flow: float, journey: TravelTime, more: float
) -> None:
    near = plan(held, flow, journey=journey)
    far = plan(held, flow, journey=journey, waiting_minutes=more)
    assert near.enough or not far.enough
    assert far.chance_of_touching_reserve >= near.chance_of_touching_reserve


def test_without_flow_nothing_is_short_and_the_answer_is_plain_json() -> None:
    found = plan([], flow_l_min=0.0, journey=certain(60))
    assert found.enough
    assert found.chance_of_touching_reserve == 0
    stored = json.loads(json.dumps(found.as_dict(), allow_nan=False))
    assert stored["minutes_left"] is None


def test_a_vehicle_without_cylinders_is_said_in_words_and_air_goes_on():
    plan = plan_oxygen(
        cylinders=[],
        flow_l_min=2.0,
        journey=TravelTime(60.0, 0.3),
        waiting_minutes=0,
        loading_minutes=0,
        bedside_minutes=5,
    )
    assert plan.words[0].startswith("No oxygen cylinder is written down")
    assert plan.words[-1] == AIR_WORDS


# The chance


def test_the_chance_is_said_the_same_way_whether_it_lasts_or_not() -> None:
    said = "% chance of reaching the bedside before the reserve is touched."
    lasting, short = plan([uk_cylinder("E")]), plan([uk_cylinder("D", 80)])
    assert lasting.enough
    assert lasting.chance_words.endswith(said)
    assert not short.enough
    assert short.words[0].endswith(said)
    assert round(100 * (1 - short.chance_of_touching_reserve)) == int(
        short.chance_words.split(" ")[0]
    )
    assert plan([uk_cylinder("E")], flow_l_min=0).chance_words.startswith("No oxygen flows")


def test_running_out_is_less_likely_than_touching_the_reserve() -> None:
    # 160 L at 2 L/min are 80 min, 65 of them on the road: log-normal m 60, s 0.30.
    found = plan([metric_cylinder(2, 80)])
    road = TravelTime(60, 0.3)
    assert found.chance_of_running_out == pytest.approx(road.probability_beyond(80 - 15))
    assert found.chance_of_touching_reserve == pytest.approx(road.probability_beyond(50 - 15))


@given(st.lists(cylinders, max_size=3), st.floats(0.1, 15), journeys, st.floats(0, 200))
def test_a_longer_road_never_lowers_the_chance_of_touching_the_reserve(
    held: list[Cylinder], flow: float, road: TravelTime, longer: float
) -> None:
    near = plan(held, flow, journey=road)
    far = plan(held, flow, journey=TravelTime(road.median_minutes + longer, road.sigma))
    assert far.chance_of_touching_reserve >= near.chance_of_touching_reserve - 1e-12
    assert far.chance_of_running_out >= near.chance_of_running_out - 1e-12
    assert far.chance_of_running_out <= far.chance_of_touching_reserve


@given(st.lists(cylinders, max_size=3), st.floats(0.1, 15), journeys)
def test_the_plan_covers_p95_and_twice_the_median(
    held: list[Cylinder], flow: float, road: TravelTime
) -> None:
    found = plan(held, flow, journey=road)
    assert found.needed_minutes >= road.quantile(0.95) + 15 - 1e-9
    assert found.needed_minutes >= 2 * (road.p50 + 15) - 1e-9
    if found.enough:
        assert found.chance_of_touching_reserve <= 0.05 + 1e-6


def test_the_chance_of_a_matched_sum_is_near_that_of_a_simulation() -> None:
    # A vehicle on its way (m 25, s 0.5), then the road (m 60, s 0.4): one matched log-normal, as
    # where the post's cylinders are drawn on from now. 200,000 draws: a chance is known within
    # 0.3 points. The approximation is within 1 point, and its P95 within 1 %.
    ways, rng = (TravelTime(25, 0.5), TravelTime(60, 0.4)), random.Random(11)
    drawn = sorted(
        15 + sum(way.median_minutes * math.exp(way.sigma * rng.gauss(0, 1)) for way in ways)
        for _ in range(200_000)
    )
    for litres in (160, 200, 240, 280, 320, 400):
        found = plan([metric_cylinder(litres / 100, 100)], journey=add(ways), reserve=NONE_KEPT)
        simulated = sum(minutes > litres / 2 for minutes in drawn) / len(drawn)
        assert found.chance_of_running_out == pytest.approx(simulated, abs=0.01)
    p95 = drawn[int(0.95 * len(drawn))]
    assert add(ways).quantile(0.95) + 15 == pytest.approx(p95, rel=0.01)


# Two babies, mixtures, changing over


def test_two_babies_on_one_set_are_as_one_with_both_flows() -> None:
    both = plan([uk_cylinder("E")], together([2.0, 1.5]))
    assert both == plan([uk_cylinder("E")], 3.5)
    assert both.minutes_left == pytest.approx(4.7 * 137 / 3.5)


def test_a_mixture_with_air_lasts_longer_than_pure_oxygen() -> None:
    # FiO2 0.40 of 10 L/min is 2.41 L/min of oxygen (mixing law).
    mixed = plan([uk_cylinder("E")], oxygen_for_fraction(0.4, total_l_min=10))
    assert mixed.minutes_left == pytest.approx(643.9 / 2.405, rel=1e-3)
    assert mixed.minutes_left > plan([uk_cylinder("E")], 10).minutes_left


def test_changes_within_the_time_planned_are_told_in_their_order() -> None:
    held = [metric_cylinder(2, 80, "a"), metric_cylinder(2, 200, "b"), metric_cylinder(2, 200, "c")]
    found = plan(held)
    # a lasts 50 min to its reserve; b 170 more, past the P95 of 113 min: that change is not told.
    assert [change.on.label for change in found.changes] == ["b"]
    assert found.changes[0].after_minutes == pytest.approx(50)
    assert found.minutes_left == pytest.approx(80 + 200 + 200 - 2 * CHANGEOVER_MINUTES)
    assert found.change_words == (found.changes[0].in_words(),)


# What closes a gap


def test_where_no_single_cylinder_closes_it_the_fewest_that_do_are_named() -> None:
    spares = [uk_cylinder("C"), metric_cylinder(2.5, 100, "x"), metric_cylinder(2.4, 100, "y")]
    short = plan([uk_cylinder("D", 40)], spares=spares)
    assert short.words[1] == "Take along cylinders x (2.5 L, 100 bar), y (2.4 L, 100 bar)."
    assert plan([uk_cylinder("D", 40), *spares[1:]]).enough


def test_all_that_is_at_hand_goes_along_even_where_it_is_not_enough() -> None:
    short = plan([], spares=[metric_cylinder(1, 50, "x"), metric_cylinder(1, 60, "y")])
    assert short.words[1].startswith("Take along every cylinder at hand (x (1 L, 50 bar), y")


def test_a_cylinder_on_the_way_is_named_with_when_they_are_there() -> None:
    here = TravelTime(20, 0.2)
    near = Swap(uk_cylinder("G"), "Bandolay", here, add([here, certain(2), TravelTime(45, 0.3)]))
    far = Swap(uk_cylinder("G"), "Kesh", TravelTime(80, 0.2), TravelTime(100, 0.3))
    small = Swap(metric_cylinder(1, 40), "Pelu", TravelTime(5, 0.2), TravelTime(65, 0.3))
    short = plan([uk_cylinder("D", 100)], swaps=[far, small, near], under_way=True)
    said = "On the way, change to cylinder UK G (23.6 L, 137 bar) at Bandolay, about 20 min"
    assert short.words[1].startswith(said)
    assert short.words[-1] == AIR_WORDS
    # Too far for what is left, or too little: neither closes the gap.
    assert "On the way" not in " ".join(plan([uk_cylinder("D", 100)], swaps=[far, small]).words)


def test_a_lower_flow_is_arithmetic_and_a_clinician_decides() -> None:
    short = plan([uk_cylinder("E", 70)], 4.0)
    assert short.lower_flow_words == (
        "Arithmetic only: at 1.6 L/min in all it would last as planned. A lower flow is a "
        "clinician's decision."
    )
    assert short.lower_flow_words not in short.words
    assert plan([uk_cylinder("E", 70)], short.lasting_flow_l_min).enough
    enough = plan([uk_cylinder("J")])
    assert (enough.lasting_flow_l_min, enough.lower_flow_words) == (None, "")
    assert plan([]).lower_flow_words == ""


@given(st.lists(cylinders, max_size=3), st.floats(0.1, 15), journeys)
def test_at_the_flow_named_it_lasts(held: list[Cylinder], flow: float, road: TravelTime) -> None:
    found = plan(held, flow, journey=road)
    if not found.enough and found.lasting_flow_l_min:
        assert found.lasting_flow_l_min <= flow
        again = plan(held, found.lasting_flow_l_min, journey=road)
        assert again.shortfall_litres <= 1e-3 + 1e-6 * again.needed_minutes * again.flow_l_min


def test_a_gauge_that_cannot_be_right_is_a_caution_beside_the_plan() -> None:
    assert plan([uk_cylinder("E")]).cautions == ()
    assert "more than a full one shows" in plan([uk_cylinder("E", 200)]).cautions[0]


@pytest.mark.parametrize("wrong", [{"waiting_minutes": -1.0}, {"loading_minutes": math.inf}])
def test_minutes_that_cannot_be_are_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(InvalidOxygen):
        plan([uk_cylinder("E")], **wrong)
    with pytest.raises(InvalidOxygen):
        plan([], flow_l_min=-1)


def test_without_a_spare_written_down_the_least_full_size_is_named() -> None:
    short = plan([uk_cylinder("D", 60)])
    assert short.closing_words == (
        "Take along one more cylinder, at least a full UK D (2.3 L of water, 137 bar)."
    )
    assert short.closing_words in short.words
    met = plan([uk_cylinder("D", 60)], under_way=True).closing_words
    assert met.startswith("Send to meet them one more cylinder, at least a full UK D")


def test_the_message_names_the_cylinders_that_fit_and_counts_the_others() -> None:
    spares = [replace(uk_cylinder("D"), label=f"B{n}, Hospital of place {n}") for n in range(4)]
    short = plan([uk_cylinder("D", 20)], flow_l_min=8, spares=spares, under_way=True)
    assert len(short.closing_words) > 170
    minutes, closing, air = short.message_words
    assert minutes.startswith("Oxygen may not last: about ")
    assert closing.count("Hospital of place") == 2
    assert closing.endswith(" and 2 more.")
    assert air == AIR_WORDS


@pytest.mark.parametrize(
    ("bar", "said"), [(31, "Under 1 % chance"), (75, "5 % chance"), (137, "98 % chance")]
)
def test_a_chance_never_claims_certainty(bar: float, said: str) -> None:
    assert plan([uk_cylinder("D", bar)]).chance_words.startswith(f"{said} of reaching the bedside")
    assert plan([uk_cylinder("E")]).chance_words.startswith("Over 99 % chance of reaching")
