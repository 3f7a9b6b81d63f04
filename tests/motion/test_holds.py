"""Releases from rest found in one long recording, of a simulated wheel that a hand sets down at twelve places."""

import numpy as np
import pytest
from numpy.typing import NDArray

from truerun.motion.holds import releases_in
from truerun.motion.release_choice import choose_releases
from truerun.series import AngleTrack
from truerun.virtual.course import course_angles, simulate_run
from truerun.virtual.drag_laws import PowerLaw
from truerun.virtual.rig import Launch, Rig

Array = NDArray[np.float64]
STEP, SCATTER, DRY, TOP = 1 / 60, 1e-3, 0.05, 1.2
STARTS = 2 * np.pi * (np.arange(12) + 0.5) / 12


def moments(count: int) -> Array:
    """Times of so many readings."""
    return np.asarray(STEP * np.arange(count), dtype=np.float64)


@pytest.fixture(scope="module")
def session() -> tuple[Array, Array, Array]:
    """Times and angles of a whole session, and where the wheel really turned back."""
    rig = Rig(drag=PowerLaw(((0, DRY),)), cosine=(TOP,))
    pieces, turned, now = [], [], 0.0
    for start in STARTS:
        course = simulate_run(rig, Launch(1e-9, float(start)), 60.0, tolerance=1e-9)
        times, angles = course.turn_backs.T
        far = np.abs(angles - start) > 0.01  # a start against the slope turns back at once
        turned.append(angles[far][0])
        free = course_angles(course, np.arange(0, times[far][1], STEP))
        by_hand = now + (start - now) * (1 - np.cos(np.pi * np.linspace(0, 1, 60))) / 2
        now = float(free[-1])
        pieces += [by_hand, np.full(90, start), free, np.full(72, now)]
    angles = np.concatenate(pieces)
    read = angles + SCATTER * np.random.default_rng(2).standard_normal(angles.size)
    return moments(angles.size), read, np.array(turned)


class TestASession:
    def test_every_release_is_found_and_no_move_of_the_hand(self, session: tuple[Array, Array, Array]) -> None:
        times, angles, turned = session
        found = releases_in(AngleTrack(times, angles))
        assert found is not None
        assert found.starts == pytest.approx(STARTS, abs=1e-3)  # a scatter of 1 mrad over sixty readings and more
        assert found.turnings == pytest.approx(turned, abs=2e-3)

    def test_the_bump_that_follows(self, session: tuple[Array, Array, Array]) -> None:
        times, angles, _ = session
        found = releases_in(AngleTrack(times, angles))
        assert found is not None
        # turnings are good to 1 in 10 000 of a swing of up to 5 rad, which is .3 % of what twelve turnings tell
        assert choose_releases(found).turns == pytest.approx(2 * TOP / DRY / (2 * np.pi), rel=5e-3)


class TestWhatIsNone:
    def test_a_rundown_to_rest(self) -> None:
        rig = Rig(drag=PowerLaw(((0, 0.2), (1, 0.02))), cosine=(8.0,))
        course = simulate_run(rig, Launch(14.0, 0.3), 200.0, tolerance=1e-9)
        times = np.arange(0, 100, STEP)
        assert releases_in(AngleTrack(times, course_angles(course, times))) is None

    def test_swings_alone(self) -> None:
        times = np.arange(0, 30, STEP)
        assert releases_in(AngleTrack(times, np.exp(-0.1 * times) * np.cos(3 * times))) is None

    def test_a_wheel_that_a_hand_sets_down_again_and_again(self) -> None:
        steps = np.arange(0, 15, STEP) / 2.5  # held for a second and a half, moved on for a second
        angles: Array = np.floor(steps) + np.maximum(steps % 1 - 0.6, 0.0) / 0.4
        assert releases_in(AngleTrack(moments(angles.size), angles)) is None
