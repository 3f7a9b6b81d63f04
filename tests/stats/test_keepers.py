"""Several timekeepers: a published two-way table, statsmodels where readings are missing, simulation."""

import numpy as np
import pytest
import statsmodels.api as sm
from numpy.typing import NDArray

from truerun.errors import FitImpossible
from truerun.stats.keepers import timekeepers

# rows and columns without replication, with its table of variance: manual of Igor Pro, StatsANOVA2NRTest:
# columns 11.2881 (3), rows 21.3036 (5), remainder 3.91216 (15), mean square .260811
TWO_WAY = np.array(
    [
        [4.04, 5.08, 2.83, 3.06],
        [4.91, 4.68, 3.17, 2.71],
        [2.94, 1.90, 1.61, 2.02],
        [5.95, 5.26, 4.85, 4.45],
        [3.90, 4.85, 2.69, 2.93],
        [5.72, 5.14, 4.39, 3.29],
    ]
)


def with_gaps() -> NDArray[np.float64]:
    """Give the same table with four readings missing."""
    times = TWO_WAY.copy()
    times[[0, 2, 2, 5], [3, 0, 1, 2]] = np.nan
    return times


class TestPublishedTwoWayTable:
    found = timekeepers(TWO_WAY)

    def test_scatter(self) -> None:
        assert self.found.df == 15
        assert self.found.scatter is not None
        assert self.found.scatter**2 == pytest.approx(0.260811, abs=5e-7)

    def test_sums_of_squares_of_runs_and_keepers(self) -> None:
        assert 6 * (self.found.offsets**2).sum() == pytest.approx(11.2881, abs=5e-5)
        assert 4 * self.found.runs.var() * 6 == pytest.approx(21.3036, abs=5e-5)

    def test_full_tables_give_plain_means(self) -> None:
        assert self.found.runs == pytest.approx(TWO_WAY.mean(axis=1), rel=1e-12)
        assert self.found.offsets == pytest.approx(TWO_WAY.mean(axis=0) - TWO_WAY.mean(), rel=1e-10)
        assert self.found.offset_errors is not None
        # balanced: variance of a column mean less the general mean, s^2 (1/6 - 1/24)
        assert self.found.offset_errors == pytest.approx(np.full(4, (0.2608107 / 8) ** 0.5), rel=1e-5)


class TestMissingReadings:
    def test_against_statsmodels(self) -> None:
        times = with_gaps()
        row, column = np.nonzero(~np.isnan(times))
        # effects coded to sum to nought over the keepers
        keepers = np.vstack([np.eye(3), -np.ones((1, 3))])[column]
        reference = sm.OLS(times[row, column], np.hstack([np.eye(6)[row], keepers])).fit()
        found = timekeepers(times)
        assert found.scatter is not None
        assert found.run_errors is not None
        assert found.offset_errors is not None
        assert (found.scatter**2, found.df) == pytest.approx((reference.mse_resid, reference.df_resid), rel=1e-9)
        assert found.runs == pytest.approx(reference.params[:6], rel=1e-9)
        assert found.run_errors == pytest.approx(reference.bse[:6], rel=1e-9)
        assert found.offsets[:3] == pytest.approx(reference.params[6:], rel=1e-9)
        assert found.offset_errors[:3] == pytest.approx(reference.bse[6:], rel=1e-9)

    def test_the_last_keeper_has_the_error_that_another_order_of_keepers_gives(self) -> None:
        one, other = timekeepers(with_gaps()), timekeepers(with_gaps()[:, ::-1])
        assert one.offset_errors is not None
        assert other.offset_errors is not None
        assert one.offset_errors == pytest.approx(other.offset_errors[::-1], rel=1e-9)

    def test_a_run_timed_by_the_late_keeper_alone_is_corrected(self) -> None:
        true = np.array([60.0, 58.0, 61.0, 59.0])
        times = true[:, None] + np.array([-0.3, 0.3])
        times[2, 0] = np.nan
        found = timekeepers(times)
        assert found.runs == pytest.approx(true, rel=1e-12)
        assert found.scatter == pytest.approx(0.0, abs=1e-9)
        assert np.isnan(found.residuals[2, 0])

    def test_one_keeper_has_no_scatter(self) -> None:
        found = timekeepers(np.array([[60.0], [61.0]]))
        assert (found.scatter, found.offset_errors, found.run_errors, found.df) == (None, None, None, 0)
        assert found.runs.tolist() == [60.0, 61.0]

    def test_keepers_who_share_no_run_are_refused(self) -> None:
        nan = np.nan
        with pytest.raises(FitImpossible, match="do not share enough runs"):
            timekeepers(np.array([[60.0, 60.1, nan], [58.0, 58.1, nan], [nan, nan, 61.0]]))

    def test_keepers_joined_by_a_third_are_enough(self) -> None:
        nan = np.nan
        found = timekeepers(np.array([[60.0, 60.2, nan], [nan, 58.2, 58.3]]))
        assert found.offsets[2] - found.offsets[0] == pytest.approx(0.3, abs=1e-9)

    def test_a_run_without_a_reading_is_refused(self) -> None:
        with pytest.raises(FitImpossible, match="Run 2 has no reading"):
            timekeepers(np.array([[60.0, 60.1], [np.nan, np.nan]]))

    def test_a_keeper_without_a_reading_is_refused(self) -> None:
        with pytest.raises(FitImpossible, match="do not share"):
            timekeepers(np.array([[60.0, np.nan], [61.0, np.nan]]))


def test_the_scatter_is_what_was_put_in() -> None:
    # 400 tables of 12 runs by 3 keepers, .10 s each, two readings missing: variance .01 with 20 degrees of freedom;
    # the mean of 400 has sd .00016: off by .0006 by luck once in 6000 seeds (3.8 sd)
    rng = np.random.default_rng(4)
    variances = []
    for _ in range(400):
        times = rng.normal(60, 2, size=(12, 1)) + np.array([0.0, 0.2, -0.1]) + rng.normal(0, 0.1, size=(12, 3))
        times[[3, 7], [0, 2]] = np.nan
        found = timekeepers(times)
        assert found.scatter is not None
        assert found.df == 20
        variances.append(found.scatter**2)
    assert np.mean(variances) == pytest.approx(0.01, abs=0.0006)
