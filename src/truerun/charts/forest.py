"""Several tests side by side, each with its value and span."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from truerun.charts.drawing import Drawing, Width
from truerun.charts.layers import Axis, Layer, describe, layer, words
from truerun.charts.reading import PERCENT, Reading, doubling_span
from truerun.charts.ruled_line import bar_and_needle, graduations

__all__ = ["ForestRow", "draw_forest"]

_TOP = 20


@dataclass(frozen=True, slots=True)
class ForestRow:
    """One test: its name, what it found (a drive fraction, or in the unit of the reading), its span, and a remark."""

    name: str
    value: float | None
    low: float | None
    high: float | None
    note: str = ""

    @property
    def spanned(self) -> bool:
        """Whether it has a span; one end may be open."""
        return self.low is not None or self.high is not None


def draw_forest(
    tests: Sequence[ForestRow],
    width: Width = Width.WIDE,
    *,
    pooled: ForestRow | None = None,
    reading: Reading = PERCENT,
    title: str = "The tests side by side",
) -> Drawing:
    """Draw tests one below the other on one ruled line.

    Parameters
    ----------
    tests : sequence of ForestRow
        In the order to be shown; a ``value`` None is a test that is still covered.
    width : Width
        For which width.
    pooled : ForestRow, optional
        What they say together; drawn below a line of its own.
    reading : Reading
        How sizes are written.
    title : str
        What is shown.

    Returns
    -------
    Drawing
    """
    rows = [*tests, *([pooled] if pooled else [])]
    sizes = [abs(size) for row in rows for size in (row.value, row.low, row.high) if size is not None]
    span = doubling_span(max(sizes, default=0.0), share=reading.share)
    phone = width is Width.PHONE
    x = Axis(-span, span, 24.0 if phone else 200.0, width.value - (24 if phone else 158))
    pitch = 84 if phone else 56
    heights = [_TOP + pitch * (place + 1) + (14 if row is pooled else 0) for place, row in enumerate(rows)]
    foot = heights[-1] if heights else _TOP
    layers: list[Layer] = [layer("rule", [{"at": 0.0}], x="at", y=_TOP, y2=foot, stroke="line", strokeWidth=1)]
    for row, height in zip(rows, heights, strict=True):
        last = height == foot
        layers += _row_layers(row, x, height, reading, width, last=last)
        if row is pooled:
            layers.append(layer("rule", [{}], x=0, x2=width.value, y=height - pitch + 4, stroke="ink", strokeWidth=2))
    layers += [
        words(
            [{"words": reading.left_short if phone else reading.left}], x=x.start, y=foot + 50, align="left", fill="ink"
        ),
        words(
            [{"words": reading.right_short if phone else reading.right}],
            x=x.end,
            y=foot + 50,
            align="right",
            fill="ink",
        ),
    ]
    return Drawing(
        name="forest",
        title=title,
        alternative=" ".join(f"{row.name}: {_words_of(row, reading)}." for row in rows),
        caption="Needle: what each test found. Bar: where it lies."
        + (" Below the line: all together." if pooled else " Side by side, not added up."),
        description=describe(width.value, foot + 60, x, Axis(0, 1, 0, 1), layers),
        columns=("Test", "Value", "From", "To", "Remark"),
        rows=tuple((row.name, *_cells(row, reading), row.note) for row in rows),
        width=width.value,
        height=foot + 60,
    )


def _row_layers(row: ForestRow, x: Axis, line: float, reading: Reading, width: Width, *, last: bool) -> list[Layer]:
    """Draw one test: its name, its line, its bar and needle, its value in figures."""
    phone = width is Width.PHONE
    value = "covered" if row.value is None else reading.write(row.value)
    name, note = [{"words": row.name}], [{"words": row.note}] if row.note else []
    top = line - 50 if phone else line - 8
    return [
        *graduations(x, line, reading, unit=False, names=last),
        *bar_and_needle(x, line, row.value, row.low, row.high, span=row.spanned),
        words(name, x=x.start if phone else 4, y=top, align="left", bold=True, fill="ink"),
        words(note, x=x.start if phone else 4, y=top + 18, align="left", size=14),
        words([{"words": value}], x=x.end + (0 if phone else 150), y=top, align="right", bold=True, fill="ink"),
        words(
            [{"words": _between(row, reading)}] if row.spanned else [],
            x=x.end + (0 if phone else 150), y=top + 18, align="right", size=14,
        ),
    ]  # fmt: skip


def _cells(row: ForestRow, reading: Reading) -> tuple[str, str, str]:
    """Write value and ends of a row."""
    value = "covered" if row.value is None else reading.write(row.value)
    if not row.spanned:
        return value, "none", "none"
    low, high = ("open" if end is None else reading.write(end) for end in (row.low, row.high))
    return value, low, high


def _between(row: ForestRow, reading: Reading) -> str:
    """Write the span of a row."""
    _, low, high = _cells(row, reading)
    return f"{low} to {high}"


def _words_of(row: ForestRow, reading: Reading) -> str:
    """Say a row."""
    value, low, high = _cells(row, reading)
    return f"{value}, between {low} and {high}" if row.spanned else value
