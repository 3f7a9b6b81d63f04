"""Decimal point or decimal comma, settled for every column of a table before any number is read."""

from __future__ import annotations

import re
from collections.abc import Sequence

from truerun.errors import ChoiceNeeded, ValueOutOfRange
from truerun.recordings.cells import prove_decimal_sign, written_numbers
from truerun.recordings.grid import Grid, Line
from truerun.recordings.headings import Heading, Role

__all__ = ["called", "settle_decimal_signs"]

EITHER = {",": re.compile(r"[-+−]?[1-9][0-9]{0,2},[0-9]{3}"), ".": re.compile(r"[-+−]?[1-9][0-9]{0,2}\.[0-9]{3}")}


def called(heading: Heading) -> str:
    """Name of a column inside a sentence.

    Examples
    --------
    >>> called(Heading("Zeit [s]", "Zeit", Role.TIME)), called(Heading("turns", "turns", None))
    ('the time', '"turns"')
    """
    return "the time" if heading.role is Role.TIME else f'"{heading.name}"'


def settle_decimal_signs(
    grid: Grid, lines: Sequence[Line], headings: Sequence[Heading], numeric: Sequence[int], decimal: str | None
) -> dict[int, str]:
    """Tell the decimal sign of each column of numbers.

    A comma before three digits (1,234) could mark thousands: the other cells of the column decide, else those of
    the other columns, else the person. A single point is a decimal point unless others write a comma.

    Parameters
    ----------
    grid : Grid
        The table, for messages.
    lines : sequence of Line
        Its rows below the headings.
    headings : sequence of Heading
        Its headings.
    numeric : sequence of int
        Columns that may hold numbers.
    decimal : str or None
        ``"."`` or ``","`` where the person has said it.

    Returns
    -------
    dict of int to str
        Sign by column.

    Raises
    ------
    RecordingUnreadable
        If one column is written with both signs.
    ChoiceNeeded
        If a number could be read in two ways and nothing settles it.
    ValueOutOfRange
        If ``decimal`` is neither.

    Examples
    --------
    >>> lines = [Line(2, ("61,2", "1,234")), Line(3, ("59", "1,301"))]
    >>> headings = [Heading("time", "time", Role.TIME), Heading("play", "play", None)]
    >>> settle_decimal_signs(Grid("times.csv", "line", ()), lines, headings, (0, 1), None)
    {0: ',', 1: ','}
    """
    if decimal is not None:
        if decimal not in EITHER:
            raise ValueOutOfRange("decimal", f'"{decimal}"', '"." or ","', "Leave it out to have it found.")
        return dict.fromkeys(numeric, decimal)
    proved = {column: _proved(grid, lines, headings[column], column) for column in numeric}
    elsewhere = {sign for sign in proved.values() if sign}
    signs = {}
    for column in numeric:
        sign = proved[column] or (next(iter(elsewhere)) if len(elsewhere) == 1 else None)
        _require_clear(grid, lines, headings[column], column, sign)
        signs[column] = sign or "."
    return signs


def _proved(grid: Grid, lines: Sequence[Line], heading: Heading, column: int) -> str | None:
    """Sign that the cells of one column prove; refuse a column with both."""
    try:
        return prove_decimal_sign(written_numbers(line.cells[column] for line in lines))
    except ValueOutOfRange:
        first: dict[str | None, tuple[int, str]] = {}
        for line in lines:
            for text in written_numbers(line.cells[column : column + 1]):
                first.setdefault(prove_decimal_sign([text]), (line.number, text))
        (here, one), (there, other) = sorted((first["."], first[","]))
        found = f'{called(heading)} is "{one}" in one and "{other}" in the other.'
        raise grid.unreadable((here, there), f"{found} Write one decimal sign in the whole column.") from None


def _require_clear(grid: Grid, lines: Sequence[Line], heading: Heading, column: int, sign: str | None) -> None:
    """Ask where a number could be read in two ways."""
    doubtful = {None: ",", ",": "."}.get(sign)
    if doubtful is None:
        return
    for line in lines:
        for text in written_numbers(line.cells[column : column + 1]):
            if EITHER[doubtful].fullmatch(text):
                name = f'{grid.name}, {grid.place} {line.number}: {called(heading)} "{text}"'
                choices = (text.replace(doubtful, "."), text.replace(doubtful, ""))
                raise ChoiceNeeded(name, choices, 'Say with "decimal" whether "." or "," is the decimal sign.')
