"""Shapes of drift against their textbook laws; every statistical check has a fixed seed."""

import numpy as np
import pytest
from scipy import stats

from truerun.errors import ValueOutOfRange
from truerun.virtual.noise import (
    Autoregressive,
    Drift,
    LevelStep,
    Line,
    RandomWalk,
    SessionSteps,
    WarmUp,
    standard_normal,
)

REPETITIONS = 40_000


def generator(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


class TestNormalNumbersAreTheSameEverywhere:
    def test_the_first_is_the_quantile_of_the_uniform_number_that_numpy_documents(self) -> None:
        # numpy's page on random generators: default_rng(seed=42).random() is 0.7739560485559633
        expected = float(stats.norm.ppf(0.7739560485559633))
        assert standard_normal(generator(42), (1,))[0] == pytest.approx(expected, rel=1e-12)  # two quantile codes

    def test_they_are_normal(self) -> None:
        # Kolmogorov's test; a good generator fails this with chance 1 in 1000
        assert stats.kstest(standard_normal(generator(), (REPETITIONS,)), "norm").pvalue > 0.001

    def test_a_uniform_number_of_zero_gives_a_finite_one(self) -> None:
        class Zero:
            def random(self, shape: tuple[int, ...]) -> "np.ndarray[tuple[int, ...], np.dtype[np.float64]]":
                return np.zeros(shape)

        assert np.isfinite(standard_normal(Zero(), (2,))).all()  # type: ignore[arg-type]


class TestNoiseThatRemembersFollowsTheAutoregressiveLaw:
    # G. E. P. Box, G. M. Jenkins, Time Series Analysis (1970), section 3.2.3: rho_k = phi^k, one variance throughout

    def test_the_correlation_falls_as_a_power_of_the_distance(self) -> None:
        noise = Autoregressive(0.8, 2.0).draw(generator(), REPETITIONS, 6)
        found = np.asarray(np.corrcoef(noise.T))[0]
        # standard error of a correlation at most 1/sqrt(40 000) = .005: outside 4 of them by luck 1 in 3000
        np.testing.assert_allclose(found, 0.8 ** np.arange(6), atol=0.02)

    def test_the_spread_is_the_same_in_the_first_and_the_last_run(self) -> None:
        noise = Autoregressive(0.8, 2.0).draw(generator(), REPETITIONS, 12)
        # standard error of a standard deviation s/sqrt(2 n) = .007: outside 4 of them by luck 1 in 1300 for 12 runs
        np.testing.assert_allclose(noise.std(axis=0), 2.0, atol=0.028)

    @pytest.mark.parametrize("correlation", [1.0, -1.0, 1.5])
    def test_noise_that_never_settles_is_refused(self, correlation: float) -> None:
        with pytest.raises(ValueOutOfRange, match="between -1 and 1"):
            Autoregressive(correlation, 1.0)


class TestAWalkSpreadsWithTheRootOfTheRuns:
    def test_the_variance_grows_by_one_step_a_run(self) -> None:
        walk = RandomWalk(0.5).draw(generator(), REPETITIONS, 10)
        # relative standard error of a variance sqrt(2/n) = .7 %: outside 3 % by luck 1 in 2000 for 9 runs
        np.testing.assert_allclose(walk.var(axis=0)[1:], 0.25 * np.arange(1, 10), rtol=0.03)
        assert (walk[:, 0] == 0).all()


class TestFixedShapesHaveTheirSize:
    def test_a_line_rises_by_its_total_in_equal_steps_about_zero(self) -> None:
        line = Line(0.3).draw(generator(), 5, 7)[0]
        np.testing.assert_allclose(np.diff(line), 0.05, rtol=1e-12)  # rounding only
        assert line.sum() == pytest.approx(0.0, abs=1e-15)

    def test_a_warm_up_falls_to_its_e_th_part_in_its_time(self) -> None:
        warm = WarmUp(0.2, 4.0).draw(generator(), 5, 9)[0]
        assert warm[0] == -0.2
        np.testing.assert_allclose(warm[4:] / warm[:5], np.exp(-1.0), rtol=1e-12)  # rounding only

    @pytest.mark.parametrize("after", [0, 1, 5, 6])
    def test_a_step_comes_after_its_run_and_stays(self, after: int) -> None:
        step = LevelStep(0.1, after).draw(generator(), 5, 6)[0]
        assert step.tolist() == [0.0] * after + [0.1] * (6 - after)

    def test_a_session_has_one_level_and_the_next_another(self) -> None:
        levels = SessionSteps(1.0, 4).draw(generator(), 100, 10)
        assert (np.diff(levels, axis=1)[:, [0, 1, 2, 4, 5, 6, 8]] == 0).all()
        assert (np.diff(levels, axis=1)[:, [3, 7]] != 0).all()

    def test_a_warm_up_without_time_and_a_session_without_runs_are_refused(self) -> None:
        with pytest.raises(ValueOutOfRange, match="positive"):
            WarmUp(0.1, 0.0)
        with pytest.raises(ValueOutOfRange, match="1 or more"):
            SessionSteps(0.1, 0)


@pytest.mark.parametrize(
    "drift",
    [Line(0.1), WarmUp(0.1, 3.0), Autoregressive(0.5, 0.1), RandomWalk(0.1), LevelStep(0.1, 2), SessionSteps(0.1, 4)],
)
def test_the_same_seed_gives_the_same_drift_and_the_shape_is_right(drift: Drift) -> None:
    first, second = drift.draw(generator(7), 3, 12), drift.draw(generator(7), 3, 12)
    assert (first == second).all()
    assert first.shape in {(3, 12), (1, 12)}
