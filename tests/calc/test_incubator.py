"""Where an incubator is begun: every row of the WHO's table, its holes, and the room."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from referrals.calc.incubator import TABLE, day_of_life, incubator_start
from referrals.calc.quantities import ImpossibleQuantity

DAY = 24 * 60


def start(kg: float, day: int, **room: float | bool) -> float:
    found = incubator_start(weight_g=kg * 1000, minutes_since_birth=(day - 1) * DAY + 1, **room)  # type: ignore[arg-type]
    assert found
    return found.air_c


@pytest.mark.parametrize(
    ("kg", "by_day"),
    [
        (1.4, {1: 35, 10: 35, 11: 34, 21: 34, 22: 33, 35: 33, 36: 32, 90: 32}),
        (1.5, {1: 34, 10: 34, 11: 33, 28: 33, 29: 32}),
        (2.0, {1: 34, 10: 34, 11: 33, 28: 33, 29: 32}),
        (2.1, {1: 34, 2: 34, 3: 33, 21: 33, 22: 32}),
        (2.3, {2: 34}),
        (2.5, {1: 34, 2: 34, 3: 33, 21: 33, 22: 32}),
        (3.0, {1: 33, 2: 33, 3: 32, 40: 32}),
    ],
)
def test_every_row_and_every_day_at_which_it_changes(kg: float, by_day: dict[int, float]) -> None:
    """WHO, Managing newborn problems, 2003, Table C-3, page C-7."""
    assert {day: start(kg, day) for day in by_day} == by_day


@pytest.mark.parametrize(("kg", "celsius"), [(2.04, 33), (2.06, 33), (2.501, 32)])
def test_a_weight_in_a_hole_of_the_table_belongs_to_the_nearer_band(
    kg: float, celsius: float
) -> None:
    """The bands are printed 1.5-2.0, 2.1-2.5 and over 2.5 kg; on day 15 (2.04) or day 3."""
    assert start(kg, 15) == celsius


def test_the_holes_are_closed_in_the_middle() -> None:
    assert start(2.04, 5) == 34
    assert start(2.06, 5) == 33


@pytest.mark.parametrize(
    ("room", "air"), [(20, 36), (27, 35), (28, 34), (34, 34), (40, 34), (13, 37), (21, 35)]
)
def test_a_single_wall_gets_a_degree_more_for_each_seven_of_a_colder_room(
    room: float, air: float
) -> None:
    """WHO 2003, note below Table C-3: 1.8 kg on day 1, table 34 °C; room 20 °C gives 34 + 2."""
    assert start(1.8, 1, room_c=room, single_walled=True) == air


def test_a_double_wall_gets_nothing_more() -> None:
    assert start(1.8, 1, room_c=10, single_walled=False) == start(1.8, 1, single_walled=True) == 34


@pytest.mark.parametrize(
    ("weight_g", "minutes"), [(None, 60), (1800, None), (None, None), (18, 60)]
)
def test_nothing_is_said_without_weight_and_age(
    weight_g: float | None, minutes: float | None
) -> None:
    assert incubator_start(weight_g=weight_g, minutes_since_birth=minutes) is None


def test_a_room_that_cannot_be_is_refused() -> None:
    with pytest.raises(ImpossibleQuantity):
        start(1.8, 1, room_c=200, single_walled=True)


def test_it_says_on_what_it_rests() -> None:
    found = incubator_start(
        weight_g=1800, minutes_since_birth=90, weight_guessed=True, room_c=20, single_walled=True
    )
    assert found
    assert found.in_words() == (
        "1.5 to 2.0 kg, day 1 of life: 34 °C; the weight is a guess; "
        "2 °C more for a single wall in this room"
    )


@pytest.mark.parametrize(
    ("minutes", "day"), [(-5, 1), (0, 1), (1439, 1), (1440, 2), (9 * DAY, 10), (10 * DAY, 11)]
)
def test_the_first_day_of_life_is_day_one(minutes: float, day: int) -> None:
    assert day_of_life(minutes) == day


grams = st.floats(200, 8000)
days = st.integers(1, 80)


@given(grams, grams, days, days)
def test_a_lighter_or_younger_baby_never_begins_colder(
    one: float, other: float, young: int, old: int
) -> None:
    light, heavy = sorted((one, other))
    young, old = sorted((young, old))
    assert start(light / 1000, young) >= start(heavy / 1000, young)
    assert start(light / 1000, young) >= start(light / 1000, old)


@given(grams, days, st.floats(-20, 55), st.floats(-20, 55))
def test_a_colder_room_never_begins_colder(
    weight: float, day: int, one: float, other: float
) -> None:
    cold, warm = sorted((one, other))
    airs = [start(weight / 1000, day, room_c=room, single_walled=True) for room in (cold, warm)]
    assert airs[0] >= airs[1] >= start(weight / 1000, day)


def test_the_rows_partition_all_weights_and_days() -> None:
    limits = [row.below_g for row in TABLE]
    assert limits == sorted(limits)
    for row in TABLE:
        until = [last for last, _celsius in row.until_day]
        airs = [celsius for _last, celsius in row.until_day]
        assert until == sorted(until)
        assert airs == sorted(airs, reverse=True)
