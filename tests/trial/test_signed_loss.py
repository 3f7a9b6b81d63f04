"""Runs that do not reach the end. The motion comes from scipy's integrator, Fieller's interval from simulation."""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from truerun.errors import FitImpossible, ValueOutOfRange
from truerun.trial.signed_loss import SignedLosses, loss_drive, pooled_drag, signed_losses


def run_down(drag: tuple[float, float], help_: float, start: float, duration: float) -> float:
    """Speed after a time under dry and viscous drag less a constant help, by scipy's DOP853."""
    motion = solve_ivp(
        lambda _, w: -(drag[0] + drag[1] * w) + help_, (0.0, duration), [start], method="DOP853", rtol=1e-11, atol=1e-11
    )
    return float(motion.y[0, -1])


CONTROL = (0.05, 0.01)
SPEEDS = np.linspace(1.0, 25.0, 100)


def both(help_: float, starts: NDArray[np.float64], duration: float) -> tuple[SignedLosses, NDArray[np.bool_]]:
    """Give every start once with the source and once without, and the drag of all pooled."""
    source = np.arange(2 * starts.size) % 2 == 0
    first = np.repeat(starts, 2)
    last = np.array([run_down(CONTROL, help_ * on, w, duration) for w, on in zip(first, source, strict=True)])
    curves = np.array([CONTROL[0] + CONTROL[1] * SPEEDS - help_ * on for on in source])
    return signed_losses(first, last, np.full(first.size, duration), pooled_drag(SPEEDS, curves)), source


class TestTheSignedLoss:
    def test_is_that_of_the_drag_where_nothing_helps(self) -> None:
        losses, _ = both(0.0, np.array([20.0, 12.0]), 40.0)
        # the only error is the integrator's and 24 nodes of quadrature over straight lines
        assert losses.loss == pytest.approx(losses.expected, rel=1e-6)

    def test_of_a_wheel_that_gains_is_negative(self) -> None:
        losses, source = both(0.4, np.array([20.0, 18.0]), 30.0)
        assert (losses.loss[source] < 0).all()
        assert (losses.loss[~source] > 0).all()

    def test_stays_finite_for_a_wheel_that_keeps_its_speed(self) -> None:
        still = np.array([10.0])
        losses = signed_losses(still, still, np.array([60.0]), lambda speed: 0.1 + 0 * speed)
        assert losses.loss[0] == 0.0
        assert losses.expected[0] == pytest.approx(1.0)

    def test_does_not_depend_on_how_far_a_run_got(self) -> None:
        # without a drive the values of long and short, fast and slow runs are all 0
        long, _ = both(0.0, np.array([20.0, 12.0]), 80.0)
        short, _ = both(0.0, np.array([20.0, 12.0]), 10.0)
        assert np.abs(np.concatenate([long.values, short.values])).max() < 1e-5

    def test_of_a_self_runner_has_the_drag_that_all_share_as_its_measure(self) -> None:
        # pooled drag .05 + .01 w - .2 crosses 0; the straight path makes q_ref the mean of w f = (.05 - .2) w + .01 w^2
        losses, _ = both(0.4, np.array([20.0, 18.0]), 30.0)
        assert np.isfinite(losses.values).all()
        still = np.array([10.0])
        found = signed_losses(still, still, still, lambda speed: 0.01 * speed - 0.15)
        assert found.expected[0] == pytest.approx(-0.5)

    def test_needs_a_duration(self) -> None:
        with pytest.raises(ValueOutOfRange, match="time of a run"):
            signed_losses(np.array([9.0]), np.array([5.0]), np.array([0.0]), lambda speed: 0 * speed + 1)


class TestTheDriveFraction:
    @pytest.mark.parametrize("help_", [0.03, 0.15, 0.30])
    def test_is_that_at_the_speeds_of_the_runs(self, help_: float) -> None:
        starts = np.linspace(14.0, 22.0, 6)
        losses, source = both(help_, starts, 60.0)
        found = loss_drive(losses, source)
        # D(w) = help/(c0 + c1 w) over all speeds passed, from the fastest to the slowest one
        slowest = run_down(CONTROL, 0.0, 14.0, 60.0)
        low, high = (help_ / (CONTROL[0] + CONTROL[1] * w) for w in (30.0, slowest))
        assert found.ratio.value is not None
        assert low < found.ratio.value < high

    def test_interval_covers_as_often_as_it_says(self) -> None:
        # 1000 tests of 6 + 6 runs, true ratio .3: 950 +- 7 expected; outside 923 to 977 less than once in 10 000
        rng = np.random.default_rng(8)
        source = np.arange(12) % 2 == 0
        hits = 0
        for _ in range(1000):
            loss = np.where(source, 0.7, 1.0) + 0.1 * rng.standard_normal(12)
            found = loss_drive(SignedLosses(loss, np.full(12, 0.9)), source).ratio
            assert found.low is not None
            assert found.high is not None
            hits += found.low < 0.3 < found.high
        assert 923 <= hits <= 977

    def test_is_refused_where_the_control_loses_nothing_clearly(self) -> None:
        losses = SignedLosses(np.array([-1.0, 0.2, -0.8, -0.1, -0.9, 0.1]), np.full(6, 0.05))
        with pytest.raises(FitImpossible, match="not clearly above 0"):
            loss_drive(losses, np.array([True, False] * 3))

    def test_needs_two_runs_of_each_condition(self) -> None:
        with pytest.raises(ValueOutOfRange, match="runs of a condition is 1"):
            loss_drive(SignedLosses(np.ones(3), np.ones(3)), np.array([True, False, True]))
