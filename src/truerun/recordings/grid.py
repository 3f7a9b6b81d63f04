"""Rows of cells with their line numbers: what every table is before its headings are understood."""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

from truerun.errors import RecordingUnreadable
from truerun.findings.finding import Finding

__all__ = ["Cell", "Grid", "Line", "cell_from_value", "lines_of_cells", "shown"]

Cell = str | float | timedelta


@dataclass(frozen=True, slots=True)
class Line:
    """One row that is neither blank nor a comment; ``number`` is its line in the file or row in the sheet."""

    number: int
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class Grid:
    """All rows of one table.

    ``name`` and ``place`` ("line" or "row") serve messages. Text cells are stripped of outer blanks; an empty
    cell is an empty text. Spreadsheets and frames also hold numbers and, for cells kept as times, timedeltas.
    """

    name: str
    place: str
    lines: tuple[Line, ...]
    digest: str | None = None
    findings: tuple[Finding, ...] = ()

    def unreadable(self, numbers: int | tuple[int, ...] | None, what: str) -> RecordingUnreadable:
        """Make the error that names the file and the lines."""
        if numbers is None:
            return RecordingUnreadable(self.name, "", what)
        if isinstance(numbers, int):
            return RecordingUnreadable(self.name, f"{self.place} {numbers}", what)
        listed = " and ".join(str(number) for number in numbers)
        return RecordingUnreadable(self.name, f"{self.place}s {listed}", what)


def cell_from_value(value: object) -> Cell:
    """One value of a spreadsheet or frame as a cell.

    Parameters
    ----------
    value : object
        A text, number, truth value, date or time; None or NaN for an empty cell.

    Returns
    -------
    str, float or timedelta
        Dates as ISO text, truth values as "yes" and "no", times of a clock as the time since midnight.

    Examples
    --------
    >>> cell_from_value(time(0, 2, 3, 400000)), cell_from_value(True), cell_from_value(12)
    (datetime.timedelta(seconds=123, microseconds=400000), 'yes', 12.0)
    """
    if _is_missing(value):
        return ""
    if isinstance(value, bool):
        value = "yes" if value else "no"
    if isinstance(value, int | float):
        return _number(value)
    if isinstance(value, time):
        value = datetime.combine(date.min, value, UTC) - datetime.min.replace(tzinfo=UTC)
    if isinstance(value, timedelta):
        return value
    if isinstance(value, date):
        value = value.isoformat()
    return unicodedata.normalize("NFC", str(value)).strip()


def _is_missing(value: object) -> bool:
    """Whether a value stands for none; the marks of pandas cannot be compared, so their classes are named."""
    if isinstance(value, float):
        return math.isnan(value)
    return value is None or type(value).__name__ in {"NAType", "NaTType"}


def _number(value: float) -> float | str:
    """Float, or the digits of a whole number that no float can hold."""
    try:
        return float(value)
    except OverflowError:
        return str(value)


def lines_of_cells(rows: Sequence[Sequence[object]], first: int) -> tuple[Line, ...]:
    """Rows of values as lines, without blank rows and comments (which start with #).

    Parameters
    ----------
    rows : sequence of sequences
        All values, row by row.
    first : int
        Number of the first row.

    Returns
    -------
    tuple of Line

    Examples
    --------
    >>> lines_of_cells([["# my bench", None], [None, None], ["run", "time"]], 1)
    (Line(number=3, cells=('run', 'time')),)
    """
    lines = (Line(first + i, tuple(cell_from_value(value) for value in row)) for i, row in enumerate(rows))
    return tuple(line for line in lines if any(cell != "" for cell in line.cells) and not _is_comment(line))


def _is_comment(line: Line) -> bool:
    """Whether the first cell starts with # and says more; a lone # is the heading of a column of numbers."""
    first = line.cells[0]
    return isinstance(first, str) and first.startswith("#") and len(first) > 1


def shown(cell: Cell, longest: int = 40) -> str:
    """Cell as it stands in a sentence: on one line, and not too long.

    Parameters
    ----------
    cell : str, float or timedelta
        What was read.
    longest : int
        Characters at most.

    Returns
    -------
    str

    Examples
    --------
    >>> shown(7.0), shown(timedelta(seconds=123.4)), shown("two  words")
    ('7', '0:02:03.4', 'two words')
    """
    if isinstance(cell, float):
        text = f"{cell:.15g}"
    elif isinstance(cell, timedelta):
        text = str(cell)
        text = text.rstrip("0") if "." in text else text
    else:
        text = " ".join(cell.split())
    return text if len(text) <= longest else f"{text[: longest - 3]}..."
