"""The whole road from a made-up wheel to a time over a window, and many runs at once against one."""

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import brentq

from truerun.virtual.calibration import Recipe, carry_out
from truerun.virtual.course import Course, course_energies, simulate_run, true_passes
from truerun.virtual.drag_laws import DriftingDrag
from truerun.virtual.many_rundowns import simulate_many
from truerun.virtual.recorded_rates import DRAG, FROM, RECIPES, TO, WINDOW, measured_time, passive_pair, window_time
from truerun.virtual.recording_files import PassRows, Style, write_passes
from truerun.virtual.rig import Launch, Rig, height
from truerun.virtual.sensor import Bounces, Dirt, Jitter, Missed, SensorClock, record_passes


def generator() -> np.random.Generator:
    return np.random.default_rng(11)


@cache
def whole_run() -> Course:
    """From above the window over capture at 1 rad/s to rest."""
    return simulate_run(passive_pair(generator()).source, Launch(10.3, angle=1.0), tolerance=1e-10)


def true_time(course: Course) -> float:
    """Between the moments at which the energy is that of both ends of the window."""

    def over(time: float, speed: float) -> float:
        return float(course_energies(course, np.array([time]))[0]) - speed**2 / 2

    ends = [brentq(over, 0.0, course.legs[0].stop, args=(speed,), xtol=1e-10) for speed in (FROM, TO)]
    return float(ends[1] - ends[0])


class TestTheWholeRoadOfOneRun:
    # 20 us of jitter: the fit states 85 us for the time over the window; five of that
    @pytest.mark.parametrize(
        ("dirt", "style", "rows"),
        [
            ((Jitter(2e-5),), Style(), PassRows.MARK),
            ((Missed(0.03), Bounces(0.05), Jitter(2e-5)), Style(";", ",", "ms"), PassRows.MARK),
            ((Jitter(2e-5),), Style(unit="ms"), PassRows.INTERVAL),
        ],
        ids=["clean", "missed and bouncing", "intervals"],
    )
    def test_a_file_tells_the_true_time_over_the_window(
        self, tmp_path: Path, dirt: tuple[Dirt, ...], style: Style, rows: PassRows
    ) -> None:
        passes, truth = record_passes(whole_run(), generator(), dirt=dirt, clock=SensorClock(1e-6, start=3.0))
        assert (truth.speeds < 0).any()  # rocking is in the file
        write_passes(tmp_path / "run.csv", passes, style, rows)
        found = measured_time(tmp_path / "run.csv", 4, WINDOW)
        assert found == pytest.approx(true_time(whole_run()), abs=4.3e-4)

    def test_down_to_three_capture_speeds_the_bump_hardly_changes_it(self) -> None:
        # a turn at three capture speeds takes .233 % longer than a free one; all over the window much less
        rig = whole_run().rig
        top = float(height(rig, np.linspace(0, 2 * np.pi, 1000)).max())
        assert 3 * np.sqrt(2 * top) < TO
        assert 0 < true_time(whole_run()) / window_time() - 1 < 0.00233


class TestManyRunsAtOnce:
    def test_they_pass_when_each_alone_does(self) -> None:
        rig = Rig(DRAG, cosine=(0.4,), sine=(0.3,), marks=(0.0, 1.6, 3.1, 4.7))
        drifts = [DriftingDrag(tuple(factors)) for factors in 1 + 0.05 * generator().standard_normal((2, 12))]
        launches = [Launch(9.0, scale=1.1, drift=drifts[0]), Launch(8.0, drift=drifts[1])]
        many = simulate_many(rig, launches, 48)
        for launch, times in zip(launches, many.times, strict=True):
            # its speed is by energy; the bump is .4 at angle 0
            alone = replace(launch, speed=float(np.sqrt(launch.speed**2 - 0.8)))
            found = true_passes(simulate_run(rig, alone, limit=20.0))
            np.testing.assert_allclose(times[1:], found.times[:47], rtol=0, atol=1e-8)  # two integrators

    def test_a_run_that_is_caught_on_the_way_ends_there(self) -> None:
        rig = Rig(DRAG, cosine=(0.4,))
        many = simulate_many(rig, [Launch(9.0), Launch(3.0)], 20)
        assert np.isfinite(many.times[0]).all()
        lost = np.isnan(many.times[1])
        assert 0 < lost.argmax() < 19
        assert lost[lost.argmax() :].all()
        caught = true_passes(simulate_run(rig, Launch(float(np.sqrt(9.0 - 0.8))), limit=100.0))
        np.testing.assert_allclose(many.times[1, 1 : lost.argmax()], caught.times[: lost.argmax() - 1], atol=1e-8)


@pytest.mark.slow
@pytest.mark.parametrize("recipe", RECIPES, ids=lambda recipe: recipe.name)
def test_the_figure_lies_in_its_band(recipe: Recipe) -> None:
    found = carry_out(recipe, short=True)
    assert found.within, found
