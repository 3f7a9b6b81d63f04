"""The made-up run against closed forms, laws of motion and a second integrator."""

import json
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import quad
from scipy.interpolate import CubicHermiteSpline
from scipy.optimize import brentq

from truerun.errors import ValueOutOfRange
from truerun.motion.capture import CaptureWheel, Ending, time_to_end
from truerun.virtual.course import (
    course_angles,
    course_energies,
    course_speeds,
    place_angles,
    simulate_run,
    true_passes,
)
from truerun.virtual.drag_laws import DriftingDrag, EddyBrake, Law, PowerLaw
from truerun.virtual.rig import Launch, Push, Rig, with_source
from truerun.virtual.rotor import Rotor, simulate_passes

Array = NDArray[np.float64]

# w(t), angle(t), stopping time and angle of J dw/dt = -(a + b w + c w^2) in 15 digits, worked out with a Taylor
# integrator of 22 digits and quadrature of 40 digits, apart from this project
CLOSED_FORMS = json.loads((Path(__file__).parents[1] / "data" / "rundown_closed_form.json").read_text("utf-8"))

COSINE, SINE = (0.5, 0.1, 0.05), (0.1,)
HILL = Rig(cosine=COSINE, sine=SINE)
DRAG = PowerLaw(((0, 0.25), (1, 0.02), (1.5, 0.004), (2, 0.001)))


def one(values: float) -> Array:
    return np.array([values])


class TestRundownsWithAClosedForm:
    @pytest.mark.parametrize("name", CLOSED_FORMS)
    def test_speed_and_angle_after_a_time(self, name: str) -> None:
        case = CLOSED_FORMS[name]
        law = PowerLaw(tuple((power, case[letter] / case["J"]) for power, letter in enumerate("abc")))
        course = simulate_run(Rig(law), Launch(case["w0"]), limit=case["t"])
        # tolerance 1e-12 a step over some hundred steps
        assert course_speeds(course, one(case["t"]))[0] == pytest.approx(float(case["w_t"]), rel=1e-10)
        assert course_angles(course, one(case["t"]))[0] == pytest.approx(float(case["theta_t"]), rel=1e-10)

    @pytest.mark.parametrize("name", [name for name in CLOSED_FORMS if CLOSED_FORMS[name]["a"] > 0])
    def test_where_and_when_it_rests(self, name: str) -> None:
        case = CLOSED_FORMS[name]
        law = PowerLaw(tuple((power, case[letter] / case["J"]) for power, letter in enumerate("abc")))
        course = simulate_run(Rig(law), Launch(case["w0"]))
        assert course.rest == pytest.approx(float(case["T_stop"]), rel=1e-10)
        assert course_angles(course, one(1e4))[0] == pytest.approx(float(case["theta_stop"]), rel=1e-10)
        assert course.turn_backs.size == 0

    # loss power from two speeds n (1 +- d) about n, over the true loss at n: 1, d/artanh(d), 1 - d^2
    @pytest.mark.parametrize(
        ("power", "width", "ratio"),
        [(0, 0.2, 1.0), (1, 0.05, 0.999166110382), (1, 0.2, 0.986521384951), (2, 0.1, 0.99), (2, 0.2, 0.96)],
    )
    def test_the_loss_from_two_speeds_is_off_by_the_known_share(self, power: int, width: float, ratio: float) -> None:
        course = simulate_run(Rig(PowerLaw(((power, 0.01),))), Launch(10 * (1 + width)), limit=1000.0)
        late = brentq(lambda time: course_speeds(course, one(time))[0] - 10 * (1 - width), 0, course.stop, xtol=1e-13)
        assert 20 * width / late / (0.01 * 10.0**power) == pytest.approx(ratio, rel=1e-9)  # 12 digits printed


class TestEnergy:
    @pytest.mark.parametrize("speed", [3.0, 0.6])
    def test_without_drag_it_stays(self, speed: float) -> None:
        course = simulate_run(HILL, Launch(speed, angle=2.5), limit=100.0)
        energy = course_energies(course, np.linspace(0, 100, 2001))
        np.testing.assert_allclose(energy, energy[0], rtol=0, atol=1e-9)
        assert (course.turn_backs.size > 0) == (speed < 1)

    def test_dry_friction_takes_friction_times_the_way_also_back_and_forth(self) -> None:
        course = simulate_run(Rig(PowerLaw(((0, 0.05),)), cosine=COSINE, sine=SINE), Launch(2.0))
        assert course.rest is not None
        places = [0.0, *course.turn_backs[:, 1], float(course_angles(course, one(course.rest))[0])]
        lost = course_energies(course, one(0.0)) - course_energies(course, one(course.rest))
        assert len(places) > 4
        assert lost[0] == pytest.approx(0.05 * np.abs(np.diff(places)).sum(), rel=1e-9)

    def test_a_drifting_drag_takes_its_integral_over_the_angle(self) -> None:
        factors = (1.0, 1.3, 0.8, 0.9, 1.1)
        launch = Launch(10.0, angle=1.0, scale=1.5, drift=DriftingDrag(factors))
        course = simulate_run(Rig(PowerLaw(((0, 0.2),))), launch, limit=2.6)
        way = float(course_angles(course, one(2.6))[0]) - 1.0
        # scipy's curve through the same values and slopes
        curve = CubicHermiteSpline(2 * np.pi * np.arange(5), factors, np.gradient(factors) / (2 * np.pi))
        expected = 0.2 * 1.5 * quad(curve, 0, way, epsabs=1e-12)[0]
        assert 3 < way / (2 * np.pi) < 4
        lost = course_energies(course, one(0.0)) - course_energies(course, one(2.6))
        assert lost[0] == pytest.approx(expected, rel=1e-9)

    def test_a_constant_drive_gives_drive_times_the_angle(self) -> None:
        course = simulate_run(with_source(HILL, drive=PowerLaw(((0, 0.1),))), Launch(2.0), limit=20.0)
        times = np.linspace(0, 20, 50)
        gained = course_energies(course, times) - course_energies(course, one(0.0))
        np.testing.assert_allclose(gained, 0.1 * course_angles(course, times), atol=1e-9)


class TestSymmetry:
    def test_lossless_motion_runs_backwards_in_the_mirror(self) -> None:
        rig = HILL
        there = simulate_run(rig, Launch(2.0), limit=30.0)
        end, speed = (float(of(there, one(30.0))[0]) for of in (course_angles, course_speeds))
        mirrored = Rig(cosine=COSINE, sine=(-0.1,))
        back = simulate_run(mirrored, Launch(speed, angle=-end), limit=30.0)
        times = np.linspace(0, 30, 101)
        # errors of both ways grow in proportion to time
        np.testing.assert_allclose(course_angles(back, 30 - times), -course_angles(there, times), atol=1e-8)
        np.testing.assert_allclose(course_speeds(back, 30 - times), course_speeds(there, times), atol=1e-8)

    def test_a_whole_turn_further_on_nothing_changes(self) -> None:
        courses = [
            simulate_run(Rig(DRAG, cosine=COSINE, sine=SINE), Launch(5.0, angle=angle))
            for angle in (0.3, 0.3 + 4 * np.pi)
        ]
        assert courses[0].rest == pytest.approx(courses[1].rest, abs=1e-9)

    def test_speed_and_time_scale_together(self) -> None:
        # time times 2, speed over 2, torque over 4: the same equation
        slow = simulate_run(Rig(PowerLaw(((0, 0.05), (1, 0.01))), cosine=(0.5,)), Launch(3.0))
        fast = simulate_run(Rig(PowerLaw(((0, 0.2), (1, 0.02))), cosine=(2.0,)), Launch(6.0))
        assert slow.rest is not None
        assert fast.rest == pytest.approx(slow.rest / 2, rel=1e-9)


class TestPasses:
    def test_the_integrator_over_the_angle_finds_the_same_times(self) -> None:
        # rotor.py integrates energy over angle, this one angle over time: nothing is shared
        marks = (0.0, 1.6, 3.1, 4.7)
        course = simulate_run(Rig(DRAG, marks=marks, cosine=COSINE, sine=SINE), Launch(8.0))
        rotor = Rotor(lambda speed, angle: DRAG(speed) + 0 * angle, COSINE, SINE, marks)
        other = simulate_passes(rotor, 8.0, 45)
        found = true_passes(course)
        assert found.places[:44].tolist() == list(range(1, 45))
        np.testing.assert_allclose(found.times[:44], other.times[1:], rtol=0, atol=1e-9)
        np.testing.assert_allclose(found.speeds[:44], other.speeds[1:], rtol=0, atol=1e-9)

    def test_each_mark_is_at_the_sensor_when_it_passes(self) -> None:
        course = simulate_run(Rig(DRAG, marks=(0.0, 1.6, 3.1, 4.7), cosine=COSINE, sine=SINE), Launch(5.0, angle=0.4))
        found = true_passes(course)
        at = course_angles(course, found.times)
        np.testing.assert_allclose(at, place_angles(course.rig, found.places), rtol=0, atol=1e-10)
        assert (np.diff(found.times) > 0).all()

    def test_while_it_rocks_it_counts_down_and_up_again(self) -> None:
        course = simulate_run(
            Rig(PowerLaw(((0, 0.02),)), cosine=(0.5,), marks=tuple(2 * np.pi * k / 12 for k in range(12))), Launch(2.0)
        )
        found = true_passes(course)
        steps = np.diff(found.places)
        assert set(np.abs(steps)) <= {0, 1}  # 0: the same mark once more, the other way
        assert (np.sign(found.speeds[1:]) == np.sign(found.speeds[:-1]))[steps == 0].sum() == 0
        assert {-1, 0, 1} <= set(steps.tolist())


class TestCaptureAndRocking:
    def test_both_ends_are_those_of_the_averaged_motion(self) -> None:
        # launch phase scatters a single run's last turn: two phases averaged, 3 % allowed
        wheel = CaptureWheel(dry=0.004, hill=1.0)
        rig = Rig(PowerLaw(((0, 0.004),)), cosine=(0.5,))
        ends: list[list[float]] = []
        for angle in (0.5, 3.5):
            course = simulate_run(rig, Launch(float(np.sqrt(4.0 - np.cos(angle))), angle=angle), tolerance=1e-7)
            assert course.rest is not None
            ends.append([float(course.turn_backs[0, 0]), course.rest])
        expected = np.array([float(time_to_end(wheel, 2.0, ending)) for ending in Ending])
        np.testing.assert_allclose(np.mean(ends, axis=0), expected, rtol=0.03)

    def test_dry_friction_takes_two_dead_bands_from_each_half_swing(self) -> None:
        # common textbook law of a spring with dry friction: amplitudes fall by 2 f / k, rest inside +- f / k
        friction, stiffness = 1e-5, 0.5
        rig = Rig(PowerLaw(((0, friction),)), cosine=(-stiffness,))  # bottom at angle 0
        course = simulate_run(rig, Launch(1e-3 * np.sqrt(stiffness)))
        swings = np.abs(course.turn_backs[:, 1])
        assert len(swings) > 10
        np.testing.assert_allclose(-np.diff(swings), 2 * friction / stiffness, rtol=1e-3)  # swing^2/16 is 6e-8
        assert abs(course_angles(course, one(1e3))[0]) <= friction / stiffness

    def test_viscous_drag_takes_a_steady_share_of_each_half_swing(self) -> None:
        viscous, stiffness = 0.02, 0.5
        rig = Rig(PowerLaw(((1, viscous),)), cosine=(-stiffness,))
        course = simulate_run(rig, Launch(1e-3), limit=100.0)
        swings = np.abs(course.turn_backs[:, 1])
        damped = np.sqrt(stiffness - viscous**2 / 4)
        np.testing.assert_allclose(np.diff(np.log(swings)), -np.pi * viscous / 2 / damped, rtol=1e-5)
        np.testing.assert_allclose(np.diff(course.turn_backs[:, 0]), np.pi / damped, rtol=1e-6)
        assert course.rest is None


class TestPushes:
    def test_a_run_up_and_a_last_push(self) -> None:
        launch = Launch(0.0, pushes=(Push(0.0, 2.0, 3.0), Push(5.0, 5.5, 1.0)))
        course = simulate_run(Rig(), launch, limit=10.0)
        speeds = course_speeds(course, np.array([1.0, 2.0, 4.0, 5.0, 5.5, 9.0]))
        np.testing.assert_allclose(speeds, [3.0, 6.0, 6.0, 6.0, 6.5, 6.5], atol=1e-9)
        assert course.free_from == 5.5

    def test_a_wheel_at_rest_waits_for_its_push(self) -> None:
        rig = Rig(PowerLaw(((0, 1.0),)))
        course = simulate_run(rig, Launch(1.0, pushes=(Push(3.0, 4.0, 3.0),)))
        assert course_speeds(course, np.array([2.0, 4.0])).round(9).tolist() == [0.0, 2.0]
        assert course.rest == pytest.approx(6.0)

    def test_a_launch_that_moves_nothing_is_refused(self) -> None:
        with pytest.raises(ValueOutOfRange, match="speed at launch"):
            Launch(0.0)
        with pytest.raises(ValueOutOfRange, match="in order"):
            Launch(1.0, pushes=(Push(3.0, 2.0, 1.0),))


class TestSources:
    def test_a_wheel_that_gains_goes_on_to_the_limit(self) -> None:
        # w' = .03 - .01 w: the stable speed is 3 rad/s
        rig = with_source(Rig(PowerLaw(((0, 0.05), (1, 0.01)))), drive=PowerLaw(((0, 0.08),)))
        course = simulate_run(rig, Launch(1.0), limit=1500.0)
        assert course.rest is None
        assert course_speeds(course, one(1500.0))[0] == pytest.approx(3.0 - 2.0 * np.exp(-15.0), abs=1e-9)

    @pytest.mark.parametrize("law", [EddyBrake(0.2, 30.0), PowerLaw(((1.5, 0.004),))])
    def test_a_brake_shortens_the_run(self, law: Law) -> None:
        rig = Rig(PowerLaw(((0, 0.5),)))
        free, braked = simulate_run(rig, Launch(10.0)), simulate_run(with_source(rig, drag=law), Launch(10.0))
        assert braked.rest is not None
        assert free.rest is not None
        expected = quad(lambda speed: 1 / (0.5 + float(law(one(speed))[0])), 0, 10, epsabs=1e-12)[0]
        assert braked.rest == pytest.approx(expected, rel=1e-9)
        assert braked.rest < free.rest
