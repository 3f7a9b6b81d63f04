"""When runs were started, where a table says so, held against their numbers."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise

from truerun.findings.catalogue import finding
from truerun.findings.finding import Finding
from truerun.recordings.grid import Cell
from truerun.series import Run

__all__ = ["check_starts", "parse_start"]

CLOCK = re.compile(r"([01]?[0-9]|2[0-3]):([0-5][0-9])(?::([0-5][0-9])(?:[.,][0-9]+)?)?")
DAY_FIRST = re.compile(r"(?P<d>[0-9]{1,2})\.(?P<m>[0-9]{1,2})\.(?P<y>[0-9]{4})(?:,?\s+(?P<clock>[0-9:]+))?")
HALF_A_DAY = timedelta(hours=12)

Start = tuple[date | None, timedelta | None]


def parse_start(cell: Cell) -> Start:
    """Day and time of day that a cell names, None for what it does not.

    Parameters
    ----------
    cell : str, float or timedelta
        ``10:05``, ``2026-03-01``, ``2026-03-01 10:05:30`` or ``1.3.2026 10:05``.

    Returns
    -------
    tuple
        Day and time since midnight.

    Examples
    --------
    >>> parse_start("2026-03-01 10:05")
    (datetime.date(2026, 3, 1), datetime.timedelta(seconds=36300))
    >>> parse_start("after lunch")
    (None, None)
    """
    if isinstance(cell, timedelta):
        return None, cell
    if isinstance(cell, float):
        return None, None
    clock = CLOCK.fullmatch(cell)
    if clock:
        return None, timedelta(hours=int(clock[1]), minutes=int(clock[2]), seconds=int(clock[3] or 0))
    found = DAY_FIRST.fullmatch(cell)
    try:
        if found:
            return date(int(found["y"]), int(found["m"]), int(found["d"])), parse_start(found["clock"] or "")[1]
        moment = datetime.fromisoformat(cell)
    except ValueError:
        return None, None
    if moment.tzinfo:
        moment = moment.astimezone(UTC)
    midnight = datetime.combine(moment.date(), datetime.min.time(), moment.tzinfo)
    return moment.date(), moment - midnight if len(cell) > len("2026-03-01") else None


def check_starts(runs: Sequence[Run], starts: Sequence[Sequence[Cell]], column: str) -> tuple[Finding, ...]:
    """Hold the order of the runs against the times at which they were started.

    Parameters
    ----------
    runs : sequence of Run
        In the order of their slots.
    starts : sequence of sequences of cells
        For each run what its row says about its start, such as a date and a clock time.
    column : str
        Heading of the first of these columns.

    Returns
    -------
    tuple of Finding
        One where a run was started before the one that its number puts first. Cells that name no time are
        skipped; without a date, only runs of one session are compared, and midnight may pass between them.

    Examples
    --------
    >>> runs = [Run(1, "in", 60.0), Run(2, "out", 61.0)]
    >>> [found.check for found in check_starts(runs, [["10:40"], ["10:20"]], "started")]
    ['order-contradicted']
    """
    named = [(run, _merged(cells)) for run, cells in zip(runs, starts, strict=True)]
    named = [(run, start) for run, start in named if start != (None, None)]
    for (first, before), (second, after) in pairwise(named):
        if _is_earlier(after, before, same_session=first.session == second.session):
            return (finding("order-contradicted", later=second.slot, earlier=first.slot, column=column),)
    return ()


def _merged(cells: Sequence[Cell]) -> Start:
    """Day and time of day out of all the cells of one row."""
    parts = [parse_start(cell) for cell in cells]
    day = next((day for day, _ in parts if day), None)
    return day, next((clock for _, clock in parts if clock is not None), None)


def _is_earlier(after: Start, before: Start, *, same_session: bool) -> bool:
    """Whether a start lies before another, as far as both can be compared."""
    if after[0] and before[0] and after[0] != before[0]:
        return after[0] < before[0]
    if after[1] is None or before[1] is None:
        return False
    back = before[1] - after[1]
    if after[0] and before[0]:
        return back > timedelta()
    return same_session and timedelta() < back < HALF_A_DAY
