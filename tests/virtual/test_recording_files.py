"""Every kind of file that is written is read back to the same numbers, to the digits that were written."""

import csv
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from truerun.errors import ValueOutOfRange
from truerun.recordings.recording import read_recording
from truerun.recordings.run_tables import read_run_table
from truerun.series import AngleTrack, Clock, Passes, SpeedTable
from truerun.virtual.course import Course, course_angles, place_angles, simulate_run, true_passes
from truerun.virtual.drag_laws import PowerLaw
from truerun.virtual.instruments import (
    Film,
    Pickup,
    Pulse,
    SpeedDisplay,
    record_display,
    record_film,
    record_waveform,
    waveform_blocks,
)
from truerun.virtual.noise import Line
from truerun.virtual.recorded_test import Logger, write_test
from truerun.virtual.recording_files import PassRows, Style, write_angles, write_passes, write_speeds, write_waveform
from truerun.virtual.rig import Launch, LaunchHabit, Rig, with_source
from truerun.virtual.sensor import HAND, Bounces, Dirt, Jitter, Missed, SensorClock, record_passes

MARKS = (0.0, 1.5, 3.1, 4.8)
MICRO = SensorClock(resolution=1e-6)


@cache
def course() -> Course:
    """About 19 turns in 20 s."""
    return simulate_run(Rig(PowerLaw(((0, 0.6),)), marks=MARKS), Launch(12.0), tolerance=1e-10)


def generator() -> np.random.Generator:
    return np.random.default_rng(7)


def passes(*dirt: Dirt, clock: SensorClock = MICRO, **columns: bool | float) -> Passes:
    return record_passes(course(), generator(), dirt=dirt, clock=clock, **columns)[0]  # type: ignore[arg-type]


def read_passes(path: Path, **said: str) -> Passes:
    series = read_recording(path, **said).series
    assert isinstance(series, Passes)
    return series


def close(found: NDArray[np.float64] | None, written: NDArray[np.float64] | None, digit: float) -> None:
    """Same numbers to half the last digit written, and the rounding of a float."""
    assert found is not None
    assert written is not None
    np.testing.assert_allclose(found, written, rtol=1e-12, atol=digit / 2 * (1 + 1e-6))


class TestPassTimes:
    @pytest.mark.parametrize(
        "style",
        [
            Style(),
            Style(unit="ms"),
            Style(unit="us", delimiter="\t"),
            Style(delimiter=";", decimal=","),
            Style(delimiter=";", decimal=",", unit="ms"),
            Style(preamble=("# logged by a made-up sensor", "# pin 2")),
        ],
        ids=["s", "ms", "us and tab", "decimal comma", "decimal comma, ms", "lines above"],
    )
    def test_any_style(self, tmp_path: Path, style: Style) -> None:
        made = passes(Bounces(0.05), Missed(0.05), Jitter(2e-5))
        write_passes(tmp_path / "run.csv", made, style)
        read = read_passes(tmp_path / "run.csv")
        close(read.times, made.times, 1e-9)
        assert read.timing.resolution == pytest.approx(1e-6)

    def test_one_bare_column(self, tmp_path: Path) -> None:
        made = passes()
        write_passes(tmp_path / "run.txt", made, Style(headings=False))
        close(read_passes(tmp_path / "run.txt", unit="s", kind="passes").times, made.times, 1e-9)

    def test_columns_beside_the_times(self, tmp_path: Path) -> None:
        made = passes(Bounces(at=(3,)), numbered=True, counted=True, pulse=0.1)
        write_passes(tmp_path / "run.csv", made)
        read = read_passes(tmp_path / "run.csv")
        close(read.times, made.times, 1e-9)
        close(read.ends, made.ends, 1e-9)
        np.testing.assert_array_equal(read.mark, made.mark)
        np.testing.assert_array_equal(read.counts, made.counts)

    def test_a_shorter_column_of_a_trigger_mark(self, tmp_path: Path) -> None:
        made = passes(trigger=1.0)
        write_passes(tmp_path / "run.csv", made)
        read = read_passes(tmp_path / "run.csv")
        close(read.times, made.times, 1e-9)
        close(read.triggers, made.triggers, 1e-9)

    def test_both_edges_in_one_column(self, tmp_path: Path) -> None:
        made = passes(pulse=0.1)
        write_passes(tmp_path / "run.csv", made, rows=PassRows.EDGE)
        read = read_passes(tmp_path / "run.csv")
        close(read.times, made.times, 1e-9)
        close(read.ends, made.ends, 1e-9)

    @pytest.mark.parametrize("unit", ["s", "ms"])
    def test_intervals(self, tmp_path: Path, unit: str) -> None:
        made = passes(Missed(0.1))
        write_passes(tmp_path / "run.csv", made, Style(unit=unit), PassRows.INTERVAL)
        close(read_passes(tmp_path / "run.csv").times, made.times - made.times[0], 1e-9)  # the first one is at 0

    def test_a_column_for_each_mark(self, tmp_path: Path) -> None:
        made = passes(Missed(at=(6, 13)), numbered=True)
        write_passes(tmp_path / "run.csv", made, Style(delimiter=";"), PassRows.TURN)
        read = read_passes(tmp_path / "run.csv")
        assert read.mark is not None
        assert made.mark is not None
        order = np.argsort(read.times)
        close(read.times[order], made.times, 1e-9)
        np.testing.assert_array_equal(read.mark[order], made.mark)

    def test_taps_of_a_stopwatch(self, tmp_path: Path) -> None:
        clock = SensorClock(resolution=0.01, start=50.0, kind=Clock.HAND)  # past one minute
        made = passes(*HAND, clock=clock)
        write_passes(tmp_path / "taps.csv", made, Style(unit="m:ss"))
        read = read_passes(tmp_path / "taps.csv")
        close(read.times, made.times, 1e-9)
        assert read.timing.clock is Clock.HAND
        assert read.timing.resolution == pytest.approx(0.01)

    def test_a_clock_that_begins_again_is_in_the_file(self, tmp_path: Path) -> None:
        made = passes(clock=SensorClock(resolution=1e-6, wrap=8.0))
        write_passes(tmp_path / "run.csv", made)
        read = read_passes(tmp_path / "run.csv")
        assert (np.diff(read.times) < 0).sum() == 2
        close(read.times, made.times, 1e-9)


class TestSpeedTables:
    def made(self, **display: float | bool) -> SpeedTable:
        return record_display(course(), SpeedDisplay(every=0.5, **display), generator())[0]  # type: ignore[arg-type]

    def read(self, path: Path) -> SpeedTable:
        series = read_recording(path).series
        assert isinstance(series, SpeedTable)
        return series

    @pytest.mark.parametrize("style", [Style(), Style(delimiter=";", decimal=",")], ids=["point", "comma"])
    @pytest.mark.parametrize("unit", ["r/min", "rad/s"])
    def test_either_unit(self, tmp_path: Path, style: Style, unit: str) -> None:
        made = self.made(counted=True)
        write_speeds(tmp_path / "run.csv", made, style, unit)
        read = self.read(tmp_path / "run.csv")
        close(read.times, made.times, 1e-9)
        close(read.speeds, made.speeds, 1e-8)  # nine decimals where a digit of r/min is no digit of rad/s
        np.testing.assert_array_equal(read.counts, made.counts)
        assert read.standard_uncertainty is None

    @pytest.mark.parametrize("in_heading", [True, False])
    def test_a_stated_error(self, tmp_path: Path, *, in_heading: bool) -> None:
        made = self.made(stated=2 * 2 * np.pi / 60)
        write_speeds(tmp_path / "run.csv", made, error_in_heading=in_heading)
        close(self.read(tmp_path / "run.csv").standard_uncertainty, made.standard_uncertainty, 1e-9)


class TestAngles:
    @pytest.mark.parametrize("unit", ["deg", "rad"])
    @pytest.mark.parametrize("with_times", [True, False])
    def test_with_times_or_a_rate(self, tmp_path: Path, unit: str, *, with_times: bool) -> None:
        made, _ = record_film(course(), Film(rate=30.0, error=0.01, step=np.pi / 1800), generator())
        write_angles(tmp_path / "film.csv", made, unit=unit, with_times=with_times)
        read = read_recording(tmp_path / "film.csv").series
        assert isinstance(read, AngleTrack)
        close(read.times, made.times, 1e-8)
        close(read.angles, made.angles, 1e-8)


class TestWaveforms:
    @pytest.mark.parametrize("style", [Style(), Style(delimiter=";", decimal=",", unit="ms")], ids=["s", "comma, ms"])
    def test_a_mark_is_in_the_middle_between_its_edges(self, tmp_path: Path, style: Style) -> None:
        pickup = Pickup(rate=2000.0, pulse=Pulse.LIGHT, noise=0.002, hum=0.003)
        samples = write_waveform(
            tmp_path / "light.csv", waveform_blocks(course(), pickup, generator(), block=5000), 1 / 2000, style
        )
        assert samples == record_waveform(course(), pickup, generator()).values.size
        read = read_passes(tmp_path / "light.csv")
        assert read.ends is not None
        true = true_passes(course())
        whole = (true.times > 0.5) & (true.times < 17)
        # wherever the threshold lies, the mark is midway between the edges; .003 V of hum on 6 V/rad: .5 mrad,
        # samples up to 6 mrad apart on a bent edge and noise: 1 mrad
        kept = np.isfinite(read.ends)
        middles = (course_angles(course(), read.times[kept]) + course_angles(course(), read.ends[kept])) / 2
        marks = place_angles(course().rig, true.places[whole])
        assert np.abs(middles[:, None] - marks).min(axis=0).max() < 0.003

    @pytest.mark.parametrize("hum", [0.0, 0.003])
    def test_a_coil_tells_the_zero_between_its_swings(self, tmp_path: Path, hum: float) -> None:
        pickup = Pickup(rate=5000.0, noise=1e-3, hum=hum, drift=0.01)
        write_waveform(tmp_path / "coil.csv", waveform_blocks(course(), pickup, generator()), 1 / 5000)
        read = read_passes(tmp_path / "coil.csv")
        true = true_passes(course())
        for low, high in ((9.0, 12.0), (3.0, 9.0), (1.5, 3.0)):
            seen = true.times[(true.speeds > low) & (true.speeds < high)]
            nearest = np.abs(read.times[:, None] - seen).min(axis=0)
            # the slope at zero is .5 V e^.5 / (.05 rad x 10 rad/s) w^2 = 1.65 w^2 V/s: at w = low 1 mV of noise on one
            # of the samples is 1e-3 / (1.65 low^2), four of that; drift is taken out to 1 mV, hum shifts by itself
            assert nearest.max() < 4 * (1e-3 + hum) / (1.65 * low**2) + 2e-5

    def test_a_coil_wound_the_other_way_tells_the_same(self, tmp_path: Path) -> None:
        found = []
        for sign in (1, -1):
            blocks = [sign * block for block in waveform_blocks(course(), Pickup(rate=5000.0), generator())]
            write_waveform(tmp_path / "coil.csv", blocks, 1 / 5000)
            found.append(read_passes(tmp_path / "coil.csv").times)
        np.testing.assert_allclose(found[0], found[1], atol=1e-6)


class TestAWholeTest:
    def test_files_and_table(self, tmp_path: Path) -> None:
        control = Rig(PowerLaw(((0, 0.6),)), marks=MARKS)
        rigs = {"arc in": with_source(control, drive=PowerLaw(((0, 0.2),))), "arc out": control}
        order = ("arc in", "arc out", "arc out", "arc in")
        habit = LaunchHabit(speed=8.0, drag_scatter=0.001)
        made = write_test(
            tmp_path, rigs, order, generator(), habit=habit, drifts=(Line(0.01),), logger=Logger((Jitter(2e-5),))
        )
        table = read_run_table(made.table)
        assert [run.condition for run in table.runs] == list(order)
        assert [run.marks for run in table.runs] == [4, 4, 4, 4]
        lengths = []
        for run, path, truth in zip(table.runs, made.recordings, made.truths, strict=True):
            assert run.recording is not None
            assert made.table.parent / run.recording == path
            read = read_passes(path)
            np.testing.assert_allclose(read.times, truth.times, rtol=0, atol=2e-4)  # ten standard deviations of jitter
            lengths.append(read.times[-1])
        assert min(lengths[0], lengths[3]) > 1.2 * max(lengths[1], lengths[2])  # .6 against .4 rad/s^2

    def test_one_seed_one_test(self, tmp_path: Path) -> None:
        rigs = {"a": Rig(PowerLaw(((0, 2.0),)))}
        for name in ("first", "second"):
            (tmp_path / name).mkdir()
            write_test(tmp_path / name, rigs, ["a"], generator(), habit=LaunchHabit(speed=8.0))
        first, second = ((tmp_path / name / "run-01.csv").read_bytes() for name in ("first", "second"))
        assert first == second
        with (tmp_path / "first" / "runs.csv").open(encoding="utf-8", newline="") as file:
            assert list(csv.reader(file)) == [["run", "condition", "recording", "marks"], ["1", "a", "run-01.csv", "1"]]


class TestWhatCannotBeWritten:
    def test_a_decimal_comma_between_commas(self) -> None:
        with pytest.raises(ValueOutOfRange, match="not the delimiter"):
            Style(decimal=",")

    def test_rows_that_need_what_was_not_recorded(self, tmp_path: Path) -> None:
        with pytest.raises(ValueOutOfRange, match="both edges"):
            write_passes(tmp_path / "run.csv", passes(), rows=PassRows.EDGE)
        with pytest.raises(ValueOutOfRange, match="every mark"):
            write_passes(tmp_path / "run.csv", passes(), rows=PassRows.TURN)
