"""Real recordings by others, each read as what it is or refused in a sentence.

Sources, authors and licences: tests/data/real/README.md and LICENCES.txt; the outside values are those of that README
(section 2) and, for the arrays, numpy.loadtxt on the same file.
"""

import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from truerun.errors import ChoiceNeeded, RecordingUnreadable
from truerun.recordings.recording import read_recording
from truerun.series import AngleTrack, Passes, PositionTrack, SpeedTable

REAL = Path(__file__).parents[1] / "data" / "real"


class TestEachIsReadAsWhatItIs:
    def test_a_gyroscope_read_by_hand_every_two_minutes(self) -> None:
        table = read_recording(REAL / "gyro_v213_rundown.txt").series
        assert isinstance(table, SpeedTable)
        assert table.times.tolist() == [0.0, 120.0, 240.0, 360.0, 480.0, 600.0, 720.0]
        rpm = np.array([691, 638, 590, 545, 502, 467, 433])
        np.testing.assert_allclose(table.speeds, rpm * np.pi / 30, rtol=1e-15)
        assert table.standard_uncertainty is not None
        np.testing.assert_allclose(table.standard_uncertainty, 2 * np.pi / 30, rtol=1e-15)
        assert table.speed_resolution == pytest.approx(np.pi / 30, rel=1e-15)
        # the README's weighted exponential: 6.531e-4 1/s, chi-squared 2.590
        slope = np.polynomial.polynomial.polyfit(table.times, np.log(table.speeds), 1, w=table.speeds)[1]
        assert -slope == pytest.approx(6.531e-4, abs=0.01e-4)

    @pytest.mark.parametrize(("number", "degrees", "first"), [("01", 90, -90.36), ("03", 45, -45.27)])
    def test_a_rod_on_an_encoder_with_its_rate_above(self, number: str, degrees: int, first: float) -> None:
        path = REAL / f"pendulum_free_swing_{number}.txt"
        assert str(degrees) in path.read_text(encoding="utf-8").splitlines()[1]
        recording = read_recording(path)
        track = recording.series
        assert isinstance(track, AngleTrack)
        np.testing.assert_allclose(track.angles, np.loadtxt(path, skiprows=2) * np.pi / 180, rtol=1e-15)
        assert track.angles[0] == pytest.approx(np.radians(first), rel=1e-12)
        assert (track.times.size, track.times[-1]) == (5000, pytest.approx(4.999, rel=1e-12))
        assert track.angle_resolution == pytest.approx(np.radians(0.09), rel=1e-9)  # encoder step in the README
        assert any("sample_rate: 1000" in sentence for sentence in recording.said)

    @pytest.mark.parametrize(("name", "rows", "last"), [("axial_swing", 2317, 4.632), ("radial_torsion", 1001, 2.0)])
    def test_a_gyro_s_speeds_whose_unit_no_heading_names(self, name: str, rows: int, last: float) -> None:
        path = REAL / f"wheel_{name}_gyro.csv"
        with pytest.raises(ChoiceNeeded, match="the unit of the speeds could be"):
            read_recording(path)
        table = read_recording(path, unit="rad/s").series
        assert isinstance(table, SpeedTable)
        plain = np.loadtxt(path, delimiter=",", skiprows=1)
        np.testing.assert_array_equal(np.column_stack((table.times, table.speeds)), plain)
        assert (table.times.size, table.times[-1]) == (rows, pytest.approx(last, rel=1e-12))

    @pytest.mark.parametrize(("name", "rows"), [("d06_l80_40deg", 4079), ("d08_l80_50deg", 2499)])
    def test_a_magnet_tracked_in_a_film_is_a_track_of_places_without_a_unit(self, name: str, rows: int) -> None:
        path = REAL / f"magnet_pendulum_{name}.txt"
        track = read_recording(path).series
        assert isinstance(track, PositionTrack)
        plain = np.loadtxt(path, delimiter=",", skiprows=2, usecols=(0, 1, 2))
        np.testing.assert_array_equal(np.column_stack((track.times, track.x, track.y)), plain)
        assert (track.times.size, track.unit) == (rows, None)
        step = (track.times[-1] - track.times[0]) / (rows - 1)
        assert step == pytest.approx(0.0041708, abs=1e-7)  # in the README

    @pytest.mark.parametrize(("ring", "rows", "slope"), [("inner", 9, 41.63), ("outer", 10, 28.87)])
    def test_a_driven_wheel_with_stated_errors(self, ring: str, rows: int, slope: float) -> None:
        table = read_recording(REAL / f"driven_wheel_{ring}_ring.csv").series
        assert isinstance(table, SpeedTable)
        assert table.standard_uncertainty is not None
        assert table.standard_uncertainty.size == rows
        # unweighted slope in the README [rad/s²]
        assert np.polynomial.polynomial.polyfit(table.times, table.speeds, 1)[1] == pytest.approx(slope, abs=0.005)

    def test_a_table_of_torque_against_speed_is_no_recording(self) -> None:
        with pytest.raises(RecordingUnreadable, match="a column of speed and none of times"):
            read_recording(REAL / "bearing_tare_torque_vs_rpm.csv")

    def test_a_list_of_masses_and_lengths_is_no_recording(self) -> None:
        with pytest.raises(RecordingUnreadable, match=r"line 1: there are no rows of numbers in it"):
            read_recording(REAL / "bicycle_browser_measured.txt")

    def test_one_file_under_two_names_has_one_digest(self, tmp_path: Path) -> None:
        first = REAL / "magnet_pendulum_d08_l80_50deg.txt"
        second = tmp_path / "magnet_pendulum_d08_l80_60deg.txt"
        shutil.copyfile(first, second)
        assert read_recording(first).digest == read_recording(second).digest
        assert read_recording(first).digest != read_recording(REAL / "magnet_pendulum_d06_l80_40deg.txt").digest


@pytest.mark.slow
def test_a_waveform_of_200_megabytes_needs_less_than_300(tmp_path: Path) -> None:
    path = tmp_path / "waveform.csv"
    step, count = 2e-5, 12_000_000
    with path.open("w", encoding="utf-8") as file:
        file.write("Time [s],CH1 [V]\n")
        for first in range(0, count, 200_000):
            times = step * np.arange(first, first + 200_000)
            volts = 0.1 + 4.8 * (np.mod(times, 0.08) < 0.004)
            file.writelines(f"{t:.5f},{v:.4f}\n" for t, v in zip(times, volts, strict=True))
    assert path.stat().st_size > 190e6
    program = (
        "import resource, sys\n"
        "from truerun.recordings.recording import read_recording\n"
        "print(read_recording(sys.argv[1]).series.times.size)\n"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)\n"
    )
    said = subprocess.run([sys.executable, "-c", program, str(path)], capture_output=True, text=True, check=True).stdout
    passes, kilobytes = map(int, said.split())
    assert passes == 2999  # 240 s of one mark every 0.08 s; the first was there at the start
    assert kilobytes < 300_000


def test_a_waveform_with_a_trigger_is_passes_with_ends_and_triggers(tmp_path: Path) -> None:
    path = tmp_path / "scope.csv"
    times = np.arange(4000) / 1e4
    marks, trigger = 5.0 * (np.mod(times, 0.02) > 0.015), 3.0 * (np.mod(times, 0.08) > 0.07)
    rows = "".join(f"{1000 * t:.1f};{a:.2f};{b:.2f}\n" for t, a, b in zip(times, marks, trigger, strict=True))
    path.write_text("Model;7\nTime;CH1;CH2\n(ms);(V);(V)\n\n" + rows.replace(".", ","), encoding="utf-8")
    passes = read_recording(path).series
    assert isinstance(passes, Passes)
    assert passes.ends is not None
    assert passes.triggers is not None
    np.testing.assert_allclose(passes.times, 0.015 + 0.02 * np.arange(20), rtol=0, atol=1.01e-4)  # one sample
    np.testing.assert_allclose(passes.ends[:-1], 0.02 + 0.02 * np.arange(19), rtol=0, atol=1.01e-4)
    np.testing.assert_allclose(passes.triggers, 0.07 + 0.08 * np.arange(5), rtol=0, atol=1.01e-4)
