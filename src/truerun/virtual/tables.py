"""Tables of runs from a virtual bench: arrays for many repetitions, records and text for one."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from truerun.series import Run, RunTable
from truerun.virtual.bench import Bench, read_watch, true_times

__all__ = ["format_table", "simulate_table", "simulate_times"]

Array = NDArray[np.float64]


def simulate_times(bench: Bench, orders: NDArray[np.int8], rng: np.random.Generator) -> Array:
    """Give the times that would be written down.

    Parameters
    ----------
    bench : Bench
        The truth.
    orders : array of +1 (source) and -1 (control), shape (n,) or (repetitions, n)
        The condition that stands on the bench in each slot.
    rng : numpy.random.Generator
        Source of scatter and reading error.

    Returns
    -------
    array, shape of ``orders``
        [s]; a run that was broken off stands at the time limit.

    Examples
    --------
    >>> bench = Bench(mean_time=60.0, drive_fraction=0.05, spread=0.01)
    >>> simulate_times(bench, np.array([1, -1, -1, 1], dtype=np.int8), np.random.default_rng(1)).tolist()
    [63.13, 60.98, 59.46, 64.17]
    """
    times = true_times(bench, orders, rng)
    limit = np.inf if bench.time_limit is None else bench.time_limit
    running = times >= limit
    read = read_watch(np.where(running, bench.mean_time, times), bench.watch, rng)
    return np.where(running, limit, np.minimum(read, limit))


def simulate_table(
    bench: Bench,
    order: NDArray[np.int8],
    rng: np.random.Generator,
    conditions: tuple[str, str] = ("source", "control"),
    sessions: Sequence[str] | None = None,
) -> RunTable:
    """Give one table of runs, as a person would have filled it in.

    Parameters
    ----------
    bench : Bench
        The truth.
    order : array of +1 and -1, shape (n,)
        The condition in each slot.
    rng : numpy.random.Generator
        Source of scatter and reading error.
    conditions : tuple of two str
        What source and control are called.
    sessions : sequence of str, length n, optional
        The session of each slot.

    Returns
    -------
    RunTable

    Examples
    --------
    >>> table = simulate_table(Bench(), np.array([1, -1], dtype=np.int8), np.random.default_rng(1))
    >>> [(run.slot, run.condition, run.value) for run in table.runs]
    [(1, 'source', 59.93), (2, 'control', 62.18)]
    """
    times = simulate_times(bench, order, rng)
    runs = tuple(
        Run(
            slot=slot,
            condition=conditions[0] if kind > 0 else conditions[1],
            value=float(time),
            unfinished=bench.time_limit is not None and bool(time >= bench.time_limit),
            session=sessions[slot - 1] if sessions is not None else None,
        )
        for slot, (kind, time) in enumerate(zip(order, times, strict=True), start=1)
    )
    return RunTable(runs, resolution=bench.watch.resolution)


def format_table(table: RunTable) -> str:
    """Give a table of times as the text of a CSV file.

    Parameters
    ----------
    table : RunTable
        Of times in seconds.

    Returns
    -------
    str
        Columns run, condition, time [s], and session where the runs have one; an unfinished run is written ">600".

    Examples
    --------
    >>> runs = (Run(1, "arc in", 61.2), Run(2, "arc out", 600.0, unfinished=True))
    >>> print(format_table(RunTable(runs, resolution=0.1)), end="")
    run,condition,time [s]
    1,arc in,61.2
    2,arc out,>600.0
    """
    with_session = any(run.session is not None for run in table.runs)
    decimals = 6 if table.resolution is None else max(0, int(np.ceil(-np.log10(table.resolution) - 1e-9)))
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["run", "condition", "time [s]"] + ["session"] * with_session)
    for run in table.runs:
        time = "" if run.value is None else f"{'>' * run.unfinished}{run.value:.{decimals}f}"
        writer.writerow([run.slot, run.condition, time] + [run.session or ""] * with_session)
    return text.getvalue()
