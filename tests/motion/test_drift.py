"""Drifting drag, the window and the choice of terms, on wheels that are integrated without the fit's code."""

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.motion.rotors import truth
from truerun.errors import FitImpossible, ValueOutOfRange
from truerun.motion.choice import choose_rundown
from truerun.motion.closed_forms import angle_between_speeds, time_between_speeds
from truerun.motion.drag_curve import drag_at
from truerun.motion.drift import with_drift
from truerun.motion.fit import fit_rundown
from truerun.motion.hill import capture_speed
from truerun.motion.window import fit_window
from truerun.virtual.rotor import jittered

TURNS, MARKS, LAUNCH, STEPS = 100, 4, 20.0, 24
SHAPE = np.array([0.03, 0.01, 0.0006])
FALL = np.linspace(LAUNCH, 4.0, 4001)
# the angle from 20 to 4 rad/s is the integral of w/f over w: scaled to 100 turns
DRAG = SHAPE * np.trapezoid(FALL / (SHAPE @ FALL ** np.arange(3)[:, None]), -FALL) / (2 * np.pi * TURNS)


def drifting_runs(runs: int, size: float, length: float, rng: np.random.Generator) -> NDArray[np.float64]:
    """Pass times of many runs at once, fourth-order Runge-Kutta over the angle; drag changes from turn to turn.

    ``size`` is the standard deviation of the extra drag as a share of the mean drag, ``length`` how long it hangs
    together as a share of the run (AR(1)).
    """
    tie = float(np.exp(-1 / (TURNS * length)))
    extra = rng.standard_normal((TURNS, runs))
    for turn in range(1, TURNS):
        extra[turn] = tie * extra[turn - 1] + np.sqrt(1 - tie**2) * extra[turn]
    speeds = np.linspace(4, LAUNCH, 100)
    extra *= size * float((DRAG @ speeds ** np.arange(3)[:, None]).mean())
    step, state, times = 2 * np.pi / (MARKS * STEPS), np.zeros((2, runs)), [np.zeros(runs)]
    state[0] = LAUNCH**2 / 2

    def rates(angle: float, now: NDArray[np.float64], more: NDArray[np.float64]) -> NDArray[np.float64]:
        speed = np.sqrt(2 * (now[0] - 3.0 * np.cos(angle)))
        return np.array([-(DRAG[0] + DRAG[1] * speed + DRAG[2] * speed**2 + more), 1 / speed])

    for turn in range(TURNS):
        for count in range(MARKS * STEPS):
            angle, more = step * count, extra[turn]
            first = rates(angle, state, more)
            second = rates(angle + step / 2, state + step / 2 * first, more)
            third = rates(angle + step / 2, state + step / 2 * second, more)
            fourth = rates(angle + step, state + step * third, more)
            state = state + step / 6 * (first + 2 * second + 2 * third + fourth)
            if (count + 1) % STEPS == 0:
                times.append(state[1].copy())
    return np.array(times).T


def coverage(runs: int, size: float, length: float, sigma: float) -> tuple[float, float]:
    """Share of runs whose 95 % band holds the drag of the wheel, honest and by reading errors alone."""
    rng = np.random.default_rng(1)
    speed = np.linspace(5.0, 19.0, 8)
    exact = DRAG @ speed ** np.arange(3)[:, None]
    honest = reading = 0.0
    for times in drifting_runs(runs, size, length, rng):
        plain = fit_rundown(jittered(times, sigma, rng), MARKS, terms=5, harmonics=1)
        wide = with_drift(plain)
        value, spread, _ = drag_at(wide.drag, speed)
        honest += float((np.abs(value - exact) < 1.96 * spread).mean()) / runs
        value, _, spread = drag_at(plain.drag, speed)
        reading += float((np.abs(value - exact) < 1.96 * spread).mean()) / runs
    return honest, reading


# share of the mean drag, length as a share of the run, timing [s]
DRIFTS = [(1e-3, 0.02, 2e-5), (1e-2, 0.02, 2e-5), (1e-2, 0.1, 2e-5), (3e-2, 0.1, 1e-4), (1e-3, 0.1, 2e-4)]


class TestTheHonestBandHoldsTheDrag:
    def test_where_the_reading_error_does_not(self) -> None:
        honest, reading = coverage(40, 1e-2, 0.1, 2e-5)
        assert honest > 0.87  # 95 % less 3 standard errors of 40 independent runs, a fixed seed
        assert reading < 0.3

    def test_clean_data_are_seen_to_be_clean(self) -> None:
        rng = np.random.default_rng(2)
        times = drifting_runs(1, 0.0, 0.1, rng)[0]
        wide = with_drift(fit_rundown(jittered(times, 2e-5, rng), MARKS, terms=5, harmonics=1))
        assert wide.drift is not None
        assert wide.drift.none > 0.5  # where belief began

    @pytest.mark.slow
    @pytest.mark.parametrize(("size", "length", "sigma"), DRIFTS)
    def test_in_nearly_95_of_100_runs(self, size: float, length: float, sigma: float) -> None:
        honest, _ = coverage(1000, size, length, sigma)
        assert 0.929 <= honest <= 0.996  # 95 % less 3 standard errors; the mixture over lengths is a little wide

    def test_drift_needs_a_term_that_does_not_depend_on_speed(self) -> None:
        wheel = truth("4 marks", 600)
        with pytest.raises(ValueOutOfRange, match="dry term"):
            with_drift(fit_rundown(wheel.motion.times, 4, terms=(1, 2), harmonics=1))


class TestTheWindow:
    def test_time_and_turns_are_those_of_the_closed_forms(self) -> None:
        # no hill: time and angle between two speeds have closed forms (see the tests of those)
        wheel = truth("1 mark, no hill", 600)
        rundown = fit_rundown(wheel.motion.times, 1, terms=(0, 1, 2))
        window = fit_window(rundown, 18.0, 4.0)
        drag = dict(zip(("dry", "viscous", "quadratic"), (float(value) for value in wheel.drag), strict=True))
        assert window.time == pytest.approx(float(time_between_speeds(1.0, 18.0, 4.0, **drag)), rel=1e-9)
        turned = float(angle_between_speeds(1.0, 18.0, 4.0, **drag))
        assert window.turns == pytest.approx(turned / (2 * np.pi), rel=1e-9)

    def test_two_windows_add_up(self) -> None:
        wheel = truth("usual", 600)
        rundown = with_drift(fit_rundown(jittered(wheel.motion.times, 2e-5, np.random.default_rng(3)), 12, terms=5))
        whole, first, second = (fit_window(rundown, *ends) for ends in ((18, 4), (18, 9), (9, 4)))
        assert first.time + second.time == pytest.approx(whole.time, rel=1e-12)
        assert first.turns + second.turns == pytest.approx(whole.turns, rel=1e-12)

    def test_its_uncertainty_is_the_scatter_of_repeated_readings(self) -> None:
        wheel, rng = truth("usual", 600), np.random.default_rng(6)
        windows = [
            fit_window(fit_rundown(jittered(wheel.motion.times, 2e-5, rng), 12, terms=(0, 1, 2), sigma=2e-5), 15.0, 5.0)
            for _ in range(60)
        ]
        for name in ("time", "turns"):
            scatter = np.std([getattr(window, name) for window in windows], ddof=1)
            stated = getattr(windows[0], f"{name}_uncertainty")
            assert 0.7 < scatter / stated < 1.35  # chi-squared with 59 degrees of freedom, 99.9 %; a fixed seed

    def test_a_window_outside_the_recording_is_refused(self) -> None:
        rundown = fit_rundown(truth("4 marks", 600).motion.times, 4, terms=(0, 1, 2), harmonics=1)
        with pytest.raises(FitImpossible, match="not inside"):
            fit_window(rundown, 25.0, 5.0)
        with pytest.raises(ValueOutOfRange, match="higher to a lower"):
            fit_window(rundown, 5.0, 15.0)


class TestTheChoiceOfTerms:
    def test_finds_the_harmonics_that_are_there(self) -> None:
        wheel = truth("usual", 600)
        chosen = choose_rundown(jittered(wheel.motion.times, 2e-5, np.random.default_rng(1)), 12)
        assert chosen.hill is not None
        assert chosen.hill.cosine.size == 3
        speed = np.linspace(chosen.speed_low, chosen.speed_high, 6)
        value, spread, _ = drag_at(chosen.drag, speed)
        exact = wheel.drag @ speed ** np.arange(3)[:, None]
        assert (np.abs(value - exact) < 4 * spread).all()
        assert capture_speed(chosen.hill)[0] == pytest.approx(2 * np.sqrt(0.5), rel=1e-3)  # half the energy at 2 rad/s

    def test_finds_no_hill_where_there_is_none(self) -> None:
        speed, step = 20.0, 2 * np.pi / 12
        angles = step * np.arange(600)
        # dry drag alone: w^2 = w0^2 - 2 f angle, t = (w0 - w)/f
        times = (speed - np.sqrt(speed**2 - 2 * 0.6 * angles)) / 0.6
        chosen = choose_rundown(jittered(times, 2e-5, np.random.default_rng(2)), 12)
        assert chosen.hill is None
        value, spread, _ = drag_at(chosen.drag, np.linspace(5, 19, 4))
        assert (np.abs(value - 0.6) < 4 * spread).all()
