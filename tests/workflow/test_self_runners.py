"""A wheel that runs by itself, from its recordings to the verdict: what was put in is what is found.

Truth: a constant drive against the drag of the wheel, by energy (method of signed losses; the equation of motion of
the virtual rig shares nothing with the reading).
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from truerun.motion.sustained import sustained_run
from truerun.series import AngleTrack, Passes, SpeedTable
from truerun.virtual.course import simulate_run
from truerun.virtual.drag_laws import PowerLaw
from truerun.virtual.recording_files import write_passes
from truerun.virtual.rig import Launch, Rig, with_source
from truerun.virtual.sensor import SensorClock, record_passes
from truerun.workflow.comparing import ComparisonResult, compare

DRAG = PowerLaw(((0, 0.08), (1, 0.006)))
SPEED = 12.0
LOSS = 0.08 + 0.006 * SPEED  # rad/s^2 at launch
ORDER = ("in", "out", "out", "in", "out", "in", "in", "out", "in", "out", "out", "in")
LIMIT = 60.0  # s


def made(folder: Path, drive: float, seed: int = 1, names: tuple[str, str] = ("in", "out")) -> ComparisonResult:
    """Record 6 + 6 runs with a constant drive of so many times the loss at launch, and compare them."""
    rng = np.random.default_rng(seed)
    control = Rig(DRAG, marks=(0.0, 1.57, 3.15, 4.71))
    source = with_source(control, drive=PowerLaw(((0, drive * LOSS),)))
    with (folder / "runs.csv").open("w", newline="") as file:
        table = csv.writer(file)
        table.writerow(["run", "condition", "recording", "marks"])
        for number, condition in enumerate(ORDER, start=1):
            launch = Launch(SPEED * float(np.exp(0.01 * rng.normal())), 0.3, float(np.exp(0.01 * rng.normal())))
            course = simulate_run(source if condition == names[0] else control, launch, LIMIT, tolerance=1e-8)
            passes, _ = record_passes(course, rng, clock=SensorClock(resolution=1e-6))
            write_passes(folder / f"{number}.csv", passes)
            table.writerow([number, condition, f"{number}.csv", 4])
    return compare(folder / "runs.csv", source="in", control="out", orders="blocks-of-four", end="speed")


class TestAWheelThatGains:
    def test_it_is_found_with_its_size(self, tmp_path: Path) -> None:
        found = made(tmp_path, 1.4)
        assert found.verdict == "adds-energy"
        said = {each.check: each.sentence for each in found.comparison.findings}
        assert "no-common-window" in said
        assert "a recording cannot tell the two apart" in said["speed-sustained"]
        drive = found.comparison.document()["effect"]["value"]
        # at the speeds of its launch the source saves drive times speed; the control saves nothing
        assert drive == pytest.approx(1.4 * LOSS * SPEED, rel=0.15)

    def test_the_same_the_other_way_round_is_a_brake(self, tmp_path: Path) -> None:
        found = made(tmp_path, 1.4, names=("out", "in"))
        assert found.verdict == "takes-energy"

    def test_one_that_keeps_its_speed_is_found_too(self, tmp_path: Path) -> None:
        found = made(tmp_path, 1.0)
        assert found.verdict == "adds-energy"
        said = next(each.sentence for each in found.comparison.findings if each.check == "no-common-window")
        assert "a drive of +" in said


class TestOthersAreNot:
    def test_half_a_drive_is_a_rundown(self, tmp_path: Path) -> None:
        found = made(tmp_path, 0.5)
        assert found.verdict == "adds-energy"
        assert "speed-sustained" not in {each.check for each in found.comparison.findings}

    @pytest.mark.parametrize("seed", range(2, 6))
    def test_a_passive_wheel_is_no_drive(self, tmp_path: Path, seed: int) -> None:
        # each is wrong by luck once in twenty; these four seeds are not
        assert made(tmp_path, 0.0, seed).verdict not in ("adds-energy", "takes-energy")


class TestReadingASustainedRun:
    def test_passes_speeds_and_angles_say_the_same(self) -> None:
        times = np.linspace(0.0, 100.0, 4001)
        angles = 12.0 * times + 0.01 * times**2  # gains .02 rad/s^2
        passes = np.interp(np.arange(0, angles[-1], 2 * np.pi), angles, times)
        found = [
            sustained_run(series, 1)
            for series in (Passes(passes), SpeedTable(times, 12.0 + 0.02 * times), AngleTrack(times, angles))
        ]
        for each in found:
            assert each is not None
            assert (each.speed_last - each.speed_first) / each.duration == pytest.approx(0.02, rel=1e-3)

    def test_angles_within_one_turn_speeds_the_other_way_and_stamps_that_repeat(self) -> None:
        times = np.arange(0.0, 60.0, 0.05)
        angles = 12.0 * times + 0.01 * times**2  # gains .02 rad/s^2
        speeds = 12.0 + 0.02 * times
        twice = SpeedTable(np.repeat(times, 2), np.repeat(speeds, 2))
        for series in (AngleTrack(times, angles % (2 * np.pi)), SpeedTable(times, -speeds), twice):
            found = sustained_run(series, 1)
            assert found is not None
            assert (found.speed_last - found.speed_first) / found.duration == pytest.approx(0.02, rel=1e-3)

    def test_passes_of_which_few_can_be_used_are_none(self) -> None:
        assert sustained_run(Passes(np.append(np.zeros(30), 1.0)), 2) is None
        assert sustained_run(Passes(np.arange(60.0)[::-1]), 2) is None

    def test_times_that_fall_back_and_angles_without_end_are_none(self) -> None:
        times = np.arange(0.0, 60.0)
        assert sustained_run(SpeedTable(times[::-1], 12.0 + 0.02 * times), None) is None
        assert sustained_run(AngleTrack(times, np.append(12.0 * times[:-1], 1e15)), None) is None

    def test_the_launch_is_left_out(self) -> None:
        times = np.linspace(0.0, 60.0, 601)
        speeds = np.where(times < 3, 4.0 * times, 12.0 + 0.02 * (times - 3)) + 1e-9
        found = sustained_run(SpeedTable(times, np.maximum(speeds, 0.01)), None)
        assert found is not None
        assert found.speed_first == pytest.approx(12.0, rel=1e-2)
        assert [each.check for each in found.findings] == ["launch-left-out", "speed-sustained"]

    def test_a_rundown_is_none(self) -> None:
        times = np.linspace(0.0, 60.0, 61)
        assert sustained_run(SpeedTable(times, 12.0 * np.exp(-times / 100)), None) is None
