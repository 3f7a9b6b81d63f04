"""Recordings written to files the way loggers, displays, films and people write them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import Enum
from pathlib import Path
from typing import TextIO

import numpy as np
from numpy.typing import NDArray

from truerun.errors import ValueOutOfRange
from truerun.series import AngleTrack, Passes, SpeedTable
from truerun.units.unit import Dimension, parse_unit

__all__ = ["PassRows", "Style", "write_angles", "write_passes", "write_speeds", "write_waveform"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Style:
    """How a file of numbers is written.

    ``unit`` is that of the times: a symbol, or "m:ss" for the digits of a stopwatch. ``preamble`` are lines above the
    headings. ``decimals`` of the times; None: as many as the resolution of the clock needs, nine where it has none.
    """

    delimiter: str = ","
    decimal: str = "."
    unit: str = "s"
    headings: bool = True
    preamble: tuple[str, ...] = ()
    decimals: int | None = None

    def __post_init__(self) -> None:
        """Check that cells can be told from decimals."""
        if self.decimal not in {".", ","} or self.decimal == self.delimiter:
            found = f'"{self.decimal}" beside the delimiter "{self.delimiter}"'
            raise ValueOutOfRange("The decimal sign", found, '"." or ",", and not the delimiter')


class PassRows(Enum):
    """What one row of a file of passes is."""

    MARK = "one pass, with further columns where the recording has them"
    EDGE = "one edge: its time, and 1 where a mark came or 0 where it left"
    INTERVAL = "the time from one pass to the next"
    TURN = "one turn, with a column for each mark"


def write_passes(path: Path, passes: Passes, style: Style | None = None, rows: PassRows = PassRows.MARK) -> None:
    """Write a recording of passes.

    Parameters
    ----------
    path : Path
        File to write.
    passes : Passes
        With ``ends`` for rows of edges, with ``mark`` for rows of turns.
    style : Style, optional
    rows : PassRows
        What one row is.
    """
    chosen = style or Style()
    table = _PASS_TABLES[rows](passes, chosen)
    _write(path, chosen, [heading for heading, _ in table], [cells for _, cells in table])


def write_speeds(
    path: Path, table: SpeedTable, style: Style | None = None, unit: str = "r/min", *, error_in_heading: bool = False
) -> None:
    """Write a table of speeds.

    Parameters
    ----------
    path : Path
        File to write.
    table : SpeedTable
    style : Style, optional
    unit : str
        Of the speeds.
    error_in_heading : bool
        Whether the stated error, the first one, stands in the heading and not in a column of its own.
    """
    chosen = style or Style()
    factor = parse_unit(unit, Dimension.SPEED).factor
    places = _places(table.speed_resolution, factor)
    stated = table.standard_uncertainty
    heading = f"speed [{unit}]"
    if stated is not None and error_in_heading:
        heading += f" error: +/-{stated[0] / factor:.3g}"
    columns = [_times("time", table.times, chosen, table.timing.resolution)]
    columns.append((heading, _fixed(table.speeds / factor, places, chosen)))
    if stated is not None and not error_in_heading:
        columns.append((f"error [{unit}]", _fixed(stated / factor, 9, chosen)))
    if table.counts is not None:
        columns.append(("count", _whole(table.counts)))
    _write(path, chosen, [name for name, _ in columns], [cells for _, cells in columns])


def write_angles(
    path: Path, track: AngleTrack, style: Style | None = None, unit: str = "deg", *, with_times: bool = True
) -> None:
    """Write the angles of a film.

    Parameters
    ----------
    path : Path
        File to write.
    track : AngleTrack
    style : Style, optional
    unit : str
        Of the angles.
    with_times : bool
        Whether there is a column of times; without, a line above the headings gives the rate.
    """
    chosen = style or Style()
    factor = parse_unit(unit, Dimension.ANGLE).factor
    angles = (f"angle [{unit}]", _fixed(track.angles / factor, _places(track.angle_resolution, factor), chosen))
    columns = [_times("time", track.times, chosen, None), angles] if with_times else [angles]
    rate = 1 / float(np.mean(np.diff(track.times)))
    above = () if with_times else (f"frame rate: {rate:.10g} Hz",)
    _write(path, chosen, [name for name, _ in columns], [cells for _, cells in columns], above)


def write_waveform(
    path: Path, blocks: Iterable[Array], step: float, style: Style | None = None, *, start: float = 0.0
) -> int:
    """Write a sampled signal block by block, so that it may be longer than memory.

    Parameters
    ----------
    path : Path
        File to write.
    blocks : iterable of array
        Volts, in order.
    step : float
        From sample to sample [s].
    style : Style, optional
        Its ``unit`` is that of the times.
    start : float
        Time of the first sample [s].

    Returns
    -------
    int
        Samples written.
    """
    chosen = style or Style()
    factor = parse_unit(chosen.unit, Dimension.TIME).factor
    places = chosen.decimals if chosen.decimals is not None else _places(step / 100, factor)
    row = f"{{:.{places}f}}{chosen.delimiter}{{:.5f}}"
    written = 0
    with path.open("w", encoding="utf-8", newline="\n") as file:
        _head(file, chosen, [f"time [{chosen.unit}]", "signal [V]"], ())
        for block in blocks:
            times = (start + step * np.arange(written, written + block.size)) / factor
            text = "\n".join(map(row.format, times.tolist(), block.tolist())) + "\n"
            file.write(text.replace(".", ",") if chosen.decimal == "," else text)
            written += block.size
    return written


Column = tuple[str, list[str]]


def _by_pass(passes: Passes, style: Style) -> list[Column]:
    """One row a pass."""
    step = passes.timing.resolution
    columns = [_times("time", passes.times, style, step)]
    if passes.ends is not None:
        columns.append(_times("end", passes.ends, style, step))
    if passes.mark is not None:
        columns.append(("mark", _whole(passes.mark)))
    if passes.counts is not None:
        columns.append(("count", _whole(passes.counts)))
    if passes.triggers is not None:
        columns.append(_times("trigger", passes.triggers, style, step))
    return columns


def _by_edge(passes: Passes, style: Style) -> list[Column]:
    """One row an edge, in the order in which the clock saw them."""
    if passes.ends is None:
        raise ValueOutOfRange("The recording", "one of leading edges only", "one with both edges")
    both = np.column_stack([passes.times, passes.ends]).ravel()
    state = ["1", "0"] * passes.times.size
    return [_times("time", both, style, passes.timing.resolution), ("state", state)]


def _by_interval(passes: Passes, style: Style) -> list[Column]:
    """One row from each pass to the next."""
    return [_times("interval", np.diff(passes.times), style, passes.timing.resolution)]


def _by_turn(passes: Passes, style: Style) -> list[Column]:
    """One column a mark, one row a turn; a pass that was not seen leaves its cell empty."""
    if passes.mark is None or (passes.mark < 0).any():
        raise ValueOutOfRange("The recording", "one in which the mark of a pass is not known", "one with every mark")
    turn = np.concatenate([[0], np.cumsum(np.diff(passes.mark) <= 0)])
    columns = []
    for mark in range(int(passes.mark.max()) + 1):
        own = passes.mark == mark
        heading, written = _times(f"time {mark + 1}", passes.times[own], style, passes.timing.resolution)
        cells = [""] * (int(turn[-1]) + 1)
        for row, cell in zip(turn[own], written, strict=True):
            cells[row] = cell
        columns.append((heading, cells))
    return columns


_PASS_TABLES = {
    PassRows.MARK: _by_pass,
    PassRows.EDGE: _by_edge,
    PassRows.INTERVAL: _by_interval,
    PassRows.TURN: _by_turn,
}


def _times(name: str, seconds: Array, style: Style, resolution: float | None) -> Column:
    """Write a column of times with its heading."""
    if style.unit == "m:ss":
        places = style.decimals if style.decimals is not None else _places(resolution, 1.0)
        return name, [_stopwatch(second, places, style) for second in seconds.tolist()]
    factor = parse_unit(style.unit, Dimension.TIME).factor
    places = style.decimals if style.decimals is not None else _places(resolution, factor)
    return f"{name} [{style.unit}]", _fixed(seconds / factor, places, style)


def _stopwatch(seconds: float, places: int, style: Style) -> str:
    """Write minutes and seconds."""
    ticks = round(seconds * 10**places)
    minutes, rest = divmod(ticks, 60 * 10**places)
    width = places + 3 if places else 2
    return f"{minutes}:{rest / 10**places:0{width}.{places}f}".replace(".", style.decimal)


def _places(resolution: float | None, factor: float) -> int:
    """Find how many decimals a resolution needs in a unit."""
    if resolution is None:
        return 9
    return next((places for places in range(9) if _is_whole(resolution / factor * 10**places)), 9)


def _is_whole(number: float) -> bool:
    """Whether a number is a whole one but for rounding."""
    return round(number) >= 1 and abs(number - round(number)) < 1e-6


def _fixed(values: Array, places: int, style: Style) -> list[str]:
    """Write numbers with a set number of decimals."""
    return [f"{value:.{places}f}".replace(".", style.decimal) for value in values.tolist()]


def _whole(values: NDArray[np.intp]) -> list[str]:
    """Write whole numbers; -1, which means not known, is an empty cell."""
    return ["" if value < 0 else str(value) for value in values.tolist()]


def _write(
    path: Path, style: Style, headings: Sequence[str], columns: Sequence[Sequence[str]], above: tuple[str, ...] = ()
) -> None:
    """Write the table; columns that are shorter end in empty cells."""
    longest = max(map(len, columns))
    padded = [[*column, *[""] * (longest - len(column))] for column in columns]
    with path.open("w", encoding="utf-8", newline="\n") as file:
        _head(file, style, headings, above)
        for row in zip(*padded, strict=True):
            file.write(style.delimiter.join(row) + "\n")


def _head(file: TextIO, style: Style, headings: Sequence[str], above: tuple[str, ...]) -> None:
    """Write what stands above the numbers."""
    file.writelines(line + "\n" for line in (*style.preamble, *above))
    if style.headings:
        file.write(style.delimiter.join(headings) + "\n")
