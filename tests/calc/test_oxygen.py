"""How long oxygen lasts, against worked examples of handbooks."""

import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from transport.calc.oxygen import (
    AIR_WORDS,
    BAR_PER_MPA,
    NO_RESERVE,
    Cylinder,
    InvalidOxygen,
    OxygenPlan,
    Reserve,
    after_use,
    air_to_oxygen_ratio,
    fraction_of_oxygen,
    litres_available,
    metric_cylinder,
    minutes_left,
    oxygen_for_fraction,
    plan_oxygen,
    uk_cylinder,
    us_cylinder,
)
from transport.calc.travel_time import TravelTime, certain

PSI_200 = Reserve(psi=200)
cylinders = st.one_of(
    st.builds(metric_cylinder, st.floats(0.5, 50), st.floats(0, 300)),
    st.builds(us_cylinder, st.sampled_from("DEMGHK"), st.floats(0, 2500)),
)
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


# Worked examples


@pytest.mark.parametrize(
    ("cylinder", "flow", "reserve", "minutes"),
    [
        # Printed on a worked page of respiratory care: D, 2000 psi, 200 left, 0.5 L/min.
        (us_cylinder("D", 2000), 0.5, PSI_200, 576),
        # Anaesthesia page: E, 1000 psi, 5 L/min, 80 % of it used, no residual; printed 45.
        (us_cylinder("E", 1000), 5, Reserve(psi=0, share_kept=0.2), 44.8),
        # Emergency medical services sheet, Virginia 2010: least gauge for 15 min at 10 L/min.
        (us_cylinder("E", 750), 10, PSI_200, 15.4),
        (us_cylinder("D", 1150), 10, PSI_200, 15.2),
        (us_cylinder("M", 392), 10, PSI_200, 29.952),
        (us_cylinder("H", 300), 10, PSI_200, 31.4),
        # Computed from factor x (psi - residual) / flow, the formula of that sheet.
        (us_cylinder("E", 2000), 10, PSI_200, 50.4),
        # Computed from water litres x (bar - reserve) / flow (Boyle's law).
        (metric_cylinder(4.7, 100), 1, Reserve(bar=30), 329),
        (metric_cylinder(2, 230), 8, NO_RESERVE, 57.5),
        (metric_cylinder(10, 150), 5, NO_RESERVE, 300),
        (metric_cylinder(3.4, 15 * BAR_PER_MPA), 5, NO_RESERVE, 102),
        (metric_cylinder(3.4, 15 * BAR_PER_MPA), 5, Reserve(bar=0, share_kept=0.2), 81.6),
        (metric_cylinder(2, 200), 0.5, Reserve(bar=50), 600),
    ],
)
def test_handbook_examples_are_met(
    cylinder: Cylinder, flow: float, reserve: Reserve, minutes: float
) -> None:
    assert minutes_left(cylinder, flow, reserve=reserve) == pytest.approx(minutes)


def test_an_anaesthesia_text_that_prints_whole_minutes_is_met_by_rounding_down() -> None:
    # Nagelhout & Zaglaniczky 2001: E of 660 L at 1900 psi, 500 psi on the gauge, 6 L/min: 28 min.
    cylinder = Cylinder("E of that text", psi_factor=660 / 1900, psi=500)
    assert math.floor(minutes_left(cylinder, 6)) == 28


def test_the_rule_of_hours_is_met_with_its_own_factor() -> None:
    # Anaesthesia keyword page: hours = psi / (200 x flow), which is 0.3 L/psi; E, 2200 psi: 22 h.
    cylinder = Cylinder("E by the rule", psi_factor=60 / 200, psi=2200)
    assert minutes_left(cylinder, 0.5) / 60 == pytest.approx(22)


def test_the_product_is_on_the_safe_side_of_the_printed_content() -> None:
    # UK E prints 680 L (Anesth Analg 2004;99:307); 4.7 L x 137 bar is 644.
    assert litres_available(uk_cylinder("E")) == pytest.approx(643.9)
    assert litres_available(uk_cylinder("E")) < 680


def test_letters_of_two_countries_are_two_sizes() -> None:
    # UK G holds 3400 L as printed, US G 5000 to 5300 L (values from memory; reference pages).
    assert litres_available(uk_cylinder("G")) < 3400
    assert litres_available(us_cylinder("G", 2200)) > 5000


@given(cylinders, st.floats(0.1, 15))
def test_minutes_are_never_negative_and_a_reserve_only_takes_away(
    cylinder: Cylinder, flow: float
) -> None:
    kept = minutes_left(cylinder, flow, reserve=Reserve(bar=30, psi=500))
    assert 0 <= kept <= minutes_left(cylinder, flow)


def test_a_gauge_below_the_residual_leaves_no_minutes() -> None:
    assert minutes_left(us_cylinder("E", 150), 5, reserve=PSI_200) == 0


def test_without_flow_the_oxygen_is_not_limited() -> None:
    assert minutes_left(us_cylinder("E", 2000), 0) == math.inf


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: metric_cylinder(0, 100),
        lambda: metric_cylinder(5, -1),
        lambda: metric_cylinder(5, math.nan),
        lambda: us_cylinder("Z", 100),
        lambda: uk_cylinder("K"),
        lambda: Cylinder("none"),
        lambda: Cylinder("half", water_litres=5),
        lambda: Cylinder("mixed", water_litres=5, psi=2000),
        lambda: Cylinder("both", water_litres=5, bar=100, psi_factor=0.3, psi=2000),
        lambda: minutes_left(metric_cylinder(5, 100), -1),
        lambda: Reserve(share_kept=1.0),
        lambda: plan([], flow_l_min=-1),
    ],
)
def test_what_cannot_be_is_refused(wrong: object) -> None:
    with pytest.raises(InvalidOxygen):
        wrong()


# Mixing with air


@pytest.mark.parametrize(
    ("oxygen", "air", "fraction"), [(5, 5, 0.605), (3, 7, 0.447), (2, 8, 0.368), (10, 0, 1.0)]
)
def test_two_flows_give_the_computed_fraction(oxygen: float, air: float, fraction: float) -> None:
    # Computed from (O2 + 0.21 air) / (O2 + air), the trade's mixing law.
    found = fraction_of_oxygen(oxygen_l_min=oxygen, air_l_min=air)
    assert found == pytest.approx(fraction, abs=0.0005)


@pytest.mark.parametrize(
    ("fraction", "total", "oxygen"),
    [(0.30, 10, 1.14), (0.40, 10, 2.41), (0.50, 6, 2.20), (0.60, 8, 3.95)],
)
def test_a_fraction_needs_the_computed_oxygen(fraction: float, total: float, oxygen: float) -> None:
    # Computed from total x (FiO2 - 0.21) / 0.79.
    assert oxygen_for_fraction(fraction, total_l_min=total) == pytest.approx(oxygen, abs=0.005)


@pytest.mark.parametrize(("fraction", "parts"), [(0.24, 25), (0.28, 10), (0.40, 3), (0.60, 1)])
def test_the_classic_ratios_are_met_in_whole_parts(fraction: float, parts: int) -> None:
    # Entrainment ratios as taught, values from memory; 24 % is 25.3 and 40 % is 3.2 exactly.
    assert round(air_to_oxygen_ratio(fraction)) == parts


@given(st.floats(0.21, 1), st.floats(0.1, 30))
def test_mixing_and_its_inverse_agree(fraction: float, total: float) -> None:
    oxygen = oxygen_for_fraction(fraction, total_l_min=total)
    air = max(0.0, total - oxygen)
    assert fraction_of_oxygen(oxygen_l_min=oxygen, air_l_min=air) == pytest.approx(fraction)


def test_fractions_below_air_and_mixtures_of_nothing_are_refused() -> None:
    with pytest.raises(InvalidOxygen):
        oxygen_for_fraction(0.2, total_l_min=5)
    with pytest.raises(InvalidOxygen):
        fraction_of_oxygen(oxygen_l_min=0, air_l_min=0)
    assert air_to_oxygen_ratio(0.21) == math.inf


# Plans


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
    spares = [uk_cylinder("J"), metric_cylinder(1, 50, "small"), uk_cylinder("E")]
    short = plan([uk_cylinder("D", 60)], spares=spares)
    assert not short.enough
    assert "UK E (4.7 L water) at 137 bar closes the gap" in short.words[1]
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


def test_what_was_drawn_is_gone_from_the_first_cylinder_first():
    carried = [metric_cylinder(2.0, 100, "small"), metric_cylinder(10.0, 50, "large")]
    small, large = after_use(carried, 300.0)
    assert litres_available(small) == 0.0
    assert litres_available(large) == pytest.approx(400.0)


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
