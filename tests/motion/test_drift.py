"""Drifting drag, the window and the choice of terms, on wheels that are integrated without the fit's code."""

import numpy as np
import pytest

from truerun.errors import FitImpossible, ValueOutOfRange
from truerun.motion.choice import choose_rundown
from truerun.motion.closed_forms import angle_between_speeds, time_between_speeds
from truerun.motion.drag_curve import drag_at
from truerun.motion.drift import with_drift
from truerun.motion.fit import fit_rundown
from truerun.motion.hill import capture_speed
from truerun.motion.window import fit_window
from truerun.virtual.fit_rates import honest_coverage
from truerun.virtual.rotor import jittered
from truerun.virtual.wheels import drifting_runs, truth


class TestTheHonestBandHoldsTheDrag:
    def test_where_the_reading_error_does_not(self) -> None:
        honest, reading = honest_coverage("1 %, 10 turns", 40, np.random.default_rng(1))
        assert honest > 0.87  # 95 % less 3 standard errors of 40 independent runs, a fixed seed
        assert reading < 0.3

    def test_clean_data_are_seen_to_be_clean(self) -> None:
        rng = np.random.default_rng(2)
        times = drifting_runs(1, 0.0, 0.1, rng)[0]
        wide = with_drift(fit_rundown(jittered(times, 2e-5, rng), 4, terms=5, harmonics=1))
        assert wide.drift is not None
        assert wide.drift.none > 0.5  # where belief began

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
