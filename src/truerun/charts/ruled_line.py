"""The ruled line on which a drive is read: bar for the span, needle for the value, zero the longest tick."""

from __future__ import annotations

from truerun.charts.layers import Axis, Layer, layer, words
from truerun.charts.reading import Reading, even_ticks

__all__ = ["bar_and_needle", "graduations", "to_hundred"]


def graduations(x: Axis, line: float, reading: Reading, *, unit: bool, names: bool = True) -> list[Layer]:
    """Draw the line with its ticks, a fifteenth of half the span apart, each fifth of them longer and named.

    Parameters
    ----------
    x : Axis
        Symmetric about zero.
    line : float
        Height of the line [px].
    reading : Reading
        How sizes are written.
    unit : bool
        Whether each figure has its unit.
    names : bool
        Whether figures stand below.

    Returns
    -------
    list of dict
    """
    step = x.high / 3
    long = [{"at": at, "words": reading.tick(at, step, unit=unit)} for at in even_ticks(x.low, x.high, step) if at]
    short = [{"at": at} for at in even_ticks(x.low, x.high, x.high / 15)]
    layers = [
        layer("rule", [{}], x=x.start, x2=x.end, y=line, stroke="ink", strokeWidth=2),
        layer("rule", short, x="at", y=line, y2=line + 5, stroke="edge", strokeWidth=1),
        layer("rule", long, x="at", y=line, y2=line + 9, stroke="edge", strokeWidth=1),
        layer("rule", [{"at": 0.0}], x="at", y=line, y2=line + 14, stroke="ink", strokeWidth=2),
    ]
    if names:
        layers.append(words(long, x="at", y=line + 26, size=14))
        layers.append(words([{"at": 0.0, "words": "0"}], x="at", y=line + 31, bold=True, fill="ink"))
    return layers


def bar_and_needle(
    x: Axis, line: float, value: float | None, low: float | None, high: float | None, *, span: bool
) -> list[Layer]:
    """Draw the span as a bar on the line and the value as a needle; an open end runs to the end of the line.

    Parameters
    ----------
    x : Axis
        Of the line.
    line : float
        Height of the line [px].
    value, low, high : float or None
        Value and ends of the span.
    span : bool
        Whether there is a span at all.

    Returns
    -------
    list of dict
    """
    ends = [{"low": x.low if low is None else low, "high": x.high if high is None else high}]
    arrows = [
        layer("point", [{}], x=place, y=line - 6, shape=shape, size=180, fill="edge", filled=True, opacity=1)
        for end, place, shape in ((low, x.start - 5, "triangle-left"), (high, x.end + 5, "triangle-right"))
        if end is None and span
    ]
    needle = [] if value is None else [{"value": value}]
    return [
        *([layer("rect", ends, x="low", x2="high", y=line - 11, y2=line - 1, fill="edge")] if span else []),
        *arrows,
        layer("rule", needle, x="value", y=line - 22, y2=line, stroke="ink", strokeWidth=4),
    ]


def to_hundred(x: Axis, line: float, end: float, words_there: str) -> list[Layer]:
    """Go on dashed to the pixel of +100 %, where a wheel would run by itself."""
    said = [{"words": words_there}] if words_there else []
    return [
        layer("rule", [{}], x=x.end + 4, x2=end, y=line, stroke="ink", strokeWidth=2, strokeDash=[5, 4]),
        layer("rule", [{}], x=end, y=line - 8, y2=line + 12, stroke="ink", strokeWidth=2),
        words(said, x=end, y=line + 26, size=14),
    ]
