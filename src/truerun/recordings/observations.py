"""The measured column of a table of runs, with its unit, its resolution and the doubts about both."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from truerun.errors import ChoiceNeeded, ValueOutOfRange
from truerun.findings.catalogue import finding
from truerun.findings.finding import Finding
from truerun.recordings.cells import Observation, parse_observation
from truerun.recordings.decimal_signs import called
from truerun.recordings.grid import Cell, Grid, Line, shown
from truerun.recordings.headings import Heading, Role
from truerun.units.formats import format_time
from truerun.units.unit import Dimension, parse_unit, units_of

__all__ = ["Observations", "read_observations"]

SHORTEST, LONGEST = 0.05, 1e5  # median time of a rundown that is read as seconds without doubt [s]
_TIMED = 1e-4, 1e8  # s; ratios of what lies between can be computed, and nothing else is timed run by run
_MEASURED = 1e-15, 1e15


@dataclass(frozen=True, slots=True)
class Observations:
    """One observation a row (None where nothing was written), with what holds for all of them."""

    rows: tuple[Observation | None, ...]
    unit: str | None
    resolution: float | None
    findings: tuple[Finding, ...] = ()


def read_observations(grid: Grid, lines: Sequence[Line], heading: Heading, column: int, decimal: str) -> Observations:
    """Read the measured column.

    Parameters
    ----------
    grid : Grid
        The table, for messages.
    lines : sequence of Line
        Its rows below the headings.
    heading : Heading
        Of the measured column.
    column : int
        Its place.
    decimal : str
        Its decimal sign.

    Returns
    -------
    Observations
        In SI units.

    Raises
    ------
    RecordingUnreadable
        If a cell is no observation, a time is not positive, or nobody can have measured that.
    ChoiceNeeded
        If a spreadsheet may have taken minutes for hours.

    Examples
    --------
    >>> lines = [Line(2, ("1:01.2",)), Line(3, ("> 600",)), Line(4, ("",))]
    >>> heading = Heading("time [s]", "time", Role.TIME, parse_unit("s"))
    >>> found = read_observations(Grid("times.csv", "line", ()), lines, heading, 0, ".")
    >>> [row and (row.value, row.unfinished) for row in found.rows], found.resolution
    ([(61.2, False), (600.0, True), None], 0.1)
    """
    if heading.odd is not None:
        raise grid.unreadable(
            None,
            f'the heading "{shown(heading.text)}" names the unit "{shown(heading.odd)}", which is not one known here '
            f"for it. Write it like time [s].",
        )
    rows = tuple(_observation(grid, line.number, line.cells[column], heading, decimal) for line in lines)
    _require_no_doubtful_hours(grid, lines, column, rows)
    dimension = _dimension(heading)
    unit = next(unit.symbol for unit in units_of(dimension) if unit.exact == 1) if dimension else None
    resolution = min((row.step for row in rows if row and not row.unfinished), default=None)
    return Observations(rows, unit, resolution, _check_unit(heading, rows))


def _dimension(heading: Heading) -> Dimension | None:
    """Tell what the measured column holds; None for numbers without a unit."""
    if heading.role is Role.TIME:
        return Dimension.TIME
    return heading.unit.dimension if heading.unit else None


def _observation(grid: Grid, number: int, cell: Cell, heading: Heading, decimal: str) -> Observation | None:
    """Read the cell of one line; an empty one is None."""
    if cell == "":
        return None
    dimension = _dimension(heading)
    example = "61.2, 2:03.4 or > 600" if dimension is Dimension.TIME else "12.3 or > 600"
    unit = heading.unit or (parse_unit("s") if dimension is Dimension.TIME else None)
    try:
        found = parse_observation(cell, unit, decimal, dimension)
    except ValueOutOfRange as why:
        said = f'{called(heading)} is "{shown(cell)}"; it must be written like {example}.'
        raise grid.unreadable(number, f"{said} {why.remedy}".strip()) from None
    if heading.clock and found.bare:
        said = f'{called(heading)} is "{shown(cell)}" under the heading "{shown(heading.text)}".'
        raise grid.unreadable(number, f"{said} Write it with colons, or name another unit in the heading.")
    if dimension is Dimension.TIME and found.value <= 0:
        said = f'{called(heading)} is "{shown(cell)}"; it must be above zero.'
        raise grid.unreadable(number, f"{said} Write the time that was read, or leave the cell empty.")
    least, most = _TIMED if dimension is Dimension.TIME else _MEASURED
    if found.value and not least <= abs(found.value) <= most:
        said = f'{called(heading)} is "{shown(cell)}"; it must lie between {least:g} and {most:g} in SI units.'
        raise grid.unreadable(number, f"{said} Look for a slip of the keys, or for a wrong unit in the heading.")
    return found


def _require_no_doubtful_hours(
    grid: Grid, lines: Sequence[Line], column: int, rows: Sequence[Observation | None]
) -> None:
    """Ask where 2:03 for two minutes and three seconds may have become 2 hours and 3 minutes in a spreadsheet.

    Such a time has whole minutes and is sixty times too long, so it stands far above those that have seconds.
    """
    clear = [row.value for row in rows if row and (not row.hours or row.value % 60)]
    for line, row in zip(lines, rows, strict=True):
        if row and row.hours and not row.value % 60 and row.value > 10 * max(clear, default=0.0):
            minutes = round(row.value / 60)
            choices = (f"{minutes // 60} h {minutes % 60} min", f"{minutes // 60} min {minutes % 60} s")
            name = f'{grid.name}, {grid.place} {line.number}: the time "{shown(line.cells[column])}"'
            raise ChoiceNeeded(name, choices, "Write the times in seconds, as plain numbers.")


def _check_unit(heading: Heading, rows: Sequence[Observation | None]) -> tuple[Finding, ...]:
    """Note that times without a unit were read as seconds; doubt it where their size is odd."""
    bare = [row.value for row in rows if row and row.bare]
    if heading.role is not Role.TIME or heading.unit or not bare:
        return ()
    middle = median(bare)
    if SHORTEST <= middle <= LONGEST:
        return (finding("unit-assumed", heading=heading.text),)
    size = f"{middle:.2g} s" if middle < SHORTEST else f"{format_time(middle, 0)} (hours:minutes:seconds)"
    return (finding("unit-doubtful", heading=heading.text, size=size),)
