"""Sample statistics against certified values of NIST and examples of the GUM."""

import json
from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.special import fdtri

from truerun.errors import ValueOutOfRange
from truerun.stats.sample import (
    day_components,
    doubt_of_standard_deviation,
    lag1_autocorrelation,
    mean,
    one_way,
    standard_deviation,
)

DATA = Path(__file__).parents[1] / "data"


def nist(name: str) -> Mapping[str, Any]:
    """One of the NIST Statistical Reference Datasets (a work of the US government)."""
    loaded: dict[str, Any] = json.loads((DATA / "nist" / f"{name}.json").read_text())
    return loaded


def grouped(rows: list[tuple[int, float]], less: Fraction = Fraction(0)) -> list[list[float]]:
    """Groups of an ANOVA set, with a number taken from the decimal text before it becomes a float."""
    groups: dict[int, list[float]] = {}
    for group, value in rows:
        groups.setdefault(group, []).append(float(Fraction(repr(value)) - less))
    return list(groups.values())


def exact_f(groups: list[list[float]]) -> float:
    """F of the floats given, in exact fractions."""
    samples = [[Fraction(value) for value in group] for group in groups]
    count = sum(len(sample) for sample in samples)
    grand = sum(sum(sample) for sample in samples) / count
    means = [sum(sample) / len(sample) for sample in samples]
    between = sum(len(s) * (m - grand) ** 2 for s, m in zip(samples, means, strict=True))
    within = sum((x - m) ** 2 for s, m in zip(samples, means, strict=True) for x in s)
    return float(between / (len(samples) - 1) / (within / (count - len(samples))))


class TestCertifiedUnivariateSets:
    @pytest.mark.parametrize("name", ["univ_Michelso", "univ_Mavro", "univ_Lew"])
    def test_mean_deviation_and_autocorrelation(self, name: str) -> None:
        reference = nist(name)
        data, certified = reference["data"], reference["certified"]
        assert mean(data) == pytest.approx(certified["mean"], rel=1e-14)
        # Decimals such as 2.0018 are rounded to 2e-16 as floats, their spread of 4e-4 (Mavro) only to 1e-12.
        assert standard_deviation(data) == pytest.approx(certified["sd"], rel=1e-12)
        assert lag1_autocorrelation(data) == pytest.approx(certified["lag1"], rel=1e-12)

    def test_the_autocorrelation_sees_the_order_and_the_deviation_does_not(self) -> None:
        data = nist("univ_Michelso")["data"]
        assert standard_deviation(sorted(data)) == pytest.approx(standard_deviation(data), rel=1e-12)
        assert lag1_autocorrelation(sorted(data)) > 0.9


class TestCertifiedAnalysesOfVariance:
    @pytest.mark.parametrize(
        ("name", "rel"),
        [
            ("anova_SiRstv", 1e-12),
            ("anova_SmLs01", 1e-12),
            ("anova_AtmWtAg", 1e-10),  # steps of 1e-5 on 108: exact arithmetic on the floats is 7e-11 away too
            ("anova_SmLs07", 4e-5),  # steps of 0.1 on 1e12: the floats themselves hold F = 21.00081
        ],
    )
    def test_f_of_the_data_as_floats(self, name: str, rel: float) -> None:
        reference = nist(name)
        assert one_way(grouped(reference["data"])).f == pytest.approx(reference["between"]["F"], rel=rel)

    @pytest.mark.parametrize("name", ["anova_SiRstv", "anova_AtmWtAg", "anova_SmLs01", "anova_SmLs07"])
    def test_nothing_is_lost_that_the_floats_hold(self, name: str) -> None:
        groups = grouped(nist(name)["data"])
        assert one_way(groups).f == pytest.approx(exact_f(groups), rel=1e-12)

    @pytest.mark.parametrize(("name", "less"), [("anova_SmLs07", 10**12), ("anova_AtmWtAg", 107)])
    def test_data_centred_as_text_give_the_certified_f(self, name: str, less: int) -> None:
        reference = nist(name)
        found = one_way(grouped(reference["data"], Fraction(less)))
        # 107.868 less 107 still carries steps of 1e-5 on 0.87, rounded to 1e-16: 1e-11
        assert found.f == pytest.approx(reference["between"]["F"], rel=1e-11)

    @pytest.mark.parametrize("name", ["anova_SiRstv", "anova_SmLs01"])
    def test_the_rest_of_the_table(self, name: str) -> None:
        reference = nist(name)
        found = one_way(grouped(reference["data"]))
        assert found.between_squares == pytest.approx(reference["between"]["ss"], rel=1e-11)
        assert found.within_squares == pytest.approx(reference["within"]["ss"], rel=1e-11)
        assert found.between_freedom == reference["between"]["df"]
        assert found.within_freedom == reference["within"]["df"]
        assert found.explained == pytest.approx(reference["r2"], rel=1e-11)
        assert found.residual_deviation == pytest.approx(reference["resid_sd"], rel=1e-11)

    def test_two_groups_give_the_square_of_students_t(self) -> None:
        # Student's sleep data, equal variances: t = -1.8608 with 18 degrees of freedom, p = 0.07919 (R, ?sleep)
        first = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0]
        second = [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4]
        found = one_way([first, second])
        assert found.f == pytest.approx(1.8608134674868526**2, rel=1e-12)
        assert found.p == pytest.approx(0.07919, abs=5e-6)


class TestRepeatsOnSeveralDays:
    def test_guide_example_h5(self) -> None:
        # JCGM 100:2008, H.5.2, table H.9: ten days, five readings a day, microvolts about 10 V
        example = json.loads((DATA / "gum_examples.json").read_text())["H5"]
        found = day_components(example["V_minus_10_uV"], example["s_uV"], example["K"])
        assert round(found.mean) == 97
        assert round(standard_deviation(example["V_minus_10_uV"])) == 57
        assert round(found.uncertainty * np.sqrt(50)) == 128  # s_a
        assert round(found.within) == 85  # s_b
        assert found.f == pytest.approx(2.25, abs=0.02)  # (128/85)² rounds to 2.27; unrounded 2.2615
        assert found.f == pytest.approx(example["full_precision"]["F"], rel=1e-12)
        assert (round(found.uncertainty), found.freedom) == (18, 9)
        assert round(found.between) == 43
        assert (round(found.pooled_uncertainty), found.pooled_freedom) == (13, 49)
        assert found.pooled_uncertainty == pytest.approx(example["full_precision"]["pooled_u"], rel=1e-12)

    def test_the_guides_f_lies_between_its_two_limits(self) -> None:
        # H.5.2.4: F.95(9,40) = 2.12, F.975(9,40) = 2.45
        assert float(fdtri(9, 40, 0.95)) == pytest.approx(2.12, abs=0.005)
        assert float(fdtri(9, 40, 0.975)) == pytest.approx(2.45, abs=0.005)
        example = json.loads((DATA / "gum_examples.json").read_text())["H5"]
        assert 0.025 < day_components(example["V_minus_10_uV"], example["s_uV"], example["K"]).p < 0.05

    def test_days_that_agree_too_well_have_no_component_of_their_own(self) -> None:
        assert day_components([10.0, 10.0, 10.1], [1.0, 1.0, 1.0], 4).between == 0.0

    def test_the_summary_agrees_with_the_analysis_of_the_readings(self) -> None:
        readings = np.random.default_rng(1).normal(size=(6, 5)) + np.arange(6)[:, None]
        summary = day_components(readings.mean(axis=1), readings.std(axis=1, ddof=1), 5)
        table = one_way(list(readings))
        assert (summary.f, summary.p) == pytest.approx((table.f, table.p), rel=1e-9)


class TestDoubtOfAStandardDeviation:
    @pytest.mark.parametrize(
        ("n", "percent"), [(2, 76), (3, 52), (4, 42), (5, 36), (10, 24), (20, 16), (30, 13), (50, 10)]
    )
    def test_guide_table_e1(self, n: int, percent: int) -> None:  # JCGM 100:2008, table E.1
        assert round(100 * doubt_of_standard_deviation(n)) == percent

    def test_many_readings_approach_the_simple_formula(self) -> None:
        # GUM E.4.3: [2(n − 1)]^(−1/2); the next term of the series is 1/(4n)
        assert doubt_of_standard_deviation(10_000) == pytest.approx(1 / np.sqrt(2 * 9_999), rel=1e-4)


class TestTooLittleIsRefused:
    def test_one_value_has_no_deviation(self) -> None:
        with pytest.raises(ValueOutOfRange, match="at least 2"):
            standard_deviation([1.0])

    def test_what_is_not_finite_is_no_value(self) -> None:
        with pytest.raises(ValueOutOfRange, match="finite"):
            mean([1.0, float("nan")])

    def test_equal_readings_have_no_autocorrelation(self) -> None:
        with pytest.raises(ValueOutOfRange, match="spread"):
            lag1_autocorrelation([2.0, 2.0, 2.0])

    def test_an_analysis_needs_groups_and_repeats(self) -> None:
        with pytest.raises(ValueOutOfRange, match="at least 2"):
            one_way([[1.0, 2.0]])
        with pytest.raises(ValueOutOfRange, match="inside the groups"):
            one_way([[1.0], [2.0]])

    def test_days_need_deviations_and_readings(self) -> None:
        with pytest.raises(ValueOutOfRange, match="as the means"):
            day_components([1.0, 2.0, 3.0], [1.0, 1.0], 5)
        with pytest.raises(ValueOutOfRange, match="readings a day"):
            day_components([1.0, 2.0], [1.0, 1.0], 1)
        with pytest.raises(ValueOutOfRange, match="within days"):
            day_components([1.0, 2.0], [0.0, 0.0], 3)

    def test_one_reading_says_nothing_of_its_spread(self) -> None:
        with pytest.raises(ValueOutOfRange, match="at least 2"):
            doubt_of_standard_deviation(1)
