"""Layout of a recording: which lines stand above its numbers, what parts the cells, which decimal sign was used."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

from truerun.errors import ChoiceNeeded, RecordingUnreadable
from truerun.recordings.decimal_signs import settle_decimal_signs
from truerun.recordings.grid import Grid, Line, shown
from truerun.recordings.headings import Heading
from truerun.recordings.signal_headings import parse_signal_heading, signal_unit
from truerun.recordings.text_tables import DECLARED_DELIMITER, detect_delimiter, is_left_out, split_cells

__all__ = ["CLOCK", "STAMP", "Layout", "cells_of", "recognise_layout"]

CLOCK = re.compile(r"[0-9]+(?::[0-9]{2}){1,2}(?:[.,][0-9]+)?")
STAMP = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}(?::[0-9]{2}(?:[.,][0-9]+)?)?Z?")
NUMBER = re.compile(  # plain, or in groups of three whose sign is not the decimal sign
    r"[-+−]?(?=[.,]?[0-9])(?:[0-9]{1,3}(?P<group>[.,' \u00a0\u2009\u202f])[0-9]{3}(?:(?P=group)[0-9]{3})*"
    r"(?:(?!(?P=group))[.,][0-9]*)?"
    r"|[0-9]*(?:[.,][0-9]*)?)(?:[eE][-+]?[0-9]{1,3})?"
)
MISSING = frozenset(["", "nan", "-", "--", "n/a"])
LIKE_NUMBERS = re.compile(r'[\s"]*[-+−]?[.,]?[0-9][^A-Za-z]*(?:[eE][-+]?[0-9]+[^A-Za-z]*)*')
COMMA_PAIR = re.compile(
    r"\s*[-+−]?(?:[0-9]*|[0-9]{1,3}(?:[.\u00a0\u2009\u202f][0-9]{3})+),[0-9]+(?:[eE][-+]?[0-9]+)?\s*"
)
BLANK_PARTED = re.compile(r"\s*[-+−]?[0-9](?:[^\s;]*[^\s;,])?(?:[ \t]+[-+−]?[0-9.][^\s;]*)+\s*")
GROUPED = re.compile(r"\s*[0-9]{1,3}(?: [0-9]{3})+(?:[.,][0-9]*)?\s*")
MARKS = "#%; \t"  # signs that open a comment line; a heading may stand in one
LOOKED_AT = 400  # lines below the headings from which signs and kinds are told
LEAST_ROWS = 3  # of a column that ends before the others
FARTHEST_HEADING = 6  # lines above the numbers among which the headings are looked for


@dataclass(frozen=True, slots=True)
class Layout:
    """How a recording is written.

    ``delimiter`` None means blanks. ``top`` counts the lines above the numbers, ``width`` the columns; a row has
    ``row_cells`` cells, the last of which is empty where a sign stands behind every row.
    ``headings`` has one text for each column, None where there are none; ``above`` are the other lines above the
    numbers, cell by cell. ``decimals`` is the decimal sign of each column, ``clocks`` the columns written as clock
    times, ``stamps`` those written as dates with a time. ``sample`` are the first rows.
    """

    name: str
    place: str
    delimiter: str | None
    top: int
    width: int
    row_cells: int
    headings: tuple[str, ...] | None
    above: tuple[tuple[str, ...], ...]
    decimals: tuple[str, ...]
    clocks: frozenset[int]
    stamps: frozenset[int]
    sample: tuple[Line, ...]

    @property
    def midnight(self) -> datetime:
        """Midnight before the first date among the first rows, from which dates with a time are counted."""
        for column in sorted(self.stamps):
            for line in self.sample:
                if STAMP.fullmatch(cell := str(line.cells[column])):
                    return datetime.fromisoformat(cell[:10])
        return datetime.min  # noqa: DTZ901 - stamps of a logger name no zone

    def unreadable(self, line: int | None, what: str) -> RecordingUnreadable:
        """Make the error that names the file and the line."""
        return Grid(self.name, self.place, ()).unreadable(line, what)


def cells_of(text: str, delimiter: str | None) -> list[str] | None:
    r"""Cells of a row of a recording.

    Parameters
    ----------
    text : str
        The line.
    delimiter : str or None
        Sign between cells; None for blanks.

    Returns
    -------
    list of str or None
        None where the quotes in the line are not closed.

    Examples
    --------
    >>> cells_of("0.1   12.5", None), cells_of('"0,1",2', ",")
    (['0.1', '12.5'], ['0,1', '2'])
    """
    if delimiter is None:
        return text.split()
    try:
        return split_cells(text, delimiter)
    except ValueError:
        return None


def recognise_layout(
    lines: Sequence[str], name: str, *, place: str = "line", decimal: str | None = None, complete: bool = True
) -> Layout:
    r"""Tell how a recording is written from its first lines.

    Parameters
    ----------
    lines : sequence of str
        The first lines of the file, or all of them.
    name : str
        Its name, for messages.
    place : str
        "line", or "row" for a sheet.
    decimal : str, optional
        ``"."`` or ``","`` where the person has said it.
    complete : bool
        Whether these are all lines.

    Returns
    -------
    Layout

    Raises
    ------
    RecordingUnreadable
        If there are no rows of numbers.
    ChoiceNeeded
        If a comma could part cells or mark decimals.

    Examples
    --------
    >>> layout = recognise_layout(["my logger", "t [s];speed [rpm]", "0,0;691", "0,5;638"], "run.csv")
    >>> layout.delimiter, layout.top, layout.headings, layout.decimals
    (';', 2, ('t [s]', 'speed [rpm]'), (',', ','))
    """
    grid = Grid(name, place, ())
    declared = DECLARED_DELIMITER.fullmatch(lines[0]) if lines else None
    rows = [i for i, text in enumerate(lines) if LIKE_NUMBERS.fullmatch(text) and not is_left_out(text)]
    rows = rows or [i for i, text in enumerate(lines) if not is_left_out(text)]
    if not rows:
        raise grid.unreadable(None, "there is nothing in it. Record once more, or give another file.")
    numeric = [lines[i] for i in rows[: -1 if len(rows) > 1 and not complete else None]]
    delimiter = declared[1] if declared else _delimiter(grid, numeric, lines[: rows[0]], decimal)
    top, width, row_cells = _top(grid, lines, delimiter)
    found = _headings(lines[:top], delimiter, width)
    _require_nothing_between(grid, lines[:top], found[0] if found else frozenset([top]))
    above = _above(lines[:top], None if found is None else found[0])
    sample = _sample(lines, top, delimiter, width)
    columns = range(width)
    clocks = frozenset(i for i in columns if _holds(sample, i, CLOCK))
    stamps = frozenset(i for i in columns if _holds(sample, i, STAMP))
    signs = _decimals(grid, sample, found[1] if found else None, [i for i in columns if i not in stamps], decimal)
    return Layout(
        name,
        place,
        delimiter,
        top,
        width,
        row_cells,
        found[1] if found else None,
        above,
        tuple(signs.get(i, ".") for i in columns),
        clocks,
        stamps,
        sample,
    )


def _delimiter(grid: Grid, numeric: list[str], above: Sequence[str], decimal: str | None) -> str | None:
    """Tell the sign between cells; a line of blanks between numbers has none."""
    found = detect_delimiter(numeric)
    if found in "\t;" and any(found in text for text in numeric):
        return found
    if all(BLANK_PARTED.fullmatch(text) for text in numeric):
        if all(GROUPED.fullmatch(text) for text in numeric):
            row = f'{grid.name}: a row such as "{shown(numeric[0].strip())}"'
            remedy = "Put semicolons between the cells, or take the blanks out of the numbers."
            raise ChoiceNeeded(row, ("one number in groups of three digits", "several numbers"), remedy)
        return None
    if all(COMMA_PAIR.fullmatch(text) for text in numeric) and _comma_is_decimal(grid, numeric, above, decimal):
        return ";"
    uneven = len({text.count(",") for text in numeric}) > 1 or not any("," in text for text in numeric)
    return ";" if uneven and all(NUMBER.fullmatch(text.strip()) for text in numeric) else ","


def _comma_is_decimal(grid: Grid, numeric: list[str], above: Sequence[str], decimal: str | None) -> bool:
    """Whether rows such as 0,123 are one number each, and not two."""
    if decimal is not None:
        return decimal == ","
    heading = next((text.strip(MARKS) for text in reversed(above) if text.strip(MARKS + ",")), "")
    front, comma, behind = heading.partition(",")
    if heading and parse_signal_heading(front).role:
        return not comma or signal_unit(behind) is not None
    tails = [text.strip().partition(",")[2] for text in numeric]
    if any(tail.startswith("0") and len(tail) > 1 for tail in tails):
        return True
    found = f'{grid.name}: a row such as "{shown(numeric[0].strip())}"'
    remedy = 'Say with "decimal" whether "," or "." is the decimal sign.'
    raise ChoiceNeeded(found, ("one number with a decimal comma", "two whole numbers"), remedy)


def _kind_of_cell(cell: str) -> str:
    """One letter for what a cell looks like: a number, a moment, nothing, or text."""
    if cell.casefold() in MISSING:
        return "."
    if NUMBER.fullmatch(cell):
        return "n"
    return "c" if CLOCK.fullmatch(cell) or STAMP.fullmatch(cell) else "t"


def _shape(text: str, delimiter: str | None) -> str | None:
    """Letters for all cells of a row, without empty ones at its end; None for what is no row of numbers."""
    cells = None if is_left_out(text) else cells_of(text, delimiter)
    shape = "".join(_kind_of_cell(cell) for cell in cells or ()).rstrip(".")
    return shape if "n" in shape or "c" in shape else None


def _alike(shape: str | None, usual: str) -> bool:
    """Whether a row has as many cells as the others, filled alike as far as they are filled."""
    if shape is None or len(shape) > len(usual):
        return False
    pairs = zip(shape, usual, strict=False)
    return all(one == other or "." in (one, other) for one, other in pairs) and not set(shape) <= {".", "t"}


def _longer(counts: Counter[str], usual: str) -> list[str]:
    """Find rows of numbers that go on beyond the usual ones: their last columns are short, such as a trigger's."""
    return [
        shape
        for shape, count in counts.items()
        if count >= LEAST_ROWS and len(shape) > len(usual) and "t" not in shape and _alike(usual, shape)
    ]


def _top(grid: Grid, lines: Sequence[str], delimiter: str | None) -> tuple[int, int, int]:
    """First line of the numbers, and the numbers of columns and of cells in a row."""
    shapes = [_shape(text, delimiter) for text in lines]
    counts = Counter(shape for shape in shapes if shape)
    if not counts:
        first = next(i for i, text in enumerate(lines) if text.strip())
        found = f'there are no rows of numbers in it; it begins with "{shown(lines[first])}".'
        raise grid.unreadable(first + 1, f"{found} Give a file with one reading a line.")
    most = max(counts.values())
    frequent = (shape for shape, count in counts.items() if 2 * count >= most)
    usual = max(frequent, key=lambda shape: (shape[0] != "t", len(shape), counts[shape], -shape.count("t")))
    usual = max([usual, *_longer(counts, usual)], key=len)
    filled = [i for i, text in enumerate(lines) if not is_left_out(text)]
    alike = [i for i in filled if _alike(shapes[i], usual)]
    top = _first_row(lines, alike, filled, delimiter)
    rows = [cells for i in alike if (cells := cells_of(lines[i], delimiter))]
    widths = Counter(len(cells) for cells in rows)
    row_cells = max(widths, key=lambda width: (widths[width], width))
    behind = row_cells > 1 and all(len(cells) < row_cells or not cells[-1] for cells in rows)
    return top, row_cells - behind, row_cells


def _first_row(lines: Sequence[str], alike: list[int], filled: list[int], delimiter: str | None) -> int:
    """First row of numbers; a single number among the lines above, with no heading over it, is not counted."""
    follows = dict(pairwise(filled))
    alone = len(alike) > 1 and follows[alike[0]] != alike[1]
    headed = alike[0] == filled[0] or _headings(
        lines[: alike[0]], delimiter, len(cells_of(lines[alike[0]], delimiter) or ())
    )
    settled = len(alike) > 2 and follows[alike[1]] == alike[2]
    return alike[1] if alone and settled and not headed else alike[0]


def _headings(above: Sequence[str], delimiter: str | None, width: int) -> tuple[frozenset[int], tuple[str, ...]] | None:
    """Places of the heading lines, and a text for each column."""
    filled = [i for i, text in enumerate(above) if text.strip(MARKS + ",")]
    for i in reversed(filled[-FARTHEST_HEADING:]):
        cells = _heading_cells(above[i], delimiter, width)
        if cells is None:
            continue
        upper = next((j for j in reversed(filled) if j < i), None)
        names = _heading_cells(above[upper], delimiter, width) if upper is not None else None
        if names and all(not cell or signal_unit(cell.strip("[]() ")) for cell in cells):
            joined = [
                f"{name} [{unit.strip('[]() ')}]" if unit else name for name, unit in zip(names, cells, strict=True)
            ]
            return frozenset([i, upper or 0]), tuple(joined)
        if any(parse_signal_heading(cell).role for cell in cells) or (width > 1 and i == filled[-1]):
            return frozenset([i]), tuple(cells)
    return None


def _require_nothing_between(grid: Grid, above: Sequence[str], places: frozenset[int]) -> None:
    """Refuse a line below the headings that is no row of numbers: it could be a reading gone wrong."""
    for i in range(max(places) + 1, len(above)):
        if not is_left_out(above[i]):
            found = f'below the headings stands "{shown(above[i].strip())}", which is no row of numbers.'
            raise grid.unreadable(i + 1, f"{found} Mend the line, or put # in front of it.")


def _heading_cells(text: str, delimiter: str | None, width: int) -> list[str] | None:
    """Cells of a line above the numbers if it could head them: as many, and none of them a number."""
    plain = text.lstrip(MARKS) if text.lstrip()[:1] in {"#", "%"} else text
    own = delimiter is not None and delimiter in plain
    for sign in (delimiter,) if own else dict.fromkeys((delimiter, "\t", ";", ",", None)):
        cells = cells_of(plain, sign) if width > 1 else _single_heading(plain)
        if cells is None:
            continue
        while len(cells) > width and not cells[-1]:
            cells.pop()
        least = width - 1 if sign == delimiter else width
        if least <= len(cells) <= width and not any(_kind_of_cell(cell) in "nc" for cell in cells):
            padded = [*cells, *[""] * (width - len(cells))]
            if any(any(letter.isalpha() or letter == "°" for letter in cell) for cell in padded):
                return padded
    return None


def _single_heading(text: str) -> list[str] | None:
    """Line as the heading of a single column, None where it names several things."""
    parts = [part for part in re.split(r"[,;\t]", text) if part.strip()]
    one = len(parts) == 1 or (len(parts) == 2 and signal_unit(parts[1]) is not None)
    return [text.strip(' ",;\t')] if one else None


def _above(lines: Sequence[str], taken: frozenset[int] | None) -> tuple[tuple[str, ...], ...]:
    """Other lines above the numbers, cut at colons, equals signs and any sign between cells."""
    texts = [text.strip(MARKS) for i, text in enumerate(lines) if i not in (taken or ())]
    return tuple(tuple(part.strip(' "') for part in re.split(r"[:=;,\t]", text)) for text in texts if text)


def _sample(lines: Sequence[str], top: int, delimiter: str | None, width: int) -> tuple[Line, ...]:
    """First rows of numbers, each with all its cells."""
    rows = []
    for number, text in enumerate(lines[top : top + LOOKED_AT], top + 1):
        cells = None if is_left_out(text) else cells_of(text, delimiter)
        if cells is not None:
            rows.append(Line(number, tuple((*cells, *[""] * width)[:width])))
    return tuple(rows)


def _holds(sample: Sequence[Line], column: int, pattern: re.Pattern[str]) -> bool:
    """Whether a column holds cells of a form."""
    return any(pattern.fullmatch(str(line.cells[column])) for line in sample[:20])


def _decimals(
    grid: Grid,
    sample: Sequence[Line],
    headings: tuple[str, ...] | None,
    numeric: Sequence[int],
    decimal: str | None,
) -> dict[int, str]:
    """Decimal sign of each column, from few lines where they tell it and from more where they do not."""
    names = [Heading(text, text, None) for text in headings or [f"column {i + 1}" for i in range(99)]]
    try:
        return settle_decimal_signs(grid, sample[:60], names, numeric, decimal)
    except ChoiceNeeded:
        return settle_decimal_signs(grid, sample, names, numeric, decimal)
