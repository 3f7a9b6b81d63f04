"""Second opinions against published outputs and against reference libraries."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import statsmodels.api as sm
from numpy.typing import NDArray
from scipy import stats

from truerun.errors import FitImpossible, ValueOutOfRange
from truerun.stats.exact import exact_list, nuisance_basis
from truerun.stats.opinions import (
    ancova_interval,
    paired,
    shared_test,
    slope_interval,
    t_opinion,
    tost,
    welch,
)
from truerun.stats.orders import orders_for

DATA = Path(__file__).parents[1] / "data" / "stats"
SETS: dict[str, Any] = json.loads((DATA / "two_sample_sets.json").read_text("utf-8"))
LEPROSY: dict[str, Any] = json.loads((DATA / "ancova_leprosy.json").read_text("utf-8"))


def values(name: str, key: str) -> NDArray[np.float64]:
    """Give one list of numbers of the stored sets."""
    return np.array(SETS[name][key], dtype=np.float64)


def pooled(first: NDArray[np.float64], second: NDArray[np.float64], alpha: float = 0.05) -> Any:
    """Compare two samples with one pooled variance, as an analysis of covariance without covariates."""
    order = np.repeat([1.0, -1.0], [len(first), len(second)])
    observations = np.concatenate([first, second])
    basis = nuisance_basis(np.zeros((len(order), 0)), (), order)
    return ancova_interval(observations, order, basis, alpha)


class TestStudentsSleep:
    # Student, Biometrika 6 (1908); Welch output as printed by R's t.test(extra ~ group, data = sleep)
    def test_welch(self) -> None:
        found = welch(values("sleep", "group1"), values("sleep", "group2"))
        assert found.t == pytest.approx(-1.8608, abs=5e-5)
        assert found.df == pytest.approx(17.776, abs=5e-4)
        assert found.p == pytest.approx(0.07939, abs=5e-6)
        assert (found.low, found.high) == pytest.approx((-3.3654832, 0.2054832), abs=5e-8)

    def test_pooled(self) -> None:
        found, expected = pooled(values("sleep", "group1"), values("sleep", "group2")), SETS["sleep"]["pooled"]
        assert (found.t, found.df, found.p) == pytest.approx((expected["t"], 18, expected["p"]), rel=1e-10)
        assert (found.low, found.high) == pytest.approx(tuple(expected["ci95"]), rel=1e-10)

    def test_pairs_see_what_two_samples_do_not(self) -> None:
        found = paired(values("sleep", "group1"), values("sleep", "group2"))
        assert (found.t, found.df, found.p) == pytest.approx((-4.0621, 9, 0.002833), rel=2e-4)
        assert (found.low, found.high) == pytest.approx((-2.4598858, -0.7001142), abs=5e-8)


def test_darwins_maize() -> None:
    # R. A. Fisher, The Design of Experiments (1935), section 17: t = 2.148 with 14 degrees of freedom
    found = paired(values("darwin_maize", "cross"), values("darwin_maize", "self"))
    assert found.t == pytest.approx(2.148, abs=5e-4)
    assert found.df == 14
    assert found.p == pytest.approx(0.0497, abs=5e-5)


class TestTwoOneSidedTests:
    # NCSS documentation, chapter 198, first example (alpha .025)
    @pytest.mark.parametrize("kind", ["pooled", "welch"])
    def test_ncss_example(self, kind: str) -> None:
        compare = {"pooled": pooled, "welch": welch}[kind]
        expected = SETS["ncss_tost"][kind]
        found = compare(values("ncss_tost", "A"), values("ncss_tost", "B"), 0.05)
        both = tost(found, -110, 110)
        assert found.effect == pytest.approx(-8.1153846, abs=5e-8)
        assert found.standard_error == pytest.approx(expected["se"], abs=5e-7)
        assert found.df == pytest.approx(expected["df"], abs=5e-4)
        assert (found.low, found.high) == pytest.approx(tuple(expected["ci95"]), abs=5e-6)
        assert (both.p_low, both.p_high) == pytest.approx((expected["p_lower"], expected["p_upper"]), abs=5e-6)
        assert both.p == max(both.p_low, both.p_high)

    def test_lakens_example_from_summary_figures(self) -> None:
        # D. Lakens, Soc. Psychol. Personal. Sci. 8 (2017) 355-362, first example
        given = SETS["lakens_tost_summary"]
        parts = [given["sd1"] ** 2 / given["n1"], given["sd2"] ** 2 / given["n2"]]
        df = sum(parts) ** 2 / (parts[0] ** 2 / (given["n1"] - 1) + parts[1] ** 2 / (given["n2"] - 1))
        found = t_opinion(given["m1"] - given["m2"], sum(parts) ** 0.5, df, 0.10)
        both = tost(found, *given["bounds_raw"])
        assert found.df == pytest.approx(given["df"], abs=5e-5)
        assert (both.t_low, both.t_high) == pytest.approx((given["t1"], given["t2"]), abs=5e-7)
        assert (both.p_low, both.p_high) == pytest.approx((given["p1"], given["p2"]), rel=1e-6)
        assert (found.low, found.high) == pytest.approx(tuple(given["ci90"]), abs=5e-8)

    def test_it_agrees_with_the_ninety_per_cent_interval(self) -> None:
        found = t_opinion(0.4, 0.3, 9, 0.10)
        assert tost(found, -1.0, found.high).p == pytest.approx(0.05, rel=1e-9)
        assert tost(found, -1.0, found.high * 0.99).p > 0.05

    def test_margins_the_wrong_way_round_are_refused(self) -> None:
        with pytest.raises(ValueOutOfRange, match="below the upper one"):
            tost(t_opinion(0.4, 0.3, 9), 1.0, -1.0)


class TestSnedecorAndCochransLeprosyData:
    # Statistical Methods, 6th ed. (1967), p. 422; type I and III tables and means of the SAS GLM example
    drug = np.array(LEPROSY["drug"])
    pre = np.array(LEPROSY["pre"])
    post = np.array(LEPROSY["post"])
    published = LEPROSY["published"]
    groups = np.column_stack([drug == "A", drug == "D"]).astype(np.float64)

    def test_slope_and_what_is_left(self) -> None:
        basis = nuisance_basis(self.groups, ("A", "D"), self.pre)
        found = slope_interval(self.post, self.pre, basis)
        left = shared_test(self.post, self.pre[:, None], basis)
        assert found.effect == pytest.approx(self.published["slope"], abs=5e-8)
        assert found.standard_error == pytest.approx(self.published["slope_se"], abs=5e-8)
        assert left.f == pytest.approx(self.published["f_pre"], abs=5e-3)
        assert left.f == pytest.approx(found.t**2, rel=1e-10)
        assert left.residual_variance == pytest.approx(self.published["mse"], abs=5e-8)

    def test_drugs_given_the_covariate(self) -> None:
        basis = nuisance_basis(self.pre[:, None], ("pre",), self.groups[:, 0])
        found = shared_test(self.post, self.groups, basis)
        assert found.f == pytest.approx(self.published["f_drug_type_3"], abs=5e-7)
        assert found.p == pytest.approx(self.published["p_drug_type_3"], abs=5e-5)

    def test_drugs_and_the_covariate_differ_in_slope_by_nothing(self) -> None:
        basis = nuisance_basis(np.column_stack([self.groups, self.pre]), ("A", "D", "pre"), self.post)
        found = shared_test(self.post, self.groups * self.pre[:, None], basis)
        assert found.f == pytest.approx(self.published["f_interaction"], abs=5e-7)
        assert found.p == pytest.approx(self.published["p_interaction"], abs=5e-5)

    def test_adjusted_means_differ_as_published(self) -> None:
        means = self.published["ls_means"]
        for name, column in (("A", 0), ("D", 1)):
            basis = nuisance_basis(
                np.column_stack([self.groups[:, 1 - column], self.pre]), ("other", "pre"), self.groups[:, column]
            )
            found = slope_interval(self.post, self.groups[:, column], basis)
            assert found.effect == pytest.approx(means[name] - means["F"], abs=1e-6)

    def test_two_drugs_against_statsmodels(self) -> None:
        chosen = self.drug != "D"
        order = np.where(self.drug == "A", 1.0, -1.0)[chosen]
        design = np.column_stack([np.ones(len(order)), order / 2, self.pre[chosen]])
        reference = sm.OLS(self.post[chosen], design).fit()
        basis = nuisance_basis(self.pre[chosen][:, None], ("pre",), order)
        found = ancova_interval(self.post[chosen], order, basis)
        assert found.effect == pytest.approx(reference.params[1], rel=1e-9)
        assert found.p == pytest.approx(reference.pvalues[1], rel=1e-9)
        assert (found.low, found.high) == pytest.approx(tuple(reference.conf_int()[1]), rel=1e-9)


class TestAgreementWithOtherRoutes:
    def test_the_effect_is_the_delta_of_the_exact_list(self) -> None:
        allowed = orders_for("blocks-of-four", 12).all()
        observations = np.random.default_rng(3).normal(size=12)
        number = np.arange(12.0)[:, None]
        basis = nuisance_basis(number, ("run number",), allowed[17].astype(np.float64))
        listed = exact_list(observations, allowed, allowed[17], basis)
        found = ancova_interval(observations, allowed[17].astype(np.float64), basis)
        assert found.effect == pytest.approx(listed.delta, rel=1e-10)

    def test_welch_and_pairs_against_scipy(self) -> None:
        rng = np.random.default_rng(5)
        first, second = rng.normal(size=7), rng.normal(0.5, 3.0, size=7)
        unequal, pairs = stats.ttest_ind(first, second, equal_var=False), stats.ttest_rel(first, second)
        assert welch(first, second).p == pytest.approx(unequal.pvalue, rel=1e-10)
        assert paired(first, second).p == pytest.approx(pairs.pvalue, rel=1e-10)
        interval = unequal.confidence_interval(0.9)
        found = welch(first, second, 0.10)
        assert (found.low, found.high) == pytest.approx((interval.low, interval.high), rel=1e-10)

    def test_swapping_the_conditions_turns_the_sign(self) -> None:
        first, second = values("sleep", "group1"), values("sleep", "group2")
        one, other = welch(first, second), welch(second, first)
        assert (one.low, one.high, one.p) == pytest.approx((-other.high, -other.low, other.p))


class TestWhatCannotBeAnswered:
    def test_one_run_of_a_condition(self) -> None:
        with pytest.raises(FitImpossible, match="at least two runs"):
            welch(np.array([1.0]), np.array([1.0, 2.0]))

    def test_runs_that_do_not_spread(self) -> None:
        same = np.full(4, 0.1) * 3
        with pytest.raises(FitImpossible, match="do not spread"):
            welch(same, same + 1)
        with pytest.raises(FitImpossible, match="do not spread"):
            paired(same + 0.2, same)
        with pytest.raises(FitImpossible, match="do not spread"):
            pooled(same + 0.7, same)

    def test_no_run_to_spare(self) -> None:
        order = np.array([1.0, -1.0])
        with pytest.raises(FitImpossible, match="not enough runs"):
            ancova_interval(np.array([1.0, 2.0]), order, np.full((2, 1), 0.5**0.5))

    def test_columns_that_add_nothing(self) -> None:
        with pytest.raises(FitImpossible, match="nothing left over"):
            shared_test(np.arange(4.0), np.ones((4, 1)), np.full((4, 1), 0.5))

    def test_pairs_of_unequal_number(self) -> None:
        with pytest.raises(ValueOutOfRange, match="source runs is 3"):
            paired(np.zeros(3), np.zeros(2))


def test_the_interval_covers_as_often_as_stated() -> None:
    # 2000 normal trials of 6 + 6 with a run number adjusted; 95 % expected: outside 93.2 ... 96.8 by luck
    # once in 4500 seeds (binomial, 3.7 sd)
    rng = np.random.default_rng(11)
    order = np.array([1.0, -1, -1, 1] * 3)
    basis = nuisance_basis(np.arange(12.0)[:, None], ("run number",), order)
    drift = np.arange(12) * 0.4
    covered = 0
    for _ in range(2000):
        found = ancova_interval(rng.normal(size=12) + drift + order * 0.35, order, basis)
        covered += found.low <= 0.7 <= found.high
    assert 0.932 <= covered / 2000 <= 0.968
