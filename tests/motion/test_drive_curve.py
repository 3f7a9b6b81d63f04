"""Drive over speed: exact curves, the width of the band against the tube formula, coverage, refusals."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from truerun.errors import FitImpossible
from truerun.motion.drag_curve import DragTerms, power_basis
from truerun.motion.drive_curve import drive_curve, simultaneous_factor
from truerun.motion.fit import fit_rundown
from truerun.motion.rundown import Rundown
from truerun.virtual.wheels import truth

POWERS = (0.0, 1.0, 2.0)
CONTROL = np.array([0.05, 0.01, 0.001])


@cache
def any_rundown() -> Rundown:
    return fit_rundown(truth("4 marks", 600).motion.times, 4, terms=(0, 1, 2), harmonics=1)


def rundown_with(drag: NDArray[np.float64], spread: float = 0.0) -> Rundown:
    """A rundown from 20 to 2 rad/s with this drag, and errors of size ``spread`` in the three parts of its curve."""
    basis = power_basis(POWERS, 2.0, 20.0)
    covariance = spread**2 * np.eye(3) + 1e-18 * np.eye(3)
    terms = DragTerms(basis, np.asarray(np.linalg.solve(basis.mixing, drag)), covariance, covariance)
    return replace(any_rundown(), drag=terms, speed_low=2.0, speed_high=20.0)


def jittered_rundown(drag: NDArray[np.float64], spread: float, between: float, rng: np.random.Generator) -> Rundown:
    """The same with these errors drawn, and a dry drag that differs from run to run by ``between``."""
    exact = rundown_with(drag + np.array([between * rng.standard_normal(), 0.0, 0.0]), spread)
    moved = exact.drag.weights + spread * rng.standard_normal(3)
    return replace(exact, drag=replace(exact.drag, weights=moved))


def rng() -> np.random.Generator:
    return np.random.default_rng(20)


class TestExactDragsGiveTheExactCurve:
    def test_a_constant_drive_pays_a_share_that_falls_with_speed(self) -> None:
        # by hand: D = 0.03 / (0.05 + 0.01 w + 0.001 w^2)
        curve = drive_curve([rundown_with(CONTROL - np.array([0.03, 0, 0]))], [rundown_with(CONTROL)], rng())
        exact = 0.03 / (CONTROL @ curve.speed ** np.arange(3)[:, None])
        np.testing.assert_allclose(curve.drive, exact, rtol=1e-12)
        np.testing.assert_allclose(curve.low, exact, atol=1e-6)  # the stated errors are 1e-9
        assert curve.crossings == ()

    def test_source_and_control_exchanged_give_the_inverse_ratio(self) -> None:
        # Fieller's band has this symmetry, one from the spread of D has not
        source, control = rundown_with(CONTROL * 0.7, 1e-3), rundown_with(CONTROL, 1e-3)
        there, back = drive_curve([source], [control], rng()), drive_curve([control], [source], rng())
        np.testing.assert_allclose(1 - back.drive, 1 / (1 - there.drive), rtol=1e-12)
        np.testing.assert_allclose(1 - back.low, 1 / (1 - there.high), rtol=0.002)  # the factor is simulated

    def test_a_drive_that_falls_through_one_crosses_at_a_stable_speed(self) -> None:
        # net drag 0.02 (w - 8): D = 1 at 8 rad/s, D falls with speed there; D = 0 where 0.02 (w - 8) = control
        curve = drive_curve([rundown_with(np.array([-0.16, 0.02, 0.0]), 1e-3)], [rundown_with(CONTROL)], rng())
        (crossing,) = [crossing for crossing in curve.crossings if crossing.level == 1.0]
        assert crossing.speed == pytest.approx(8.0, abs=0.01)  # straight line between 61 speeds
        assert crossing.falling
        assert crossing.speed_low < 8.0 < crossing.speed_high
        assert crossing.low_side
        assert crossing.high_side
        # by hand: .02 w - .16 = .05 + .01 w + .001 w^2 has no root
        assert all(crossing.level == 1.0 for crossing in curve.crossings)

    def test_an_eddy_brake_beside_a_constant_drive_crosses_zero(self) -> None:
        # drive 0.03 and brake 0.004 w balance at 7.5 rad/s
        curve = drive_curve([rundown_with(CONTROL + np.array([-0.03, 0.004, 0.0]))], [rundown_with(CONTROL)], rng())
        (crossing,) = curve.crossings
        assert (crossing.level, crossing.falling) == (0.0, True)
        assert crossing.speed == pytest.approx(7.5, abs=0.01)


def tube_factor(covariance: NDArray[np.float64], confidence: float) -> float:
    """Two-sided factor by the tube formula: P = (k0/pi) exp(-c^2/2) + 2 (1 - Phi(c)), k0 the length of the unit curve.

    Sun and Loader 1994, Ann. Stat. 22:1328, simultaneous confidence bands for linear regression (from memory).
    """
    values, vectors = np.linalg.eigh(covariance)
    curve = vectors * np.sqrt(np.maximum(values, 0.0))
    curve /= np.linalg.norm(curve, axis=1)[:, None]
    length = float(np.linalg.norm(np.diff(curve, axis=0), axis=1).sum())
    factors = np.linspace(1.9, 3.5, 16001)
    missed = length / np.pi * np.exp(-(factors**2) / 2) + 2 * stats.norm.sf(factors)
    return float(np.interp(confidence - 1, -missed, factors))


class TestTheFactorOfASimultaneousBand:
    def quadratic(self) -> NDArray[np.float64]:
        """Covariance of a parabola fitted to even readings."""
        design = np.linspace(-1, 1, 301)[:, None] ** np.arange(3)
        return np.asarray(design @ np.linalg.inv(design.T @ design) @ design.T)

    def test_is_that_of_the_tube_formula_and_about_2_6_for_a_parabola(self) -> None:
        found = simultaneous_factor(self.quadratic(), rng())
        assert found == pytest.approx(tube_factor(self.quadratic(), 0.95), abs=0.04)  # simulation to 0.015
        assert 2.5 < found < 2.7
        assert found < np.sqrt(stats.chi2.ppf(0.95, 3))  # Scheffe's factor holds for all parabolas ever

    def test_a_pointwise_band_misses_a_parabola_in_a_fifth_of_all_cases(self) -> None:
        # method: 21 %; the quantile that 1.96 stands for
        assert simultaneous_factor(self.quadratic(), rng(), confidence=0.79) == pytest.approx(1.96, abs=0.04)

    @pytest.mark.parametrize("freedom", [1, 2, 6])
    def test_a_curve_that_only_moves_as_a_whole_needs_student_s_t(self, freedom: int) -> None:
        found = simultaneous_factor(np.ones((3, 3)), rng(), freedom=freedom)
        assert found == pytest.approx(stats.t.ppf(0.975, freedom), rel=0.08)  # 20 000 draws, 3 standard errors


class TestTheBandHoldsTheWholeCurve:
    def share_held(self, runs: int, between: float, spread: float = 2e-3) -> float:
        draw, held, cases = np.random.default_rng(3), 0, 80
        for _ in range(cases):
            sides = [
                [jittered_rundown(drag, spread, between, draw) for _ in range(runs)]
                for drag in (CONTROL - np.array([0.03, 0, 0]), CONTROL)
            ]
            curve = drive_curve(sides[0], sides[1], draw)
            exact = 0.03 / (CONTROL @ curve.speed ** np.arange(3)[:, None])
            held += bool(((curve.low <= exact) & (exact <= curve.high)).all())
        return held / cases

    def test_with_one_run_of_each(self) -> None:
        # 80 cases, standard error 2.4 %; a fixed seed
        assert 0.88 <= self.share_held(1, 0.0) <= 1.0

    def test_with_three_runs_of_each_that_differ(self) -> None:
        assert self.share_held(3, 3e-3) >= 0.88

    def test_one_run_of_each_does_not_know_how_runs_differ(self) -> None:
        curve = drive_curve([rundown_with(CONTROL, 1e-3)], [rundown_with(CONTROL, 1e-3)], rng())
        assert curve.freedom is None
        assert self.share_held(1, 0.02, 1e-3) < 0.7

    def test_runs_that_differ_widen_it(self) -> None:
        alike = [rundown_with(CONTROL, 1e-4)] * 3
        differing = [rundown_with(CONTROL + np.array([shift, 0, 0]), 1e-4) for shift in (-0.005, 0.0, 0.005)]
        narrow, wide = drive_curve(alike, alike, rng()), drive_curve(alike, differing, rng())
        assert wide.freedom == 4
        assert ((wide.high - wide.low) > 5 * (narrow.high - narrow.low)).all()


class TestWhatCannotBeSaid:
    def test_a_control_without_clear_drag_is_refused(self) -> None:
        control = rundown_with(np.array([-0.02, 0.01, 0.0]), 1e-4)  # 0 at 2 rad/s
        with pytest.raises(FitImpossible, match="not clearly above 0 from 2 to"):
            drive_curve([rundown_with(CONTROL, 1e-4)], [control], rng())

    def test_rundowns_that_share_no_speeds_are_refused(self) -> None:
        slow = replace(rundown_with(CONTROL), speed_high=3.0, speed_low=1.0)
        fast = replace(rundown_with(CONTROL), speed_high=20.0, speed_low=5.0)
        with pytest.raises(FitImpossible, match="share no range"):
            drive_curve([slow], [fast], rng())

    def test_a_condition_without_a_rundown_is_refused(self) -> None:
        with pytest.raises(FitImpossible, match="at least one of each"):
            drive_curve([], [rundown_with(CONTROL)], rng())
