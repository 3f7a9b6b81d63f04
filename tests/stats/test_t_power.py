"""Power of t tests against Cohen's table, published examples and simulation."""

import json
from pathlib import Path

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.power import TTestIndPower

from truerun.errors import ValueOutOfRange
from truerun.stats.bisection import crossing
from truerun.stats.t_power import (
    detectable,
    fewest_runs,
    one_sample_runs,
    t_power,
    tost_power,
    two_sample_power,
    two_sample_runs,
    upper_sd,
)

PASS = json.loads((Path(__file__).parents[1] / "data" / "stats" / "two_sample_sets.json").read_text("utf-8"))[
    "tost_power_PASS"
]


class TestCohensTable:
    # J. Cohen, Statistical Power Analysis (1988), table 2.4.1, prints these rounded (393, 64, 26 for .80)
    @pytest.mark.parametrize(
        ("size", "eighty", "ninety"),
        [
            (0.2, 393.406, 526.333),
            (0.5, 63.766, 85.031),
            (0.8, 25.525, 33.826),
            (1.0, 16.715, 22.021),
            (1.5, 8.060, 10.401),
            (2.0, 5.090, 6.387),
        ],
    )
    def test_two_sided(self, size: float, eighty: float, ninety: float) -> None:
        assert two_sample_runs(size, 0.8) == pytest.approx(eighty, abs=6e-4)
        assert two_sample_runs(size, 0.9) == pytest.approx(ninety, abs=6e-4)

    @pytest.mark.parametrize(
        ("size", "runs"),
        [(0.2, 309.806), (0.5, 50.151), (0.8, 20.033), (1.0, 13.098), (1.5, 6.299), (2.0, 3.987)],
    )
    def test_one_sided(self, size: float, runs: float) -> None:
        assert two_sample_runs(size, 0.8, two_sided=False) == pytest.approx(runs, abs=6e-4)

    @pytest.mark.parametrize(
        ("size", "runs"),
        [(0.2, 198.151), (0.5, 33.367), (0.8, 14.303), (1.0, 9.938), (1.5, 5.686), (2.0, 4.221)],
    )
    def test_one_sample_and_pairs(self, size: float, runs: float) -> None:
        assert one_sample_runs(size, 0.8) == pytest.approx(runs, abs=6e-4)

    def test_whole_runs(self) -> None:
        assert two_sample_power(0.5, 64) == pytest.approx(0.8014596, abs=5e-8)
        assert two_sample_power(0.5, 63) == pytest.approx(0.7951683, abs=5e-8)
        # R: power.t.test(n = 20, delta = 1) gives .8689528 and leaves out the far tail
        assert two_sample_power(1.0, 20, 0.025, two_sided=False) == pytest.approx(0.8689528, abs=5e-8)
        assert fewest_runs(lambda n: two_sample_power(0.2, n), 0.8) == 394


class TestEquivalence:
    def test_two_samples(self) -> None:
        # PASS documentation, chapter 460, example 1
        for runs, power in zip((3, 8, 15, 30, 50), (0.0386, 0.28871, 0.69339, 0.94326, 0.99458), strict=True):
            found = tost_power(-4, (-19.2, 19.2), 18 * (2 / runs) ** 0.5, 2 * runs - 2)
            assert found == pytest.approx(power, abs=6e-5 if runs == 3 else 6e-6)

    def test_pairs(self) -> None:
        # PASS documentation, chapter 519
        given = PASS["paired"]
        for runs, power in zip(given["n"], given["power"], strict=True):
            found = tost_power(-4, (-19.2, 19.2), given["sd"] / runs**0.5, runs - 1)
            assert found == pytest.approx(power, abs=6e-6)

    @pytest.mark.parametrize(
        ("effect", "alpha", "power", "runs"),
        [
            ((18.0, -4.0, 19.2), 0.05, 0.8, 19),
            ((8.0, -2.0, 5.0), 0.05, 0.8, 89),
            ((100.0, 0.0, 10.0), 0.025, 0.9, 2600),
        ],
    )
    def test_numbers_of_runs(self, effect: tuple[float, float, float], alpha: float, power: float, runs: int) -> None:
        # PASS documentation, chapter 460, examples 1, 4, 3
        sd, difference, margin = effect

        def reached(n: int) -> float:
            return tost_power(difference, (-margin, margin), sd * (2 / n) ** 0.5, 2 * n - 2, alpha)

        assert fewest_runs(reached, power) == runs

    def test_margins_too_close_for_the_spread_never_succeed(self) -> None:
        assert tost_power(0, (-1e-3, 1e-3), 1.0, 200) == 0.0

    def test_wide_margins_always_succeed(self) -> None:
        assert tost_power(0, (-50, 50), 1.0, 10) == pytest.approx(1.0, abs=1e-9)


class TestPower:
    def test_it_is_the_level_where_there_is_no_effect(self) -> None:
        for df in (3, 9, 200):
            assert t_power(0.0, df, 0.01) == pytest.approx(0.01, rel=1e-9)
            assert t_power(0.0, df, 0.01, two_sided=False) == pytest.approx(0.01, rel=1e-9)

    def test_two_sided_power_does_not_know_the_sign(self) -> None:
        assert t_power(-2.3, 9) == pytest.approx(t_power(2.3, 9), rel=1e-12)

    def test_against_statsmodels(self) -> None:
        reference = TTestIndPower().power(1.3, 7, 0.03, alternative="two-sided")
        assert two_sample_power(1.3, 7, 0.03) == pytest.approx(reference, rel=1e-9)

    def test_large_noncentralities_stay_numbers(self) -> None:
        # scipy.stats.nct.cdf(-2, 2998, 30) is not a number
        assert t_power(30.0, 2998) == pytest.approx(1.0, abs=1e-12)

    def test_what_can_be_detected_is_detected_that_often(self) -> None:
        # no column adjusted: 1.796, 1.507, 1.197 at 6 + 6, 8 + 8, 12 + 12; with one column slightly more
        for runs, plain, adjusted in ((6, 1.796, 1.818), (8, 1.507, 1.515), (12, 1.197, 1.200)):
            assert detectable(runs, 2 * runs - 2) == pytest.approx(plain, abs=6e-4)
            with_column = detectable(runs, 2 * runs - 3)
            assert with_column == pytest.approx(adjusted, abs=2e-3)
            shift = with_column * (runs / 2) ** 0.5
            critical = stats.t.ppf(0.975, 2 * runs - 3)
            assert stats.nct.sf(critical, 2 * runs - 3, shift) == pytest.approx(0.8, abs=1e-6)

    def test_by_simulation(self) -> None:
        # 4000 t tests of 6 + 6 at 1.796 sd; .8 expected: outside .776 ... .824 by luck once in 7000 seeds (3.8 sd)
        rng = np.random.default_rng(4)
        p = stats.ttest_ind(rng.normal(1.796, 1, (4000, 6)), rng.normal(0, 1, (4000, 6)), axis=1).pvalue
        assert 0.776 <= (p <= 0.05).mean() <= 0.824

    def test_a_power_below_the_level_is_refused(self) -> None:
        with pytest.raises(ValueOutOfRange, match="power"):
            detectable(6, 9, alpha=0.05, power=0.04)

    def test_what_cannot_be_planned_is_refused(self) -> None:
        with pytest.raises(ValueOutOfRange, match="beyond what can be planned"):
            two_sample_runs(1e-4, 0.8)
        with pytest.raises(ValueOutOfRange, match="beyond what can be planned"):
            fewest_runs(lambda _: 0.1, 0.8)


def test_the_upper_limit_of_a_pilots_spread() -> None:
    # the chi-square limit, here by scipy's distribution; the true sd lies below in 80 of 100 pilots
    for df, factor in ((6, 1.398), (10, 1.272), (14, 1.216)):
        assert upper_sd(2.0, df) == pytest.approx(2 * (df / stats.chi2.ppf(0.2, df)) ** 0.5, rel=1e-10)
        assert upper_sd(1.0, df) == pytest.approx(factor, abs=6e-4)


def test_a_crossing_needs_two_signs() -> None:
    assert crossing(lambda x: 1 - x, 0.0, 4.0) == pytest.approx(1.0, rel=1e-15)
    with pytest.raises(ValueOutOfRange, match="one sign"):
        crossing(lambda x: x * x + 1, -1.0, 1.0)
