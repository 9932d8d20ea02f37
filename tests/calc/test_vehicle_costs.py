"""What a vehicle costs for a journey: expected minutes to care, by weight, and who cannot go."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from referrals.calc.terms import Urgency, VehicleKind
from transport.calc.travel import TravelEstimate, TravelTime
from transport.calc.vehicle_costs import (
    DAY_MINUTES,
    LACKS,
    WEIGHTS,
    Cell,
    Fixing,
    Going,
    Wanted,
    Ways,
    cell_of,
)

BAGGED = Wanted(key="K7Q4", urgency=Urgency.VENTILATED)
FULL = Going(
    key="AMB-1",
    name="Ambulance",
    kind=VehicleKind.AMBULANCE,
    oxygen=True,
    warmth=True,
    fixings=frozenset(Fixing),
)


def way(minutes, sigma=0.5, km=20.0):
    time = TravelTime(minutes, sigma)
    return TravelEstimate(km, km * 1.4, "test", True, {}, "test", time)


NOWHERE = TravelEstimate(20.0, None, "test", False, {}, "test", None)


def ways(near=20.0, far=60.0, sigma=0.5):
    return Ways(to_baby=way(near, sigma), road=way(far, sigma), loading_minutes=10.0)


class TestExpectedTime:
    def test_the_mean_of_all_parts_counts_and_not_the_sum_of_medians(self):
        cell = cell_of(BAGGED, FULL, ways())
        mean = TravelTime(20, 0.5).mean + 10 + TravelTime(60, 0.5).mean
        assert cell.minutes == pytest.approx(mean)
        assert cell.minutes > 90
        assert cell.care_p90 > cell.minutes > cell.baby_p90 > cell.baby_p50

    @given(st.floats(0.01, 0.9), st.floats(0.01, 0.9))
    def test_of_two_ways_with_one_median_the_surer_costs_less(self, one, other):
        surer, wider = sorted((one, other))
        costs = [cell_of(BAGGED, FULL, ways(sigma=each)).minutes for each in (surer, wider)]
        assert costs[0] <= costs[1] + 1e-9

    def test_without_a_unit_in_sight_it_ends_beside_the_baby(self):
        cell = cell_of(BAGGED, FULL, Ways(to_baby=way(20), road=None, loading_minutes=10.0))
        assert cell.minutes == pytest.approx(TravelTime(20, 0.5).mean + 10)

    def test_the_time_until_it_is_ready_again_counts(self):
        later = replace(FULL, until_free=TravelTime(30, 0.5))
        more = cell_of(BAGGED, later, ways()).minutes - cell_of(BAGGED, FULL, ways()).minutes
        assert more == pytest.approx(TravelTime(30, 0.5).mean)


class TestWeights:
    def test_a_baby_ventilated_by_hand_counts_most(self):
        by_hand, urgent, stable = (
            WEIGHTS[each].weight for each in (Urgency.VENTILATED, Urgency.URGENT, Urgency.STABLE)
        )
        assert by_hand > urgent > stable > 0
        assert set(WEIGHTS) == set(Urgency)
        assert all(each.why for each in WEIGHTS.values())

    def test_each_baby_and_the_mother_add_to_it(self):
        twins = replace(BAGGED, babies=2)
        assert twins.weight == 2 * BAGGED.weight
        assert replace(BAGGED, mother_unwell=True).weight > BAGGED.weight
        assert replace(BAGGED, on_the_roadside=True).weight > BAGGED.weight


class TestLacks:
    @pytest.mark.parametrize(
        ("going", "code"),
        [
            (replace(FULL, oxygen=False), "oxygen"),
            (replace(FULL, warmth=False), "warmth"),
            (replace(FULL, fixings=frozenset({Fixing.MOTHER_LIES})), "cot_fixing"),
            (replace(FULL, crew_minutes=100.0), "crew_ends"),
        ],
    )
    def test_what_is_missing_costs_minutes_and_never_excludes(self, going, code):
        cell = cell_of(BAGGED, going, ways())
        assert cell.lacks == (code,)
        whole = cell_of(BAGGED, FULL, ways()).minutes
        assert cell.minutes == pytest.approx(whole + LACKS[code].minutes)

    def test_a_place_to_lie_is_asked_for_where_the_mother_is_unwell(self):
        sitting = replace(FULL, fixings=frozenset({Fixing.COT_FIXED}))
        assert cell_of(BAGGED, sitting, ways()).lacks == ()
        assert cell_of(replace(BAGGED, mother_unwell=True), sitting, ways()).lacks == (
            "lying_place",
        )

    def test_what_nobody_has_said_of_a_vehicle_is_not_held_against_it(self):
        unsaid = replace(FULL, fixings=None, range_km=None, crew_minutes=None)
        assert cell_of(replace(BAGGED, mother_unwell=True), unsaid, ways()).lacks == ()

    def test_a_stable_baby_without_oxygen_asks_for_none(self):
        breathing = Wanted(key="S1", urgency=Urgency.STABLE, oxygen=False)
        assert cell_of(breathing, replace(FULL, oxygen=False), ways()).lacks == ()


class TestCannot:
    @pytest.mark.parametrize(
        ("going", "said"),
        [
            (replace(FULL, kind=VehicleKind.MOTORCYCLE), "nobody can ventilate by hand"),
            (replace(FULL, kind=VehicleKind.BOAT), "needs a landing at both ends"),
            (replace(FULL, crew_minutes=0.0), "off duty"),
            (replace(FULL, range_km=60.0), "fuel for 60 km, and the way is about 56 km"),
            (replace(FULL, busy_with="X9"), "is on the journey of X9"),
        ],
    )
    def test_a_reason_is_said_and_it_has_no_cost(self, going, said):
        cell = cell_of(BAGGED, going, ways())
        assert said in cell.cannot[0]
        assert cell.minutes is None

    def test_enough_fuel_with_something_to_spare_is_enough(self):
        assert cell_of(BAGGED, replace(FULL, range_km=62.0), ways()).cannot == ()

    def test_no_way_and_no_place_are_told_apart(self):
        no_way = Ways(to_baby=NOWHERE, road=way(60), loading_minutes=10.0)
        nowhere = Ways(to_baby=None, road=way(60), loading_minutes=10.0)
        assert cell_of(BAGGED, FULL, no_way).cannot == ("no way for Ambulance is known",)
        assert cell_of(BAGGED, FULL, nowhere).cannot == ("where Ambulance is now is not known",)

    def test_what_takes_a_day_in_one_of_ten_is_no_way_to_care(self):
        # The median is within the day; the P90 is not.
        cell = cell_of(BAGGED, FULL, ways(near=400.0, far=800.0))
        assert TravelTime(800, 0.5).p50 + 410 < DAY_MINUTES < cell.care_p90
        assert "longer than a day" in cell.cannot[0]

    def test_a_boat_goes_where_both_ends_are_at_the_water(self):
        boat = replace(FULL, kind=VehicleKind.BOAT)
        assert cell_of(replace(BAGGED, at_water=True), boat, ways()).cannot == ()


@given(
    st.sampled_from(Urgency), st.integers(1, 3), st.booleans(), st.booleans(), st.booleans(),
    st.floats(0, 500), st.floats(0, 700), st.floats(0.01, 0.6),
)  # fmt: skip
def test_any_vehicle_that_can_go_is_better_than_none(
    urgency, babies, unwell, oxygen, warmth, near, far, sigma
):
    wanted = Wanted(key="K", urgency=urgency, babies=babies, mother_unwell=unwell)
    going = replace(FULL, oxygen=oxygen, warmth=warmth, fixings=frozenset(), crew_minutes=1.0)
    cell = cell_of(wanted, going, ways(near, far, sigma))
    assert cell.cannot or wanted.weight * cell.minutes < wanted.without


def test_a_cell_that_is_kept_is_the_same_again():
    cell = cell_of(BAGGED, replace(FULL, oxygen=False, range_km=10.0), ways())
    assert Cell.from_dict(cell.as_dict()) == cell
