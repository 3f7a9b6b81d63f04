"""A whole made-up test in a folder: one recording for each run of an order, and the table that points to them."""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from truerun.virtual.course import simulate_run
from truerun.virtual.noise import Drift
from truerun.virtual.recording_files import PassRows, Style, write_passes
from truerun.virtual.rig import LaunchHabit, Rig, draw_launch
from truerun.virtual.sensor import Dirt, SensorClock, Truth, record_passes

__all__ = ["Logger", "WrittenTest", "write_test"]


MICROSECONDS = SensorClock(resolution=1e-6)
PLAIN = Style()


@dataclass(frozen=True, slots=True)
class Logger:
    """How runs are recorded: what goes wrong at the sensor, its clock, and how the files are written."""

    dirt: tuple[Dirt, ...] = ()
    clock: SensorClock = MICROSECONDS
    pulse: float | None = None
    style: Style = PLAIN
    rows: PassRows = PassRows.MARK


@dataclass(frozen=True, slots=True, eq=False)
class WrittenTest:
    """Where a made-up test lies: its ``table`` of runs, the ``recordings`` in the order of runs, and their truths."""

    table: Path
    recordings: tuple[Path, ...]
    truths: tuple[Truth, ...]


def write_test(
    folder: Path,
    rigs: Mapping[str, Rig],
    order: Sequence[str],
    rng: np.random.Generator,
    *,
    habit: LaunchHabit | None = None,
    drifts: Sequence[Drift] = (),
    logger: Logger | None = None,
    limit: float = 3600.0,
) -> WrittenTest:
    """Make every run of a test and write it.

    Parameters
    ----------
    folder : Path
        An existing one.
    rigs : mapping of str to Rig
        The truth in each condition; all with the same number of marks.
    order : sequence of str
        The condition of each run.
    rng : numpy.random.Generator
    habit : LaunchHabit, optional
        How launches scatter.
    drifts : sequence of Drift
        What moves from run to run, as shapes of ln T: the drag of a run is divided by exp(drift).
    logger : Logger, optional
    limit : float
        When a recording is stopped [s].

    Returns
    -------
    WrittenTest
        ``runs.csv`` has the columns run, condition, recording, marks.
    """
    chosen, launches = logger or Logger(), habit or LaunchHabit()
    drift = sum((shape.draw(rng, 1, len(order))[0] for shape in drifts), np.zeros(len(order)))
    paths, truths, rows = [], [], []
    for run, condition in enumerate(order, start=1):
        launch = draw_launch(launches, rng)
        launch = replace(launch, scale=launch.scale * float(np.exp(-drift[run - 1])))
        course = simulate_run(rigs[condition], launch, limit, tolerance=1e-10)
        passes, truth = record_passes(course, rng, dirt=chosen.dirt, clock=chosen.clock, pulse=chosen.pulse)
        path = folder / f"run-{run:02}.csv"
        write_passes(path, passes, chosen.style, chosen.rows)
        paths.append(path)
        truths.append(truth)
        rows.append([run, condition, path.name, len(rigs[condition].marks)])
    table = folder / "runs.csv"
    with table.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["run", "condition", "recording", "marks"])
        writer.writerows(rows)
    return WrittenTest(table, tuple(paths), tuple(truths))
