"""Pooling against published meta-analyses, against statsmodels, and by its coverage."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import integrate, stats
from statsmodels.stats.meta_analysis import combine_effects

from truerun.errors import FitImpossible, ValueOutOfRange
from truerun.stats.pooling import (
    consistency,
    fixed_effect,
    half_normal_pooled,
    hartung_knapp,
    leave_one_out,
    paule_mandel,
    pooled,
    spread_interval,
)

Array = NDArray[np.float64]

SETS: dict[str, Any] = json.loads(
    (Path(__file__).parents[1] / "data" / "stats" / "pooling_sets.json").read_text("utf-8")
)


def stored(name: str) -> tuple[Array, Array]:
    """Give effects and variances of a stored set."""
    found = SETS[name]
    if "variances" in found:
        return np.array(found["estimates"]), np.array(found["variances"])
    return np.array(found["estimates"]), np.array(found["standard_uncertainties"]) ** 2


def length_of_stay() -> tuple[Array, Array]:
    """Give differences of means and their variances of Normand's table 8."""
    rows = SETS["normand"]["rows"]
    effects = np.array([row["m1"] - row["m2"] for row in rows])
    squares = np.array([(row["n1"] - 1) * row["sd1"] ** 2 + (row["n2"] - 1) * row["sd2"] ** 2 for row in rows])
    sizes = np.array([(row["n1"], row["n2"]) for row in rows])
    return effects, squares / (sizes.sum(axis=1) - 2) * (1 / sizes).sum(axis=1)


def by_moments(effects: Array, variances: Array) -> float:
    """Give the variance between tests after DerSimonian and Laird (1986): only to check published intervals."""
    weights = 1 / variances
    excess = consistency(effects, variances).q - (len(effects) - 1)
    return max(0.0, excess / float(weights.sum() - (weights**2).sum() / weights.sum()))


class TestBcgTrials:
    # Colditz (1994), log risk ratios; results as in the documentation and tests of R's metafor
    def test_fixed_effect_and_consistency(self) -> None:
        found, agreed = fixed_effect(*stored("bcg")), consistency(*stored("bcg"))
        assert found.effect == pytest.approx(-0.4303, abs=5e-5)
        assert (found.low, found.high) == pytest.approx((-0.5097, -0.3509), abs=5e-5)
        assert agreed.q == pytest.approx(152.2330, abs=5e-5)
        assert agreed.i_squared == pytest.approx(0.921173, abs=5e-7)
        assert agreed.birge == pytest.approx(3.561753, abs=5e-7)

    def test_spread(self) -> None:
        low, high = spread_interval(*stored("bcg"))
        assert paule_mandel(*stored("bcg")) == pytest.approx(0.3181, abs=5e-5)
        assert (low, high) == pytest.approx((0.1197, 1.1115), abs=5e-5)

    def test_against_statsmodels(self) -> None:
        effects, variances = stored("bcg")
        reference = combine_effects(effects, variances, method_re="iterated", atol=1e-12)
        found = pooled(effects, variances)
        assert found.spread**2 == pytest.approx(reference.tau2, rel=1e-7)
        assert found.effect == pytest.approx(reference.mean_effect_re, rel=1e-7)
        assert found.standard_error == pytest.approx(reference.sd_eff_w_re_hksj, rel=1e-6)
        assert found.high - found.effect == pytest.approx(stats.t.ppf(0.975, 12) * found.standard_error, rel=1e-9)


class TestLengthOfStay:
    # S.-L. T. Normand, Stat. Med. 18 (1999), table 9
    def test_fixed_effect(self) -> None:
        found = fixed_effect(*length_of_stay())
        assert found.effect == pytest.approx(-3.4939, abs=5e-5)
        assert (found.low, found.high) == pytest.approx((-5.0265, -1.9613), abs=5e-5)

    def test_weights_at_a_given_spread(self) -> None:
        # the published interval is a normal one: effect and standard error are compared
        effects, variances = length_of_stay()
        between = by_moments(effects, variances)
        found = hartung_knapp(effects, variances, between)
        assert between == pytest.approx(218.7216, abs=5e-5)
        assert found.effect == pytest.approx(-14.0972, abs=5e-5)
        error = float((1 / (variances + between)).sum()) ** -0.5
        assert 1.959964 * error == pytest.approx(14.0972 - 3.7490, abs=1e-4)


class TestTeachersExpectations:
    # Raudenbush, 19 studies; Knapp-Hartung output of R's metafor
    def test_knapp_hartung_interval(self) -> None:
        effects, variances = stored("raudenbush")
        between = by_moments(effects, variances)
        found = hartung_knapp(effects, variances, between, least_factor=0.0)
        assert consistency(effects, variances).q == pytest.approx(35.8295, abs=2e-3)  # effects stored to .01
        assert between == pytest.approx(0.0259, abs=1e-4)
        assert found.effect == pytest.approx(0.0893, abs=1e-4)
        assert found.standard_error == pytest.approx(0.0636, abs=1e-4)
        assert (found.low, found.high) == pytest.approx((-0.0442, 0.2229), abs=1e-4)


class TestNewtonsConstant:
    # CODATA 2018: 6.67430(15), from 16 values expanded by 3.9; list of values from memory
    def test_mean_and_birge_ratio(self) -> None:
        effects, variances = stored("newton_g")
        found, agreed = fixed_effect(effects, variances), consistency(effects, variances)
        assert found.effect == pytest.approx(6.67430, abs=1.5e-5)
        assert 3.9 * found.standard_error == pytest.approx(1.5e-4, abs=5e-6)
        assert (agreed.q, agreed.df) == pytest.approx((197.84, 15), abs=5e-3)
        assert agreed.birge == pytest.approx(3.6317, abs=5e-5)

    def test_the_spread_is_found_far_from_one(self) -> None:
        effects, variances = stored("newton_g")
        between = paule_mandel(effects, variances)
        mean = np.average(effects, weights=1 / (variances + between))
        assert ((effects - mean) ** 2 / (variances + between)).sum() == pytest.approx(15, rel=1e-9)


class TestTheFactorOfAtLeastOne:
    def test_lucky_agreement_does_not_narrow_the_interval(self) -> None:
        effects, variances = np.array([1.0, 1.01, 1.02]), np.ones(3)
        found = pooled(effects, variances)
        assert found.spread == 0.0
        assert found.standard_error == pytest.approx(3**-0.5)
        assert hartung_knapp(effects, variances, 0.0, least_factor=0.0).standard_error < 0.02

    def test_the_factor_is_one_at_the_spread_found(self) -> None:
        effects, variances = stored("bcg")
        found = pooled(effects, variances)
        bare = hartung_knapp(effects, variances, found.spread**2, least_factor=0.0)
        assert bare.standard_error == pytest.approx(found.standard_error, rel=1e-9)


class TestOneMoreTest:
    def test_prediction_by_hand(self) -> None:
        # Higgins, Thompson, Spiegelhalter (2009): t with k - 2 = 1 degree of freedom is 12.7062 (any t table);
        # effects 1, 2, 6 with variance 1: between 6, mean 3, standard error sqrt(7/3)
        found = pooled(np.array([1.0, 2.0, 6.0]), np.ones(3))
        assert found.predicted_high == pytest.approx(3 + 12.7062 * (6 + 7 / 3) ** 0.5, abs=2e-4)
        assert found.predicted_low == pytest.approx(3 - 12.7062 * (6 + 7 / 3) ** 0.5, abs=2e-4)


class TestLeaveOneOut:
    def test_each_is_what_pooling_the_rest_gives(self) -> None:
        effects, variances = stored("bcg")
        parts = leave_one_out(effects, variances)
        assert len(parts) == 13
        assert parts[3] == pooled(np.delete(effects, 3), np.delete(variances, 3))


class TestHalfNormalPrior:
    def test_against_integration_over_both_unknowns(self) -> None:
        effects, variances, scale = np.array([0.1, 0.5, -0.1]), np.array([0.02, 0.05, 0.03]), 0.3

        def density(spread: float, effect: float) -> float:
            each = variances + spread**2
            log = -0.5 * (np.log(each) + (effects - effect) ** 2 / each).sum() - 0.5 * (spread / scale) ** 2
            return float(np.exp(log))

        limits = (-4, 4, 0, 2.4)  # 8 scales of the prior, and no effect beyond 4
        total = integrate.dblquad(density, *limits, epsabs=1e-6)[0]
        mean = integrate.dblquad(lambda s, m: m * density(s, m), *limits, epsabs=1e-6)[0] / total
        found = half_normal_pooled(effects, variances, scale)
        assert found.effect == pytest.approx(mean, abs=1e-5)  # accuracy asked of the reference
        below = integrate.dblquad(density, -4, found.low, 0, 2.4, epsabs=1e-6)[0] / total
        above = integrate.dblquad(density, found.high, 4, 0, 2.4, epsabs=1e-6)[0] / total
        assert (below, above) == pytest.approx((0.025, 0.025), abs=1e-5)

    def test_no_spread_beforehand_is_the_fixed_effect(self) -> None:
        effects, variances = stored("bcg")
        narrow, fixed = half_normal_pooled(effects, variances, 1e-9), fixed_effect(effects, variances)
        assert (narrow.low, narrow.high) == pytest.approx((fixed.low, fixed.high), rel=1e-6)

    def test_a_wider_prior_widens_the_interval(self) -> None:
        effects, variances = np.array([0.1, 0.4]), np.array([0.02, 0.03])
        widths = [
            found.high - found.low
            for found in (half_normal_pooled(effects, variances, scale) for scale in (0.01, 0.1, 0.5))
        ]
        assert widths == sorted(widths)

    def test_a_scale_of_zero_is_refused(self) -> None:
        with pytest.raises(ValueOutOfRange, match="scale"):
            half_normal_pooled(np.zeros(2), np.ones(2), 0.0)


class TestTooFewTests:
    def test_two_tests_are_not_pooled(self) -> None:
        with pytest.raises(FitImpossible, match="this needs 3: show them side by side"):
            pooled(np.zeros(2), np.ones(2))

    def test_leaving_one_of_three_out_is_refused(self) -> None:
        with pytest.raises(FitImpossible, match="this needs 4"):
            leave_one_out(np.zeros(3), np.ones(3))

    def test_variances_must_fit_the_effects(self) -> None:
        with pytest.raises(ValueOutOfRange, match="number of variances"):
            fixed_effect(np.zeros(3), np.ones(2))
        with pytest.raises(ValueOutOfRange, match="smallest variance"):
            fixed_effect(np.zeros(2), np.array([1.0, 0.0]))


@pytest.mark.parametrize(("k", "between"), [(3, 0.0), (3, 1.0), (6, 1.0)])
def test_coverage_is_at_least_what_is_stated(k: int, between: float) -> None:
    # 1000 sets; 95 % asked, above it where the factor of at least 1 acts: below 92.4 % by luck once in 6000 seeds
    # (binomial, 3.8 sd). The prediction is documented as 88 to 100 %; measured .90 at its worst here, below 85 %
    # by luck less than once in 100 000 seeds
    rng = np.random.default_rng(100 * k + int(between))
    variances = np.linspace(0.5, 1.5, k)
    covered = predicted = 0
    for _ in range(1000):
        effects = 0.3 + rng.normal(size=k) * np.sqrt(variances + between)
        found = pooled(effects, variances)
        assert found.predicted_low is not None
        assert found.predicted_high is not None
        covered += found.low <= 0.3 <= found.high
        predicted += found.predicted_low <= 0.3 + rng.normal() * between**0.5 <= found.predicted_high
    assert covered / 1000 >= 0.924
    assert predicted / 1000 >= 0.85
