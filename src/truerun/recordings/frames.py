"""A table that a program already holds (data frame, mapping of columns, list of mappings) to rows of cells."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import zip_longest
from typing import Any

from truerun.recordings.grid import Cell, Grid, Line, cell_from_value, lines_of_cells

__all__ = ["read_frame"]

NAME = "the table"


def read_frame(source: Any) -> Grid:
    """Rows of a table in memory; None and NaN are empty cells.

    Parameters
    ----------
    source : data frame, mapping of str to sequence, or sequence of mappings
        A pandas or polars frame (anything with ``columns`` and ``frame[name]``), columns by heading, or rows.

    Returns
    -------
    Grid
        Row 1 is the first below the headings.

    Raises
    ------
    RecordingUnreadable
        If it is none of these, or its columns are not equally long.

    Examples
    --------
    >>> read_frame({"run": [1, 2], "time": [61.2, None]}).lines[1:]
    (Line(number=1, cells=(1.0, 61.2)), Line(number=2, cells=(2.0, '')))
    """
    columns = _columns(source)
    empty = Grid(NAME, "row", ())
    lengths = {len(values) for _, values in columns}
    if len(lengths) > 1:
        found = f"its columns have {min(lengths)} to {max(lengths)} rows."
        raise empty.unreadable(None, f"{found} Give all columns the same length.")
    headings = Line(0, tuple(heading for heading, _ in columns))
    rows = list(zip_longest(*(values for _, values in columns)))
    return Grid(NAME, "row", (headings, *lines_of_cells(rows, 1)) if columns else ())


def _columns(source: Any) -> list[tuple[Cell, list[object]]]:
    """Headings and values of any of the accepted forms."""
    if isinstance(source, Mapping):
        return [(_heading(name), _values(values)) for name, values in source.items()]
    if hasattr(source, "columns") and hasattr(source, "__getitem__"):
        names = list(source.columns)
        series = [source.iloc[:, i] if hasattr(source, "iloc") else source[name] for i, name in enumerate(names)]
        return [(_heading(name), _values(values)) for name, values in zip(names, series, strict=True)]
    if isinstance(source, Sequence) and all(isinstance(row, Mapping) for row in source):
        names = list(dict.fromkeys(name for row in source for name in row))
        return [(_heading(name), [row.get(name) for row in source]) for name in names]
    kind = type(source).__name__
    raise Grid(NAME, "row", ()).unreadable(
        None, f'it is a "{kind}". Give a path, a data frame, a mapping of columns or a list of mappings.'
    )


def _heading(name: object) -> str:
    """Heading as text."""
    return str(cell_from_value(str(name)))


def _values(values: Any) -> list[object]:
    """Plain Python values; arrays and series of numpy and pandas know their own ``tolist``."""
    if hasattr(values, "tolist"):
        values = values.tolist()
    return list(values) if isinstance(values, Iterable) and not isinstance(values, str) else [values]
