"""Tracks whose times repeat or fall back, and tracks that are hardly any."""

from io import BytesIO
from typing import Any

import numpy as np
import pytest

from truerun.errors import FitImpossible
from truerun.motion.swings import find_swings
from truerun.series import SpeedTable
from truerun.workflow.recognising import recognise_recordings
from truerun.workflow.reducing import As, rundown


def written(heading: str, *columns: object) -> Any:
    """Write columns as a recording, times to a hundredth of a second."""
    rows = zip(*(np.asarray(column).tolist() for column in columns), strict=True)
    lines = (f"{time:.2f}," + ",".join(f"{value:.9f}" for value in rest) for time, *rest in rows)
    return BytesIO(("\n".join([heading, *lines]) + "\n").encode())


class TestOneRowATime:
    @pytest.mark.parametrize("heading", ["time [s],angle [rad]", "time [s],x [mm],y [mm]"])
    def test_a_wheel_whose_stamps_repeat_is_fitted_and_that_is_said(self, heading: str) -> None:
        # w = 15 - .4 t by hand: from 14 to 12 rad/s in 5 s; stamps of a hundredth, 300 rows a second
        times = np.arange(0, 10, 1 / 300)
        angles = 15 * times - 0.2 * times**2
        stamps = np.floor(times * 100 + 1e-9) / 100
        angles += 1e-3 * np.random.default_rng(3).standard_normal(times.size)
        columns = [angles] if "angle" in heading else [80 * np.cos(angles), 80 * np.sin(angles)]
        found = rundown(written(heading, stamps, *columns), window=(14.0, 12.0))
        assert found.window is not None
        assert found.window.time == pytest.approx(5, abs=0.01)  # a step of the stamps
        assert "rows-of-one-time" in {each.check for each in found.findings}

    def test_swinging_speeds_whose_stamps_repeat(self) -> None:
        times = np.arange(0, 9, 0.01)
        speeds = 2 * np.exp(-0.1 * times) * np.cos(5 * times)
        found = find_swings(SpeedTable(np.repeat(times, 2), np.repeat(speeds, 2)))
        assert found.period.value == pytest.approx(2 * np.pi / 5, abs=1e-6)  # exact readings

    @pytest.mark.parametrize("heading", ["time [s],angle [rad]", "time [s],x [mm],y [mm]", "time [s],speed [rad/s]"])
    def test_a_time_that_falls_back_is_refused_with_its_row(self, heading: str) -> None:
        times = np.array([0.0, 0.1, 0.2, 0.15, 0.3, 0.4, 0.5, 0.6])
        others = [np.cos(times), np.sin(times)][: heading.count(",")]
        with pytest.raises(FitImpossible, match=r"row 4 is earlier"):
            recognise_recordings([written(heading, times, *others)], As())


class TestHardlyATrack:
    def test_one_reading_has_no_turns(self) -> None:
        with pytest.raises(FitImpossible, match=r"0\.0 turns"):
            recognise_recordings([written("time [s],angle [rad]", [1.5], [2.5])], As())

    def test_an_angle_with_a_slip_of_the_keys_is_no_track_of_so_many_turns(self) -> None:
        times = np.arange(0.0, 24.0)
        with pytest.raises(FitImpossible, match="slip of the keys"):
            recognise_recordings([written("time [s],angle [rad]", times, np.append(times[:-1], 1e15))], As())

    def test_a_wheel_that_stands_still_does_not_swing(self) -> None:
        times = np.arange(0.0, 24.0)
        with pytest.raises(FitImpossible, match=r"0\.0 turns"):
            recognise_recordings([written("time [s],angle [rad]", times, 0 * times)], As())
