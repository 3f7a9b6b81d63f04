"""Budgets, coverage and Monte Carlo against the worked examples of the GUM and its first supplement."""

import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import stats
from uncertainties import UFloat, correlation_matrix, ufloat, umath, wrap

from truerun.errors import FitImpossible, ValueOutOfRange
from truerun.uncertainty import (
    budget,
    coverage_factor,
    distribution,
    effective_degrees_of_freedom,
    fit_line,
    freedom_of_judgement,
    observed_together,
    quantity_source,
    report,
    sampled,
    second_order_variance,
    shortest_interval,
    source,
    student,
)
from truerun.units.quantity import Spread, read_quantity
from truerun.units.unit import Dimension

Array = NDArray[np.float64]

GUM: Mapping[str, Any] = json.loads((Path(__file__).parent / "data" / "gum_examples.json").read_text())


def width(spread: Spread, half_width: float) -> float:
    """Standard uncertainty of a half-width."""
    return half_width / spread.divisor


class TestSharedSourcesStayShared:
    def test_a_shared_source_cancels_in_a_difference(self) -> None:
        clock = source("clock rate", 1.0, 1e-3)
        first, second = source("first reading", 60.0, 0.1), source("second reading", 60.0, 0.1)
        gain = first * clock - second * clock
        assert gain.std_dev == pytest.approx(math.hypot(0.1, 0.1), rel=1e-12)
        contributions = {line.source: line.contribution for line in budget(gain).lines}
        assert contributions["clock rate"] == 0.0

    def test_separate_calls_do_not_cancel_even_under_one_name(self) -> None:
        difference = source("scale", 1.0, 0.3) - source("scale", 1.0, 0.4)
        (line,) = budget(difference).lines
        assert line.contribution == pytest.approx(0.5, rel=1e-12)
        assert (line.sensitivity, line.standard_uncertainty) == (None, None)

    def test_a_common_clock_drops_out_of_a_ratio_of_times(self) -> None:
        clock = source("clock rate", 1.0, 1e-3)
        drive = 1 - (60.0 * clock) / (62.0 * clock)
        assert drive.std_dev == pytest.approx(0.0, abs=1e-17)

    @given(
        st.lists(st.tuples(st.floats(-5, 5), st.floats(1e-3, 5), st.floats(-3, 3)), min_size=1, max_size=6),
    )
    def test_shares_add_up_and_contributions_add_in_squares(self, parts: list[tuple[float, float, float]]) -> None:
        sources = [source(f"part {i}", value, u) for i, (value, u, _) in enumerate(parts)]
        result = sum((c * x for (_, _, c), x in zip(parts, sources, strict=True)), start=0.0 * sources[0])
        found = budget(result)
        assert found.standard_uncertainty == pytest.approx(
            math.hypot(*(c * u for _, u, c in parts)), rel=1e-9, abs=1e-150
        )
        if found.standard_uncertainty > 1e-100:
            assert math.fsum(line.share for line in found.lines) == pytest.approx(1.0, rel=1e-9)

    def test_a_plain_formula_is_lifted_and_keeps_the_names(self) -> None:
        def kinetic_energy(inertia: float, speed: float) -> float:
            return 0.5 * inertia * speed**2

        energy = wrap(kinetic_energy)(source("inertia", 0.02, 1e-4), source("speed", 10.0, 0.02))
        lines = {line.source: line for line in budget(energy).lines}
        assert lines["inertia"].sensitivity == pytest.approx(50.0, rel=1e-6)  # differences of floats
        assert lines["speed"].contribution == pytest.approx(0.2 * 0.02, rel=1e-6)

    def test_numbers_made_elsewhere_keep_their_tag(self) -> None:
        names = {line.source for line in budget(ufloat(1.0, 0.1, "gauge") + ufloat(1.0, 0.1)).lines}
        assert names == {"gauge", "unnamed"}


def gauge_block(*inputs: Any) -> Any:
    """Length of the block [nm], JCGM 100:2008 eq. (H.3)."""
    delta_alpha, theta, alpha, delta_theta, standard, difference = inputs
    return standard + difference - standard * (delta_alpha * theta + alpha * delta_theta)


class TestGuideExampleH1:
    """End gauge: JCGM 100:2008, H.1, table H.1; standard uncertainties and degrees of freedom as stated there."""

    def sources(self) -> list[UFloat]:
        difference = (
            source("repeats", 215.0, 5.8, 24)
            + source("comparator, random", 0.0, 3.9, 5)
            + source("comparator, systematic", 0.0, 6.7, freedom_of_judgement(0.25))
        )
        theta = source("bed", -0.1, 0.2) + source("cycle of temperature", 0.0, width(Spread.ARCSINE, 0.5))
        return [
            source("difference of expansion", 0.0, width(Spread.RECTANGULAR, 1e-6), freedom_of_judgement(0.1)),
            theta,
            source("expansion of the standard", 11.5e-6, width(Spread.RECTANGULAR, 2e-6)),
            source("difference of temperature", 0.0, width(Spread.RECTANGULAR, 0.05), freedom_of_judgement(0.5)),
            source("standard", 50_000_623.0, 25.0, 18),
            difference,
        ]

    def test_value_uncertainty_and_degrees_of_freedom(self) -> None:
        found = budget(gauge_block(*self.sources()))
        assert found.value == GUM["H1"]["published"]["l_nm"]
        assert found.standard_uncertainty == pytest.approx(GUM["H1"]["full_precision"]["uc"], rel=1e-12)
        assert round(found.standard_uncertainty) == GUM["H1"]["published"]["uc_nm"]
        assert found.degrees_of_freedom == pytest.approx(GUM["H1"]["full_precision"]["nu_eff"], rel=1e-12)
        assert math.floor(found.degrees_of_freedom) == GUM["H1"]["published"]["nu_eff"]

    def test_each_source_contributes_what_the_table_says(self) -> None:
        lines = {line.source: line.contribution for line in budget(gauge_block(*self.sources())).lines}
        assert lines["standard"] == pytest.approx(25.0, abs=0.05)
        assert lines["difference of expansion"] == pytest.approx(2.9, abs=0.05)
        assert lines["difference of temperature"] == pytest.approx(16.6, abs=0.05)
        assert lines["bed"] == lines["expansion of the standard"] == 0.0
        names = ("repeats", "comparator, random", "comparator, systematic")
        assert math.hypot(*(lines[name] for name in names)) == pytest.approx(9.7, abs=0.05)

    def test_the_rounded_uncertainty_would_give_other_degrees_of_freedom(self) -> None:
        found = budget(gauge_block(*self.sources()))
        wrong = found.degrees_of_freedom * (32 / found.standard_uncertainty) ** 4
        assert wrong == pytest.approx(17.47, abs=0.005)  # what the trap gives: 17 instead of 16

    def test_expanded_uncertainty(self) -> None:
        found = budget(gauge_block(*self.sources()))
        factor = coverage_factor(0.99, found.degrees_of_freedom, truncated=True)
        assert round(factor, 2) == 2.92
        assert round(factor * 32) == GUM["H1"]["published"]["U99_nm"]  # the guide multiplies the rounded 32 nm
        whole = coverage_factor(0.99, found.degrees_of_freedom)
        assert whole * found.standard_uncertainty == pytest.approx(91.94, abs=0.005)  # GTC, not truncated

    def test_second_order_terms(self) -> None:
        sources = self.sources()
        values = [x.nominal_value for x in sources]
        uncertainties = [x.std_dev for x in sources]
        extra = second_order_variance(gauge_block, values, uncertainties)
        # H.1.7: u(δα) u(θ) l_s = 11.7 nm and u(α_s) u(δθ) l_s = 1.7 nm
        assert math.sqrt(extra) == pytest.approx(math.hypot(11.7, 1.7), abs=0.05)
        total = math.sqrt(budget(gauge_block(*sources)).standard_uncertainty ** 2 + extra)
        # exact variance of a product of independent numbers about 0: u²(x) u²(y) l_s², for both products
        products = (5e7 * uncertainties[0] * uncertainties[1], 5e7 * uncertainties[2] * uncertainties[3])
        assert math.sqrt(extra) == pytest.approx(math.hypot(*products), rel=2e-5)  # l_s is 50 000 623 nm
        assert round(total) == GUM["H1"]["published"]["uc_second_order_nm"]

    def test_the_sentence(self) -> None:
        metres = gauge_block(*self.sources()) * 1e-9
        stated = report(budget(metres), "mm", 0.99).replace("\u00a0", " ")
        # 7.2.4 asks for value, U, k, degrees of freedom and level; unrounded 2.92 * 31.66 nm is 92 nm
        assert stated == (
            "50.000838 ± 0.000092 mm (99 % coverage; standard uncertainty times 2.92, 16 degrees of freedom)"
        )


class TestGuideExampleH2:
    """Resistance and reactance read together: JCGM 100:2008, H.2, tables H.2 to H.4."""

    def results(self) -> tuple[UFloat, UFloat, UFloat]:
        example = GUM["H2"]
        rows = np.column_stack([example["V"], np.asarray(example["I_mA"]) * 1e-3, example["phi"]])
        voltage, current, phase = observed_together("five readings", rows)
        impedance = voltage / current
        return impedance * umath.cos(phase), impedance * umath.sin(phase), impedance

    def test_values_and_uncertainties(self) -> None:
        published, full = GUM["H2"]["published"], GUM["H2"]["full_precision"]
        for name, result, u in zip("RXZ", self.results(), full["u"], strict=True):
            assert result.nominal_value == pytest.approx(full[name], rel=1e-12)
            assert result.std_dev == pytest.approx(u, rel=1e-6)  # given to eight digits
            assert round(result.nominal_value, 3) == pytest.approx(published[name], abs=1e-9)
            assert result.std_dev == pytest.approx(published[f"u{name}"], abs=0.00105)  # 0.2956 printed 0.295

    def test_correlations(self) -> None:
        published = GUM["H2"]["published"]
        matrix = correlation_matrix(self.results())
        assert matrix[0, 1] == pytest.approx(published["r_RX"], abs=5e-4)
        assert matrix[0, 2] == pytest.approx(published["r_RZ"], abs=5e-4)
        assert matrix[1, 2] == pytest.approx(published["r_XZ"], abs=1e-3)  # 0.99251 printed 0.993

    def test_readings_taken_together_are_one_line_with_their_degrees_of_freedom(self) -> None:
        found = budget(self.results()[0])
        assert [(line.source, line.degrees_of_freedom) for line in found.lines] == [("five readings", 4)]
        assert found.degrees_of_freedom == pytest.approx(4.0, rel=1e-12)

    def test_covariance_is_that_of_the_means(self) -> None:
        rows = np.random.default_rng(3).normal(size=(7, 3)) @ np.array([[1, 0.5, 0], [0, 1, 2], [0, 0, 1e-6]])
        means = observed_together("repeats", rows)
        expected = np.cov(rows.T) / 7
        deviations = np.sqrt(np.diag(expected))
        assert [x.std_dev for x in means] == pytest.approx(deviations, rel=1e-9)
        assert np.allclose(correlation_matrix(means), expected / np.outer(deviations, deviations), atol=1e-9)


class TestGuideExampleH3:
    """Calibration of a thermometer: JCGM 100:2008, H.3, table H.6."""

    line = fit_line("calibration", GUM["H3"]["t"], GUM["H3"]["b"])

    def test_intercept_slope_and_their_correlation(self) -> None:
        published, full = GUM["H3"]["published"], GUM["H3"]["full_precision"]
        height, slope = self.line.at(GUM["H3"]["t0"]), self.line.slope
        assert height.nominal_value == pytest.approx(full["y1"], abs=5e-9)
        assert slope.nominal_value == pytest.approx(full["y2"], abs=5e-8)
        assert round(height.std_dev, 4) == published["u1"]
        assert round(slope.std_dev, 5) == published["u2"]
        assert correlation_matrix([height, slope])[0, 1] == pytest.approx(published["r"], abs=5e-4)
        assert round(self.line.residual_deviation, 4) == published["s"]
        assert self.line.degrees_of_freedom == 9

    def test_a_predicted_correction(self) -> None:
        full = GUM["H3"]["full_precision"]
        predicted = self.line.at(30.0)
        assert predicted.nominal_value == pytest.approx(full["b30"], rel=1e-10)
        assert predicted.std_dev == pytest.approx(full["u30"], rel=1e-10)

    def test_the_line_is_one_source_of_nine_degrees_of_freedom(self) -> None:
        found = budget(self.line.at(30.0))
        assert [line.source for line in found.lines] == ["calibration"]
        assert found.degrees_of_freedom == pytest.approx(9.0, rel=1e-12)

    def test_too_few_points_make_no_line(self) -> None:
        with pytest.raises(FitImpossible, match="3 points at 2 places"):
            fit_line("scatter", [1.0, 2.0], [1.0, 2.0])
        with pytest.raises(FitImpossible, match="1 places"):
            fit_line("scatter", [1.0, 1.0, 1.0], [1.0, 2.0, 3.0])
        with pytest.raises(ValueOutOfRange, match="pairs"):
            fit_line("scatter", [1.0, 2.0, 3.0], [1.0, 2.0])


class TestCoverage:
    @pytest.mark.parametrize(
        ("freedom", "p95", "p99"),
        [(1, 12.71, 63.66), (4, 2.78, 4.60), (9, 2.26, 3.25), (16, 2.12, 2.92), (math.inf, 1.960, 2.576)],
    )
    def test_guide_table_g2(self, freedom: float, p95: float, p99: float) -> None:  # JCGM 100:2008, table G.2
        assert coverage_factor(0.95, freedom) == pytest.approx(p95, abs=0.005)
        assert coverage_factor(0.99, freedom) == pytest.approx(p99, abs=0.005)

    @given(st.floats(0.5, 0.999), st.floats(1.0, 500.0))
    def test_factor_is_that_of_scipy(self, coverage: float, freedom: float) -> None:
        expected = stats.t.ppf(0.5 + coverage / 2, freedom)
        assert coverage_factor(coverage, freedom) == pytest.approx(expected, rel=1e-8)

    def test_truncation_never_narrows(self) -> None:
        assert coverage_factor(0.95, 16.9, truncated=True) == coverage_factor(0.95, 16) > coverage_factor(0.95, 16.9)
        with pytest.raises(ValueOutOfRange, match="at least 1"):
            coverage_factor(0.95, 0.9, truncated=True)

    @pytest.mark.parametrize("coverage", [0.0, 1.0, 95.0])
    def test_coverage_is_a_fraction(self, coverage: float) -> None:
        with pytest.raises(ValueOutOfRange, match=r"Write 0\.95"):
            coverage_factor(coverage)

    @given(st.lists(st.tuples(st.floats(1e-3, 1e3), st.floats(1.0, 100.0)), min_size=1, max_size=6))
    def test_combined_degrees_of_freedom_lie_between_the_least_and_the_sum(
        self, parts: list[tuple[float, float]]
    ) -> None:  # GUM G.4.1: ν_eff is at most the sum
        components, freedom = zip(*parts, strict=True)
        found = effective_degrees_of_freedom(components, freedom)
        assert min(freedom) * (1 - 1e-12) <= found <= sum(freedom) * (1 + 1e-12)

    def test_sources_without_doubt_leave_a_normal_distribution(self) -> None:
        assert effective_degrees_of_freedom([1.0, 2.0], [math.inf, math.inf]) == math.inf
        assert effective_degrees_of_freedom([0.0], [3.0]) == math.inf
        stated = report(budget(source("scale", 0.1, 0.001)), "g")
        assert "normal distribution" in stated
        assert "times 1.96" in stated

    def test_a_comma_reader_reads_commas_throughout(self) -> None:
        stated = report(budget(source("scale", 0.1, 0.0012, 9)), "g", 0.9545, decimal=",").replace("\u00a0", " ")
        assert stated.startswith("100,0 ± 2,8 g (95,45 % coverage; standard uncertainty times 2,32")

    @pytest.mark.parametrize(("doubt", "freedom"), [(0.25, 8.0), (0.5, 2.0), (0.1, 50.0)])
    def test_judged_degrees_of_freedom(self, doubt: float, freedom: float) -> None:
        assert freedom_of_judgement(doubt) == pytest.approx(freedom, rel=1e-12)  # GUM G.4.2 and H.1.6


class TestTypeB:
    def test_divisors(self) -> None:
        # GUM 4.3.7, 4.3.9 and H.1.3.4 (a cycle of temperature)
        assert width(Spread.RECTANGULAR, 1.0) == pytest.approx(0.5773503, abs=5e-8)
        assert width(Spread.TRIANGULAR, 1.0) == pytest.approx(0.4082483, abs=5e-8)
        assert width(Spread.ARCSINE, 1.0) == pytest.approx(0.7071068, abs=5e-8)

    @pytest.mark.parametrize("spread", list(Spread))
    def test_every_divisor_is_that_of_its_distribution(self, spread: Spread) -> None:
        values = distribution(3.0, 0.6, spread)(np.random.default_rng(11), 200_000)
        # relative standard error of a standard deviation is at most 1/sqrt(2n) = 0.0016: four of them
        assert values.std() == pytest.approx(width(spread, 0.6), rel=0.0065)
        assert values.mean() == pytest.approx(3.0, abs=4 * 0.6 / math.sqrt(200_000))

    def test_a_written_quantity_becomes_a_source(self) -> None:
        radius = quantity_source("ruler", read_quantity("150 ± 1 mm", Dimension.LENGTH))
        assert radius.std_dev == pytest.approx(0.001 / math.sqrt(3), rel=1e-12)

    def test_without_a_stated_uncertainty_the_last_digit_counts(self) -> None:
        mass = quantity_source("scale", read_quantity("25 g", Dimension.MASS))
        assert mass.std_dev == pytest.approx(0.29 * 0.001, rel=0.005)  # GUM F.2.2.1: 0.29 times the step


class TestWhatIsNoSource:
    @pytest.mark.parametrize(
        ("value", "u", "freedom", "named"),
        [
            (1.0, -0.1, 5.0, "standard uncertainty of scale"),
            (1.0, math.nan, 5.0, "standard uncertainty of scale"),
            (math.nan, 0.1, 5.0, "value of scale"),
            (1.0, 0.1, 0.0, "degrees of freedom of scale"),
        ],
    )
    def test_a_number_out_of_range_is_named(self, value: float, u: float, freedom: float, named: str) -> None:
        with pytest.raises(ValueOutOfRange, match=named):
            source("scale", value, u, freedom)

    def test_readings_that_are_all_alike_do_not_mean_no_uncertainty(self) -> None:
        with pytest.raises(ValueOutOfRange, match="step of the last digit"):
            observed_together("repeats", [[1.0, 2.0], [1.0, 3.0]])

    def test_one_reading_is_no_repeat(self) -> None:
        with pytest.raises(ValueOutOfRange, match="at least 2"):
            observed_together("repeats", [1.0])

    def test_an_exact_number_has_a_budget_of_nothing(self) -> None:
        found = budget(source("definition", 9.80665, 0.0))
        assert (found.standard_uncertainty, found.lines[0].share) == (0.0, 0.0)


class TestSecondOrder:
    def test_a_square_about_zero_has_only_second_order(self) -> None:
        # x² of N(0, u²) is u² chi² with variance 2 u⁴
        assert second_order_variance(lambda x: x**2, [0.0], [0.3]) == pytest.approx(2 * 0.3**4, rel=1e-12)

    def test_a_cube_has_the_mixed_term(self) -> None:
        # var x³ about m: 9 m⁴ u² + 36 m² u⁴ + 15 u⁶; the second term is of second order
        assert second_order_variance(lambda x: x**3, [2.0], [0.1]) == pytest.approx(36 * 4 * 1e-4, rel=1e-8)

    def test_a_straight_formula_has_none(self) -> None:
        extra = second_order_variance(lambda x, y: 3 * x - 2 * y + 1, [1.0, 2.0], [0.1, 0.2])
        assert extra == pytest.approx(0.0, abs=1e-12)


def added(*inputs: Array) -> Array:
    """Additive model of the supplement, 9.2."""
    return np.asarray(np.sum(inputs, axis=0), dtype=np.float64)


class TestSupplementOne:
    """JCGM 101:2008, section 9. Seeds are fixed; each tolerance is at least four standard errors of the draws."""

    draws = 1_000_000

    def test_four_normal_inputs(self) -> None:  # 9.2.2: u = 2.00, 95 % ± 3.92
        found = sampled(added, [distribution(0.0, 1.0, Spread.STANDARD)] * 4, np.random.default_rng(922), self.draws)
        assert found.standard_uncertainty == pytest.approx(2.0, abs=4 * 2 / math.sqrt(2 * self.draws))
        assert found.high - found.low == pytest.approx(2 * 3.9199, abs=0.03)
        assert (found.low, found.high) == pytest.approx((-3.92, 3.92), abs=0.1)  # a shortest interval shifts easily

    def test_four_rectangular_inputs_of_unit_deviation(self) -> None:  # 9.2.3: ± 3.88
        inputs = [distribution(0.0, math.sqrt(3), Spread.RECTANGULAR)] * 4
        found = sampled(added, inputs, np.random.default_rng(923), self.draws)
        assert found.standard_uncertainty == pytest.approx(2.0, abs=0.006)
        assert found.high - found.low == pytest.approx(2 * 3.87940674, abs=0.03)

    def test_one_dominant_rectangular_input(self) -> None:  # 9.2.4: u = 10.1, ± 17.0, where the GUM gives ± 19.9
        halves = [math.sqrt(3) * deviation for deviation in (1.0, 1.0, 1.0, 10.0)]
        inputs = [distribution(0.0, half, Spread.RECTANGULAR) for half in halves]
        found = sampled(added, inputs, np.random.default_rng(924), self.draws)
        assert found.standard_uncertainty == pytest.approx(10.1489, abs=0.03)
        assert found.high - found.low == pytest.approx(2 * 17.0158, abs=0.05)
        assert coverage_factor(0.95) * found.standard_uncertainty == pytest.approx(19.89, abs=0.06)

    def test_a_reflection_near_zero(self) -> None:  # 9.4.2.2.1: x1 = 0, u = 0.005: 50e-6, 50e-6, [0, 150e-6]
        inputs = [distribution(0.0, 0.005, Spread.STANDARD)] * 2
        found = sampled(lambda x, y: x**2 + y**2, inputs, np.random.default_rng(942), self.draws)
        assert found.value == pytest.approx(50e-6, abs=0.2e-6)
        assert found.standard_uncertainty == pytest.approx(50e-6, abs=0.3e-6)
        assert found.low == pytest.approx(0.0, abs=0.05e-6)
        assert found.high == pytest.approx(149.79e-6, abs=1e-6)  # −2 u² ln 0.05

    def test_few_readings_have_wider_tails(self) -> None:  # 6.4.9.4: u = sqrt(ν/(ν − 2)) s/√n
        values = student(1.0, 0.1, 9)(np.random.default_rng(649), 400_000)
        assert values.std() == pytest.approx(0.1 * math.sqrt(9 / 7), rel=0.01)

    def test_an_input_used_twice_is_one_input(self) -> None:
        gone = sampled(lambda x: x - x, [distribution(5.0, 1.0, Spread.STANDARD)], np.random.default_rng(1), 1_000)
        assert gone.standard_uncertainty == 0.0

    def test_one_seed_gives_one_result(self) -> None:
        inputs = [distribution(0.0, 1.0, Spread.TRIANGULAR)]
        first, second = (sampled(added, inputs, np.random.default_rng(5), 1_000) for _ in range(2))
        assert (first.low, first.high) == (second.low, second.high)


class TestWhatCannotBeSampled:
    def test_a_formula_that_fails_somewhere_is_said(self) -> None:
        def inverse(x: Array) -> Array:
            return np.where(np.abs(x) < 0.1, np.nan, x)

        with pytest.raises(ValueOutOfRange, match="of 1000 draws"):
            sampled(inverse, [distribution(0.0, 1.0, Spread.STANDARD)], np.random.default_rng(1), 1_000)

    def test_a_formula_that_sums_up_is_refused(self) -> None:
        def total(x: Array) -> Array:
            return np.asarray(x.sum())

        with pytest.raises(ValueOutOfRange, match="shape"):
            sampled(total, [distribution(0.0, 1.0, Spread.STANDARD)], np.random.default_rng(1), 1_000)

    def test_too_few_samples_have_no_interval(self) -> None:
        with pytest.raises(ValueOutOfRange, match="at least 1000"):
            shortest_interval(np.arange(999.0), 0.99)

    def test_a_distribution_has_a_width_and_degrees_of_freedom(self) -> None:
        with pytest.raises(ValueOutOfRange, match="half-width"):
            distribution(0.0, -1.0, Spread.RECTANGULAR)
        with pytest.raises(ValueOutOfRange, match="degrees of freedom"):
            student(0.0, 1.0, 0.0)
        with pytest.raises(ValueOutOfRange, match="doubt"):
            freedom_of_judgement(0.0)
        with pytest.raises(ValueOutOfRange, match="degrees of freedom"):
            effective_degrees_of_freedom([1.0], [0.0])
