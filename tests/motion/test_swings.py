"""Swings found in recordings, against a simulated wheel whose truth is known, and places of points that go round."""

import numpy as np
import pytest
from numpy.typing import NDArray

from truerun.errors import FitImpossible
from truerun.motion.rocking import Friction
from truerun.motion.round_track import round_track
from truerun.motion.swings import SwingOf, find_swings, only_swings, swings_after
from truerun.series import AngleTrack, PositionTrack, SpeedTable
from truerun.virtual.course import Course, course_angles, course_speeds, simulate_run
from truerun.virtual.drag_laws import PowerLaw
from truerun.virtual.rig import Launch, Rig

Array = NDArray[np.float64]
DRY, VISCOUS, STIFFNESS = 0.2, 0.02, 8.0  # rad/s^2, 1/s, 1/s^2: u = 8 cos(angle) is caught below 4 rad/s


@pytest.fixture(scope="module")
def caught() -> Course:
    """A rundown, its capture and its rocking to rest, by an integrator over time that shares nothing with the fits."""
    rig = Rig(drag=PowerLaw(((0, DRY), (1, VISCOUS))), cosine=(STIFFNESS,))
    return simulate_run(rig, Launch(14.0, 0.3), 200.0, tolerance=1e-9)


def filmed(course: Course, seed: int) -> tuple[Array, AngleTrack, SpeedTable]:
    """60 angles a second to 2 mrad and speeds to 20 mrad/s."""
    assert course.rest is not None
    times = np.arange(0, course.rest, 1 / 60)
    rng = np.random.default_rng(seed)
    angles = course_angles(course, times) + 2e-3 * rng.standard_normal(times.size)
    speeds = course_speeds(course, times) + 2e-2 * rng.standard_normal(times.size)
    return times, AngleTrack(times, angles), SpeedTable(times, speeds)


class TestSwingsAfterCapture:
    @pytest.mark.parametrize("seed", [1, 2, 3])
    @pytest.mark.parametrize("of", [SwingOf.ANGLE, SwingOf.SPEED])
    def test_drag_and_stiffness_are_those_of_the_wheel(self, caught: Course, seed: int, of: SwingOf) -> None:
        _, angles, speeds = filmed(caught, seed)
        found = swings_after(angles if of is SwingOf.ANGLE else speeds)
        assert found is not None
        assert found.of is of
        assert found.after
        # eighteen figures within 4 standard uncertainties: 1 in 900 by luck if those are right; seeds are fixed
        for part, truth in ((found.stiffness, STIFFNESS), (found.dry, DRY), (found.viscous, VISCOUS)):
            assert part is not None
            assert abs(part.value - truth) < 4 * part.uncertainty
        assert found.dry is not None
        assert found.dry.uncertainty < 0.05 * DRY

    def test_the_capture_speed_that_follows_from_the_stiffness(self, caught: Course) -> None:
        found = swings_after(filmed(caught, 1)[1])
        speed = None if found is None else found.catching()
        assert speed is not None
        assert abs(speed.value - 4.0) < 4 * speed.uncertainty  # sqrt(2 u_max), u_max = 8

    def test_large_swings_are_left_out_and_said(self, caught: Course) -> None:
        found = swings_after(filmed(caught, 1)[1])
        assert found is not None
        assert "large-swings" in {said.check for said in found.findings}

    def test_a_recording_that_ends_before_capture_holds_none(self, caught: Course) -> None:
        times, angles, speeds = filmed(caught, 1)
        early = times < 25
        assert swings_after(AngleTrack(times[early], angles.angles[early])) is None
        assert swings_after(SpeedTable(times[early], speeds.speeds[early])) is None


class TestOnlySwings:
    times = np.linspace(0, 12, 1200)
    wave = np.exp(-0.1 * times) * np.cos(5 * times)

    def test_angles_places_and_speeds_that_swing(self) -> None:
        assert only_swings(AngleTrack(self.times, self.wave))
        assert only_swings(PositionTrack(self.times, 3 * self.wave, 4 * self.wave))
        assert only_swings(SpeedTable(self.times, self.wave))

    def test_angles_that_jump_at_half_a_turn(self) -> None:
        wrapped = (np.pi + self.wave) % (2 * np.pi)
        turned = np.where(wrapped > np.pi, wrapped - 2 * np.pi, wrapped)
        assert np.ptp(turned) > 6
        assert only_swings(AngleTrack(self.times, turned))

    def test_a_wheel_that_goes_round_does_not_swing(self) -> None:
        assert not only_swings(AngleTrack(self.times, 9 * self.times))
        assert not only_swings(SpeedTable(self.times, 9 - 0.3 * self.times + 0.3 * self.wave))

    def test_a_viscous_swing_is_read_off_every_reading(self) -> None:
        found = find_swings(AngleTrack(self.times, self.wave))
        assert found.sine is not None
        assert found.friction is Friction.VISCOUS
        assert found.period.value == pytest.approx(2 * np.pi / 5, rel=1e-9)
        assert found.viscous is not None
        assert found.viscous.value == pytest.approx(0.2, rel=1e-6)
        assert found.dry is None

    def test_two_turning_points_are_too_few(self) -> None:
        short = self.times < 1.5
        with pytest.raises(FitImpossible, match="must have at least 3, better twelve"):
            find_swings(AngleTrack(self.times[short], self.wave[short]))


class TestPlacesOfAPoint:
    angles = np.linspace(0, 30, 900)

    def test_a_point_that_goes_round_gives_its_angle(self) -> None:
        found = round_track(PositionTrack(self.angles, 5 + 2 * np.cos(self.angles), 1 + 2 * np.sin(self.angles)))
        assert found is not None
        assert found[0].angles == pytest.approx(self.angles, abs=1e-9)
        assert (found[1].x, found[1].y, found[1].radius) == pytest.approx((5, 1, 2))

    def test_an_arc_gives_its_angle_too(self) -> None:
        swing = 0.5 * np.cos(3 * self.angles)
        found = round_track(PositionTrack(self.angles, 2 * np.sin(swing), -2 * np.cos(swing)))
        assert found is not None
        assert np.ptp(found[0].angles) == pytest.approx(1.0, abs=1e-6)

    @pytest.mark.parametrize("tilt", [0.0, 0.6])
    def test_a_line_is_no_circle(self, tilt: float) -> None:
        along = np.cos(3 * self.angles)
        rng = np.random.default_rng(4)
        x, y = along * np.cos(tilt), along * np.sin(tilt)
        noise = 0.01 * rng.standard_normal((2, along.size))
        assert round_track(PositionTrack(self.angles, x + noise[0], y + noise[1])) is None
