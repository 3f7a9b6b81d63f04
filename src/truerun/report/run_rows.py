"""Every launch as a row, whether it counts or not, and the table as it was read."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import PurePath

import numpy as np

from truerun.series import RunTable
from truerun.trial.comparison import Comparison
from truerun.trial.mishaps import reason_words

__all__ = ["LaunchRow", "launch_rows", "raw_columns", "raw_rows", "recording_name"]


@dataclass(frozen=True, slots=True)
class LaunchRow:
    """One launch: its place, try, condition as set up, value as read, what came of it, and why."""

    slot: int
    attempt: int
    condition: str
    is_source: bool
    session: str
    value: str
    state: str
    why: str


def launch_rows(result: Comparison) -> tuple[LaunchRow, ...]:
    """Give a row for every line of the table.

    Parameters
    ----------
    result : Comparison
        Finished; a covered result has no rows, since times and conditions must not stand side by side.

    Returns
    -------
    tuple of LaunchRow
    """
    if result.verdict is None:
        return ()
    at = result.at
    last = {run.slot: run for run in at.seen.runs}
    states = dict(zip(last, _states(result), strict=True))
    return tuple(
        LaunchRow(
            slot=run.slot,
            attempt=run.attempt,
            condition=run.condition,
            is_source=run.condition == at.rules.conditions.source,
            session=run.session or "",
            value=_rounded(run.value, at.table),
            state=states[run.slot] if last.get(run.slot) is run else "repeated",
            why=reason_words(run.left_out or ""),
        )
        for run in at.table.runs
    )


def _states(result: Comparison) -> list[str]:
    """Say of each slot how its run counts."""
    seen = result.at.seen
    words = []
    for place, run in enumerate(seen.runs):
        if seen.missing[place]:
            said = "not run"
        elif seen.omitted[place]:
            said = "left out before its time was seen"
        elif seen.worst[place]:
            said = "stopped after its time was seen: counts at its worst"
        elif run.unfinished:
            said = "still going: counts up to the common limit"
        else:
            said = "counts, cut at the common limit" if seen.capped[place] else "counts"
        words.append(said + (", as drawn: the other condition was set up" if run.slot in seen.slips else ""))
    return words


def raw_columns(table: RunTable) -> tuple[str, ...]:
    """Give the headings of the table as read, further columns with their units; empty columns are left out."""
    return tuple(name for name, cells in _columns(table).items() if any(cells))


def raw_rows(table: RunTable) -> tuple[tuple[str, ...], ...]:
    """Give every line of the table as read, in the columns of :func:`raw_columns`; what was not written is empty."""
    return tuple(zip(*(cells for cells in _columns(table).values() if any(cells)), strict=True))


def _columns(table: RunTable) -> dict[str, list[str]]:
    """Give every column that a table can have, by its heading."""
    runs = table.runs
    measured = f"{table.measure} [{table.unit}]" if table.unit else table.measure
    seen = {None: "", True: "yes", False: "no"}
    columns = {
        "run": [str(run.slot) for run in runs],
        "attempt": [str(run.attempt) for run in runs],
        "condition": [run.condition for run in runs],
        measured: ["" if run.value is None else _written(run.value, table) for run in runs],
        "unfinished": ["yes" if run.unfinished else "" for run in runs],
        "left out": [run.left_out or "" for run in runs],
        "time seen": [seen[run.seen] for run in runs],
        "session": [run.session or "" for run in runs],
        "keeper": [run.keeper or "" for run in runs],
        "recording": [recording_name(run.recording or "") for run in runs],
    }
    for keeper in sorted({keeper for run in runs for keeper in run.readings}):
        read = [run.readings.get(keeper) for run in runs]
        columns[f"read by {keeper}"] = ["" if value is None else _written(value, table) for value in read]
    for name in runs[0].extra:
        unit = f" [{table.extra_units[name]}]" if name in table.extra_units else ""
        columns[f"{name}{unit}"] = [_cell(run.extra.get(name)) for run in runs]
    return columns


def recording_name(path: str) -> str:
    """Give the path of a recording as a reader needs it: of one that is not relative to the table, the name alone.

    Examples
    --------
    >>> recording_name("recordings/run-1.csv"), recording_name("/home/somebody/run-1.csv")
    ('recordings/run-1.csv', 'run-1.csv')
    """
    return PurePath(path).name if PurePath(path).is_absolute() else path


def _cell(value: float | str | None) -> str:
    """Write a further column."""
    if isinstance(value, str):
        return value
    return "" if value is None else f"{value:.15g}".replace("-", "\N{MINUS SIGN}")


def _rounded(value: float | None, table: RunTable) -> str:
    """Write a value as :func:`_written` does, but six digits are enough where nobody wrote any."""
    if value is None or table.resolution:
        return _written(value, table)
    return np.format_float_positional(value, precision=6, fractional=False, trim="-").replace("-", "\N{MINUS SIGN}")


def _written(value: float | None, table: RunTable) -> str:
    """Write a value with the digits that were written, as far as they are known."""
    if value is None:
        return "none"
    step = table.resolution
    decimals = max(0, -math.floor(math.log10(step) + 1e-9)) if step else None
    text = f"{value:.15g}" if decimals is None else f"{value:.{decimals}f}"
    return text.replace("-", "\N{MINUS SIGN}")
