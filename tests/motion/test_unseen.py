"""The bump that a recording could have missed, and tracks near capture, against simulated wheels."""

import numpy as np
import pytest
from numpy.typing import NDArray

from truerun.motion.choice import choose_rundown
from truerun.motion.track_choice import choose_track
from truerun.motion.unseen import UnseenHill, unseen_hill
from truerun.series import AngleTrack
from truerun.virtual.course import course_angles, simulate_run
from truerun.virtual.drag_laws import PowerLaw
from truerun.virtual.rig import Launch, Rig
from truerun.virtual.rotor import Rotor, simulate_passes
from truerun.virtual.wheels import power_drag

Array = NDArray[np.float64]
MARKS, SIGMA, PASSES, RUNS = 12, 2e-5, 600, 20


def passes(amplitude: float) -> Array:
    """Pass times of a wheel of dry and viscous drag with one harmonic, from 20 rad/s."""
    marks = tuple(2 * np.pi * np.arange(MARKS) / MARKS)
    drag = power_drag(np.array([0.09, 0.03]), (0, 1))
    return simulate_passes(Rotor(drag, cosine=(amplitude,), marks=marks), 20.0, PASSES).times


def seen(times: Array, seeds: int) -> int:
    """In how many of twenty readings of one run a bump is seen."""
    rngs = (np.random.default_rng(seeds + run) for run in range(RUNS))
    fits = (choose_rundown(times + SIGMA * rng.standard_normal(times.size), MARKS) for rng in rngs)
    return sum(fit.hill is not None for fit in fits)


class TestWhatPassesCouldHaveMissed:
    def missed(self) -> UnseenHill:
        rng = np.random.default_rng(1)
        found = unseen_hill(choose_rundown(passes(0.0) + SIGMA * rng.standard_normal(PASSES), MARKS))
        assert found is not None
        return found

    def test_a_bump_of_that_size_is_seen_in_95_of_100_runs(self) -> None:
        found = self.missed()
        count = seen(passes(found.height / 2), 100)
        # 16 or more of 20: fails by luck in .3 % at 95 % (binomial); the seeds are fixed
        assert count >= 16

    def test_one_of_a_third_is_mostly_missed(self) -> None:
        found = self.missed()
        assert seen(passes(found.height / 6), 200) <= 6

    def test_share_and_capture_speed_belong_to_the_height(self) -> None:
        found = self.missed()
        assert found.capture_speed == pytest.approx(np.sqrt(found.height))  # w = sqrt(2 u_max), u_max half the height
        assert found.share == pytest.approx(found.height / 200, rel=1e-3)  # 20 rad/s: 200 rad^2/s^2

    def test_where_a_bump_was_seen_nothing_is_said(self) -> None:
        times = passes(self.missed().height)
        assert (
            unseen_hill(choose_rundown(times + SIGMA * np.random.default_rng(3).standard_normal(PASSES), MARKS)) is None
        )


def filmed(rig: Rig, stop: float, seed: int) -> AngleTrack:
    """60 angles a second to 2 mrad of a launch at 14 rad/s."""
    course = simulate_run(rig, Launch(14.0, 0.3), stop + 1, tolerance=1e-9)
    times = np.arange(0, stop, 1 / 60)
    noise = 2e-3 * np.random.default_rng(seed).standard_normal(times.size)
    return AngleTrack(times, course_angles(course, times) + noise)


DRAG = PowerLaw(((0, 0.2), (1, 0.02)))


class TestTracks:
    def test_a_track_down_to_capture_shows_its_bump(self) -> None:
        # caught below 4 rad/s, at about 31 s
        found = choose_track(filmed(Rig(drag=DRAG, cosine=(8.0,)), 30.5, 1)).fit
        assert found.hill is not None
        spread = np.sqrt(np.diag(found.hill.covariance))
        # within 4 standard uncertainties: 1 in 8 000 by luck for each
        assert abs(found.hill.cosine[0] - 8.0) < 4 * spread[0]
        assert abs(found.hill.sine[0]) < 4 * spread[1]
        assert "slow-turns-left-out" in {said.check for said in found.findings}

    def test_without_a_bump_it_says_what_it_could_have_missed(self) -> None:
        found = choose_track(filmed(Rig(drag=DRAG), 30.0, 2))
        assert found.fit.hill is None
        assert found.unseen is not None
        assert choose_track(filmed(Rig(drag=DRAG, cosine=(2 * found.unseen,)), 30.0, 3)).fit.hill is not None

    def test_a_camera_that_reads_its_rows_one_after_the_other(self) -> None:
        flat = filmed(Rig(drag=DRAG), 30.0, 4)
        late = 5e-3 * np.cos(flat.angles)  # seen up to 5 ms later at the top, earlier at the bottom
        speeds = np.gradient(flat.angles, flat.times)
        found = choose_track(AngleTrack(flat.times, flat.angles + late * np.abs(speeds))).fit
        assert found.delay is not None
        assert found.delay_covariance is not None
        # a shifted angle is the delayed one to first order in w d' = .07: a tenth of it is allowed
        assert found.delay[0] == pytest.approx(5e-3, rel=0.1)
        assert "film-late" in {said.check for said in found.findings}

    def test_a_fixed_sensor_is_not_late(self) -> None:
        assert choose_track(filmed(Rig(drag=DRAG), 30.0, 2)).fit.delay is None
