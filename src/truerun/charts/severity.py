"""How surely a bigger effect is ruled out."""

from __future__ import annotations

from typing import Any

import numpy as np

from truerun.charts.drawing import Drawing, Width
from truerun.charts.layers import Axis, Layer, describe, layer, words
from truerun.charts.reading import Reading, even_ticks, nice_step, reading_of
from truerun.stats.exact import severity
from truerun.trial.comparison import Comparison
from truerun.trial.context import adding, shown

__all__ = ["draw_severity"]

_HEIGHT = 320
_POINTS_LISTED = 161
_POINTS_COUNTED = 25


def draw_severity(comparison: Comparison, width: Width = Width.WIDE) -> Drawing | None:
    """Draw how surely an effect bigger than each size is ruled out, with .80, .95 and .99 marked.

    Parameters
    ----------
    comparison : Comparison
        Finished.
    width : Width
        For which width.

    Returns
    -------
    Drawing or None
        None where no size is ruled out: a covered or withdrawn result, too few orders, or an open end.
    """
    drawn, marked = comparison.figures, comparison.document()["severity"]
    capped = comparison.at.seen.capped & (comparison.at.seen.used > 0)
    if drawn is None or not marked or capped.any():
        return None
    reading = reading_of(comparison)
    curve = _curve(comparison, marked)
    x, y = _axes(curve, width)
    layers = [
        *_grid(x, y, reading, width),
        layer("line", curve, x="size", y="surely", stroke="ink", strokeWidth=2.5, interpolate="linear"),
        *_levels(marked, x, y, reading),
    ]
    bigger = "bigger" if reading.share or comparison.at.rules.measurand.sign > 0 else "lower"
    said = [f"{bigger} than {reading.write(row['below'])}: {row['surely']:.2f}" for row in marked]
    return Drawing(
        name="severity",
        title=f"How surely a {bigger} effect is ruled out",
        alternative=f"Ruled out, and how surely: {'; '.join(said)}.",
        caption=f"For each size: how surely an effect {bigger} than that is ruled out. 1 would be certain.",
        description=describe(width.value, _HEIGHT, x, y, layers),
        columns=("How surely", f"An effect {bigger} than"),
        rows=tuple((f"{row['surely']:.2f}", reading.write(row["below"])) for row in marked),
        width=width.value,
        height=_HEIGHT,
    )


def _curve(comparison: Comparison, marked: list[dict[str, float]]) -> list[dict[str, float]]:
    """Read the curve off the finished list, from nothing ruled out to beyond the last level that is marked."""
    drawn = comparison.figures
    if drawn is None:
        return []
    levels = [adding(comparison.at, row["below"]) for row in marked]
    if not comparison.at.logarithmic:
        levels = [comparison.at.rules.measurand.sign * level for level in levels]
    middle, last = drawn.minus.delta, max(levels)
    reach = max(last - middle, abs(middle), 1e-12)
    ends = (min(0.0, middle - 0.8 * reach), max(0.0, last + 0.15 * reach))
    count = _POINTS_LISTED if drawn.minus.heap is not None else _POINTS_COUNTED
    effects = np.unique(np.concatenate([np.linspace(*ends, count), levels]))
    sure = severity(drawn.minus, effects)
    sizes = [shown(comparison.at, float(effect)) for effect in effects]
    rows = [{"size": size, "surely": float(level)} for size, level in zip(sizes, sure, strict=True)]
    return sorted(rows, key=lambda row: row["size"])


def _axes(curve: list[dict[str, float]], width: Width) -> tuple[Axis, Axis]:
    """Give the axes: size to the right, how surely upwards."""
    sizes = [row["size"] for row in curve]
    right = width.value - (16 if width is Width.PHONE else 28)
    return Axis(min(sizes), max(sizes), 52, right), Axis(0, 1, _HEIGHT - 58, 20)


def _grid(x: Axis, y: Axis, reading: Reading, width: Width) -> list[Layer]:
    """Draw the foot line with its figures, and zero."""
    step = nice_step(x.high - x.low, 4 if width is Width.PHONE else 7)
    ticks = [
        {"at": at, "words": reading.tick(at, step, unit=width is not Width.PHONE)}
        for at in even_ticks(x.low, x.high, step)
        if at
    ]
    zero = [{"at": 0.0, "words": "0"}] if x.low <= 0 <= x.high else []
    right = reading.right_short if width is Width.PHONE else reading.right
    left = reading.left_short if width is Width.PHONE else reading.left
    return [
        layer("rule", [{}], x=x.start, x2=x.end, y=y.start, stroke="ink", strokeWidth=2),
        layer("rule", [{}], x=x.start, x2=x.end, y=y.end, stroke="line", strokeWidth=1),
        layer("rule", ticks, x="at", y=y.start, y2=y.start + 6, stroke="edge", strokeWidth=1),
        layer("rule", zero, x="at", y=y.start, y2=y.start + 11, stroke="ink", strokeWidth=2),
        words(ticks, x="at", y=y.start + 22, size=14),
        words(zero, x="at", y=y.start + 26, bold=True, fill="ink"),
        words([{"words": left}], x=x.start - 40, y=y.start + 48, align="left", fill="ink"),
        words([{"words": right}], x=x.end, y=y.start + 48, align="right", fill="ink"),
        words([{"words": "0"}], x=x.start - 8, y=y.start + 5, size=14, align="right"),
        words([{"words": ".50"}], x=x.start - 8, y=y.at(0.5) + 5, size=14, align="right"),
        layer("rule", [{}], x=x.start, x2=x.end, y=y.at(0.5), stroke="line", strokeWidth=1),
    ]


def _levels(marked: list[dict[str, float]], x: Axis, y: Axis, reading: Reading) -> list[Layer]:
    """Mark the levels: across to the curve, down to the size, the size written at its foot."""
    layers: list[Layer] = []
    rising = marked[-1]["below"] >= marked[0]["below"]
    heights = [y.at(row["surely"]) for row in marked]
    for place in range(len(heights) - 2, -1, -1):
        heights[place] = max(heights[place], heights[place + 1] + 16)
    for place, (row, height) in enumerate(zip(marked, heights, strict=True)):
        at = x.at(row["below"])
        text = f"{row['surely']:.2f}".lstrip("0")
        size: dict[str, Any] = {"words": reading.write(row["below"])} | row
        ends = row | {"from": x.low, "none": 0.0}
        foot = y.start - 10 - 22 * (len(marked) - 1 - place)
        room = at + 70 < x.end + 20 if rising else at - 90 < x.start
        layers += [
            layer("rule", [ends], x="from", x2="below", y="surely", stroke="edge", strokeDash=[3, 3], strokeWidth=1),
            layer("rule", [ends], x="below", y="surely", y2="none", stroke="edge", strokeDash=[3, 3], strokeWidth=1),
            layer("point", [row], x="below", y="surely", shape="circle", size=70, fill="ink", filled=True, opacity=1),
            words([{"words": text}], x=x.start - 8, y=height + 3, size=14, align="right", bold=True, fill="ink"),
            words(
                [size], x=at + (7 if room else -7), y=foot, align="left" if room else "right",
                bold=True, fill="ink", halo=True,
            ),
        ]  # fmt: skip
    return sorted(layers, key=lambda each: each["mark"]["type"] == "text")
