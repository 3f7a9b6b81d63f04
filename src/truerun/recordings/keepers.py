"""Several timekeepers for one run: their lines are put together before anything is checked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from truerun.recordings.grid import Grid
from truerun.series import Run

__all__ = ["put_together"]


def put_together(grid: Grid, runs: Sequence[Run]) -> list[Run]:
    """Make one run of the lines of several keepers.

    Parameters
    ----------
    grid : Grid
        The table, for messages.
    runs : sequence of Run
        One a line, in the order of the file.

    Returns
    -------
    list of Run
        One for each slot and attempt; where several keepers timed it, ``readings`` holds what each read and ``value``
        their mean. Lines without a keeper, and a keeper who comes twice in a run, are left as they are.

    Raises
    ------
    RecordingUnreadable
        If the keepers of a run disagree about anything but the time.

    Examples
    --------
    >>> both = put_together(Grid("times.csv", "line", ()),
    ...                     [Run(1, "in", 61.0, keeper="A", line=2), Run(1, "in", 61.2, keeper="B", line=3)])
    >>> [(run.value, dict(run.readings)) for run in both]
    [(61.1, {'A': 61.0, 'B': 61.2})]
    """
    groups: dict[tuple[int, int], list[Run]] = {}
    for run in runs:
        groups.setdefault((run.slot, run.attempt), []).append(run)
    made: list[Run] = []
    for group in groups.values():
        keepers = {run.keeper for run in group}
        made += [_joined(grid, group)] if len(group) == len(keepers) > 1 and None not in keepers else group
    return made


def _joined(grid: Grid, group: Sequence[Run]) -> Run:
    """Put the lines of one run together."""
    first = group[0]
    for other in group[1:]:
        for name in ("condition", "unfinished", "left_out", "seen", "session"):
            if getattr(other, name) != getattr(first, name):
                lines = tuple(run.line for run in (first, other) if run.line is not None)
                found = f"the keepers of run {first.slot} do not agree on {name.replace('_', ' ')}."
                raise grid.unreadable(lines, f"{found} Write the same in both lines.")
    readings = {run.keeper: run.value for run in group if run.keeper is not None and run.value is not None}
    value = sum(readings.values()) / len(readings) if readings else None
    return replace(first, value=value, keeper=None, readings=readings)
