"""The joint choice of vehicles: exact against brute force and OR-tools, and steady in time."""

import itertools

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from ortools.graph.python import linear_sum_assignment as outside

from transport.calc.assignment import NONE, best, next_best, steady, total_of

HUGE = 10**9
SIZES = st.tuples(st.integers(1, 5), st.integers(0, 5))
# Whole and tenth minutes, and pairs that cannot be: ties are common, as between alike vehicles.
COST = st.one_of(st.integers(0, 30).map(float), st.integers(0, 300).map(lambda n: n / 10),
                 st.just(float("inf")))  # fmt: skip


@st.composite
def problems(draw):
    rows, columns = draw(SIZES)
    costs = draw(st.lists(COST, min_size=rows * columns, max_size=rows * columns))
    without = draw(st.lists(st.integers(1, 60).map(float), min_size=rows, max_size=rows))
    return np.array(costs, dtype=float).reshape(rows, columns), np.array(without)


@st.composite
def earlier_pairs(draw, problem, most=5):
    costs, _ = problem
    rows, columns = costs.shape
    count = draw(st.integers(0, min(rows, columns, most)))
    chosen_rows = draw(st.permutations(range(rows)))[:count]
    chosen_columns = draw(st.permutations(range(columns)))[:count]
    return dict(zip(chosen_rows, chosen_columns, strict=True))


def every_choice(rows, columns):
    """Each way to give every row one column or none, no column twice."""
    for columns_of in itertools.product([NONE, *range(columns)], repeat=rows):
        used = [column for column in columns_of if column != NONE]
        if len(set(used)) == len(used):
            yield columns_of


def by_brute_force(costs, without, fixed=None):
    rows, columns = costs.shape
    return min(
        total_of(np.array(choice, dtype=np.intp), costs, without)
        for choice in every_choice(rows, columns)
        if all(choice[row] == column for row, column in (fixed or {}).items())
        and all(
            column == NONE or row in (fixed or {}) or np.isfinite(costs[row, column])
            for row, column in enumerate(choice)
        )
    )


class TestExact:
    @given(problems())
    def test_no_choice_of_any_kind_costs_less(self, problem):
        costs, without = problem
        assert total_of(best(costs, without), costs, without) == pytest.approx(
            by_brute_force(costs, without)
        )

    @pytest.mark.parametrize(("rows", "columns"), [(60, 60), (90, 40), (40, 90), (300, 300)])
    def test_as_cheap_as_the_linear_assignment_of_or_tools(self, rows, columns):
        random = np.random.default_rng(rows * columns)
        costs = random.integers(1, 2000, (rows, columns)).astype(float)
        costs[random.random((rows, columns)) < 0.2] = np.inf
        without = random.integers(500, 2500, rows).astype(float)
        chosen = best(costs, without)
        assert total_of(chosen, costs, without) == _by_or_tools(costs, without)

    @given(problems())
    def test_no_vehicle_twice_and_none_that_cannot(self, problem):
        costs, without = problem
        chosen = best(costs, without)
        used = chosen[chosen != NONE]
        assert len(set(used.tolist())) == len(used)
        assert all(np.isfinite(costs[row, c]) for row, c in enumerate(chosen) if c != NONE)

    @given(problems(), st.data())
    def test_one_vehicle_more_never_costs_more(self, problem, data):
        costs, without = problem
        rows = costs.shape[0]
        another = data.draw(st.lists(COST, min_size=rows, max_size=rows))
        more = np.column_stack([costs, np.array(another)])
        assert total_of(best(more, without), more, without) <= (
            total_of(best(costs, without), costs, without) + 1e-9
        )


def _by_or_tools(costs, without):
    """Each row has a column of its own that stands for none; the costs are whole numbers."""
    rows, columns = costs.shape
    size = rows + columns
    whole = np.zeros((size, size))
    whole[:rows, :columns] = np.where(np.isfinite(costs), costs, HUGE)
    whole[:rows, columns:] = np.where(np.eye(rows, dtype=bool), without[:, None], HUGE)
    solver = outside.SimpleLinearSumAssignment()
    left, right = (each.ravel().astype(np.int32) for each in np.indices((size, size)))
    solver.add_arcs_with_cost(left, right, whole.ravel().astype(np.int64))
    assert solver.solve() == solver.OPTIMAL
    return solver.optimal_cost()


class TestSteady:
    @given(st.data(), st.integers(0, 20).map(float))
    def test_each_swap_left_undone_costs_less_than_the_threshold(self, data, threshold):
        costs, without = problem = data.draw(problems())
        earlier = data.draw(earlier_pairs(problem))
        choice = steady(costs, without, earlier=earlier, threshold=threshold)
        left_undone = sum(1 for row in earlier if choice.given_up[row] > 0)
        assert choice.optimum <= choice.total + 1e-9
        assert choice.total <= choice.optimum + threshold * left_undone + 1e-9
        assert all(0 <= each < max(threshold, 1e-9) + 1e-9 for each in choice.given_up)

    @given(st.data())
    def test_an_earlier_pair_changes_only_where_the_whole_saves_the_threshold(self, data):
        costs, without = problem = data.draw(problems())
        earlier = data.draw(earlier_pairs(problem))
        possible = {r: c for r, c in earlier.items() if costs[r, c] < without[r]}
        threshold = 8.0
        choice = steady(costs, without, earlier=earlier, threshold=threshold)
        if any(choice.columns[row] != column for row, column in possible.items()):
            stays = by_brute_force(costs, without, possible)
            assert stays - choice.total >= threshold - 1e-9

    @given(problems())
    def test_what_was_chosen_is_chosen_again(self, problem):
        costs, without = problem
        first = steady(costs, without)
        before = {row: int(c) for row, c in enumerate(first.columns) if c != NONE}
        again = steady(costs, without, earlier=before, threshold=5.0)
        assert {row: int(c) for row, c in enumerate(again.columns) if c != NONE} == before

    def test_two_separate_swaps_are_judged_each_by_itself(self):
        # Rows 0 and 1 would save 2 by changing places, rows 2 and 3 save 40.
        costs = np.full((4, 4), np.inf)
        costs[:2, :2] = [[11, 10], [10, 11]]
        costs[2:, 2:] = [[30, 10], [10, 30]]
        without = np.full(4, 1000.0)
        choice = steady(costs, without, earlier={0: 0, 1: 1, 2: 2, 3: 3}, threshold=5.0)
        assert choice.columns.tolist() == [0, 1, 3, 2]
        assert (choice.total, choice.optimum) == (42.0, 40.0)
        assert choice.given_up.tolist() == [2.0, 2.0, 0.0, 0.0]

    def test_an_earlier_vehicle_that_cannot_go_any_more_does_not_hold(self):
        costs = np.array([[np.inf, 50.0]])
        choice = steady(costs, np.array([1000.0]), earlier={0: 0}, threshold=500.0)
        assert choice.columns.tolist() == [1]


class TestPins:
    @given(st.data(), st.integers(0, 20).map(float))
    def test_a_pin_always_stands_and_the_rest_is_the_best_around_it(self, data, threshold):
        costs, without = problem = data.draw(problems())
        pinned = data.draw(earlier_pairs(problem))
        assume(pinned)
        choice = steady(costs, without, pinned=pinned, threshold=threshold)
        assert all(choice.columns[row] == column for row, column in pinned.items())
        assert choice.total == pytest.approx(by_brute_force(costs, without, pinned))

    @given(st.data())
    def test_an_earlier_proposal_gives_way_to_a_pin(self, data):
        costs, without = problem = data.draw(problems())
        pinned, earlier = data.draw(earlier_pairs(problem)), data.draw(earlier_pairs(problem))
        choice = steady(costs, without, earlier=earlier, pinned=pinned, threshold=10.0)
        used = choice.columns[choice.columns != NONE]
        assert all(choice.columns[row] == column for row, column in pinned.items())
        assert len(set(used.tolist())) == len(used)

    def test_one_vehicle_pinned_twice_is_refused(self):
        with pytest.raises(ValueError, match="pinned to two"):
            steady(np.ones((2, 2)), np.full(2, 9.0), pinned={0: 1, 1: 1})


def test_the_next_best_is_one_that_nobody_needs_or_none():
    costs = np.array([[10.0, 20.0, 35.0], [10.0, 12.0, 99.0]])
    without = np.array([1000.0, 50.0])
    choice = steady(costs, without)
    assert choice.columns.tolist() == [0, 1]
    assert next_best(choice, costs, without).tolist() == [35.0, 50.0]
    assert next_best(steady(costs[:, :2], without), costs[:, :2], without).tolist() == [1000, 50]
