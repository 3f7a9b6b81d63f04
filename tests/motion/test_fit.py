"""The rundown fit: exact recovery, laws of scaling, linear theory on seven cases, convergence and refusals."""

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from truerun.errors import FitImpossible, ValueOutOfRange
from truerun.motion.drag_curve import named_terms
from truerun.motion.drift import with_drift
from truerun.motion.fit import fit_rundown
from truerun.motion.hill import capture_speed, hill_height, turned_hill
from truerun.motion.prediction import Prediction, predict
from truerun.motion.rundown import FitDoubt, Rundown
from truerun.motion.turn_map import Caught, Solver
from truerun.motion.window import fit_window
from truerun.virtual.fit_rates import STRAIGHT, distances, fitted
from truerun.virtual.rotor import Rotor, jittered, simulate_passes
from truerun.virtual.wheels import CASES, LEAD, Truth, power_drag, random_wheel, truth

SHORT = 600


def coefficients(rundown: Rundown) -> NDArray[np.float64]:
    return rundown.drag.basis.mixing @ rundown.drag.weights


class TestExactTimesGiveBackTheWheel:
    @pytest.mark.parametrize("name", CASES)
    def test_drag_hill_and_spacing(self, name: str) -> None:
        # truth: DOP853 at rtol 1e-13; its own error of 1e-11 s is what is left
        wheel = truth(name, SHORT)
        rundown = fitted(wheel, wheel.motion.times)
        np.testing.assert_allclose(coefficients(rundown), wheel.drag, rtol=3e-8)
        np.testing.assert_allclose(rundown.spacing, wheel.spacing, atol=1e-8)
        assert rundown.spacing.sum() == pytest.approx(0.0, abs=1e-12)
        if rundown.hill is not None:
            np.testing.assert_allclose(rundown.hill.cosine, wheel.cosine, atol=1e-6)
            np.testing.assert_allclose(rundown.hill.sine, wheel.sine, atol=1e-6)

    def test_capture_speed_is_that_of_the_top(self) -> None:
        wheel = truth("usual", SHORT)
        hill = fitted(wheel, wheel.motion.times).hill
        assert hill is not None
        angle = np.linspace(0, 2 * np.pi, 200_001)
        waves = enumerate(zip(wheel.cosine, wheel.sine, strict=True), start=1)
        heights = np.sum([a * np.cos(k * angle) + b * np.sin(k * angle) for k, (a, b) in waves], axis=0)
        assert capture_speed(hill)[0] == pytest.approx(np.sqrt(2 * heights.max()), rel=1e-6)
        assert hill_height(hill)[0] == pytest.approx(np.ptp(heights), rel=1e-6)

    def test_named_terms_of_a_series_are_the_powers_it_was_made_of(self) -> None:
        wheel = truth("usual", SHORT)
        series = fit_rundown(wheel.motion.times, 12, terms=5, harmonics=3)
        named = named_terms(series.drag, (0, 1, 2), series.speed_low, series.speed_high)
        np.testing.assert_allclose(named.coefficients, wheel.drag, rtol=1e-5)  # five terms are less well determined
        assert named.misfit < 1e-7


class TestLawsOfScaling:
    def wheel(self) -> tuple[Truth, NDArray[np.float64], Rundown]:
        wheel = truth("usual", SHORT)
        times = jittered(wheel.motion.times, 2e-5, np.random.default_rng(8))
        return wheel, times, fit_rundown(times, 12, terms=(0, 1, 2), harmonics=3)

    def test_a_later_start_changes_nothing(self) -> None:
        _, times, rundown = self.wheel()
        later = fit_rundown(times + 1000.0, 12, terms=(0, 1, 2), harmonics=3)
        np.testing.assert_allclose(coefficients(later), coefficients(rundown), rtol=1e-6)  # 1e-13 of 1000 s is lost

    def test_a_clock_that_counts_from_1970_costs_no_more_than_its_last_digit(self) -> None:
        # passes of w0 = 60, f = .5 rad/s^2 solved by hand; at 1.7e9 s a float steps by 2.4e-7 s
        turned = 2 * np.pi * np.arange(9)
        times = (60 - np.sqrt(3600 - turned)) / 0.5
        rundown = with_drift(fit_rundown(1.7e9 + times, 1, terms=2))
        window = fit_window(rundown, 59.9, 59.7)
        assert 1e-8 < rundown.sigma < 2.4e-7
        assert 0 < window.time_uncertainty < 1e-3
        assert window.time == pytest.approx(0.4, abs=4 * window.time_uncertainty)

    def test_a_slow_clock_scales_drag_and_hill_by_its_square(self) -> None:
        _, times, rundown = self.wheel()
        slow = fit_rundown(times * 2, 12, terms=(0, 1, 2), harmonics=3)
        scale = np.array([4.0, 2.0, 1.0])
        np.testing.assert_allclose(coefficients(slow) * scale, coefficients(rundown), rtol=1e-6)
        assert slow.hill is not None
        assert rundown.hill is not None
        np.testing.assert_allclose(slow.hill.coefficients * 4, rundown.hill.coefficients, rtol=1e-5, atol=1e-8)
        assert slow.sigma == pytest.approx(2 * rundown.sigma, rel=1e-6)

    def test_naming_another_mark_zero_turns_the_hill(self) -> None:
        _, times, rundown = self.wheel()
        renamed = fit_rundown(times, 12, terms=(0, 1, 2), harmonics=3, counts=np.arange(SHORT) + 5)
        assert renamed.hill is not None
        assert rundown.hill is not None
        turned, _ = turned_hill(rundown.hill.coefficients, 5 * 2 * np.pi / 12)
        np.testing.assert_allclose(renamed.hill.coefficients, turned, rtol=1e-9, atol=1e-9)
        np.testing.assert_allclose(renamed.spacing, np.roll(rundown.spacing, 5), atol=1e-12)

    def test_missing_passes_only_cost_precision(self) -> None:
        wheel, times, rundown = self.wheel()
        kept = np.random.default_rng(4).random(SHORT) > 0.1
        thinned = fit_rundown(times[kept], 12, terms=(0, 1, 2), harmonics=3, counts=np.flatnonzero(kept))
        width = np.sqrt(np.diag(thinned.drag.covariance))
        assert (np.abs(thinned.drag.basis.mixing @ thinned.drag.weights - wheel.drag) < 1e-3 * wheel.drag).all()
        assert (width > 0.9 * np.sqrt(np.diag(rundown.drag.covariance))).all()

    def test_marks_at_uneven_places_are_given_by_their_angles(self) -> None:
        places = np.array([0, 1, 3, 7, 8]) * 2 * np.pi / 12  # five of twelve places used
        rotor = Rotor(power_drag(np.array([0.05, 0.01]), (0, 1)), (0.4, 0.1), (0.0, -0.2), tuple(places + LEAD))
        times = simulate_passes(rotor, 12.0, 300).times
        rundown = fit_rundown(times, 5, terms=(0, 1), harmonics=2, mark_angles=places)
        np.testing.assert_allclose(coefficients(rundown), [0.05, 0.01], rtol=1e-8)
        np.testing.assert_allclose(rundown.spacing, 0.0, atol=1e-8)
        assert rundown.hill is not None
        expected, _ = turned_hill(np.array([0.4, 0.0, 0.1, -0.2]), -LEAD)
        np.testing.assert_allclose(rundown.hill.coefficients, expected, atol=1e-7)


class TestTheFitIsAsGoodAsLinearTheory:
    """Cramer-Rao: on clean times with Gaussian errors no unbiased fit scatters less than linear theory says."""

    @pytest.mark.parametrize("name", STRAIGHT)
    def test_on_short_recordings(self, name: str) -> None:
        found = distances(name, SHORT, 12, np.random.default_rng(1000))
        allowed = 4 * np.sqrt(2 / (found.size * 12))  # 4 standard errors; seeds are fixed, so this cannot fail by luck
        assert found.far < 0.05  # a third of the passes, so more bent than the full case
        assert abs(found.square - 1) < allowed
        assert abs(found.fall - 1) < allowed

    def test_bent_directions_are_judged_by_the_fall_of_chi_squared(self) -> None:
        # with 1 ms the hill is known to a fifth of itself: its square enters the times, so e'He/p is no test here
        found = distances("1 ms timing, ratio 3", SHORT, 12, np.random.default_rng(1000))
        assert abs(found.fall - 1) < 4 * np.sqrt(2 / (found.size * 12))


class TestEveryFitConverges:
    """Speed ratio from 1.5, hill up to 90 % of capture: chi-squared must come out at what the noise is."""

    @pytest.mark.parametrize("seed", range(8))
    def test_on_a_random_rotor(self, seed: int) -> None:
        rng = np.random.default_rng(seed)
        wheel = random_wheel(rng)
        marks = len(wheel.rotor.marks)
        motion = simulate_passes(wheel.rotor, wheel.speed, wheel.turns * marks)
        if not motion.finished:
            pytest.skip("this wheel is caught before its last pass")
        sigma = float(np.exp(rng.uniform(np.log(1e-6), np.log(1e-4))))
        times = jittered(motion.times, sigma, rng)
        rundown = fit_rundown(times, marks, terms=(0, 1, 2), harmonics=wheel.harmonics, sigma=sigma)
        assert rundown.misfit is not None
        assert abs(rundown.misfit - 1) < 5 * np.sqrt(2 / rundown.freedom)  # chance 1e-6; the seed is fixed
        assert FitDoubt.MISFIT not in rundown.doubts


class TestWhatCannotBeFittedIsSaid:
    def test_a_wheel_that_a_finer_look_says_is_caught(self, monkeypatch: pytest.MonkeyPatch) -> None:
        # seen with wheels that hardly slow down: what got over its bump at a coarse look does not at a finer one
        coarse: list[int] = []

        def finer_is_caught(solver: Solver, *rest: Any) -> Prediction:
            coarse.append(solver.nodes)
            if solver.nodes > coarse[0]:
                raise Caught
            return predict(solver, *rest)

        monkeypatch.setattr("truerun.motion.growth.predict", finer_is_caught)
        wheel = truth("usual", SHORT)
        with pytest.raises(FitImpossible, match="Cut off the slowest turns"):
            fitted(wheel, wheel.motion.times)

    def times(self) -> NDArray[np.float64]:
        return truth("4 marks", SHORT).motion.times

    def test_a_rising_speed_is_no_rundown(self) -> None:
        with pytest.raises(FitImpossible, match="must slow down"):
            fit_rundown(-self.times()[::-1], 4)

    def test_too_few_turns(self) -> None:
        with pytest.raises(FitImpossible, match="at least 3 turns"):
            fit_rundown(self.times()[:9], 4)

    def test_fewer_passes_than_parameters(self) -> None:
        with pytest.raises(FitImpossible, match="needs at least"):
            fit_rundown(truth("1 mark, no hill", SHORT).motion.times[:6], 1, terms=5)

    def test_more_harmonics_than_the_marks_can_carry(self) -> None:
        with pytest.raises(ValueOutOfRange, match="0 to 1 with 4 marks"):
            fit_rundown(self.times(), 4, harmonics=2)

    def test_times_that_do_not_increase(self) -> None:
        times = self.times().copy()
        times[7] = times[6]
        with pytest.raises(ValueOutOfRange, match="increasing"):
            fit_rundown(times, 4)

    def test_mark_angles_of_the_wrong_number(self) -> None:
        with pytest.raises(ValueOutOfRange, match="one for each mark"):
            fit_rundown(self.times(), 4, mark_angles=np.array([0.0, 1.0]))

    def test_a_wrong_sigma_is_a_doubt_in_the_record(self) -> None:
        times = jittered(self.times(), 1e-4, np.random.default_rng(0))
        wrong = fit_rundown(times, 4, terms=(0, 1, 2), harmonics=1, sigma=1e-5)
        assert FitDoubt.MISFIT in wrong.doubts
        right = fit_rundown(times, 4, terms=(0, 1, 2), harmonics=1, sigma=1e-4)
        assert FitDoubt.MISFIT not in right.doubts

    def test_a_range_too_short_for_the_terms_is_refused_or_doubted(self) -> None:
        # four turns: seven terms of drag cannot be told apart
        times = jittered(truth("usual", SHORT).motion.times[:48], 2e-5, np.random.default_rng(0))
        try:
            rundown = fit_rundown(times, 12, terms=7, harmonics=0, sigma=2e-5)
        except FitImpossible:
            return
        assert FitDoubt.WEAK in rundown.doubts or FitDoubt.MISFIT in rundown.doubts
