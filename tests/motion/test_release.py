"""Releases from rest against an integrator with a clock, and against exact energy."""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from truerun.errors import FitImpossible, ValueOutOfRange
from truerun.motion.hill import hill_height
from truerun.motion.release import HillByRelease, absolute_hill, fit_releases

Array = NDArray[np.float64]
COSINE, SINE, DRAG = np.array([1.2, 0.3]), np.array([0.4, -0.25]), 0.05  # rad^2/s^2 and rad/s^2
WEIGHTS = np.column_stack([COSINE, SINE]).ravel()


def slope(angle: float) -> float:
    """Derivative of the specific potential."""
    orders = np.arange(1, 3)
    return float(np.sum(orders * (SINE * np.cos(orders * angle) - COSINE * np.sin(orders * angle))))


def turning(start: float) -> float:
    """Angle of the first turn-back by DOP853 over time, from rest; the start itself where dry friction holds it."""
    push = -slope(start)
    if abs(push) <= DRAG:
        return start
    way = np.sign(push)

    def rates(time: float, state: Array) -> list[float]:
        del time
        return [float(state[1]), -slope(float(state[0])) - DRAG * way]

    def halt(time: float, state: Array) -> float:
        return float(way * state[1]) if time > 1e-3 else 1.0

    halt.terminal = True  # type: ignore[attr-defined]  # how solve_ivp asks for it
    solved = solve_ivp(rates, (0, 60), [start, 0.0], method="DOP853", events=halt, rtol=1e-11, atol=1e-13)
    return float(solved.y_events[0][0][0])


STARTS = 2 * np.pi * (np.arange(16) + 0.3) / 16
TURNINGS = np.array([turning(start) for start in STARTS])


class TestTheHillWithoutAClock:
    def test_harmonics_in_units_of_dry_drag(self) -> None:
        found = fit_releases(STARTS, TURNINGS, harmonics=2)
        assert found.shape.coefficients == pytest.approx(WEIGHTS / DRAG, rel=1e-6)  # the integrator's tolerance
        assert found.findings == ()

    def test_a_measured_drag_makes_it_a_potential(self) -> None:
        found = absolute_hill(fit_releases(STARTS, TURNINGS, harmonics=2), DRAG, 0.002)
        assert found.coefficients == pytest.approx(WEIGHTS, rel=1e-6)
        height, spread = hill_height(found)
        assert spread / height == pytest.approx(0.002 / DRAG, rel=1e-3)  # one source, shared by all harmonics

    def test_a_turned_bench_turns_the_phases_only(self) -> None:
        plain = fit_releases(STARTS, TURNINGS, harmonics=2).shape
        turned = fit_releases(STARTS + 1.0, TURNINGS + 1.0, harmonics=2).shape
        assert np.hypot(turned.cosine, turned.sine) == pytest.approx(np.hypot(plain.cosine, plain.sine), rel=1e-9)

    def noisy(self, rng: np.random.Generator, sigma: float) -> HillByRelease:
        shaken = [angles + sigma * rng.standard_normal(angles.size) for angles in (STARTS, TURNINGS)]
        return fit_releases(shaken[0], shaken[1], harmonics=2, sigma=sigma)

    def test_its_covariance_is_what_repeats_scatter_by(self) -> None:
        rng, sigma, total, freedom = np.random.default_rng(4), np.radians(0.1), 0.0, 0.0
        for _ in range(100):
            found = self.noisy(rng, sigma)
            away = found.shape.coefficients - WEIGHTS / DRAG
            total += float(away @ np.linalg.solve(found.shape.covariance, away))
            freedom += float(found.misfit or 0.0)
        assert total / 100 == pytest.approx(4, abs=4 * np.sqrt(2 * 4 / 100))  # 4 standard errors: 1 in 16 000
        assert freedom / 100 == pytest.approx(1, abs=4 * np.sqrt(2 / 12 / 100))

    def test_a_place_within_the_dead_band_stays_and_fits_in(self) -> None:
        bottom = STARTS[0] + np.linspace(0, 2 * np.pi, 20001)
        still = float(bottom[np.argmin([abs(slope(angle)) for angle in bottom])])
        found = fit_releases(np.append(STARTS, still), np.append(TURNINGS, still), harmonics=2, sigma=1e-3)
        assert found.used.tolist() == [True] * 16 + [False]
        assert found.findings == ()

    def test_a_place_that_should_have_moved_is_said(self) -> None:
        steep = STARTS[int(np.argmax([abs(slope(start)) for start in STARTS]))]
        found = fit_releases(np.append(STARTS, steep), np.append(TURNINGS, steep), harmonics=2, sigma=1e-3)
        assert [said.check for said in found.findings] == ["stuck-where-it-should-move"]

    def test_too_few_harmonics_leave_a_misfit(self) -> None:
        found = fit_releases(STARTS, TURNINGS, harmonics=1, sigma=np.radians(0.1))
        assert "release-misfit" in {said.check for said in found.findings}


class TestRefusals:
    def test_too_few_releases(self) -> None:
        with pytest.raises(FitImpossible, match="5 of 5 releases moved; 2 harmonics need at least 6"):
            fit_releases(STARTS[:5], TURNINGS[:5], harmonics=2)

    def test_places_all_on_one_side(self) -> None:
        starts = np.linspace(0.5, 0.6, 10)
        turnings = np.array([turning(start) for start in starts])
        with pytest.raises(FitImpossible, match="cannot tell 2 harmonics apart"):
            fit_releases(starts, turnings, harmonics=2)

    def test_no_harmonic(self) -> None:
        with pytest.raises(ValueOutOfRange, match="1 or more"):
            fit_releases(STARTS, TURNINGS, harmonics=0)

    def test_a_drag_of_nothing(self) -> None:
        with pytest.raises(ValueOutOfRange, match="dry drag is 0 rad/s²; it must be positive"):
            absolute_hill(fit_releases(STARTS, TURNINGS, harmonics=2), 0.0, 0.1)

    @pytest.mark.parametrize(("drag", "uncertainty"), [(1e308, 0.1), (np.nan, 0.1), (0.1, np.inf), (0.1, -0.1)])
    def test_a_drag_that_no_wheel_has(self, drag: float, uncertainty: float) -> None:
        with pytest.raises(ValueOutOfRange, match="dry drag is"):
            absolute_hill(fit_releases(STARTS, TURNINGS, harmonics=2), drag, uncertainty)
