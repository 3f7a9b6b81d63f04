"""Where the headings of a table stand, and which column holds what."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from truerun.errors import ChoiceNeeded
from truerun.recordings.grid import Grid, Line, shown
from truerun.recordings.headings import Heading, Role, parse_column_heading, plain_word

__all__ = ["Columns", "find_columns", "has_headings", "rows_below"]

FARTHEST_HEADING = 50  # rows that may stand above the headings, such as a title or the settings of a logger


@dataclass(frozen=True, slots=True)
class Columns:
    """The columns of a table.

    ``top`` is the place of the heading line among the lines of the grid. ``places`` tells the column of each role
    that was found (the measured column is not among them), ``measured`` the column of the observation (None where
    the table only names recordings), ``extra`` all further columns, ``started`` those that say when a run began.
    """

    top: int
    headings: tuple[Heading, ...]
    places: Mapping[Role, int]
    measured: int | None
    extra: tuple[int, ...]
    started: tuple[int, ...]

    def name(self, column: int) -> str:
        """Name of a column without its unit, or with it where two columns differ in nothing else."""
        heading = self.headings[column]
        alone = sum(other.name == heading.name for other in self.headings) == 1
        return heading.name if alone else heading.text


def find_columns(grid: Grid, measure: str) -> Columns:
    """Find the headings and tell the columns apart.

    Parameters
    ----------
    grid : Grid
        The rows.
    measure : str
        Heading of the observed column, with or without its unit; "time" also finds it in other languages.

    Returns
    -------
    Columns

    Raises
    ------
    RecordingUnreadable
        If there are no headings, one of those needed is missing, or one comes twice.
    ChoiceNeeded
        If two columns could hold the same thing.

    Examples
    --------
    >>> grid = Grid("times.csv", "line", (Line(1, ("Lauf", "Bedingung", "Zeit [s]", "temp [°C]")),))
    >>> columns = find_columns(grid, "time")
    >>> columns.measured, columns.extra
    (2, (3,))
    """
    if not grid.lines:
        raise grid.unreadable(None, f"there is no table in it. {_example(measure)}")
    top = _heading_line(grid, measure)
    if top is None:
        raise _missing(grid, measure)
    headings = _headings(grid.lines[top])
    _require_different(grid, grid.lines[top], headings)
    measured = _measured(grid, headings, measure)
    places = _places(grid, headings, measured)
    started = tuple(i for i, heading in enumerate(headings) if heading.role is Role.STARTED and i != measured)
    taken = {measured, *places.values()}
    extra = tuple(i for i, heading in enumerate(headings) if heading.text and i not in taken)
    return Columns(top, headings, places, measured, extra, started)


def has_headings(grid: Grid, measure: str) -> bool:
    """Tell whether a sheet holds the headings that every table needs.

    Parameters
    ----------
    grid : Grid
        The rows.
    measure : str
        Heading of the observed column.

    Returns
    -------
    bool

    Examples
    --------
    >>> has_headings(Grid("times.xlsx", "row", (Line(1, ("part", "mass [g]")),)), "time")
    False
    """
    return _heading_line(grid, measure) is not None


def _heading_line(grid: Grid, measure: str) -> int | None:
    """First line that names what every table needs."""
    lines = enumerate(grid.lines[:FARTHEST_HEADING])
    return next((i for i, line in lines if _is_complete(_headings(line), measure)), None)


def rows_below(grid: Grid, columns: Columns) -> tuple[Line, ...]:
    """Rows below the headings, each with one cell for every heading.

    Parameters
    ----------
    grid : Grid
        The rows.
    columns : Columns
        Its columns.

    Returns
    -------
    tuple of Line

    Raises
    ------
    RecordingUnreadable
        If there are none, or a row has more or fewer cells than there are headings.

    Examples
    --------
    >>> grid = Grid("times.csv", "line", (Line(1, ("condition", "time")), Line(2, ("in", "61.2", ""))))
    >>> rows_below(grid, find_columns(grid, "time"))
    (Line(number=2, cells=('in', '61.2')),)
    """
    width = len(columns.headings)
    lines = grid.lines[columns.top + 1 :]
    if not lines:
        raise grid.unreadable(None, "there are headings but no runs. Write one run a line below them.")
    for line in lines:
        if len(line.cells) < width:
            found = f"the row has {len(line.cells)} cells; the headings are {width}."
            raise grid.unreadable(line.number, f"{found} Add the cells that are missing, empty if need be.")
        if any(cell != "" for cell in line.cells[width:]):
            filled = max(i for i, cell in enumerate(line.cells) if cell != "") + 1
            found = f"the row has {filled} cells; the headings are {width}."
            remedy = "Empty the cells behind the last heading, or give them one."
            if grid.place == "line":
                remedy = "If the comma is the decimal sign, put semicolons between the cells; else add the heading."
            raise grid.unreadable(line.number, f"{found} {remedy}")
        unnamed = next((i for i in range(width) if not columns.headings[i].text and line.cells[i] != ""), None)
        if unnamed is not None:
            found = f'column {unnamed + 1} holds "{shown(line.cells[unnamed])}" and has no heading.'
            raise grid.unreadable(line.number, f"{found} Give the column a heading, or empty it.")
    return tuple(Line(line.number, line.cells[:width]) for line in lines)


def _headings(line: Line) -> tuple[Heading, ...]:
    """All cells of a line as headings, without empty ones at the end."""
    texts = [cell if isinstance(cell, str) else "" for cell in line.cells]
    while texts and not texts[-1]:
        texts.pop()
    return tuple(parse_column_heading(text) for text in texts)


def _measured_candidates(headings: tuple[Heading, ...], measure: str) -> list[int]:
    """Columns that could be meant: by the whole heading, else by its name, else by its role."""
    wanted = plain_word(measure)
    if measure != "time":
        for named in ([heading.text for heading in headings], [heading.name for heading in headings]):
            found = [i for i, text in enumerate(named) if plain_word(text) == wanted]
            if found:
                return found
    is_time = parse_column_heading(measure).role is Role.TIME
    return [i for i, heading in enumerate(headings) if is_time and heading.role is Role.TIME]


def _is_complete(headings: tuple[Heading, ...], measure: str) -> bool:
    """Whether a line names what every table needs."""
    roles = {heading.role for heading in headings}
    return Role.CONDITION in roles and (Role.RECORDING in roles or bool(_measured_candidates(headings, measure)))


def _missing(grid: Grid, measure: str) -> Exception:
    """Say which heading is missing in the line that comes nearest to one."""
    candidates = [_headings(line) for line in grid.lines[:FARTHEST_HEADING]]
    known = [sum(heading.role is not None for heading in headings) for headings in candidates]
    best = max(range(len(known)), key=lambda i: (known[i], -i))
    line, headings = grid.lines[best], candidates[best]
    listed = ", ".join(f'"{shown(heading.text)}"' for heading in headings)
    if not known[best]:
        first = grid.lines[0]
        start = ", ".join(f'"{shown(cell)}"' for cell in first.cells[:4])
        return grid.unreadable(first.number, f"this is no line of headings: {start}. {_example(measure)}")
    lacks_condition = all(heading.role is not Role.CONDITION for heading in headings)
    lacking = "condition" if lacks_condition else shown(measure)
    remedy = f'Name one of them "{lacking}", or add that column'
    if not lacks_condition:
        remedy += ', or choose another with "measure"'
    return grid.unreadable(line.number, f'there is no column "{lacking}"; the headings are {listed}. {remedy}.')


def _example(measure: str) -> str:
    """Tell how a table begins."""
    observed = "time [s]" if measure == "time" else shown(measure)
    return f"Begin with the headings run, condition, {observed} and write one run a line below them."


def _require_different(grid: Grid, line: Line, headings: tuple[Heading, ...]) -> None:
    """Refuse two headings that differ in nothing but case and blanks."""
    seen: dict[str, int] = {}
    for i, heading in enumerate(headings):
        key = "".join(heading.text.casefold().split())
        if key in seen:
            found = f'columns {seen[key] + 1} and {i + 1} have the same heading "{shown(heading.text)}".'
            raise grid.unreadable(line.number, f"{found} Rename one of them.")
        if key:
            seen[key] = i


def _measured(grid: Grid, headings: tuple[Heading, ...], measure: str) -> int | None:
    """Column of the observation, None where the table only names recordings."""
    found = _measured_candidates(headings, measure)
    if len(found) > 1:
        choices = tuple(headings[i].text for i in found)
        raise ChoiceNeeded(
            f'{grid.name}: the column "{shown(measure)}"', choices, 'Name one with "measure", or rename the other.'
        )
    return found[0] if found else None


def _places(grid: Grid, headings: tuple[Heading, ...], measured: int | None) -> dict[Role, int]:
    """Column of each role that stands once; times that are not measured and starts are extra columns."""
    places: dict[Role, int] = {}
    for i, heading in enumerate(headings):
        if heading.role in (None, Role.TIME, Role.STARTED) or i == measured:
            continue
        if heading.role in places:
            choices = (headings[places[heading.role]].text, heading.text)
            name = f'{grid.name}: the column "{heading.role.value}"'
            raise ChoiceNeeded(name, choices, "Rename the other one.")
        places[heading.role] = i
    return places
