"""Delays in seconds: the coupled pulse against scipy.signal, what cannot be seen, and what lag left in would do."""

from functools import partial

import numpy as np
import pytest
from scipy.signal import lfilter

from truerun.errors import FitImpossible, ValueOutOfRange
from truerun.motion.drag_curve import drag_at
from truerun.motion.drift import with_drift
from truerun.motion.fit import fit_rundown
from truerun.motion.lag import coupling_shift, fit_with_delays, fit_with_lag, pass_speeds, slowest_usable_speed
from truerun.virtual.rotor import jittered
from truerun.virtual.wheels import truth

CORNER, WIDTH = 5.0, 0.1
lag = partial(coupling_shift, corner=CORNER, width=WIDTH)
fit = partial(fit_rundown, marks=12, terms=(0, 1, 2), harmonics=3)


class TestTheCoupledPulse:
    @pytest.mark.parametrize("speed", [30.0, 10.0, 2.0, 1.0])
    def test_crosses_zero_where_a_filtered_signal_does(self, speed: float) -> None:
        # oracle: scipy.signal.lfilter, first-order high pass by the bilinear rule, 20 000 samples per half width
        step = WIDTH / speed / 20_000
        time = np.arange(-8 * WIDTH / speed, 2 * WIDTH / speed, step)
        place = time * speed / WIDTH
        half = np.pi * CORNER * step
        coupled = lfilter(
            [1 / (1 + half), -1 / (1 + half)], [1, -(1 - half) / (1 + half)], -place * np.exp(-(place**2) / 2)
        )
        near = np.flatnonzero((coupled[:-1] > 0) & (coupled[1:] <= 0) & (place[1:] > -1.2))[0]
        crossing = time[near] + step * coupled[near] / (coupled[near] - coupled[near + 1])
        assert float(lag(speed)) == pytest.approx(crossing, rel=2e-4)  # the sum starts 8 half widths before

    def test_fast_rotors_are_shifted_by_the_square_of_width_over_speed(self) -> None:
        # first order in 1/speed by hand: the charge of one lobe over the slope of the crossing
        assert float(lag(1000.0)) == pytest.approx(-2 * np.pi * CORNER * (WIDTH / 1000) ** 2, rel=0.005)

    def test_the_slowest_usable_speed_shifts_by_the_share_that_was_allowed(self) -> None:
        speed = slowest_usable_speed(CORNER, WIDTH, 0.1)
        assert -float(lag(speed)) == pytest.approx(0.1 * WIDTH / speed, rel=1e-4)  # interpolated

    def test_a_standing_rotor_has_no_shift(self) -> None:
        with pytest.raises(ValueOutOfRange, match="speed"):
            coupling_shift(np.array([1.0, 0.0]), CORNER, WIDTH)

    @pytest.mark.parametrize(("corner", "width"), [(1e308, 0.1), (np.inf, 0.1), (5.0, 1e308), (np.nan, 0.1)])
    def test_a_corner_or_a_width_that_no_coil_has(self, corner: float, width: float) -> None:
        with pytest.raises(ValueOutOfRange, match=r"positive and below 1e\+06"):
            coupling_shift(10.0, corner, width)


class TestACommonDelayIsALaterStart:
    def test_drag_and_hill_stay_as_they_are(self) -> None:
        times = truth("usual", 600).motion.times
        plain, late = fit(times), fit_with_lag(fit, times, lambda speed: 0.25 + 0 * speed)
        np.testing.assert_allclose(late.drag.weights, plain.drag.weights, rtol=1e-9)
        assert plain.hill is not None
        assert late.hill is not None
        np.testing.assert_allclose(late.hill.coefficients, plain.hill.coefficients, atol=1e-9)


class TestALagLeftInIsTakenForDragAndHill:
    def test_by_this_much_and_corrected_by_less_than_a_standard_uncertainty(self) -> None:
        # the usual wheel, 20 to 2 rad/s in 50 turns, read through 5 Hz coupling with pulses of 0.1 rad
        wheel = truth("usual", 600)
        times = jittered(wheel.motion.times + lag(wheel.motion.speeds), 2e-5, np.random.default_rng(1))
        speed = np.array([2.5, 6.0, 15.0])
        exact = wheel.drag @ speed ** np.arange(3)[:, None]
        left_in, corrected = fit(times), fit_with_lag(fit, times, lag)
        bias = drag_at(left_in.drag, speed)[0] / exact - 1
        np.testing.assert_allclose(bias, [-8.4e-4, -2.7e-4, -1.3e-4], atol=4e-5)  # as measured without noise
        value, spread, _ = drag_at(corrected.drag, speed)
        assert (np.abs(value - exact) < 4 * spread).all()
        assert left_in.hill is not None
        assert corrected.hill is not None
        height = np.hypot(left_in.hill.cosine, left_in.hill.sine) / np.hypot(wheel.cosine, wheel.sine)
        np.testing.assert_allclose(height, [1.002, 1.008, 1.052], atol=2e-3)  # the third harmonic by a twentieth
        away = corrected.hill.coefficients - np.column_stack([wheel.cosine, wheel.sine]).ravel()
        assert (np.abs(away) < 4 * np.sqrt(np.diag(corrected.hill.covariance))).all()
        np.testing.assert_allclose(pass_speeds(corrected), wheel.motion.speeds, rtol=1e-3)


class TestDelaysOfTheMarks:
    delays = np.array([2.0, -1.0, 0.5, -1.5]) * 1e-3

    def registered(self, seed: int) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
        wheel = truth("4 marks", 600)
        late = self.delays[np.arange(600) % 4]
        return np.asarray(jittered(wheel.motion.times + late, 2e-5, np.random.default_rng(seed)))

    def test_are_found_beside_the_errors_of_their_places(self) -> None:
        wheel = truth("4 marks", 600)
        found = fit_with_delays(partial(fit_rundown, marks=4, terms=(0, 1, 2), harmonics=1), self.registered(2))
        assert (np.abs(found.delays - self.delays) < 4 * np.sqrt(np.diag(found.covariance))).all()
        assert np.sqrt(np.diag(found.covariance)).max() < 1e-4
        assert found.delays.sum() == pytest.approx(0.0, abs=1e-15)
        errors = found.rundown.spacing - wheel.spacing
        assert (np.abs(errors) < 4 * np.sqrt(np.diag(found.rundown.spacing_covariance))).all()
        assert found.rundown.sigma == pytest.approx(2e-5, rel=0.12)  # 4 standard deviations of a scatter of 588

    def test_cost_precision_which_the_record_says(self) -> None:
        times = self.registered(2)
        plain = fit_rundown(times - self.delays[np.arange(600) % 4], 4, terms=(0, 1, 2), harmonics=1)
        found = fit_with_delays(partial(fit_rundown, marks=4, terms=(0, 1, 2), harmonics=1), times).rundown
        assert found.hill is not None
        assert plain.hill is not None
        assert (np.diag(found.hill.covariance) > np.diag(plain.hill.covariance)).all()

    def test_stay_in_the_uncertainty_when_the_drag_may_drift(self) -> None:
        # without any drift the band is at most a little off that of the delays; it lost half before
        plain = fit_with_delays(partial(fit_rundown, marks=4, terms=(0, 1, 2), harmonics=1), self.registered(2)).rundown
        wide = with_drift(plain)
        assert plain.hill is not None
        assert wide.hill is not None
        for one, other in (
            (plain.spacing_covariance, wide.spacing_covariance),
            (plain.hill.covariance, wide.hill.covariance),
            (plain.drag.covariance, wide.drag.covariance),
        ):
            assert (np.sqrt(np.diag(other)) > 0.95 * np.sqrt(np.diag(one))).all()

    def test_one_mark_has_none(self) -> None:
        with pytest.raises(FitImpossible, match="later start"):
            fit_with_delays(partial(fit_rundown, marks=1, terms=(0, 1)), truth("1 mark, no hill", 600).motion.times)
