"""Simulated tables read back as what they are."""

from pathlib import Path

import numpy as np
import pytest

from truerun.recordings.run_tables import read_run_table
from truerun.virtual.bench import Bench, Watch
from truerun.virtual.noise import SessionSteps
from truerun.virtual.tables import format_table, simulate_table, simulate_times

ORDER = np.array([1, -1, -1, 1] * 3, dtype=np.int8)


def generator(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


class TestATableSurvivesItsFile:
    @pytest.mark.parametrize("resolution", [0.1, 0.01, 0.001])
    def test_slots_conditions_times_and_limits(self, tmp_path: Path, resolution: float) -> None:
        bench = Bench(spread=0.05, watch=Watch(0.1, resolution), time_limit=61.0)
        table = simulate_table(bench, ORDER, generator(), conditions=("arc in", "arc out"))
        path = tmp_path / "times.csv"
        path.write_text(format_table(table), encoding="utf-8")
        read = read_run_table(path)
        assert [run.unfinished for run in read.runs].count(True) in range(1, 12)
        for written, found in zip(table.runs, read.runs, strict=True):
            assert (found.slot, found.condition, found.unfinished) == (
                written.slot,
                written.condition,
                written.unfinished,
            )
            assert found.value == written.value
        assert read.resolution == pytest.approx(resolution)

    def test_sessions(self, tmp_path: Path) -> None:
        days = ["Monday"] * 4 + ["Tuesday"] * 8
        table = simulate_table(Bench(drifts=(SessionSteps(0.1, 4),)), ORDER, generator(), sessions=days)
        path = tmp_path / "times.csv"
        path.write_text(format_table(table), encoding="utf-8")
        assert [run.session for run in read_run_table(path).runs] == days


class TestUnfinishedRuns:
    def test_nothing_stands_above_the_limit_and_half_at_it(self) -> None:
        times = simulate_times(Bench(time_limit=60.0), np.tile(ORDER, (4_000, 1)), generator())
        assert times.max() == 60.0
        # half of 48 000 runs, and some more that the hand reads as the limit; standard error .0023
        assert (times == 60.0).mean() == pytest.approx(0.52, abs=0.03)

    def test_a_self_runner_stands_at_the_limit_in_every_source_run(self) -> None:
        table = simulate_table(Bench(drive_fraction=1.1, time_limit=300.0), ORDER, generator())
        assert [run.unfinished for run in table.runs] == [kind > 0 for kind in ORDER]


def test_the_same_seed_gives_the_same_file_to_the_last_digit() -> None:
    assert format_table(simulate_table(Bench(), ORDER, generator(9))) == format_table(
        simulate_table(Bench(), ORDER, generator(9))
    )


def test_a_known_seed_gives_known_times() -> None:
    # written down once, so that another platform or another numpy shows if it gives other digits
    times = simulate_times(Bench(spread=0.02), np.array([1, -1, -1, 1, 1, -1], dtype=np.int8), generator(20_260_401))
    assert times.tolist() == [60.89, 59.97, 58.21, 60.63, 59.03, 60.2]
