"""Every run in the order it was done."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from truerun.charts.drawing import Drawing, Width
from truerun.charts.layers import Axis, Layer, describe, layer, words
from truerun.charts.reading import even_ticks, nice_step, text_width
from truerun.stats.orders import orders_for
from truerun.trial.comparison import Comparison

__all__ = ["draw_runs"]

_HEIGHT = {Width.WIDE: 300, Width.PHONE: 330, Width.PRINT: 280}
_SPACE = "\N{NO-BREAK SPACE}"
_STATES = {
    "counts": "counts",
    "unfinished": "had not ended",
    "worst": "left out after it was seen: at its worst",
    "left out": "left out before it was seen",
}


@dataclass(frozen=True, slots=True)
class _Kind:
    """How one condition is told: word, colour, shape."""

    name: str
    colour: str
    shape: str
    fill: str
    size: int


@dataclass(frozen=True, slots=True)
class _Mean:
    """The mean of one condition, and how it is said."""

    kind: _Kind
    value: float
    said: str


def draw_runs(comparison: Comparison, width: Width = Width.WIDE) -> Drawing | None:
    """Draw every run in order of time, conditions told by shape, word and colour.

    Parameters
    ----------
    comparison : Comparison
        Finished.
    width : Width
        For which width.

    Returns
    -------
    Drawing or None
        None for a covered result.

    Notes
    -----
    The line of a condition is the mean of its runs that count; where effects are factors, the mean of the logarithms
    (so that the two lines differ by the difference found). Runs stand with the condition that was drawn.
    """
    if comparison.verdict is None:
        return None
    rows = _rows(comparison)
    kinds = _kinds(comparison)
    means = [_mean(comparison, kind, sign) for kind, sign in zip(kinds, (1, -1), strict=True)]
    x, y = _axes(comparison, rows, width)
    layers = [
        *_grid(x, y, comparison, width),
        *_blocks(comparison, x, y),
        *_mean_layers(means, x, y, width),
        *[each for kind in kinds for each in _marks(kind, rows, y)],
        *_remark_layers(rows, x, y),
    ]
    measured, unit = comparison.at.rules.measurand.name, comparison.at.table.unit or ""
    height = _HEIGHT[width]
    return Drawing(
        name="runs",
        title="Every run, in the order it was done",
        alternative=" ".join(
            f"{mean.kind.name}: {sum(row['condition'] == mean.kind.name for row in rows)} runs, {mean.said}."
            for mean in means
        ),
        caption=_caption(measured, unit, comparison),
        description=describe(width.value, height, x, y, layers),
        columns=("Run", "Condition", f"{measured} [{unit}]" if unit else measured, "State"),
        rows=tuple(
            (str(row["run"]), row["condition"], _value(row["value"], ""), _STATES[row["state"]] + row["slip"])
            for row in rows
        ),
        width=width.value,
        height=height,
    )


def _rows(comparison: Comparison) -> list[dict[str, Any]]:
    """Give one row a run: number, condition as drawn, value as measured, and how it counts."""
    at = comparison.at
    names = at.rules.conditions
    rows = []
    for place, run in enumerate(at.seen.runs):
        if at.seen.missing[place]:
            continue
        state = "worst" if at.seen.worst[place] else "left out" if at.seen.omitted[place] else "counts"
        state = "unfinished" if state == "counts" and run.unfinished else state
        rows.append(
            {
                "run": run.slot,
                "condition": names.source if at.seen.used[place] > 0 else names.control,
                "value": run.value,
                "state": state,
                "slip": "; the other condition was set up" if run.slot in at.seen.slips else "",
            }
        )
    return rows


def _kinds(comparison: Comparison) -> tuple[_Kind, _Kind]:
    """Give how the two conditions are drawn: filled against open, whatever the colours."""
    names = comparison.at.rules.conditions
    return (
        _Kind(names.source, "in", "circle", "in", 105),
        _Kind(names.control, "out", "square", "sheet", 95),
    )


def _mean(comparison: Comparison, kind: _Kind, sign: int) -> _Mean:
    """Give the mean of the runs of a condition that count, as measured."""
    at = comparison.at
    mine = at.seen.used == sign
    y = at.seen.y[at.seen.kept & mine & np.isfinite(at.seen.y)]
    mean = at.rules.measurand.sign * float(y.mean())
    value = math.exp(mean) if at.logarithmic else mean
    least = "at least " if (at.seen.capped & mine).any() else "mean "
    return _Mean(kind, value, f"{least}{_value(value, at.table.unit or '')}")


def _axes(comparison: Comparison, rows: Sequence[dict[str, Any]], width: Width) -> tuple[Axis, Axis]:
    """Give the axes: runs to the right, what was measured upwards."""
    values = [row["value"] for row in rows if row["value"] is not None]
    low, high = min(values), max(values)
    room = max((high - low) * 0.12, abs(high) * 1e-6, 1e-12)
    if any(row["state"] == "unfinished" for row in rows):
        high += room
    phone = width is Width.PHONE
    right = width.value - (16 if phone else 150)
    last = max(comparison.at.seen.planned, rows[-1]["run"])
    x = Axis(0.5, last + 0.5, 46, right)
    return x, Axis(low - room, high + room, _HEIGHT[width] - 56, 58 if phone else 24)


def _grid(x: Axis, y: Axis, comparison: Comparison, width: Width) -> list[Layer]:
    """Draw hairlines with their figures, the unit once, and the numbers of the runs."""
    step = nice_step(y.high - y.low, 5)
    ticks = even_ticks(y.low, y.high, step)
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    lines = [{"value": at, "words": f"{at:.{decimals}f}".replace("-", "\N{MINUS SIGN}")} for at in ticks]
    pitch = x.at(2) - x.at(1)
    every = next(every for every in (1, 2, 4, 5, 8, 10, 20) if pitch * every >= 22)
    numbered = [run for run in range(1, int(x.high) + 1) if run % every == 0 or run == 1]
    numbers = [{"run": run, "words": str(run)} for run in numbered if run != 1 or every != 2]
    unit = comparison.at.table.unit
    named = [{"words": unit}] if unit else []
    return [
        layer("rule", lines, x=x.start, x2=x.end, y="value", stroke="line", strokeWidth=1),
        words(lines, x=x.start - 8, y="value", size=14, align="right", dy=5),
        words(named, x=x.start - 8, y=y.end - 8 if width is not Width.PHONE else y.end - 6, size=14, align="right"),
        words(numbers, x="run", y=y.start + 20, size=14),
    ]


def _blocks(comparison: Comparison, x: Axis, y: Axis) -> list[Layer]:
    """Draw the ends of blocks as dashed lines."""
    rules = comparison.at.rules
    size = (
        None
        if rules.orders is None or comparison.figures is None
        else orders_for(rules.orders, _planned(comparison)).block
    )
    if size is None:
        return [words([{"words": "run, in order"}], x=x.end, y=y.start + 42, size=14, align="right")]
    runs = int(x.high)
    ends = [{"run": run + 0.5} for run in range(size, runs, size)]
    wide = size * (x.at(2) - x.at(1)) >= 58
    middles = range(0, runs - size + 1, size)
    names = [{"run": first + (size + 1) / 2, "words": f"block {place}"} for place, first in enumerate(middles, 1)]
    return [
        layer("rule", ends, x="run", y=y.start + 4, y2=y.end, stroke="edge", strokeDash=[4, 4], strokeWidth=1),
        words(names if wide else [], x="run", y=y.start + 42, size=14),
        words([] if wide else [{"words": "dashed: ends of blocks"}], x=x.end, y=y.start + 42, size=14, align="right"),
    ]


def _planned(comparison: Comparison) -> int:
    """Give the number of runs of the set of orders."""
    at = comparison.at
    return at.seen.planned if at.rules.plan else len(at.seen.used)


def _mean_layers(means: Sequence[_Mean], x: Axis, y: Axis, width: Width) -> list[Layer]:
    """Draw the mean of each condition, and its name with its mark: at the right, on a phone above."""
    upper, lower = sorted(means, key=lambda mean: y.at(mean.value))
    heights = [y.at(upper.value), y.at(lower.value)]
    if heights[1] - heights[0] < 46:
        middle = sum(heights) / 2
        heights = [middle - 23, middle + 23]
    layers = []
    for place, mean in enumerate((upper, lower)):
        line = [{"value": mean.value, "words": mean.kind.name}]
        layers.append(layer("rule", line, x=x.start, x2=x.end, y="value", stroke=mean.kind.colour, strokeWidth=2))
        if width is Width.PHONE:
            name = [{"words": f"{mean.kind.name}, {mean.said}"}]
            left, top = x.start, 20.0 + 20 * place
        else:
            name = [{"words": mean.kind.name}]
            left, top = x.end + 14, heights[place]
            layers.append(words([{"words": mean.said}], x=left - 6, y=top + 18, align="left", size=14))
        layers.append(words(name, x=left + 14, y=top, align="left", fill=mean.kind.colour, bold=True))
        layers.append(_point(mean.kind, [{}], left, top - 5))
    return layers


def _point(kind: _Kind, rows: Sequence[dict[str, Any]], x: str | float, y: str | float) -> Layer:
    """Draw marks of a condition."""
    return layer(
        "point", rows, x=x, y=y, shape=kind.shape, size=kind.size, fill=kind.fill, stroke=kind.colour,
        strokeWidth=2.5 if kind.fill == "sheet" else 1, filled=True, opacity=1,
    )  # fmt: skip


def _marks(kind: _Kind, rows: Sequence[dict[str, Any]], y: Axis) -> list[Layer]:
    """Draw the runs of a condition: a cross where one does not count as it stands, an arrow where it had not ended."""
    mine = [row for row in rows if row["condition"] == kind.name]
    whole = [row for row in mine if row["state"] in ("counts", "unfinished")]
    crossed = [row for row in mine if row["state"] in ("worst", "left out")]
    seen = [row for row in crossed if row["value"] is not None]
    blank = [row for row in crossed if row["value"] is None]
    tops = [row | {"top": y.back(y.at(row["value"]) - 24)} for row in whole if row["state"] == "unfinished"]
    cross: dict[str, Any] = {
        "shape": "M-0.7,-0.7L0.7,0.7M-0.7,0.7L0.7,-0.7", "size": 90, "stroke": kind.colour, "strokeWidth": 2.5,
        "filled": False, "opacity": 1,
    }  # fmt: skip
    return [
        layer("rule", tops, x="run", y="value", y2="top", stroke=kind.colour, strokeWidth=2.5),
        layer("point", tops, x="run", y="top", shape="triangle-up", size=80, fill=kind.colour, filled=True, opacity=1),
        _point(kind, whole, "run", "value"),
        layer("point", seen, x="run", y="value", **cross),
        layer("point", blank, x="run", y=y.start - 8, **cross),
    ]


def _remark_layers(rows: Sequence[dict[str, Any]], x: Axis, y: Axis) -> list[Layer]:
    """Say beside the first of each kind why it is drawn apart."""
    said = {"unfinished": "had not ended", "worst": "at its worst", "left out": "left out"}
    layers = []
    for state, text in said.items():
        first = next((row for row in rows if row["state"] == state), None)
        if first is not None:
            across, height = _free_place(first, text, rows, x, y)
            layers.append(words([{"words": text}], x=across, y=height, size=14, fill="ink", halo=True))
    return layers


def _free_place(
    row: dict[str, Any], text: str, rows: Sequence[dict[str, Any]], x: Axis, y: Axis
) -> tuple[float, float]:
    """Find a place beside a mark for a text where no other mark stands [px]: right, left, above or below."""
    half = text_width(text, 14) / 2
    here, level = x.at(row["run"]), _level(row, y)
    rise = 17 if row["state"] == "unfinished" else 0
    places = [
        (here + half + 9, level + 5 - rise),
        (here - half - 9, level + 5 - rise),
        (here, level - 12 - 1.5 * rise),
        (here, level + 22),
    ]
    inside = [place for place in places if x.start < place[0] - half and place[0] + half < x.end]
    others = [(x.at(other["run"]), _level(other, y)) for other in rows if other is not row]

    def crowd(place: tuple[float, float]) -> int:
        return sum(abs(left - place[0]) < half + 7 and abs(top - place[1] + 5) < 15 for left, top in others)

    return min(inside or places, key=crowd)


def _level(row: dict[str, Any], y: Axis) -> float:
    """Give the height of a mark [px]; a run without a value stands at the foot."""
    return y.start - 8 if row["value"] is None else y.at(row["value"])


def _caption(measured: str, unit: str, comparison: Comparison) -> str:
    """Say what is drawn and which way is better."""
    at = comparison.at
    kind = f"{measured} in {unit}" if unit else measured
    more = "A longer time means less loss." if measured == "time" else ""
    less = "Less of it speaks for the source." if at.rules.measurand.sign < 0 else ""
    return " ".join(part for part in (f"{kind[0].upper()}{kind[1:]} of each run.", more, less) if part)


def _value(value: float | None, unit: str) -> str:
    """Write a value as measured."""
    if value is None:
        return "none"
    number = f"{value:.1f}" if abs(value) >= 100 else f"{value:.4g}"
    return number.replace("-", "\N{MINUS SIGN}") + (f"{_SPACE}{unit}" if unit else "")
