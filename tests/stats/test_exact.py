"""Laws of the exact list, for any observations; figures that were worked out elsewhere are in test_worked_lists."""

from __future__ import annotations

import json
from collections.abc import Sequence
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.stats import permutation_test

from truerun.errors import ValueOutOfRange
from truerun.stats.complete import complete_list
from truerun.stats.exact import (
    ExactList,
    attained,
    exact_list,
    interval,
    nuisance_basis,
    p_minus,
    p_plus,
    severity,
    two_sided_p,
)
from truerun.stats.opinions import tost, welch
from truerun.stats.orders import orders_for, rejecting_orders

Array = NDArray[np.float64]
Signs = NDArray[np.int8]

SETS = json.loads((Path(__file__).parents[1] / "data" / "two_sample_sets.json").read_text(encoding="utf-8"))


def listed(y: Array, orders: Signs, used: Signs, columns: Array | None = None) -> ExactList:
    """The list of one order, without or with adjusted columns."""
    columns = np.zeros((len(y), 0)) if columns is None else columns
    names = [f"column {number}" for number in range(columns.shape[1])]
    return exact_list(y, orders, used, nuisance_basis(columns, names, used.astype(np.float64)))


def numbers(size: int) -> st.SearchStrategy[list[float]]:
    """Observations: whole numbers, which tie often, or any."""
    tied = st.lists(st.integers(-4, 4).map(float), min_size=size, max_size=size)
    free = st.lists(st.floats(-1e3, 1e3, width=32), min_size=size, max_size=size)
    return tied | free


small_sets = st.sampled_from([("blocks-of-four", 8), ("pairs", 12), ("restricted", 8), ("complete", 6)])


class TestNoMoreThanAlphaOfAllOrdersReject:
    """Method, section 4, laws: of all orders of a plan at most floor(alpha m) reject, whatever the observations."""

    @settings(max_examples=30)
    @given(small_sets, st.data())
    def test_any_observations_with_columns_and_left_out_slots(
        self, which: tuple[str, int], data: st.DataObject
    ) -> None:
        chosen = orders_for(*which)
        out = data.draw(st.lists(st.integers(0, chosen.runs - 1), max_size=2, unique=True))
        kept = np.delete(np.arange(chosen.runs), out)
        y = np.array(data.draw(numbers(len(kept))))
        wide = data.draw(st.integers(0, 2))
        columns = np.array([data.draw(numbers(len(kept))) for _ in range(wide)]).reshape(wide, len(kept)).T
        alpha = data.draw(st.sampled_from([0.05, 0.1, 0.2, 0.4]))
        orders = chosen.all()[:, kept]
        rejected = decided = 0
        for used in orders:
            try:
                found = listed(y, orders, used, columns)
            except ValueOutOfRange:  # a column is the order itself: refused
                continue
            ends = interval(found, alpha)
            rejected += two_sided_p(found) <= alpha
            decided += any(end is not None and side * end > 0 for side, end in zip((1, -1), ends, strict=True))
        assert rejected <= 2 * rejecting_orders(len(orders), alpha)
        assert decided <= 2 * rejecting_orders(len(orders), alpha)

    def test_perfect_separation_reaches_the_smallest_p(self) -> None:
        chosen = orders_for("blocks-of-four", 12)
        for used in chosen.all()[::17]:
            assert two_sided_p(listed(used * 1.0, chosen.all(), used)) == pytest.approx(2 / 216)


class TestIntervalAndPNeverDisagree:
    @settings(max_examples=60)
    @given(small_sets, st.data())
    def test_an_effect_lies_inside_exactly_where_its_p_is_above_alpha(
        self, which: tuple[str, int], data: st.DataObject
    ) -> None:
        chosen = orders_for(*which)
        y = np.array(data.draw(numbers(chosen.runs)))
        used = chosen.order(data.draw(st.integers(0, chosen.count - 1)))
        columns = np.arange(chosen.runs, dtype=np.float64)[:, None] if data.draw(st.booleans()) else None
        found = listed(y, chosen.all(), used, columns)
        alpha = data.draw(st.sampled_from([0.05, 0.1, 0.2, 0.5]))
        low, high = interval(found, alpha)
        assert (low is None) == (high is None)
        if low is None or high is None:
            assert rejecting_orders(chosen.count, alpha) < found.same
            return
        assert low <= high
        reach = float(np.ptp(y)) + 1e-6
        tie = 2.1e-9 * reach  # ties within 1e-9 of the largest residual count on both sides
        for effect in (low, high, (low + high) / 2, 0.0, low + reach / 7, high - reach / 3):
            inside = low - tie <= effect <= high + tie
            well_inside = low + tie <= effect <= high - tie
            above = two_sided_p(found, effect=effect) > alpha
            assert above or not well_inside
            assert inside or not above
        # beyond the ends by more than a tie
        assert two_sided_p(found, effect=low - tie) <= alpha
        assert two_sided_p(found, effect=high + tie) <= alpha
        assert two_sided_p(found, effect=low) > alpha
        assert two_sided_p(found, effect=high) > alpha

    @settings(max_examples=60)
    @given(small_sets, st.data())
    def test_zero_is_excluded_exactly_where_p_is_at_most_alpha(
        self, which: tuple[str, int], data: st.DataObject
    ) -> None:
        chosen = orders_for(*which)
        y = np.array(data.draw(numbers(chosen.runs)))
        used = chosen.order(data.draw(st.integers(0, chosen.count - 1)))
        found = listed(y, chosen.all(), used)
        for alpha in (0.05, 0.1, 0.2, 0.5):
            low, high = interval(found, alpha)
            if low is not None and high is not None:
                assert (low > 0 or high < 0) == (two_sided_p(found) <= alpha)

    def test_coverage_attained(self) -> None:
        chosen = orders_for("restricted", 10)
        found = listed(np.arange(10.0) ** 2, chosen.all(), chosen.order(3))
        assert attained(found, 0.05) == pytest.approx(1 - 0.0417, abs=5e-5)  # method, table of orders

    def test_severity_is_one_less_the_share_at_least_as_low(self) -> None:
        chosen = orders_for("blocks-of-four", 12)
        y = np.random.default_rng(5).normal(size=12)
        found = listed(y, chosen.all(), chosen.order(99))
        effects = np.linspace(-3, 3, 13)
        assert severity(found, effects) == pytest.approx([1 - p_minus(found, float(d)) for d in effects])
        assert (np.diff(severity(found, effects)) >= 0).all()
        assert severity(found, np.array([1e9])) == pytest.approx([1 - 1 / 216])


class TestWhatChangesNothing:
    @settings(max_examples=60)
    @given(small_sets, st.data())
    def test_other_labels_mirror_everything(self, which: tuple[str, int], data: st.DataObject) -> None:
        chosen = orders_for(*which)
        y = np.array(data.draw(numbers(chosen.runs)))
        used = chosen.order(data.draw(st.integers(0, chosen.count - 1)))
        one, other = listed(y, chosen.all(), used), listed(y, -chosen.all(), -used)
        assert other.delta == pytest.approx(-one.delta, abs=1e-9)
        assert two_sided_p(other) == two_sided_p(one)
        assert p_plus(other) == p_minus(one)
        low, high = interval(one, 0.2)
        mirrored = interval(other, 0.2)
        assert mirrored == pytest.approx((-high if high is not None else None, -low if low is not None else None))

    @settings(max_examples=60)
    @given(small_sets, st.data(), st.floats(-100, 100), st.floats(0.01, 100))
    def test_another_zero_or_unit_of_the_observations(
        self, which: tuple[str, int], data: st.DataObject, shift: float, unit: float
    ) -> None:
        chosen = orders_for(*which)
        y = np.array(data.draw(st.lists(st.integers(-9, 9).map(float), min_size=chosen.runs, max_size=chosen.runs)))
        used = chosen.order(data.draw(st.integers(0, chosen.count - 1)))
        columns = np.arange(chosen.runs, dtype=np.float64)[:, None]
        one = listed(y, chosen.all(), used, columns)
        other = listed(y * unit + shift, chosen.all(), used, columns)
        assert two_sided_p(other) == two_sided_p(one)
        assert other.delta == pytest.approx(unit * one.delta, abs=1e-9 * unit)
        for alpha in (0.1, 0.5):
            for end, moved in zip(interval(one, alpha), interval(other, alpha), strict=True):
                assert (end is None) == (moved is None)
                assert end is None or moved == pytest.approx(unit * end, abs=1e-9 * unit)

    @given(st.floats(-50, 50), st.floats(0.01, 50), st.floats(-5, 5))
    def test_another_zero_or_unit_of_a_covariate_and_what_it_explains(
        self, shift: float, unit: float, slope: float
    ) -> None:
        chosen = orders_for("blocks-of-four", 12)
        rng = np.random.default_rng(3)
        y, column, used = rng.normal(size=12), rng.normal(size=12), chosen.order(40)
        one = listed(y, chosen.all(), used, column[:, None])
        other = listed(y + slope * column, chosen.all(), used, (unit * column + shift)[:, None])
        assert other.delta == pytest.approx(one.delta, abs=1e-9)
        assert two_sided_p(other) == two_sided_p(one)

    def test_an_effect_that_adds_to_every_source_run_moves_the_interval_by_itself(self) -> None:
        chosen = orders_for("blocks-of-four", 12)
        y, used = np.random.default_rng(8).normal(size=12), chosen.order(100)
        one, other = listed(y, chosen.all(), used), listed(y + 0.7 * (used > 0), chosen.all(), used)
        assert interval(other, 0.05) == pytest.approx([0.7 + (end or 0.0) for end in interval(one, 0.05)], abs=1e-12)
        assert p_plus(other, 0.7) == p_plus(one)

    def test_repeated_and_constant_columns_add_nothing(self) -> None:
        chosen = orders_for("blocks-of-four", 12)
        y, used, slots = np.random.default_rng(8).normal(size=12), chosen.order(5), np.arange(12.0)
        one = listed(y, chosen.all(), used, slots[:, None])
        other = listed(y, chosen.all(), used, np.column_stack([slots, 3 * slots - 1, np.full(12, 7.0)]))
        assert interval(other, 0.05) == pytest.approx(interval(one, 0.05), abs=1e-12)

    def test_observations_that_are_all_the_same(self) -> None:
        chosen = orders_for("blocks-of-four", 12)
        found = listed(np.full(12, np.log(60.1)), chosen.all(), chosen.order(7), np.arange(12.0)[:, None])
        assert found.delta == 0
        assert two_sided_p(found) == 1
        assert interval(found, 0.05) == (0, 0)


class TestDegenerateOrders:
    used: Signs = np.array([1, -1, -1, 1, 1, -1, -1, 1], dtype=np.int8)

    def test_a_column_that_is_the_order_itself_is_refused_by_name(self) -> None:
        columns = np.column_stack([np.arange(8.0), 20 + 3.0 * self.used])
        with pytest.raises(ValueOutOfRange, match="the same thing as gap; it must be independent"):
            nuisance_basis(columns, ("run-number", "gap"), self.used.astype(np.float64))

    def test_columns_that_are_the_order_only_together_are_all_named(self) -> None:
        columns = np.array([[1.0, 0], [0, 0], [0, 0], [1, 0], [0, 1], [0, 0], [0, 0], [0, 1]])  # sum up to the order
        with pytest.raises(ValueOutOfRange, match="the same thing as session and draught;"):
            nuisance_basis(columns, ("session", "draught"), self.used.astype(np.float64))

    def test_one_condition_alone_is_refused(self) -> None:
        with pytest.raises(ValueOutOfRange, match="the same thing as the constant"):
            nuisance_basis(np.zeros((4, 0)), (), np.ones(4))

    def test_another_order_that_a_column_explains_ties_at_the_effect_found(self) -> None:
        # r_j = 0 gives a_j = b_j = 0, hence x_j = 2 a_o / b_o = delta (method, section 4)
        chosen = orders_for("blocks-of-four", 8)
        other = chosen.order(3)
        y = np.random.default_rng(1).normal(size=8)
        found = listed(y, chosen.all(), self.used, other[:, None].astype(np.float64))
        assert found.heap is not None
        explained = (chosen.all() == other).all(axis=1) | (chosen.all() == -other).all(axis=1)
        assert not found.heap[explained].any()
        assert found.ties.at_most(found.delta) + found.ties.at_least(found.delta) >= 35 + 2

    def test_orders_that_repeat_after_left_out_slots_count_as_the_one_used(self) -> None:
        chosen = orders_for("pairs", 8)
        kept = np.arange(2, 8)  # the first pair is gone: every order comes twice
        orders = chosen.all()[:, kept]
        y = np.random.default_rng(2).normal(size=6)
        found, without = listed(y, orders, orders[0]), listed(y, orders_for("pairs", 6).all(), orders[0])
        assert found.same == 2
        assert two_sided_p(found) == two_sided_p(without)
        assert p_plus(found, 0.3) == p_plus(without, 0.3)
        assert interval(found, 0.5) == interval(without, 0.5)

    def test_what_a_column_leaves_of_the_order(self) -> None:
        # |r_o|^2 / n = 1 - r^2, r the correlation of column and order
        chosen = orders_for("blocks-of-four", 8)
        column = self.used + 0.4 * np.array([1.0, -1, 1, -1, 1, -1, 1, -1])
        found = listed(np.arange(8.0), chosen.all(), self.used, column[:, None])
        assert found.retained == pytest.approx(1 - np.corrcoef(column, self.used)[0, 1] ** 2)


class TestTheLuckPicture:
    @settings(max_examples=60)
    @given(st.sampled_from([("blocks-of-four", 8), ("pairs", 10), ("complete", 8), ("restricted", 8)]), st.data())
    def test_orders_as_far_from_zero_number_p_times_m(self, which: tuple[str, int], data: st.DataObject) -> None:
        # for sets that hold the opposite of each order
        chosen = orders_for(*which)
        y = np.array(data.draw(st.lists(st.integers(-30, 30).map(float), min_size=chosen.runs, max_size=chosen.runs)))
        used = chosen.order(data.draw(st.integers(0, chosen.count - 1)))
        columns = np.arange(chosen.runs, dtype=np.float64)[:, None] if data.draw(st.booleans()) else None
        found = listed(y, chosen.all(), used, columns)
        assert found.heap is not None
        far = int((np.abs(found.heap) >= abs(found.delta) - 1e-8).sum())  # whole numbers tie exactly or lie far apart
        assert far == round(two_sided_p(found) * found.orders)

    def test_the_order_used_stands_at_the_effect(self) -> None:
        chosen = orders_for("blocks-of-four", 12)
        found = listed(
            np.random.default_rng(4).normal(size=12), chosen.all(), chosen.order(77), np.arange(12.0)[:, None]
        )
        assert found.heap is not None
        assert found.heap[77] == pytest.approx(found.delta)


def all_divisions(first: int, runs: int) -> Signs:
    """Every way to choose the source runs."""
    orders = np.full((len(list(combinations(range(runs), first))), runs), -1, dtype=np.int8)
    for row, chosen in zip(orders, combinations(range(runs), first), strict=True):
        row[list(chosen)] = 1
    return orders


def difference(first: Sequence[float] | Array, second: Sequence[float] | Array, axis: int = -1) -> Array:
    """Difference of means, for the reference library."""
    return np.asarray(np.mean(first, axis=axis) - np.mean(second, axis=axis))


class TestAgainstAReferenceLibrary:
    """scipy.stats.permutation_test, all permutations, on sets of Hollander and Wolfe (1973) as in R ?wilcox.test."""

    def test_permeability_of_ten_against_five(self) -> None:
        x, y = (np.array(SETS["hw_permeability"][key]) for key in ("x", "y"))
        orders = all_divisions(10, 15)
        used = np.array([1] * 10 + [-1] * 5, dtype=np.int8)
        found = listed(np.concatenate([x, y]), orders, used)
        for alternative, mine in (
            ("greater", p_plus(found)),
            ("less", p_minus(found)),
            ("two-sided", two_sided_p(found)),
        ):
            theirs = permutation_test((x, y), difference, n_resamples=np.inf, alternative=alternative)
            assert len(theirs.null_distribution) == found.orders == 3003
            assert mine == pytest.approx(theirs.pvalue, abs=1e-12)

    def test_depression_before_and_after(self) -> None:
        x, y = (np.array(SETS["hw_depression"][key]) for key in ("x", "y"))
        chosen = orders_for("pairs", 18)
        used = np.tile(np.array([1, -1], dtype=np.int8), 9)
        found = listed(np.column_stack([x, y]).ravel(), chosen.all(), used)
        for alternative, mine in (("greater", p_plus(found)), ("two-sided", two_sided_p(found))):
            theirs = permutation_test(
                (x, y), difference, permutation_type="samples", n_resamples=np.inf, alternative=alternative
            )
            assert mine == pytest.approx(theirs.pvalue, abs=1e-12)
        assert p_plus(found) == pytest.approx(7 / 512)  # of the sums of the nine differences, counted by the library

    def test_sleep_of_two_groups(self) -> None:
        # 15048 of 184756, W. S. Gosset's data: references 2.1
        one, two = (np.array(SETS["sleep"][key]) for key in ("group1", "group2"))
        counts = SETS["sleep"]["exact_perm_two_sample"]
        assert two_sided_p(complete_list(two, one)) == pytest.approx(counts["two_sided_count"] / counts["total"])


class TestEquivalence:
    """The list's limits against two one-sided t tests, which others check against NCSS, PASS and Lakens."""

    @pytest.mark.parametrize("seed", range(4))
    def test_twenty_and_twenty_normal_runs(self, seed: int) -> None:
        rng = np.random.default_rng(seed)
        source, control = rng.normal(0.1, 1, 20), rng.normal(0, 1, 20)
        found = complete_list(source, control)
        by_t = tost(welch(source, control), -0.6, 0.6)
        # randomisation and t agree to order 1/n of p: .01 is a fifth of the level at 20 + 20
        assert p_plus(found, -0.6) == pytest.approx(by_t.p_low, abs=0.01)
        assert p_minus(found, 0.6) == pytest.approx(by_t.p_high, abs=0.01)
