"""Columns of numbers out of blocks of lines: fast where all is plain, line by line where it is not."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from truerun.errors import ValueOutOfRange
from truerun.recordings.grid import shown
from truerun.recordings.layout import CLOCK, MISSING, STAMP, Layout, cells_of
from truerun.recordings.plain_decimals import parse_plain_decimals
from truerun.recordings.text_tables import is_left_out
from truerun.units.number import parse_number
from truerun.units.quantity import read_quantity
from truerun.units.unit import Dimension

__all__ = ["Block", "Wanted", "gathered", "read_number_blocks"]

BLANKS = re.compile(rb"[ \t]+")
OUTER_BLANKS = re.compile(rb"(?m)^[ \t]+|[ \t]+$")
NOTHING = " \t\x00\x1a\ufeff"
LARGEST = 1e20  # nanoseconds of a hundred years are 3e18; what lies beyond was not measured, and overflows in squares


@dataclass(frozen=True, slots=True)
class Wanted:
    """A column that is read: what it is called in messages, and whether its cells may be empty (NaN)."""

    column: int
    called: str
    optional: bool = False


@dataclass(frozen=True, slots=True)
class Block:
    """Numbers of some lines: the line of the first one, one array for each wanted column, rows that were empty."""

    line: int
    columns: tuple[NDArray[np.float64], ...]
    empty_rows: int = 0
    cut: bool = False


def read_number_blocks(blocks: Iterator[bytes], layout: Layout, wanted: tuple[Wanted, ...]) -> Iterator[Block]:
    r"""Read the wanted columns, block by block.

    Parameters
    ----------
    blocks : iterator of bytes
        Whole lines in UTF-8, from the first line of the file on.
    layout : Layout
        How the file is written.
    wanted : tuple of Wanted
        The columns to read.

    Yields
    ------
    Block

    Raises
    ------
    RecordingUnreadable
        With the line, where a cell is no number.

    Examples
    --------
    >>> from truerun.recordings.layout import recognise_layout
    >>> layout = recognise_layout(["t;n", "0,5;7", "1,5;8"], "run.csv")
    >>> [block.columns for block in read_number_blocks(iter([b"t;n\n0,5;7\n1,5;8\n"]), layout, (Wanted(0, "time"),))]
    [(array([0.5, 1.5]),)]
    """
    line, skip = 1, layout.top
    for block in blocks:
        text = block
        while skip and text:
            text = text.partition(b"\n")[2]
            skip, line = skip - 1, line + 1
        if not text:
            continue
        columns = _fast(text, layout, wanted)
        yield Block(line, columns) if columns else _slow(text, layout, wanted, line)
        line += text.count(b"\n")


def gathered(blocks: Iterator[Block], layout: Layout, wanted: tuple[Wanted, ...]) -> dict[int, NDArray[np.float64]]:
    """Put the blocks of each column together.

    Parameters
    ----------
    blocks : iterator of Block
        As :func:`read_number_blocks` gives them.
    layout : Layout
        For messages.
    wanted : tuple of Wanted
        The columns.

    Returns
    -------
    dict of int to array, shape (n,)
        By column.

    Raises
    ------
    RecordingUnreadable
        If there are no numbers at all.
    """
    parts = list(blocks)
    if not sum(part.columns[0].size for part in parts):
        raise layout.unreadable(None, "there are no numbers below the headings. Record once more.")
    return {one.column: np.concatenate([part.columns[i] for part in parts]) for i, one in enumerate(wanted)}


def _fast(block: bytes, layout: Layout, wanted: tuple[Wanted, ...]) -> tuple[NDArray[np.float64], ...] | None:
    """Columns of a block in which every line is plain, None where one is not."""
    plain = _plain(block, layout)
    if plain is None:
        return None
    text, delimiter = plain
    width = layout.row_cells
    if delimiter and not _even(text, delimiter, width):
        return None
    if len(wanted) == width and not any(one.optional for one in wanted):
        flat = parse_plain_decimals(text, delimiter + b"\n")
        if flat is not None:
            return tuple(np.ascontiguousarray(flat[one.column :: width]) for one in wanted)
    cells = (text[:-1].replace(b"\n", delimiter) if delimiter else text[:-1]).split(delimiter or b"\n")
    columns = [_floats(cells[one.column :: width], optional=one.optional) for one in wanted]
    return None if any(column is None for column in columns) else tuple(c for c in columns if c is not None)


def _plain(block: bytes, layout: Layout) -> tuple[bytes, bytes] | None:
    """Block with decimal points and one sign between cells, None where that needs a closer look."""
    if b'"' in block or b"_" in block or len(set(layout.decimals)) > 1:
        return None
    text = block if block.endswith(b"\n") else block + b"\n"
    if layout.decimals[0] == ",":
        if b"." in text or layout.delimiter == ",":
            return None
        text = text.replace(b",", b".")
    if layout.row_cells == 1:
        return text, b""
    if layout.delimiter is None:
        return BLANKS.sub(b"\t", OUTER_BLANKS.sub(b"", text)), b"\t"
    return text, layout.delimiter.encode()


def _even(text: bytes, delimiter: bytes, width: int) -> bool:
    """Whether every line has the same number of cells."""
    signs = np.frombuffer(text, np.uint8)
    ends = signs[(signs == delimiter[0]) | (signs == b"\n"[0])]
    if ends.size % width:
        return False
    rows = ends.reshape(-1, width) == b"\n"[0]
    return bool(rows[:, -1].all() and not rows[:, :-1].any())


def _floats(cells: list[bytes], *, optional: bool) -> NDArray[np.float64] | None:
    """Cells as floats, None where one of them is none."""
    try:
        values = np.array([float(cell or b"nan") for cell in cells] if optional else list(map(float, cells)))
    except ValueError:
        return None
    return values if np.all((np.abs(values) <= LARGEST) | (optional & np.isnan(values))) else None


def _slow(block: bytes, layout: Layout, wanted: tuple[Wanted, ...], first: int) -> Block:
    """Columns of a block read line by line, with every refusal."""
    rows: list[list[float]] = []
    empty, cut = 0, False
    lines = block.split(b"\n")
    ended = not lines[-1]
    for number, raw in enumerate(lines[:-1] if ended else lines, first):
        last = not ended and number == first + len(lines) - 1
        text = _text(raw, layout, number)
        cells = cells_of(text, layout.delimiter)
        if is_left_out(text) and not (cells and any(cells) and text.lstrip()[:1] != "#"):
            empty += bool(text.strip()) and text.lstrip()[:1] != "#"
            continue
        if cells is not None and last and _is_cut(cells, layout):
            cut = True
            continue
        rows.append(_row(cells, layout, wanted, number))
        empty = 0
    table = np.array(rows, np.float64).reshape(-1, len(wanted))
    return Block(first, tuple(np.ascontiguousarray(column) for column in table.T), empty, cut)


def _text(raw: bytes, layout: Layout, number: int) -> str:
    """Line as text."""
    try:
        return raw.decode().strip(NOTHING)
    except UnicodeDecodeError:
        raise layout.unreadable(number, "the line is not text. Take it out, or record once more.") from None


def _is_cut(cells: list[str], layout: Layout) -> bool:
    """Whether the last line of a file breaks off, as where a logger lost its power."""
    return len(cells) < len(layout.sample[0].cells) and layout.width > 1 and layout.row_cells == layout.width


def _row(cells: list[str] | None, layout: Layout, wanted: tuple[Wanted, ...], number: int) -> list[float]:
    """Numbers of one line."""
    if cells is None:
        raise layout.unreadable(number, "a quote opens a cell and is not closed as it should be. Take it out.")
    if layout.headings is not None and tuple(cells) == layout.headings:
        found = "the headings come once more, so the file holds two recordings."
        raise layout.unreadable(number, f"{found} Split it, one recording a file.")
    if len(cells) > layout.width and any(cells[layout.width :]):
        found = f"the line has {len(cells)} cells; the others have {layout.width}."
        raise layout.unreadable(number, f"{found} Mend the line, or put # in front of it.")
    return [_number(cells, one, layout, number) for one in wanted]


def _number(cells: list[str], one: Wanted, layout: Layout, number: int) -> float:
    """One cell as a number; times of a clock in seconds, dates in seconds since the first midnight."""
    cell = cells[one.column] if one.column < len(cells) else ""
    if cell.casefold() in MISSING:
        if one.optional:
            return float("nan")
        found = f"{one.called} is missing" if cell == "" else f'{one.called} is "{cell}"'
        raise layout.unreadable(number, f"{found}. Write it, or take the line out.")
    try:
        value = _value(cell, layout, layout.decimals[one.column])
    except (ValueOutOfRange, ValueError):
        sign = {".": "point", ",": "comma"}[layout.decimals[one.column]]
        allowed = f"it must be a number with a decimal {sign}"
        remedy = "Mend the line, or put # in front of it."
        raise layout.unreadable(number, f'{one.called} is "{shown(cell)}"; {allowed}. {remedy}') from None
    if abs(value) > LARGEST:
        found = f'{one.called} is "{shown(cell)}"; a recording holds no number beyond {LARGEST:g}.'
        raise layout.unreadable(number, f"{found} Mend the line, or put # in front of it.")
    return value


def _value(cell: str, layout: Layout, decimal: str) -> float:
    """Read a cell that holds a number, a clock time or a date."""
    if CLOCK.fullmatch(cell):
        return read_quantity(cell, Dimension.TIME, decimal=decimal).value
    if STAMP.fullmatch(cell):
        moment = datetime.fromisoformat(cell.replace(",", ".").removesuffix("Z"))
        return (moment - layout.midnight).total_seconds()
    return parse_number(cell, decimal)
