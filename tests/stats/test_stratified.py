"""Several lists together: counted by two routes, drawn by lot, and exact for any noise."""

from itertools import product

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from truerun.errors import ValueOutOfRange
from truerun.stats.exact import ExactList, exact_list, nuisance_basis, two_sided_p
from truerun.stats.orders import orders_for
from truerun.stats.stratified import combined_evidence, stratified_test

Array = NDArray[np.float64]


def listed(observations: Array, used: int) -> ExactList:
    """List twelve runs in three blocks of four."""
    allowed = orders_for("blocks-of-four", 12).all()
    basis = nuisance_basis(np.zeros((12, 0)), (), allowed[used].astype(np.float64))
    return exact_list(observations, allowed, allowed[used], basis)


def heap(found: ExactList) -> Array:
    """Give the effects of all orders; they are listed here."""
    assert found.heap is not None
    return found.heap


class TestCounting:
    def test_one_test_alone_gives_its_own_p(self) -> None:
        found = listed(np.random.default_rng(1).normal(size=12), 40)
        assert stratified_test([heap(found)], [found.delta]).p == pytest.approx(two_sided_p(found), rel=1e-12)

    def test_against_every_combination_one_by_one(self) -> None:
        rng = np.random.default_rng(2)
        heaps = [rng.normal(size=size) for size in (5, 7, 3, 4)]
        used = [values[1] for values in heaps]
        weights = [1.0, 2.0, 0.5, 1.5]
        found = stratified_test(heaps, used, weights)
        roots = [weight / np.sqrt((values**2).mean()) for weight, values in zip(weights, heaps, strict=True)]
        totals = [sum(np.multiply(choice, roots)) for choice in product(*heaps)]
        observed = sum(np.multiply(used, roots))
        assert found.combinations == 420
        assert found.statistic == pytest.approx(observed, rel=1e-12)
        assert found.p_plus == pytest.approx(np.mean(np.array(totals) >= observed - 1e-9), rel=1e-12)
        assert found.p_minus == pytest.approx(np.mean(np.array(totals) <= observed + 1e-9), rel=1e-12)

    def test_ties_count_on_both_sides(self) -> None:
        values = np.array([-1.0, 1.0])
        found = stratified_test([values, values], [1.0, -1.0])
        assert (found.p_plus, found.p_minus) == (0.75, 0.75)

    def test_four_full_plans_are_counted_exactly(self) -> None:
        values = np.random.default_rng(3).normal(size=1296)
        found = stratified_test([values] * 4, [values.max()] * 4)
        assert found.exact
        assert found.combinations == 1296**4
        assert found.p_plus == pytest.approx(1296**-4, rel=1e-9)

    def test_unit_and_scale_do_not_matter(self) -> None:
        rng = np.random.default_rng(4)
        first, second = rng.normal(size=20), rng.normal(size=30)
        one = stratified_test([first, second], [first[0], second[0]])
        other = stratified_test([first * 1000, second], [first[0] * 1000, second[0]])
        assert one.p == other.p

    def test_observations_that_never_differ_say_nothing(self) -> None:
        assert stratified_test([np.zeros(6), np.zeros(6)], [0.0, 0.0]).p == 1.0


class TestDrawing:
    def test_drawn_agrees_with_counted(self) -> None:
        # five lists split into halves too large to count; 20 000 draws of a share near .2 have sd .0028:
        # off by .012 by luck once in 50 000 seeds
        rng = np.random.default_rng(5)
        heaps = [rng.normal(size=1500) for _ in range(5)]
        used = [float(values[0]) for values in heaps]
        found = stratified_test(heaps, used, seed="five", draws=20_000)
        # the sum of five standardised lists is normal here to a few parts in a thousand
        means = sum(values.mean() / np.sqrt((values**2).mean()) for values in heaps)
        spread = np.sqrt(sum(values.var() / (values**2).mean() for values in heaps))
        from_normal = float(stats.norm.sf((found.statistic - means) / spread))
        assert not found.exact
        assert found.combinations == 20_001
        assert found.p_plus == pytest.approx(from_normal, abs=0.012)

    def test_the_same_seed_gives_the_same_draw(self) -> None:
        heaps = [np.random.default_rng(6).normal(size=1500)] * 5
        used = [float(heaps[0][0])] * 5
        assert stratified_test(heaps, used, seed="a", draws=500) == stratified_test(heaps, used, seed="a", draws=500)
        assert stratified_test(heaps, used, seed="a", draws=500) != stratified_test(heaps, used, seed="b", draws=500)

    def test_the_order_used_is_one_of_those_counted(self) -> None:
        values = np.arange(1500.0)
        found = stratified_test([values] * 5, [1499.0] * 5, seed="top", draws=99)
        assert (found.p_plus, found.p_minus) == (0.01, 1.0)


class TestWhatIsRefused:
    def test_an_effect_that_no_order_gives(self) -> None:
        with pytest.raises(ValueOutOfRange, match="one of those"):
            stratified_test([np.array([-1.0, 1.0])], [0.5])

    def test_lists_of_unequal_length(self) -> None:
        with pytest.raises(ValueOutOfRange, match="number of effects"):
            stratified_test([np.array([-1.0, 1.0])], [1.0, 1.0])

    def test_evidence_below_zero(self) -> None:
        with pytest.raises(ValueOutOfRange, match="E value"):
            combined_evidence([2.0, -1.0])


def test_false_alarms_are_no_more_than_asked_for_any_noise() -> None:
    # for fixed observations every pair of orders is used once in turn: the law is exact, no luck in it
    rng = np.random.default_rng(7)
    allowed = orders_for("pairs", 8).all()
    heaps = []
    for observations in (rng.standard_cauchy(8), rng.exponential(size=8)):
        basis = nuisance_basis(np.zeros((8, 0)), (), allowed[0].astype(np.float64))
        heaps.append(heap(exact_list(observations, allowed, allowed[0], basis)))
    p = [stratified_test(heaps, [one, other]).p for one in heaps[0] for other in heaps[1]]
    for alpha in (0.05, 0.1, 0.3):
        assert np.mean(np.array(p) <= alpha) <= alpha
    assert min(p) == pytest.approx(2 / 256)
