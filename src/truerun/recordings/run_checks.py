"""What every table of runs must be: slots without gaps, attempts with reasons, two conditions, no empty times."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from enum import Enum
from itertools import pairwise

from truerun.recordings.grid import Grid, Line, shown
from truerun.series import Run

__all__ = ["Compared", "require_runs"]

NUMBER_ANEW = "Number the runs 1, 2, 3, ... in the order in which they were made."


class Compared(Enum):
    """How many conditions a table must have: two for a comparison, two or more for a screening or a dose series."""

    TWO = "two"
    SEVERAL = "several"


def require_runs(
    grid: Grid,
    lines: Sequence[Line],
    runs: Sequence[Run],
    measure: str,
    *,
    numbered: bool,
    attempts: bool,
    conditions: Compared = Compared.TWO,
    instead: str | None = None,
) -> None:
    """Refuse a table of runs that contradicts itself.

    Parameters
    ----------
    grid : Grid
        The table, for messages.
    lines : sequence of Line
        Its rows below the headings.
    runs : sequence of Run
        In the order of slots and attempts.
    measure : str
        Name of the observed column, for messages.
    numbered : bool
        Whether the table has a column of run numbers.
    attempts : bool
        Whether it has a column of attempts.
    conditions : Compared
        How many conditions there must be.
    instead : str, optional
        A further column that is as good as the observation.

    Raises
    ------
    RecordingUnreadable
        With the sentence that names the line.

    Examples
    --------
    >>> runs = [Run(1, "in", 61.2, line=2), Run(3, "out", 59.0, line=3)]
    >>> require_runs(Grid("times.csv", "line", ()), [], runs, "time", numbered=True, attempts=False)
    Traceback (most recent call last):
    ...
    truerun.errors.RecordingUnreadable: times.csv, line 3: this is run 3, and there is no run 2.
    Number the runs 1, 2, 3, ... in the order in which they were made.
    """
    if numbered:
        _require_different_rows(grid, lines)
        _require_different_runs(grid, runs, attempts=attempts)
        _require_no_gap(grid, runs)
    _require_attempts(grid, runs)
    _require_one_spelling(grid, runs)
    _require_conditions(grid, runs, conditions)
    _require_different_recordings(grid, runs)
    _require_no_hole(grid, runs, measure, instead)


def _require_different_rows(grid: Grid, lines: Sequence[Line]) -> None:
    """Refuse the same row twice."""
    seen: dict[object, int] = {}
    for line in lines:
        first = seen.setdefault(line.cells, line.number)
        if first != line.number:
            raise grid.unreadable((first, line.number), "both rows are the same. Take one of them out.")


def _require_different_runs(grid: Grid, runs: Sequence[Run], *, attempts: bool) -> None:
    """Refuse a run number that comes twice; with attempts, the same attempt twice."""
    for first, second in pairwise(runs):
        if (first.slot, first.attempt) == (second.slot, second.attempt):
            both = f"both are run {first.slot}" + (f", attempt {first.attempt}." if attempts else ".")
            remedy = "Number each run once; for a run that was repeated, add a column attempt (1, 2, ...)."
            remedy = "Number the attempts of a run 1, 2, ... in time." if attempts else remedy
            raise grid.unreadable(_lines(first, second), f"{both} {remedy}")


def _lines(first: Run, second: Run) -> tuple[int, ...]:
    """Lines of two runs, the upper one first."""
    return tuple(sorted(run.line for run in (first, second) if run.line is not None))


def _require_no_gap(grid: Grid, runs: Sequence[Run]) -> None:
    """Refuse slots that are not 1, 2, 3, ..."""
    expected = 0
    for run in runs:
        if run.slot > expected + 1:
            found = f"this is run {run.slot}, and there is no run {expected + 1}."
            raise grid.unreadable(run.line, f"{found} {NUMBER_ANEW}")
        if run.slot < 1:
            raise grid.unreadable(run.line, f"this is run {run.slot}; the first must be run 1. {NUMBER_ANEW}")
        expected = run.slot


def _require_attempts(grid: Grid, runs: Sequence[Run]) -> None:
    """Refuse attempts that do not count 1, 2, ... or go on without a reason."""
    before: Run | None = None
    for run in runs:
        repeated = before is not None and before.slot == run.slot
        expected = before.attempt + 1 if before is not None and repeated else 1
        if run.attempt != expected:
            found = f"this is attempt {run.attempt} of run {run.slot}; it must be attempt {expected}."
            raise grid.unreadable(run.line, f"{found} Number the attempts of a run 1, 2, ... in time.")
        if before is not None and repeated and before.left_out is None:
            found = f"attempt {before.attempt} of run {run.slot} was followed by another and has no reason."
            raise grid.unreadable(before.line, f"{found} Write under left_out why it does not count.")
        before = run


def _require_one_spelling(grid: Grid, runs: Sequence[Run]) -> None:
    """Refuse two names that differ in nothing but case and blanks."""
    seen: dict[str, Run] = {}
    for run in sorted(runs, key=lambda run: run.line or 0):
        first = seen.setdefault("".join(run.condition.casefold().split()), run)
        if first.condition != run.condition:
            found = f'the condition is "{first.condition}" in one and "{run.condition}" in the other.'
            raise grid.unreadable(_lines(first, run), f"{found} Write it in one way, or give it another name.")


def _require_conditions(grid: Grid, runs: Sequence[Run], conditions: Compared) -> None:
    """Refuse one condition, and of a comparison three and more; name the rarest, which may be a slip."""
    counts = Counter(run.condition for run in runs)
    if len(counts) == 2 or (len(counts) > 2 and conditions is Compared.SEVERAL):
        return
    listed = ", ".join(f'"{shown(name)}" ({_times(count)})' for name, count in counts.most_common(8))
    more = f" and {len(counts) - 8} more" if len(counts) > 8 else ""
    if len(counts) == 1:
        raise grid.unreadable(
            None, f"the only condition is {listed}; a comparison has two. Add the runs of the other condition."
        )
    rarest = min(counts, key=lambda name: (counts[name], -runs.index(next(r for r in runs if r.condition == name))))
    line = next(run.line for run in runs if run.condition == rarest)
    found = f"there are {len(counts)} conditions: {listed}{more}; a comparison has two."
    raise grid.unreadable(line, f"{found} Mend the names, or keep the runs of two conditions.")


def _times(count: int) -> str:
    """Say how often."""
    return "once" if count == 1 else f"{count} times"


def _require_different_recordings(grid: Grid, runs: Sequence[Run]) -> None:
    """Refuse one recording for two runs."""
    seen: dict[str, Run] = {}
    for run in runs:
        if run.recording is not None:
            first = seen.setdefault(run.recording, run)
            if first is not run:
                found = f'both name the recording "{shown(run.recording)}".'
                raise grid.unreadable(_lines(first, run), f"{found} Name the recording of each run.")


def _require_no_hole(grid: Grid, runs: Sequence[Run], measure: str, instead: str | None) -> None:
    """Refuse a run without observation and reason before one that has an observation."""
    empty: Run | None = None
    for run in runs:
        observed = run.value is not None or run.recording is not None
        observed = observed or (instead is not None and run.extra.get(instead) is not None)
        if observed and empty is not None:
            found = f'run {empty.slot} has nothing under "{measure}", and later runs have.'
            raise grid.unreadable(empty.line, f"{found} Write the {measure}, or a reason under left_out.")
        if not observed and run.left_out is None:
            empty = empty or run
