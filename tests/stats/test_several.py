"""Many variants and dose series against published numbers and by their error rates."""

from itertools import permutations

import numpy as np
import pytest
from scipy import integrate, stats
from statsmodels.stats.multitest import multipletests

from truerun.errors import FitImpossible, ValueOutOfRange
from truerun.stats.exact import exact_list, interval, nuisance_basis, two_sided_p
from truerun.stats.orders import orders_for
from truerun.stats.several import (
    dose_interval,
    dose_trend,
    expected_maximum,
    holm,
    screening,
    shrinkage,
    shuffled_rows,
)

DOSES = np.array([0.0, 1.0, 2.0, 3.0, 6.0, 12.0])


class TestHolm:
    def test_against_statsmodels(self) -> None:
        given = np.random.default_rng(1).uniform(0, 0.2, size=9)
        assert holm(list(given)) == pytest.approx(multipletests(given, method="holm")[1], rel=1e-12)

    def test_equal_values_stay_equal(self) -> None:
        assert holm([0.02, 0.02, 0.5]) == pytest.approx([0.06, 0.06, 0.5])

    def test_nothing_to_correct(self) -> None:
        assert holm([0.04]) == [0.04]
        assert holm([]) == []


class TestDoseTrend:
    def test_slope_is_least_squares(self) -> None:
        orders = np.array(list(permutations(DOSES)))
        observations = np.random.default_rng(2).normal(size=6) + 0.1 * orders[77]
        trend = dose_trend(observations, orders, orders[77], np.zeros((6, 0)))
        assert trend.slope == pytest.approx(np.polyfit(orders[77], observations, 1)[0], rel=1e-10)

    def test_p_against_scipys_permutations(self) -> None:
        orders = np.array(list(permutations(DOSES)))
        observations = np.random.default_rng(3).normal(size=6)
        trend = dose_trend(observations, orders, DOSES, np.zeros((6, 0)))
        reference = stats.permutation_test(
            (DOSES,),
            lambda doses: stats.pearsonr(doses, observations).statistic,
            permutation_type="pairings",
            vectorized=False,
            n_resamples=np.inf,
        )
        assert two_sided_p(trend.found) == pytest.approx(reference.pvalue, rel=1e-9)

    def test_two_doses_are_two_conditions(self) -> None:
        allowed = orders_for("blocks-of-four", 12).all()
        observations = np.random.default_rng(4).normal(size=12)
        number = np.arange(12.0)[:, None]
        trend = dose_trend(observations, (allowed + 1) / 2.0, (allowed[9] + 1) / 2.0, number, ("run number",))
        basis = nuisance_basis(number, ("run number",), allowed[9].astype(np.float64))
        listed = exact_list(observations, allowed, allowed[9], basis)
        assert two_sided_p(trend.found) == two_sided_p(listed)
        assert trend.slope == pytest.approx(listed.delta, rel=1e-10)
        assert dose_interval(trend, 0.05) == pytest.approx(interval(listed, 0.05), rel=1e-9)

    def test_at_the_ends_of_the_interval_the_p_value_crosses_the_level(self) -> None:
        orders = np.array(list(permutations(DOSES)))
        observations = np.random.default_rng(5).normal(size=6) + 0.3 * DOSES
        low, high = dose_interval(dose_trend(observations, orders, DOSES, np.zeros((6, 0))), 0.05)
        assert low is not None
        assert high is not None
        for slope, inside in ((low - 1e-4, False), (low + 1e-4, True), (high - 1e-4, True), (high + 1e-4, False)):
            moved = dose_trend(observations - slope * DOSES, orders, DOSES, np.zeros((6, 0)))
            assert (two_sided_p(moved.found) > 0.05) is inside

    def test_unit_of_the_dose_only_scales_the_slope(self) -> None:
        orders = np.array(list(permutations(DOSES)))
        observations = np.random.default_rng(6).normal(size=6)
        one = dose_trend(observations, orders, DOSES, np.zeros((6, 0)))
        other = dose_trend(observations, orders * 1000 + 5, DOSES * 1000 + 5, np.zeros((6, 0)))
        assert other.slope * 1000 == pytest.approx(one.slope, rel=1e-9)
        assert two_sided_p(one.found) == two_sided_p(other.found)

    def test_false_alarms_are_no_more_than_asked_for_any_noise(self) -> None:
        # every order is used once in turn, the observations fixed: no luck in it
        orders = np.array(list(permutations(DOSES[:5])))
        observations = np.random.default_rng(7).standard_cauchy(5)
        p = np.array([two_sided_p(dose_trend(observations, orders, used, np.zeros((5, 0))).found) for used in orders])
        for alpha in (0.05, 0.1, 0.3):
            assert (p <= alpha).mean() <= alpha

    def test_what_is_no_dose_series_is_refused(self) -> None:
        with pytest.raises(ValueOutOfRange, match="in every run"):
            dose_trend(np.zeros(3), np.ones((1, 3)), np.ones(3), np.zeros((3, 0)))
        with pytest.raises(ValueOutOfRange, match="other doses"):
            dose_trend(np.zeros(3), np.array([[0.0, 1.0, 1.0]]), np.array([0.0, 0.0, 1.0]), np.zeros((3, 0)))


class TestTheBestOfSeveralByLuck:
    # closed forms for 2 and 3; L. H. C. Tippett (1925) for 10 and 20, from memory: 1.53875, 1.86748
    @pytest.mark.parametrize(
        ("count", "expected"), [(1, 0.0), (2, np.pi**-0.5), (3, 1.5 * np.pi**-0.5), (10, 1.53875), (20, 1.86748)]
    )
    def test_expected_maximum(self, count: int, expected: float) -> None:
        assert expected_maximum(count) == pytest.approx(expected, abs=6e-6)

    def test_against_quadrature(self) -> None:
        reference = integrate.quad(lambda x: x * 24 * stats.norm.pdf(x) * stats.norm.cdf(x) ** 23, -8, 10)[0]
        assert expected_maximum(24) == pytest.approx(reference, rel=1e-8)

    def test_there_must_be_a_variant(self) -> None:
        with pytest.raises(ValueOutOfRange, match="number of variants"):
            expected_maximum(0)


class TestShrinkage:
    def test_eighteen_batters(self) -> None:
        # B. Efron, C. Morris, Sci. Am. 236 (1977) 119-127: factor .212, the best .400 becomes .294, mean .265;
        # the list of averages is from memory and reproduces these figures
        hits = np.array([18, 17, 16, 15, 14, 14, 13, 12, 11, 11, 10, 10, 10, 10, 10, 9, 8, 7])
        averages = hits / 45
        mean = averages.mean()
        found = shrinkage(averages, mean * (1 - mean) / 45)
        assert found.factor == pytest.approx(0.212, abs=1e-3)
        assert mean + found.expected == pytest.approx(0.294, abs=6e-4)

    def test_pure_noise_keeps_nothing(self) -> None:
        means = np.array([-0.1, 0.0, 0.05, 0.1, -0.05])
        found = shrinkage(means, 1.0)
        assert (found.factor, found.expected) == (0.0, 0.0)
        assert shrinkage(np.zeros(5), 1.0).factor == 0.0

    def test_hardly_any_noise_keeps_everything(self) -> None:
        assert shrinkage(np.array([1.0, 2.0, 3.0, 4.0]), 1e-12).factor == pytest.approx(1.0)

    def test_what_is_expected_comes_true_on_average(self) -> None:
        # 3000 sets of 24 variants, true spread = noise = 1: the best one's true height against what was expected;
        # sd of the difference about .8, so the mean is within .055 but for luck once in 6000 seeds
        rng = np.random.default_rng(8)
        surplus = []
        for _ in range(3000):
            truth = rng.normal(size=24)
            means = truth + rng.normal(size=24)
            surplus.append(truth[means.argmax()] - means.mean() - shrinkage(means, 1.0).expected)
        assert np.mean(surplus) == pytest.approx(0.0, abs=0.055)
        assert np.std(surplus) < 0.9

    def test_an_estimated_noise_shrinks_less(self) -> None:
        means = np.array([1.0, 2.0, 3.0, 6.0])
        assert shrinkage(means, 2.0, df=4).factor > shrinkage(means, 2.0).factor

    def test_what_cannot_be_answered(self) -> None:
        with pytest.raises(FitImpossible, match="this needs 4"):
            shrinkage(np.zeros(3), 1.0)
        with pytest.raises(ValueOutOfRange, match="variance of a mean"):
            shrinkage(np.zeros(4), 0.0)


class TestShuffledRows:
    def test_every_arrangement_is_equally_likely(self) -> None:
        # 4800 draws over 24 arrangements; chi-square with 23 degrees of freedom above 58 by luck once in 14 000 seeds
        rows = shuffled_rows("even", np.array([1.0, 2.0, 3.0, 4.0]), 4800)
        _, counts = np.unique(rows, axis=0, return_counts=True)
        assert len(counts) == 24
        assert ((counts - 200) ** 2 / 200).sum() < 58

    def test_labels_are_kept(self) -> None:
        labels = np.array([0.0, 0.0, 1.0, 5.0, 5.0])
        assert (np.sort(shuffled_rows("kept", labels, 50), axis=1) == labels).all()


class TestScreening:
    orders = np.array(sorted(set(permutations([0, 0, 0, 1, 1, 2, 2]))))

    def test_one_run_each_tells_nothing(self) -> None:
        orders = np.array(list(permutations(range(4))))
        assert screening(np.array([1.0, 9.0, 2.0, 3.0]), orders[5], orders).p == 1.0

    def test_against_counting_one_by_one(self) -> None:
        observations = np.random.default_rng(9).normal(size=7)
        found = screening(observations, self.orders[50], self.orders)

        def best(order: np.ndarray) -> float:
            return max(float(observations[order == variant].mean()) for variant in range(3))

        reached = [best(order) >= best(self.orders[50]) - 1e-12 for order in self.orders]
        assert found.p == pytest.approx(np.mean(reached), rel=1e-12)
        assert observations[self.orders[50] == found.best].mean() == pytest.approx(best(self.orders[50]))
        assert found.excess == pytest.approx(best(self.orders[50]) - observations.mean())

    def test_false_alarms_are_no_more_than_asked(self) -> None:
        observations = np.random.default_rng(10).standard_cauchy(7)
        p = np.array([screening(observations, used, self.orders).p for used in self.orders])
        for alpha in (0.05, 0.2):
            assert (p <= alpha).mean() <= alpha

    def test_what_does_not_fit_is_refused(self) -> None:
        with pytest.raises(ValueOutOfRange, match="not among the orders"):
            screening(np.zeros(7), np.zeros(7, dtype=np.int64), self.orders)
        with pytest.raises(ValueOutOfRange, match="other variants"):
            screening(np.zeros(2), np.array([0, 1]), np.array([[0, 1], [1, 1]]))
