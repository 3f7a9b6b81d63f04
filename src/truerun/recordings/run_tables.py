"""Tables of runs as people have them: a file of text, a spreadsheet or a frame becomes a checked record."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from truerun.errors import ChoiceNeeded, RecordingUnreadable
from truerun.findings.catalogue import finding
from truerun.findings.finding import Finding
from truerun.recordings.cells import NO, YES, parse_number_cell, parse_text, parse_whole_number, parse_yes_no
from truerun.recordings.columns import Columns, find_columns, has_headings, rows_below
from truerun.recordings.decimal_signs import settle_decimal_signs
from truerun.recordings.frames import read_frame
from truerun.recordings.grid import Grid, Line, shown
from truerun.recordings.headings import Role
from truerun.recordings.keepers import put_together
from truerun.recordings.observations import Observations, read_observations
from truerun.recordings.run_checks import Compared, require_runs
from truerun.recordings.spreadsheets import looks_like_spreadsheet, read_spreadsheet
from truerun.recordings.starts import check_starts
from truerun.recordings.text_tables import read_text_table
from truerun.series import Run, RunTable

__all__ = ["read_run_table"]

LARGEST_FILE = 20_000_000  # bytes; a table of runs has a few thousand


def read_run_table(
    source: Any,
    *,
    measure: str = "time",
    decimal: str | None = None,
    encoding: str | None = None,
    sheet: str | None = None,
    conditions: Compared = Compared.TWO,
    instead: str | None = None,
) -> RunTable:
    """Table of runs, one run a row, with every doubt about it.

    Parameters
    ----------
    source : path, data frame, mapping of columns or list of mappings
        A file of text (comma, semicolon or tab; decimal point or comma), .xlsx, .ods or .xls; or a table in memory.
    measure : str
        Heading of the observed column, with or without its unit. ``"time"`` also finds Zeit, temps and tiempo.
    decimal : str, optional
        ``"."`` or ``","``; found from the numbers where they are clear.
    encoding : str, optional
        Of a file of text; found from its bytes where they are clear.
    sheet : str, optional
        Name of the sheet in a spreadsheet with several tables.
    conditions : Compared
        Two conditions, or several for a screening or a dose series.
    instead : str, optional
        A further column that is as good as the observation; a run that has it may lack a time anywhere.

    Returns
    -------
    RunTable
        Runs in the order of their slots, values in SI units.

    Raises
    ------
    RecordingUnreadable
        With the file, the line, what was found there and what to do.
    ChoiceNeeded
        If something could be read in two ways.
    ValueOutOfRange
        If ``decimal`` or ``encoding`` is unknown.

    Notes
    -----
    Columns: ``run`` (1, 2, ... in time), ``condition`` and the observation or ``recording``; if there are any,
    ``attempt``, ``left_out`` (a reason), ``seen`` (yes or no), ``session``, ``keeper``, ``marks``; all others go to
    ``extra``. Headings may be English, German, French or Spanish, in any case. An unfinished run is ``> 600`` or
    ``unfinished after 600``, or has yes in a column ``unfinished``. Runs at the end may lack a time. Lines that start
    with # are skipped.

    Examples
    --------
    >>> table = read_run_table({"run": [1, 2], "condition": ["arc in", "arc out"], "time [s]": [61.2, "> 90"]})
    >>> [(run.condition, run.value, run.unfinished) for run in table.runs], table.resolution
    ([('arc in', 61.2, False), ('arc out', 90.0, True)], 0.1)
    """
    grid = _grid(source, measure, encoding, sheet)
    columns = find_columns(grid, measure)
    lines = rows_below(grid, columns)
    signs = settle_decimal_signs(grid, lines, columns.headings, _numeric(columns), decimal)
    observations = _observations(grid, lines, columns, signs)
    runs = put_together(grid, _runs(grid, lines, columns, signs, observations))
    ordered = tuple(sorted(runs, key=lambda run: (run.slot, run.attempt)))
    numbered = Role.RUN in columns.places
    measured = measure if columns.measured is None else columns.name(columns.measured)
    attempts = Role.ATTEMPT in columns.places
    require_runs(
        grid,
        lines,
        ordered,
        measured,
        numbered=numbered,
        attempts=attempts,
        conditions=conditions,
        instead=instead,
    )
    return RunTable(
        ordered,
        measured,
        observations.unit,
        observations.resolution,
        None if grid.digest is None else grid.name,
        grid.digest,
        (
            *grid.findings,
            *_check_headings(grid, columns),
            *observations.findings,
            *_check_order(columns, ordered, lines),
        ),
        {columns.name(i): unit.symbol for i in columns.extra if (unit := columns.headings[i].unit)},
    )


def _grid(source: Any, measure: str, encoding: str | None, sheet: str | None) -> Grid:
    """Rows of any source."""
    if not isinstance(source, str | os.PathLike):
        return read_frame(source)
    name = os.fspath(source)
    content = _content(name)
    if looks_like_spreadsheet(content):
        grid = _chosen_sheet(read_spreadsheet(content, name), name, measure, sheet)
    else:
        grid = read_text_table(content, name, encoding=encoding)
    return replace(grid, digest=hashlib.sha256(content).hexdigest())


def _content(name: str) -> bytes:
    """Bytes of a file."""
    try:
        size = Path(name).stat().st_size
        content = Path(name).read_bytes() if size <= LARGEST_FILE else b""
    except FileNotFoundError:
        raise RecordingUnreadable(name, "", "there is no such file. Check the name and the folder.") from None
    except (OSError, ValueError):
        raise RecordingUnreadable(name, "", "it cannot be opened. Give a file that you may read.") from None
    if size > LARGEST_FILE:
        found = f"the file has {size / 1e6:.0f} MB; a table of runs has at most {LARGEST_FILE / 1e6:.0f} MB."
        raise RecordingUnreadable(name, "", f"{found} Give the table, not a recording.")
    return content


def _chosen_sheet(sheets: Mapping[str, Grid], name: str, measure: str, sheet: str | None) -> Grid:
    """Sheet that was named, else the only one with the headings of a table of runs."""
    if sheet is not None and sheet in sheets:
        return sheets[sheet]
    fitting = [title for title, grid in sheets.items() if has_headings(grid, measure)]
    if sheet is not None or len(fitting) > 1:
        lacking = "" if sheet is None else f' (none that holds anything is named "{shown(sheet)}")'
        raise ChoiceNeeded(f"{name}: the sheet{lacking}", tuple(fitting or sheets), 'Name it with "sheet".')
    chosen = fitting or list(sheets)
    return sheets[chosen[0]] if chosen else Grid(name, "row", ())


def _numeric(columns: Columns) -> tuple[int, ...]:
    """Columns that may hold numbers with a decimal sign."""
    measured = () if columns.measured is None else (columns.measured,)
    return (*measured, *(i for i in columns.extra if i not in columns.started))


def _observations(grid: Grid, lines: Sequence[Line], columns: Columns, signs: Mapping[int, str]) -> Observations:
    """Read the measured column, or nothing where the table only names recordings."""
    if columns.measured is None:
        return Observations((None,) * len(lines), "s", None)
    heading = columns.headings[columns.measured]
    return read_observations(grid, lines, heading, columns.measured, signs[columns.measured])


def _runs(
    grid: Grid, lines: Sequence[Line], columns: Columns, signs: Mapping[int, str], observations: Observations
) -> list[Run]:
    """One run a line, in the order of the file."""
    runs: list[Run] = []
    for line, seen in zip(lines, observations.rows, strict=True):
        attempt = _counted(grid, line, columns, Role.ATTEMPT) or 1
        slot = _counted(grid, line, columns, Role.RUN, needed=True)
        if slot is None:
            slot = (runs[-1].slot if runs else 0) + (attempt == 1 or not runs)
        texts = {role: parse_text(line.cells[place]) for role, place in columns.places.items()}
        runs.append(
            Run(
                slot,
                _condition(grid, line, columns),
                seen.value if seen else None,
                unfinished=seen is not None
                and (seen.unfinished or _said(grid, line, columns, Role.UNFINISHED) is True),
                attempt=attempt,
                left_out=_left_out(grid, line, columns),
                seen=_said(grid, line, columns, Role.SEEN),
                session=texts.get(Role.SESSION),
                keeper=texts.get(Role.KEEPER),
                recording=texts.get(Role.RECORDING),
                extra=_extra(line, columns, signs),
                line=line.number,
                marks=_counted(grid, line, columns, Role.MARKS),
            )
        )
    return runs


def _extra(line: Line, columns: Columns, signs: Mapping[int, str]) -> dict[str, float | str | None]:
    """Further columns by the name in their heading."""
    return {columns.name(i): parse_number_cell(line.cells[i], signs.get(i, ".")) for i in columns.extra}


def _counted(grid: Grid, line: Line, columns: Columns, role: Role, *, needed: bool = False) -> int | None:
    """Whole number of a column; None where the column or, unless it is needed, the number is lacking."""
    if role not in columns.places:
        return None
    cell = line.cells[columns.places[role]]
    if cell == "" and not needed:
        return None
    number = parse_whole_number(cell)
    if number is None or (number == 0 and role is not Role.RUN):
        said = "is empty" if cell == "" else f'is "{shown(cell)}"'
        raise grid.unreadable(line.number, f"the {role.value} {said}; it must be a whole number. Write 1, 2, 3, ...")
    return number


def _condition(grid: Grid, line: Line, columns: Columns) -> str:
    """Name of the condition as it was typed."""
    name = parse_text(line.cells[columns.places[Role.CONDITION]])
    if name is None:
        raise grid.unreadable(line.number, "the condition is empty. Write the name of one of the two conditions.")
    return name


def _left_out(grid: Grid, line: Line, columns: Columns) -> str | None:
    """Reason for leaving a run out; a no or a dash is none, a yes is not enough."""
    reason = parse_text(line.cells[columns.places[Role.LEFT_OUT]]) if Role.LEFT_OUT in columns.places else None
    if reason is None or reason.casefold() in NO or not reason.strip("-−–—/."):
        return None
    if reason.casefold() in YES or not any(letter.isalpha() for letter in reason):
        found = f'left_out is "{shown(reason)}"; it must be a reason in words.'
        raise grid.unreadable(line.number, f'{found} Write, for example, "string caught"; else leave it empty.')
    return reason


def _said(grid: Grid, line: Line, columns: Columns, role: Role) -> bool | None:
    """Read a yes or no, such as whether the time had been seen; None where it is not said."""
    cell = line.cells[columns.places[role]] if role in columns.places else ""
    answer = parse_yes_no(cell)
    if answer is None and cell != "":
        raise grid.unreadable(line.number, f'{role.value} is "{shown(cell)}"; it must be yes or no. Write one of them.')
    return answer


def _check_headings(grid: Grid, columns: Columns) -> tuple[Finding, ...]:
    """Note what stands above the headings, and doubt an order that nobody wrote down."""
    findings = []
    if columns.top:
        above = [line.number for line in grid.lines[: columns.top]]
        places = f"{grid.place} {above[0]}" if len(above) == 1 else f"{grid.place}s {above[0]} to {above[-1]}"
        findings.append(finding("lines-above-headings", places=places.capitalize()))
    if Role.RUN not in columns.places:
        findings.append(finding("run-numbers-assumed", place=grid.place))
    return tuple(findings)


def _check_order(columns: Columns, runs: Sequence[Run], lines: Sequence[Line]) -> tuple[Finding, ...]:
    """Hold the run numbers against the times at which runs were started."""
    if not columns.started:
        return ()
    cells = {line.number: line.cells for line in lines}
    starts = [[cells[run.line or 0][i] for i in columns.started] for run in runs]
    return check_starts(runs, starts, columns.name(columns.started[0]))
