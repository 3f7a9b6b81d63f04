"""The bump against the equation of motion integrated step by step, and against the pendulum."""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from truerun.errors import ValueOutOfRange
from truerun.motion.capture import (
    CaptureWheel,
    Ending,
    capture_speed,
    free_time,
    rocking_time,
    time_to_end,
    turning_time,
)

Array = NDArray[np.float64]


def swing(wheel: CaptureWheel, angle: float, speed: float, sign: float) -> tuple[float, float]:
    """Integrate until the wheel stands; give the time taken and the angle reached."""

    def motion(_time: float, state: Array) -> list[float]:
        drag = wheel.dry + wheel.viscous * abs(state[1]) + wheel.quadratic * state[1] ** 2
        return [state[1], wheel.hill / 2 * np.sin(state[0]) - sign * drag]

    def stands(_time: float, state: Array) -> float:
        return float(sign * state[1])

    stands.terminal, stands.direction = True, -1  # type: ignore[attr-defined]
    found = solve_ivp(motion, (0.0, 1e5), [angle, speed], events=stands, rtol=1e-7, atol=1e-9)
    return float(found.t[-1]), float(found.y[0, -1])


def integrated_ends(wheel: CaptureWheel, launch_speed: float, angle: float) -> tuple[float, float]:
    """Time to the first turn-back and to rest, from half swing to half swing; the bump is (h/2) cos(angle)."""
    speed = np.sqrt(launch_speed**2 - wheel.hill * np.cos(angle))
    first, angle = swing(wheel, angle, speed, 1.0)
    total = first
    while wheel.hill / 2 * abs(np.sin(angle)) > wheel.dry:
        sign = float(np.sign(np.sin(angle)))
        taken, angle = swing(wheel, angle, sign * 1e-9, sign)
        total += taken
    return first, total


class TestTheAveragedMotionIsTheMotion:
    # loss of a turn 2 to 4 % of the bump; the last turn near the top takes as long as the launch phase makes it, so
    # single runs scatter: two launch angles are averaged, and 3 % is allowed

    @pytest.mark.parametrize(
        "wheel",
        [
            CaptureWheel(dry=0.004, hill=1.0),
            CaptureWheel(dry=0.003, viscous=0.003, hill=1.0),
            CaptureWheel(dry=0.003, quadratic=0.002, hill=1.0),
        ],
        ids=["dry", "viscous", "quadratic"],
    )
    def test_both_ends(self, wheel: CaptureWheel) -> None:
        ends = np.mean([integrated_ends(wheel, 3.0, angle) for angle in (0.5, 3.5)], axis=0)
        expected = [float(time_to_end(wheel, 3.0, ending)) for ending in Ending]
        np.testing.assert_allclose(expected, ends, rtol=0.03)


class TestOneTurnOverTheBumpIsTheTurnOfAPendulum:
    def test_the_time_of_a_turn_beside_the_free_one(self) -> None:
        # mean of 1/w over a turn at E = r^2 h/2, by 4096 equal steps: a route without elliptic integrals
        angle = np.arange(4096) * 2 * np.pi / 4096
        wheel = CaptureWheel(dry=0.01, hill=1.0)
        for ratio in (1.2, 1.5, 2.0, 3.0, 5.0):
            turn = np.mean(1 / np.sqrt(ratio**2 - np.cos(angle)))
            near = ratio * np.array([1 + 1e-4, 1 - 1e-4])
            found = turning_time(wheel, *near) / free_time(wheel, *near)
            assert found == pytest.approx(turn * ratio, rel=1e-6)  # the step of 1e-4 is symmetric

    def test_well_above_capture_the_bump_does_not_matter(self) -> None:
        wheel = CaptureWheel(dry=0.01, viscous=0.002, hill=1.0)
        end = 3 * capture_speed(wheel)
        assert turning_time(wheel, 10.0, end) == pytest.approx(float(free_time(wheel, 10.0, end)), rel=0.0025)


class TestRocking:
    def test_weak_viscous_rocking_takes_the_logarithm_of_the_swing(self) -> None:
        # dA/dt = -(c/2) A - 2 d/(pi w_p) for small swings: t = (2/c) ln(1 + c A pi w_p / (4 d)). For two dry drags a
        # factor of ten apart the large swings drop out, and with c A pi w_p / (4 d) above 400 ln 10 stays
        times = [rocking_time(CaptureWheel(dry=dry, viscous=0.02, hill=2.0)) for dry in (1e-4, 1e-5)]
        assert times[1] - times[0] == pytest.approx(2 / 0.02 * np.log(10), rel=0.01)

    def test_no_bump_no_rocking(self) -> None:
        assert rocking_time(CaptureWheel(dry=0.01)) == 0.0


class TestLaws:
    def test_dry_drag_stops_a_free_wheel_in_speed_over_drag(self) -> None:
        assert free_time(CaptureWheel(dry=0.05), 7.0) == pytest.approx(140.0, rel=1e-12)  # rounding only

    def test_viscous_drag_stops_it_in_a_logarithm(self) -> None:
        wheel = CaptureWheel(dry=0.05, viscous=0.1)
        assert free_time(wheel, 10.0) == pytest.approx(np.log1p(0.1 * 10.0 / 0.05) / 0.1, rel=1e-12)  # 64 nodes

    def test_quadratic_drag_stops_it_in_an_arc_tangent(self) -> None:
        wheel = CaptureWheel(dry=0.05, quadratic=0.02)
        exact = np.arctan(10.0 * np.sqrt(0.02 / 0.05)) / np.sqrt(0.02 * 0.05)
        assert free_time(wheel, 10.0) == pytest.approx(exact, rel=1e-12)  # 64 nodes

    def test_a_small_bump_becomes_none(self) -> None:
        free = float(free_time(CaptureWheel(dry=0.05), 10.0))
        small = time_to_end(CaptureWheel(dry=0.05, hill=1e-6), 10.0, Ending.FINAL_REST)
        assert small == pytest.approx(free, rel=1e-3)  # share of the time goes with the root of the bump: 1.6e-4 x 1.6

    def test_times_add_up(self) -> None:
        wheel = CaptureWheel(dry=0.02, viscous=0.01, hill=1.0)
        parts = turning_time(wheel, 10.0, 3.0) + turning_time(wheel, 3.0)
        assert parts == pytest.approx(float(turning_time(wheel, 10.0)), rel=1e-6)  # quadrature near the top

    def test_a_wheel_that_never_rests_and_a_speed_below_capture_are_refused(self) -> None:
        with pytest.raises(ValueOutOfRange, match="dry part"):
            CaptureWheel(dry=0.0, viscous=0.1)
        with pytest.raises(ValueOutOfRange, match="capture speed 1 rad/s"):
            turning_time(CaptureWheel(dry=0.1, hill=1.0), 10.0, 0.9)
