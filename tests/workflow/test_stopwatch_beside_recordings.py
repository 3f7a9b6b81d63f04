"""A table whose runs have a recording and a stopwatch time: recordings decide, both are told.

The times over the window are held against quadrature of the drag that was put in (``window_time``), the stopwatch
against what it was made to read.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from truerun.virtual.rim_arc import ARC_IN, ARC_OUT, MARKS, simulate_rim_arc, window_time
from truerun.workflow.comparing import ComparisonResult, compare

SIGNS = np.array([1, -1, -1, 1, -1, 1, 1, -1], dtype=np.int8)
RUNS = simulate_rim_arc(SIGNS, np.random.default_rng(3))


def written(folder: Path, stopwatch: list[str]) -> Path:
    """Write recordings and the table that names them."""
    lines = ["run,condition,recording,marks,stopwatch"]
    for slot, (sign, run, watch) in enumerate(zip(SIGNS, RUNS, stopwatch, strict=True), start=1):
        passes = "".join(f"{time:.6f}\n" for time in run.passes)
        (folder / f"run-{slot}.csv").write_text(f"time [s]\n{passes}", encoding="utf-8")
        lines.append(f"{slot},{'in' if sign > 0 else 'out'},run-{slot}.csv,{MARKS},{watch}")
    table = folder / "runs.csv"
    table.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return table


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> ComparisonResult:
    """Compare a table whose stopwatch column holds digits of a stopwatch."""
    digits = [f"{int(run.stopwatch // 60)}:{run.stopwatch % 60:04.1f}" for run in RUNS]
    table = written(tmp_path_factory.mktemp("watch"), digits)
    return compare(table, control="out", orders="blocks-of-four")


class TestBothAreTold:
    def test_the_means_are_those_that_were_put_in(self, result: ComparisonResult) -> None:
        told = result.impression
        assert told is not None
        watched = [
            np.mean([run.stopwatch for run, sign in zip(RUNS, SIGNS, strict=True) if sign == side]) for side in (1, -1)
        ]
        assert [told.source[0], told.control[0]] == pytest.approx(watched, abs=1e-9)
        window = result.comparison.at.rules.window
        assert window is not None
        put_in = [window_time(wheel, window.from_, window.to) for wheel in (ARC_IN, ARC_OUT)]
        # four runs of each, whose drag scatters by 1.1 %: five standard deviations of their mean; seeded all the same
        assert [told.source[1], told.control[1]] == pytest.approx(put_in, rel=5 * 0.011 / 2)

    def test_the_two_have_opposite_signs_and_a_finding_says_so(self, result: ComparisonResult) -> None:
        told = result.impression
        assert told is not None
        assert told.fair < 0 < told.drive
        assert "two-impressions" in {found.check for found in result.comparison.findings}

    def test_text_json_and_report_show_them(self, result: ComparisonResult) -> None:
        assert "By the stopwatch, to standstill" in result.summary()
        document = result.document()["stopwatch"]
        assert document["drive_fraction"] > 0 > document["over_the_window"]
        page = result.report()
        assert "Two impressions of the same runs" in page
        assert "Looks like a gain" in page or "No clear difference" in page  # 36 orders: 2 of 36 are 5.6 %
        assert "rocks to and fro" in page

    def test_the_recordings_say_below_which_speed_the_bump_catches_the_wheel(self, result: ComparisonResult) -> None:
        found = result.impressions()
        assert found is not None
        caught = found.rows[-1]
        # sqrt(2 u_max) of a bump of 1.496 rad^2/s^2 from trough to crest, half of it above the mean: 11.7 r/min
        assert caught[1].replace("\N{NO-BREAK SPACE}", " ") == "12 r/min"
        assert caught[2] == "no bump seen"


class TestWithoutAWholeColumn:
    def test_one_missing_time_leaves_the_impression_out(self, tmp_path: Path) -> None:
        table = written(tmp_path, ["", *(f"{run.stopwatch:.1f}" for run in RUNS[1:])])
        found = compare(table, control="out", orders="blocks-of-four")
        assert found.impression is None
        assert found.document()["stopwatch"] is None
        assert found.impressions() is None
