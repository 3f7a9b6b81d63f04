"""The interval of a ratio: the quadratic by hand, the three shapes, coverage."""

import math

import numpy as np
import pytest
from scipy import stats

from truerun.errors import ValueOutOfRange
from truerun.stats.ratio import Reach, fieller


class TestTheQuadraticByHand:
    def test_known_variances(self) -> None:
        # E. C. Fieller (1954): (a - r b)^2 = t^2 (va - 2 r c + r^2 vb); with a 3, b 4, va vb 1, c .5 and t^2 4:
        # (16 - 4) r^2 - 2 (12 - 2) r + (9 - 4) = 0, so r = (10 +- sqrt(100 - 60)) / 12
        alpha = 2 * float(stats.norm.sf(2))
        found = fieller(3.0, 4.0, (1.0, 1.0), 0.5, alpha=alpha)
        assert found.reach is Reach.BOUNDED
        assert found.value == 0.75
        assert (found.low, found.high) == pytest.approx(((10 - 40**0.5) / 12, (10 + 40**0.5) / 12), rel=1e-12)

    def test_degrees_of_freedom_widen_it(self) -> None:
        alpha = 2 * float(stats.t.sf(2, 7))
        found = fieller(3.0, 4.0, (1.0, 1.0), 0.5, df=7, alpha=alpha)
        assert found.low == pytest.approx((10 - 40**0.5) / 12, rel=1e-12)

    def test_the_ends_are_where_a_t_test_just_rejects(self) -> None:
        found = fieller(1.2, 3.0, (0.2, 0.3), -0.1, df=9)
        for end in (found.low, found.high):
            assert end is not None
            error = math.sqrt(0.2 + 2 * end * 0.1 + end**2 * 0.3)
            assert 2 * stats.t.sf(abs(1.2 - 3.0 * end) / error, 9) == pytest.approx(0.05, rel=1e-9)

    def test_a_denominator_without_error_is_a_plain_interval(self) -> None:
        found = fieller(3.0, 2.0, (0.25, 0.0))
        half = stats.norm.ppf(0.975) * 0.5
        assert (found.low, found.high) == pytest.approx(((3 - half) / 2, (3 + half) / 2), rel=1e-12)


class TestWhenTheDenominatorMayBeZero:
    def test_one_stretch_is_ruled_out(self) -> None:
        found = fieller(5.0, 0.5, (1.0, 1.0))
        assert (found.reach, found.low, found.high) == (Reach.OUTSIDE, None, None)
        assert found.excluded is not None
        first, second = found.excluded
        t2 = stats.norm.ppf(0.975) ** 2
        for ratio, allowed in ((first - 0.01, True), (first + 0.01, False), (second - 0.01, False), (10.0, True)):
            assert bool((5 - 0.5 * ratio) ** 2 <= t2 * (1 + ratio**2)) is allowed

    def test_nothing_is_ruled_out(self) -> None:
        found = fieller(0.5, 0.5, (1.0, 1.0))
        assert (found.reach, found.low, found.high, found.excluded) == (Reach.EVERYTHING, None, None, None)

    def test_a_denominator_of_exactly_zero_has_no_value(self) -> None:
        assert fieller(5.0, 0.0, (1.0, 1.0)).value is None

    def test_a_covariance_that_cannot_be_is_refused(self) -> None:
        with pytest.raises(ValueOutOfRange, match="covariance"):
            fieller(1.0, 1.0, (1.0, 1.0), 1.5)


class TestSymmetry:
    def test_turning_both_signs_changes_nothing(self) -> None:
        one, other = fieller(3.0, 4.0, (1.0, 1.0), 0.5), fieller(-3.0, -4.0, (1.0, 1.0), 0.5)
        assert (one.low, one.high) == pytest.approx((other.low, other.high), rel=1e-12)

    def test_turning_one_sign_mirrors_it(self) -> None:
        one, other = fieller(3.0, 4.0, (1.0, 1.0), 0.5), fieller(-3.0, 4.0, (1.0, 1.0), -0.5)
        assert other.low is not None
        assert one.high == pytest.approx(-other.low, rel=1e-12)

    def test_zero_in_the_middle(self) -> None:
        found = fieller(0.0, 4.0, (1.0, 1.0))
        assert found.low is not None
        assert found.high == pytest.approx(-found.low, rel=1e-12)


def test_coverage_is_exact_whatever_the_shape() -> None:
    # 4000 draws at a denominator of two standard deviations; 95 % expected: outside 93.7 ... 96.3 by luck
    # once in 6000 seeds (binomial, 3.8 sd)
    rng = np.random.default_rng(2)
    truth, covered = 0.4, 0
    for a, b in rng.multivariate_normal([0.8, 2.0], [[1.0, 0.3], [0.3, 1.0]], size=4000):
        found = fieller(float(a), float(b), (1.0, 1.0), 0.3)
        if found.reach is Reach.BOUNDED:
            assert found.low is not None
            assert found.high is not None
            covered += found.low <= truth <= found.high
        elif found.excluded is not None:
            covered += not found.excluded[0] < truth < found.excluded[1]
        else:
            covered += 1
    assert 0.937 <= covered / 4000 <= 0.963
