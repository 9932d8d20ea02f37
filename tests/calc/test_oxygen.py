"""How long oxygen lasts, against worked examples of handbooks."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from transport.calc.oxygen import (
    CHANGEOVER_MINUTES,
    NO_RESERVE,
    UK_CYLINDERS,
    Cylinder,
    GaugeUnit,
    InvalidOxygen,
    Reserve,
    after_use,
    air_to_oxygen_ratio,
    changes,
    doubtful_unit_words,
    fraction_of_oxygen,
    in_unit,
    in_use,
    litres_available,
    metric_cylinder,
    minutes_left,
    minutes_of_all,
    overfull_words,
    oxygen_for_fraction,
    read_cylinder,
    read_pressure,
    together,
    uk_cylinder,
    us_cylinder,
)

PSI_200 = Reserve(psi=200)
cylinders = st.one_of(
    st.builds(metric_cylinder, st.floats(0.5, 50), st.floats(0, 300)),
    st.builds(us_cylinder, st.sampled_from("DEMGHK"), st.floats(0, 2500)),
)


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
        (read_cylinder("3.4 L 15 MPa"), 5, NO_RESERVE, 102),
        (read_cylinder("3.4 L 15 MPa"), 5, Reserve(bar=0, share_kept=0.2), 81.6),
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


@pytest.mark.parametrize(
    ("cylinder", "flow", "reserve", "printed", "rounded"),
    [
        # Anaesthesia page: E, 1000 psi, 5 L/min, 280 L, 80 % of it used; printed 45 for 44.8.
        (us_cylinder("E", 1000), 5, Reserve(psi=0, share_kept=0.2), 45, round),
        # Emergency medical services sheet, Virginia 2010: the least gauges of its rule of 15 min.
        (us_cylinder("E", 750), 10, PSI_200, 15, math.floor),
        (us_cylinder("D", 1150), 10, PSI_200, 15, math.floor),
        # The same sheet, M and H with one outlet: it prints 30 min and means two outlets.
        (us_cylinder("M", 392), 10, PSI_200, 30, round),
        (us_cylinder("H", 300), 10, PSI_200, 31, math.floor),
        # 4.7 L, 100 bar, 30 bar kept: computed, 329 L at 1 L/min.
        (metric_cylinder(4.7, 100), 1, Reserve(bar=30), 329, round),
    ],
)
def test_what_is_printed_is_met_with_its_own_rounding(
    cylinder: Cylinder, flow: float, reserve: Reserve, printed: int, rounded: object
) -> None:
    assert rounded(minutes_left(cylinder, flow, reserve=reserve)) == printed


def test_two_outlets_halve_the_minutes_of_one() -> None:
    # The sheet's text on M and H says two outlets at 10 L/min, its figure is that of one.
    assert minutes_left(us_cylinder("H", 300), together([10, 10]), reserve=PSI_200) == (
        pytest.approx(31.4 / 2)
    )


@pytest.mark.parametrize(
    ("size", "printed"),
    # Full contents in litres as reference pages print them, from the least to the most.
    [("D", (300, 425)), ("E", (560, 682)), ("M", (3000, 3450)), ("G", (5000, 5400)),
     ("H", (6900, 7000)), ("K", (6900, 7000))],
)  # fmt: skip
def test_a_full_us_cylinder_holds_what_is_printed(size: str, printed: tuple[int, int]) -> None:
    # Full is about 2200 psi (value from memory). The least of E is 0.28 x 2000, where others
    # print 625: the smaller factor stands.
    assert printed[0] <= litres_available(us_cylinder(size, 2200)) <= printed[1]


@pytest.mark.parametrize(
    ("letter", "printed"),
    # Contents as printed, litres (values from memory; E: Anesth Analg 2004;99:307).
    [("C", 170), ("D", 340), ("E", 680), ("F", 1360), ("G", 3400), ("J", 6800), ("CD", 460),
     ("HX", 2300), ("ZX", 3040)],
)  # fmt: skip
def test_a_full_uk_cylinder_counts_for_at_most_what_is_printed(letter: str, printed: int) -> None:
    assert 0.92 * printed <= litres_available(uk_cylinder(letter)) <= printed
    assert set(UK_CYLINDERS) == {"C", "D", "E", "F", "G", "J", "CD", "HX", "ZX"}


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
        lambda: together([1, -1]),
        lambda: minutes_of_all([metric_cylinder(5, 100)], 1, changeover_minutes=-1),
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


# Gauges and their units


@given(st.floats(0, 500), st.sampled_from(GaugeUnit), st.sampled_from(GaugeUnit))
def test_a_pressure_comes_back_from_every_other_unit(
    value: float, unit: GaugeUnit, other: GaugeUnit
) -> None:
    assert in_unit(in_unit(value, unit, other), other, unit) == pytest.approx(value)


@pytest.mark.parametrize("written", ["150 bar", "15 MPa", "15000 kPa", "2175.6 psi", "15mpa"])
def test_one_pressure_in_all_units(written: str) -> None:
    # 1 psi is 6894.757 Pa (NIST SP 811); the others are exact.
    assert in_unit(*read_pressure(written), GaugeUnit.BAR) == pytest.approx(150, abs=0.01)


@pytest.mark.parametrize(
    ("written", "litres"),
    [
        ("4.7 L 100 bar", 470),
        ("4.7 l, 10 MPa", 470),
        ("4.7 L 1450.4 psi", 470),
        ("UK E 100 bar", 470),
        ("US E 1000 psi", 280),
        ("us e 68.948 bar", 280),
    ],
)
def test_any_size_goes_with_any_unit(written: str, litres: float) -> None:
    assert litres_available(read_cylinder(written)) == pytest.approx(litres, abs=0.05)


@pytest.mark.parametrize(
    "written",
    ["E 1800 psi", "4.7 L 100", "4.7 L", "US Q 1800 psi", "4.7 L 1800 bar", "UK D 2000 bar",
     "680 L 137 bar", "4.7 L -5 bar", "4.7 L 100 atm", "", "US E 6000 psi"],
)  # fmt: skip
def test_a_cylinder_without_country_or_unit_or_with_an_impossible_gauge_is_refused(
    written: str,
) -> None:
    with pytest.raises(InvalidOxygen):
        read_cylinder(written)


def test_a_gauge_above_full_is_said_and_counts_as_full() -> None:
    over = uk_cylinder("D", 180)
    assert "180 bar is more than a full one shows (137)" in overfull_words(over)
    assert litres_available(over) == litres_available(uk_cylinder("D"))
    assert overfull_words(uk_cylinder("D", 145)) == ""  # a warm one
    assert "more than a full one" in overfull_words(us_cylinder("E", 3000))
    assert overfull_words(metric_cylinder(10, 300)) == ""  # what full is, nobody has said


def test_a_low_number_may_be_of_a_larger_unit() -> None:
    assert "If the gauge is in MPa" in doubtful_unit_words(metric_cylinder(3.4, 15))
    assert "If the gauge is in bar" in doubtful_unit_words(us_cylinder("E", 137))
    assert doubtful_unit_words(metric_cylinder(3.4, 100)) == ""
    assert doubtful_unit_words(metric_cylinder(3.4, 0)) == ""


def test_a_reading_is_of_the_cylinder_in_use_whatever_unit_it_was_told_in() -> None:
    carried = [metric_cylinder(10, 0), metric_cylinder(4.7, 95), us_cylinder("E", 1800)]
    assert in_use(carried, 90, GaugeUnit.BAR) == 1
    assert in_use(carried, 1700, GaugeUnit.PSI) == 2
    assert in_use(carried[:2], 1300, GaugeUnit.PSI) == 1  # 90 bar
    assert in_use(carried[:2], 1900, GaugeUnit.PSI) == 0  # 131 bar: changed or filled
    assert in_use([], 100, GaugeUnit.BAR) is None


# Several cylinders


def test_each_change_costs_its_minutes_and_comes_at_the_reserve() -> None:
    first, second = metric_cylinder(2, 200, "first"), metric_cylinder(4, 100, "second")
    # Computed: 2 x 170 / 2 = 170 min, then 4 x 70 / 2 = 140 min less the change.
    assert minutes_of_all([first, second], 2, reserve=Reserve(bar=30)) == 170 + 140 - 2
    (change,) = changes([first, second], 2, reserve=Reserve(bar=30))
    assert (change.after_minutes, change.off_shows, change.on) == (170, 30, second)
    said = change.in_words()
    assert said.startswith("After about 170 min, when first shows 30 bar: change to second")
    assert "ventilate with air meanwhile" in said


def test_three_cylinders_in_their_order_and_one_not_worth_a_change() -> None:
    held = [
        metric_cylinder(2, 60, "a"),
        metric_cylinder(1, 31, "drop"),
        metric_cylinder(2, 80, "b"),
        us_cylinder("E", 1200, "c"),
    ]
    found = changes(held, 2, reserve=Reserve(bar=30), changeover_minutes=2)
    assert [(each.off.label, each.on.label) for each in found] == [("a", "b"), ("b", "c")]
    # Computed: a 30 min; b 50 min, 2 of them lost; c keeps 200 psi.
    assert [each.after_minutes for each in found] == pytest.approx([30, 78])
    total = minutes_of_all(held, 2, reserve=Reserve(bar=30), changeover_minutes=2)
    assert total == pytest.approx(30 + 48 + 0.28 * 1000 / 2 - 2)


def test_without_flow_nothing_is_changed_and_a_share_kept_shows_on_the_gauge() -> None:
    pair = [metric_cylinder(2, 100), metric_cylinder(2, 100)]
    assert changes(pair, 0) == []
    (change,) = changes(pair, 1, reserve=Reserve(bar=0, share_kept=0.2))
    assert change.off_shows == 20


@given(st.lists(cylinders, max_size=4), cylinders, st.floats(0.1, 15), st.floats(0, 10))
def test_one_more_cylinder_is_never_less_time(
    held: list[Cylinder], another: Cylinder, flow: float, change: float
) -> None:
    before = minutes_of_all(held, flow, changeover_minutes=change)
    for mixed in ([*held, another], [another, *held]):
        assert minutes_of_all(mixed, flow, changeover_minutes=change) >= before - 1e-9


@given(st.lists(cylinders, min_size=1, max_size=4), st.floats(0.1, 15), st.floats(0.01, 15))
def test_more_flow_is_never_more_time(held: list[Cylinder], flow: float, more: float) -> None:
    assert minutes_of_all(held, flow + more) <= minutes_of_all(held, flow)


@given(st.lists(cylinders, min_size=1, max_size=4), st.floats(0.1, 15))
def test_the_last_change_comes_before_the_end(held: list[Cylinder], flow: float) -> None:
    found = changes(held, flow)
    times = [each.after_minutes for each in found]
    assert times == sorted(times)
    assert all(at <= minutes_of_all(held, flow) + 1e-6 for at in times)
    whole = math.fsum(litres_available(each) for each in held) / flow
    assert minutes_of_all(held, flow) >= whole - CHANGEOVER_MINUTES * len(held) - 1e-6


@given(st.lists(cylinders, max_size=4), st.floats(0, 5000))
def test_what_was_drawn_and_what_is_left_are_what_was_there(
    held: list[Cylinder], drawn: float
) -> None:
    before = math.fsum(map(litres_available, held))
    after = math.fsum(map(litres_available, after_use(held, drawn)))
    assert after == pytest.approx(max(before - drawn, 0.0), abs=1e-6)


def test_what_was_drawn_is_gone_from_the_first_cylinder_first():
    carried = [metric_cylinder(2.0, 100, "small"), metric_cylinder(10.0, 50, "large")]
    small, large = after_use(carried, 300.0)
    assert litres_available(small) == 0.0
    assert litres_available(large) == pytest.approx(400.0)
