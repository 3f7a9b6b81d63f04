"""Rocking: real swings with worked values, and an integrator that shares nothing with the fit.

Recordings in tests/data/real, sources and licences beside them: a hinged rod on an encoder (jensen-benard 2025), a
bicycle wheel on a torsion rod and swinging about its rim (Jason K. Moore, Kenneth Lyons 2020), a magnet rocking under
a plate (IYPT 2023, CC BY 4.0). Worked values: numpy and scipy fits made when they were archived; "naive" errors take
readings as independent.
"""

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from truerun.errors import FitImpossible
from truerun.motion.rocking import Friction, Rocking, fit_rocking, principal_axis
from truerun.motion.swing import Swing, fit_swing
from truerun.motion.turnings import turning_points

Array = NDArray[np.float64]
REAL = Path(__file__).parents[1] / "data" / "real"


def pendulum(number: str) -> tuple[Array, Array]:
    degrees = np.loadtxt(REAL / f"pendulum_free_swing_{number}.txt", skiprows=2)
    return np.arange(degrees.size) / 1000, np.radians(degrees)  # 1000 samples a second, by its first lines


def gyro(name: str) -> Swing:
    read = np.loadtxt(REAL / f"wheel_{name}_gyro.csv", delimiter=",", skiprows=1)
    return fit_swing(read[:, 0], read[:, 1])


def magnet(name: str) -> tuple[Array, Array]:
    lines = (REAL / f"magnet_pendulum_{name}.txt").read_text("utf-8").splitlines()[2:]
    cells = [line.strip().strip(",").split(",") for line in lines]
    read = np.array([[float(cell) for cell in row] for row in cells if len(row) == 3])
    return read[:, 0], principal_axis(read[:, 1], read[:, 2])


class TestTheHingedRod:
    def found(self, number: str) -> Rocking:
        return fit_rocking(*pendulum(number), largest=float(np.radians(70)))

    def test_turning_points(self) -> None:
        found = turning_points(*pendulum("03"))
        degrees = np.degrees(found.values)
        assert found.times.size == 17
        assert degrees[[0, 1, 2, 3, -1]] == pytest.approx([-63.96, 58.31, -53.88, 50.23, -11.19], abs=0.04)

    def test_share_kept_and_amount_lost_each_half_swing(self) -> None:
        found = self.found("03")
        assert found.kept == pytest.approx(0.9541, abs=0.001)  # worked value with its error .0030
        assert found.kept_uncertainty == pytest.approx(0.0030, abs=3e-4)
        assert np.degrees(found.lost) == pytest.approx(1.59, abs=0.03)
        assert np.degrees(found.lost_uncertainty) == pytest.approx(0.11, abs=0.02)
        assert np.degrees(found.offset) == pytest.approx(0.0, abs=0.1)

    def test_dry_and_viscous_drag_from_them(self) -> None:
        found = self.found("03")
        # worked: whole-path fit of the full pendulum 1.85 and .272; taken for a parabola these points give 1.70 and .33
        assert abs(found.dry - 1.85) < 2 * found.dry_uncertainty
        assert abs(found.viscous - 0.272) < 2 * found.viscous_uncertainty
        assert found.dry_uncertainty < 0.25
        assert found.viscous_uncertainty < 0.08

    def test_its_well_is_stretched_as_that_of_a_pendulum(self) -> None:
        # period of a pendulum 1 + A^2/16, any textbook; 8/9 of that is 1/18
        assert self.found("03").stretch == pytest.approx(1 / 18, abs=0.02)

    def test_the_curvature_is_that_of_the_whole_path(self) -> None:
        found = self.found("03")
        # from every reading, by another equation (the full pendulum): 120.07 +/- .03
        assert abs(found.curvature - 120.07) < 2 * found.curvature_uncertainty
        assert found.curvature_uncertainty < 2.5

    def test_a_short_tail_of_a_larger_swing(self) -> None:
        found = self.found("01")
        assert found.swings.size == 8
        assert found.kept == pytest.approx(0.945, abs=0.007)
        assert np.degrees(found.lost) == pytest.approx(1.2, abs=0.4)

    def test_seventeen_points_do_not_tell_dry_from_viscous(self) -> None:
        # it has both: the worked whole-path fit needs each, with errors of 1 %
        assert self.found("03").friction is Friction.UNDECIDED


class TestTheWheelOnATorsionRod:
    def test_period_and_decay(self) -> None:
        found = gyro("radial_torsion")
        assert found.period == pytest.approx(0.421382, abs=1e-6)
        assert found.rate == pytest.approx(0.2273, abs=1e-4)
        assert found.amplitude == pytest.approx(3.26, abs=0.005)
        assert found.offset == pytest.approx(-0.014, abs=5e-4)

    def test_naive_errors_and_their_widening(self) -> None:
        found = gyro("radial_torsion")
        assert found.period_uncertainty / found.widened == pytest.approx(0.9e-5, abs=5e-7)
        assert found.rate_uncertainty / found.widened == pytest.approx(0.0003, abs=3e-5)
        assert found.widened == pytest.approx(3.6, abs=0.1)

    def test_the_inertia_that_follows(self) -> None:
        # stated rod: 1.05 m long, 6.35 mm thick, 77 GPa; worked: 11.7057 N m/rad, .05264 kg m2
        stiffness = 77e9 * np.pi * 6.35e-3**4 / 32 / 1.05
        assert stiffness / gyro("radial_torsion").curvature == pytest.approx(0.05264, abs=1e-5)

    def test_about_the_rim(self) -> None:
        found = gyro("axial_swing")
        assert found.period == pytest.approx(1.42921, abs=5e-6)
        assert found.rate == pytest.approx(0.0171, abs=5e-5)
        assert found.offset == pytest.approx(-0.031, abs=5e-4)
        assert found.widened == pytest.approx(2.4, abs=0.1)


class TestTheMagnetUnderAPlate:
    def test_its_swings_fall_along_a_straight_line(self) -> None:
        times, along = magnet("d06_l80_40deg")
        assert turning_points(times, along).times.size == 140
        found = fit_rocking(times, along, between=(0.24, 14.5))
        assert found.straight.rate == pytest.approx(16.12, abs=0.05)
        assert found.straight.reading == pytest.approx(0.10, abs=0.01)
        assert found.straight.rms == pytest.approx(4.0, abs=0.05)
        assert found.exponential.rms > 4 * found.straight.rms
        assert found.friction is Friction.DRY
        assert found.behind > 50

    def test_the_other_one_with_a_jump_of_the_track(self) -> None:
        found = fit_rocking(*magnet("d08_l80_50deg"), between=(0.25, 6.9))
        assert found.straight.rate == pytest.approx(44.8, abs=0.8)
        assert found.straight.rms == pytest.approx(10.4, abs=0.5)
        assert found.friction is Friction.DRY
        assert {said.check for said in found.findings} == {"track-jumps", "well-not-round"}


def rocked(dry: float, viscous: float, curvature: float, swings: int) -> tuple[Array, Array]:
    """Exact rocking from rest at 1 rad by DOP853, one half swing after the other: dry friction turns with the speed."""
    times, angles = [np.zeros(1)], [np.ones(1)]
    start, angle = 0.0, 1.0
    for swing in range(swings):
        sign = -1.0 if swing % 2 == 0 else 1.0

        def rates(time: float, state: Array, sign: float = sign) -> list[float]:
            del time
            return [float(state[1]), float(-curvature * state[0] - viscous * state[1] - dry * sign)]

        def halt(time: float, state: Array, sign: float = sign, since: float = start) -> float:
            return sign * float(state[1]) if time > since + 1e-3 else 1.0

        halt.terminal = True  # type: ignore[attr-defined]  # how solve_ivp asks for it
        solved = solve_ivp(
            rates, (start, start + 10), [angle, 0.0], method="DOP853", events=halt, rtol=1e-11, atol=1e-13,
            dense_output=True, first_step=1e-5,
        )  # fmt: skip
        end = float(solved.t_events[0][0])
        steps = np.arange(np.floor(start * 500) + 1, np.floor(end * 500) + 1) / 500
        times.append(steps)
        angles.append(solved.sol(steps)[0])
        start, angle = end, float(solved.sol(end)[0])
    return np.concatenate(times), np.concatenate(angles)


class TestRockingAgainstAnotherIntegrator:
    def test_dry_and_viscous_drag_curvature_and_dead_band(self) -> None:
        times, angles = rocked(dry=1.5, viscous=0.3, curvature=100.0, swings=20)
        found = fit_rocking(times, angles)
        assert found.curvature == pytest.approx(100.0, rel=1e-3)  # parabolas through readings 1/160 of a swing apart
        assert found.dry == pytest.approx(1.5, rel=5e-3)
        assert found.viscous == pytest.approx(0.3, rel=5e-3)
        assert found.dead_band == pytest.approx(0.015, rel=5e-3)

    def test_dry_alone_is_a_straight_line(self) -> None:
        found = fit_rocking(*rocked(dry=1.5, viscous=0.0, curvature=100.0, swings=20))
        assert found.friction is Friction.DRY
        # 2 c0/W^2 each half swing of pi/W
        assert found.straight.rate == pytest.approx(2 * 0.015 / (np.pi / 10), rel=1e-3)

    def test_viscous_alone_is_an_exponential(self) -> None:
        found = fit_rocking(*rocked(dry=0.0, viscous=0.3, curvature=100.0, swings=20))
        assert found.friction is Friction.VISCOUS
        assert found.exponential.rate == pytest.approx(0.15, rel=1e-3)  # log decrement: c1/2

    def test_the_swing_fit_sees_the_same_viscous_swing(self) -> None:
        times, angles = rocked(dry=0.0, viscous=0.3, curvature=100.0, swings=20)
        found = fit_swing(times, angles)
        assert found.curvature == pytest.approx(100.0, rel=1e-6)
        assert found.rate == pytest.approx(0.15, rel=1e-6)

    def test_too_few_swings(self) -> None:
        with pytest.raises(FitImpossible, match="must have at least 6"):
            fit_rocking(*rocked(dry=1.5, viscous=0.3, curvature=100.0, swings=4))


def test_the_principal_axis_does_not_care_how_the_camera_is_turned() -> None:
    along = np.sin(np.linspace(0, 9, 200))
    for turn in (0.0, 0.3, 1.2):
        found = principal_axis(along * np.cos(turn), along * np.sin(turn))
        assert found == pytest.approx(along - along.mean(), abs=1e-12)
