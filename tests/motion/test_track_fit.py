"""Angle tracks against an eighth-order integrator that shares nothing with the fit, and against uniform slowing."""

from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.interpolate import CubicHermiteSpline

from truerun.errors import FitImpossible, ValueOutOfRange
from truerun.motion.drag_curve import drag_at
from truerun.motion.hill import hill_matrix
from truerun.motion.track_angles import growing_angles
from truerun.motion.track_fit import TrackRundown, fit_track, track_window
from truerun.series import AngleTrack
from truerun.virtual.rotor import Rotor, simulate_speeds

Array = NDArray[np.float64]
TURN = 2 * np.pi
DRAG = np.array([0.05, 0.01, 0.0006])
HILL = np.array([1.2, 0.5, 0.3, -0.2])  # cosine 1, sine 1, cosine 2, sine 2 [rad^2/s^2]
ROTOR = Rotor(lambda speed, angle: DRAG[0] + DRAG[1] * speed + DRAG[2] * speed**2 + 0 * angle, (1.2, 0.3), (0.5, -0.2))


@cache
def motion() -> tuple[Array, Array, Array]:
    """Angles, times and speeds of 60 turns from 20 rad/s, DOP853 over the angle."""
    found = simulate_speeds(ROTOR, 20.0, np.arange(0, 60 * TURN, 0.02))
    return found.angles, found.times, found.speeds


def filmed(sigma: float, seed: int = 1, frames: float = 60.0, *, wrapped: bool = True) -> AngleTrack:
    angles, times, speeds = motion()
    at = np.arange(0.01, times[-1], 1 / frames)
    seen = CubicHermiteSpline(times, angles, speeds)(at) + sigma * np.random.default_rng(seed).standard_normal(at.size)
    return AngleTrack(at, seen % TURN if wrapped else seen)


def coefficients(found: TrackRundown) -> Array:
    return np.asarray(found.drag.basis.mixing @ found.drag.weights)


class TestAgainstTheOtherIntegrator:
    @staticmethod
    @cache
    def found() -> TrackRundown:
        return fit_track(filmed(1e-6), harmonics=2, sigma=1e-6, drift=False)

    def test_drag(self) -> None:
        assert coefficients(self.found()) == pytest.approx(DRAG, rel=1e-4)  # a microradian of noise on 1400 angles

    def test_hill(self) -> None:
        hill = self.found().hill
        assert hill is not None
        away = hill.coefficients - HILL
        assert away @ np.linalg.solve(hill.covariance, away) < 18.5  # chi-squared of 4: 1 in 1000

    def test_residuals_are_the_noise(self) -> None:
        misfit = self.found().misfit
        assert misfit is not None
        # the path's cubics, at a tenth of sigma/sqrt(n), add nothing that shows
        assert misfit == pytest.approx(1, abs=4 * np.sqrt(2 / self.found().freedom))

    def test_time_and_turns_of_a_window_by_energy(self) -> None:
        angles, times, speeds = motion()
        energies = speeds**2 / 2 + hill_matrix(angles, 2) @ HILL
        at = [np.interp(-(speed**2) / 2, -energies, np.arange(angles.size)) for speed in (18.0, 12.0)]
        took = np.diff(np.interp(at, np.arange(angles.size), times))[0]
        turned = np.diff(np.interp(at, np.arange(angles.size), angles))[0] / TURN
        found = track_window(self.found(), 18.0, 12.0)
        assert found.time == pytest.approx(took, abs=3e-6)  # straight lines between the integrator's angles
        assert found.turns == pytest.approx(turned, abs=5e-6)

    def test_a_track_without_its_hill_misfits(self) -> None:
        found = fit_track(filmed(1e-3), harmonics=0, sigma=1e-3)
        assert {"track-misfit", "residuals-hang-together"} <= {said.check for said in found.findings}


class TestUncertainty:
    def test_stated_noise_is_covered(self) -> None:
        total = 0.0
        for seed in range(20):
            found = fit_track(filmed(3e-3, seed), harmonics=2, sigma=3e-3, drift=False)
            assert found.hill is not None
            away = found.hill.coefficients - HILL
            total += float(away @ np.linalg.solve(found.hill.covariance, away))
        assert total / 20 == pytest.approx(4, abs=4 * np.sqrt(8 / 20))  # 4 standard errors: 1 in 16 000

    def test_the_honest_band_is_wider_and_holds_the_drag(self) -> None:
        found = fit_track(filmed(3e-3), terms=(0, 1, 2), harmonics=2)
        speed = np.array([13.0, 16.0, 19.0])
        value, honest, reading = drag_at(found.drag, speed)
        assert (honest >= reading).all()
        assert (np.abs(value - DRAG @ speed ** np.arange(3)[:, None]) < 4 * honest).all()

    def test_a_window_is_covered(self) -> None:
        plain = track_window(TestAgainstTheOtherIntegrator.found(), 18.0, 12.0)
        found = track_window(fit_track(filmed(3e-3), harmonics=2), 18.0, 12.0)
        assert abs(found.time - plain.time) < 4 * found.time_uncertainty
        assert found.time_uncertainty < 0.01


class TestACameraThatReadsItsRowsOneAfterTheOther:
    """The angle seen is that of t + r (1 - sin angle)/2; at 20 rad/s and r = 10 ms this is up to .1 rad."""

    def rolled(self) -> AngleTrack:
        angles, times, speeds = motion()
        place = CubicHermiteSpline(times, angles, speeds)
        at = np.arange(0.01, times[-1] - 0.1, 1 / 60)
        seen = place(at)
        for _ in range(40):
            seen = place(at + 0.01 * (1 - np.sin(seen)) / 2)
        return AngleTrack(at, (seen + 1e-3 * np.random.default_rng(2).standard_normal(at.size)) % TURN)

    def test_its_delay_is_found_in_seconds(self) -> None:
        found = fit_track(self.rolled(), harmonics=2, delay=True)
        assert found.delay is not None
        assert found.delay_covariance is not None
        assert found.delay[1] == pytest.approx(-0.005, rel=0.02)  # -r/2, with the noise of 1 mrad
        assert abs(found.delay[0]) < 0.001

    def test_without_it_the_fit_is_far_worse(self) -> None:
        plain, delayed = fit_track(self.rolled(), harmonics=2), fit_track(self.rolled(), harmonics=2, delay=True)
        assert plain.sigma > 2 * delayed.sigma


class TestAngles:
    def test_uniform_slowing(self) -> None:
        times = np.linspace(0, 30, 600)
        found = fit_track(AngleTrack(times, (15 * times - 0.1 * times**2) % TURN), terms=(0,), drift=False)
        assert coefficients(found) == pytest.approx([0.2], rel=1e-7)

    def test_the_other_way_round_is_the_same_drag(self) -> None:
        times = np.linspace(0, 30, 600)
        angles = 15 * times - 0.1 * times**2
        ahead, back = (fit_track(AngleTrack(times, sign * angles % TURN), terms=(0,), drift=False) for sign in (1, -1))
        assert coefficients(back) == pytest.approx(coefficients(ahead), rel=1e-7)

    def test_wrapped_or_counted_on_is_the_same(self) -> None:
        one, other = (fit_track(filmed(1e-3, wrapped=how), harmonics=2, drift=False) for how in (True, False))
        assert coefficients(one) == pytest.approx(coefficients(other), rel=1e-9)

    def test_two_spots_that_look_alike(self) -> None:
        track = filmed(1e-3)
        found, said = growing_angles(AngleTrack(track.times, track.angles % np.pi), spots=2)
        plain, _ = growing_angles(track)
        assert np.diff(found) == pytest.approx(np.diff(plain), abs=1e-9)
        assert said == ()

    def test_few_frames_are_said_and_too_few_refused(self) -> None:
        _, said = growing_angles(filmed(1e-3, frames=10.0))  # 2 rad a frame is .32 of a turn
        assert [one.check for one in said] == ["few-frames"]
        with pytest.raises(FitImpossible, match=r"must be below 0\.45"):
            growing_angles(filmed(1e-3, frames=6.8))

    def test_slow_turns_can_be_left_out(self) -> None:
        found = fit_track(filmed(1e-3), harmonics=2, speed_to=15.0, drift=False)
        assert 14.5 < found.speed_low < 15.5

    def test_a_run_up_before_is_left_out(self) -> None:
        times = np.arange(0, 60, 1 / 30)
        angles = np.where(times < 10, 0.75 * times**2, 75 + 15 * (times - 10) - 0.1 * (times - 10) ** 2)
        found = fit_track(AngleTrack(times, angles % TURN), terms=(0,), drift=False)
        assert "before-rundown" in {said.check for said in found.findings}
        assert found.times[0] >= 9.5


class TestRefusals:
    def test_a_wheel_that_speeds_up(self) -> None:
        times = np.arange(0, 20, 1 / 30)
        with pytest.raises(FitImpossible, match="The speed rises"):
            fit_track(AngleTrack(times, (0.3 * times**2) % TURN))

    def test_a_wheel_that_only_rocks(self) -> None:
        times = np.arange(0, 5, 0.01)
        with pytest.raises(FitImpossible, match="use its turning points"):
            fit_track(AngleTrack(times, 0.5 * np.cos(10 * times)))

    def test_a_window_that_was_not_recorded(self) -> None:
        found = fit_track(filmed(1e-3), harmonics=2, drift=False)
        with pytest.raises(FitImpossible, match="not inside"):
            track_window(found, 18.0, 5.0)
        with pytest.raises(ValueOutOfRange, match="from a higher to a lower"):
            track_window(found, 12.0, 18.0)
