"""The counted list of complete orders says what the written-out list says."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.stats import permutation_test, ttest_ind

from truerun.errors import ValueOutOfRange
from truerun.stats.complete import MOST_PER_CONDITION, complete_list
from truerun.stats.exact import ExactList, exact_list, interval, nuisance_basis, p_minus, p_plus, two_sided_p
from truerun.stats.orders import orders_for

Array = NDArray[np.float64]


def written_out(source: Array, control: Array) -> ExactList:
    """The same list, every order written down."""
    half = len(source)
    used = np.repeat(np.array([1, -1], dtype=np.int8), half)
    nothing = nuisance_basis(np.zeros((2 * half, 0)), (), used.astype(np.float64))
    return exact_list(np.concatenate([source, control]), orders_for("complete", 2 * half).all(), used, nothing)


def times(half: int) -> st.SearchStrategy[list[float]]:
    """Times written in whole seconds, in tenths, or in logarithms: they tie often."""
    whole = st.integers(58, 63).map(float)
    tenths = st.integers(580, 630).map(lambda step: step / 10)
    return st.sampled_from([whole, tenths, tenths.map(math.log)]).flatmap(
        lambda each: st.lists(each, min_size=half, max_size=half)
    )


class TestCountedAndWrittenOutAgree:
    @settings(max_examples=60)
    @given(st.integers(1, 6), st.data())
    def test_any_small_set_with_ties(self, half: int, data: st.DataObject) -> None:
        source, control = (np.array(data.draw(times(half))) for _ in range(2))
        counted, listed = complete_list(source, control), written_out(source, control)
        assert counted.orders == listed.orders
        assert counted.delta == pytest.approx(listed.delta, abs=1e-12 * 63)
        assert two_sided_p(counted) == two_sided_p(listed)
        for effect in (-1.0, -0.5, 0.1, 0.25, 1.0, 2.0, listed.delta):
            assert p_plus(counted, effect) == p_plus(listed, effect)
            assert p_minus(counted, effect) == p_minus(listed, effect)
        for alpha in (0.01, 0.05, 0.1, 0.3, 0.9):
            ends = zip(interval(counted, alpha), interval(listed, alpha), strict=True)
            for one, other in ends:
                assert (one is None) == (other is None)
                assert one is None or one == pytest.approx(other, abs=1e-11)

    @given(st.integers(2, 5), st.data())
    def test_each_tie_in_its_rank(self, half: int, data: st.DataObject) -> None:
        source, control = (np.array(data.draw(times(half))) for _ in range(2))
        counted, listed = complete_list(source, control), written_out(source, control)
        for rank in (1, 2, counted.orders // 2, counted.orders - 1):
            if 1 <= rank <= counted.orders - listed.same:
                assert counted.ties.smallest(rank) == pytest.approx(listed.ties.smallest(rank), abs=1e-11)
                assert counted.ties.largest(rank) == pytest.approx(listed.ties.largest(rank), abs=1e-11)

    def test_more_ties_than_are_looked_at_one_by_one(self) -> None:
        rng = np.random.default_rng(11)
        source, control = rng.normal(0.8, 1, 10), rng.normal(0, 1, 10)  # 184 756 orders, over the 100 000 of the search
        counted, listed = complete_list(source, control), written_out(source, control)
        assert two_sided_p(counted) == two_sided_p(listed)
        for alpha in (0.001, 0.05, 0.5, 0.999):
            assert interval(counted, alpha) == pytest.approx(interval(listed, alpha), abs=1e-12)


class TestHeavyTies:
    """Coarse readings make millions of orders tie at one effect: they are counted, never written out."""

    @pytest.mark.parametrize("half", [12, 16, 20])
    def test_one_odd_run_among_equal_ones(self, half: int) -> None:
        # By hand: the odd run lies among k swapped ones or not. Ties are 0 (odd run stays) or 1/k; the share of orders
        # that tie at 1/k is C(h-1, k-1) C(h, k) / C(2h, h). The interval runs from the smallest tie, 0, to 1/k where
        # the count from above first reaches its rank.
        source = np.append(np.zeros(half - 1), 1.0)
        found = complete_list(source, np.zeros(half))
        assert two_sided_p(found) == 1.0
        rank = math.floor(0.025 * math.comb(2 * half, half))
        beyond, k = 0, 0
        while beyond < rank:
            k += 1
            beyond += math.comb(half - 1, k - 1) * math.comb(half, k)
        assert interval(found, 0.05) == pytest.approx((0.0, 1 / k), abs=1e-12)

    def test_runs_that_do_not_differ(self) -> None:
        found = complete_list(np.full(20, math.log(60.1)), np.full(20, math.log(60.1)))
        assert found.orders == math.comb(40, 20)
        assert two_sided_p(found) == 1.0
        assert interval(found, 0.05) == (0.0, 0.0)

    def test_two_values_only(self) -> None:
        source, control = np.log([60.0, 61.0] * 5), np.log([61.0, 60.0, 60.0, 60.0, 61.0] * 2)
        counted, listed = complete_list(source, control), written_out(source, control)
        assert two_sided_p(counted) == two_sided_p(listed)
        assert interval(counted, 0.05) == pytest.approx(interval(listed, 0.05), abs=1e-11)


class TestAgainstReferenceLibraries:
    def test_six_and_six(self) -> None:
        rng = np.random.default_rng(2)
        source, control = rng.normal(0.5, 1, 6), rng.normal(0, 1, 6)

        def difference(one: Array, two: Array, axis: int) -> Array:
            return np.asarray(one.mean(axis=axis) - two.mean(axis=axis))

        theirs = permutation_test((source, control), difference, n_resamples=np.inf)
        assert two_sided_p(complete_list(source, control)) == pytest.approx(theirs.pvalue, abs=1e-12)

    def test_twenty_and_twenty_lie_near_student_s_t(self) -> None:
        # normal noise: both agree to order 1/n; a tenth of the half width at 20 + 20
        rng = np.random.default_rng(3)
        source, control = rng.normal(0.5, 1, 20), rng.normal(0, 1, 20)
        low, high = ttest_ind(source, control).confidence_interval(0.95)
        found = interval(complete_list(source, control), 0.05)
        assert found == pytest.approx((low, high), abs=0.1 * (high - low) / 2)


class TestWhatChangesNothing:
    @given(st.floats(-100, 100), st.floats(0.01, 100))
    def test_another_zero_or_unit(self, shift: float, unit: float) -> None:
        source, control = np.array([3.0, 5, 6, 8, 4]), np.array([1.0, 4, 4, 2, 6])
        one, other = complete_list(source, control), complete_list(unit * source + shift, unit * control + shift)
        assert two_sided_p(other) == two_sided_p(one)
        assert interval(other, 0.1) == pytest.approx(
            [unit * (end or 0.0) for end in interval(one, 0.1)], abs=1e-10 * unit
        )

    def test_other_labels_mirror_everything(self) -> None:
        rng = np.random.default_rng(4)
        source, control = rng.normal(size=9), rng.normal(size=9)
        one, other = complete_list(source, control), complete_list(control, source)
        low, high = interval(one, 0.05)
        assert interval(other, 0.05) == pytest.approx((-(high or 0.0), -(low or 0.0)), abs=1e-12)
        assert (p_plus(other), p_minus(other)) == (p_minus(one), p_plus(one))


@pytest.mark.parametrize(("source", "control"), [(3, 4), (0, 0), (MOST_PER_CONDITION + 1, MOST_PER_CONDITION + 1)])
def test_unequal_or_too_many_runs_are_refused(source: int, control: int) -> None:
    with pytest.raises(ValueOutOfRange, match=f"is {source} and {control}; it must be equal and at most 20 each"):
        complete_list(np.ones(source), np.ones(control))
