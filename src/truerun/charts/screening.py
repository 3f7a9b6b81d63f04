"""A screening: every variant with its runs, what the best one shows, and what to expect of it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from truerun.charts.drawing import Drawing, Width
from truerun.charts.frame import BELOW, TOP, Span, upright
from truerun.charts.layers import Axis, Layer, describe, layer, words
from truerun.charts.reading import PERCENT, Reading, nice_step, text_width
from truerun.trial.plan import Measurand
from truerun.trial.screening import Screened, ScreeningFigures

__all__ = ["draw_screened", "reading_of_measurand", "size_shown"]

_HEIGHT = {Width.WIDE: 430, Width.PHONE: 410, Width.PRINT: 400}
_ABOVE, _BELOW = 48, 26
"""Room for words above the highest mark and below the lowest one [px]."""


@dataclass(frozen=True, slots=True)
class _Places:
    """The two axes, how sizes are written, and for which width."""

    x: Axis
    y: Axis
    reading: Reading
    width: Width

    @property
    def phone(self) -> bool:
        """Whether there is room for few words only."""
        return self.width is Width.PHONE


def reading_of_measurand(measurand: Measurand) -> Reading:
    """Give how differences in a measured quantity are written."""
    if measurand.scale == "log":
        return PERCENT
    return Reading(1, measurand.unit or "", "← less drive", "more drive →", "← less", "more →")


def size_shown(measurand: Measurand, size: float) -> float:
    """Give the drive fraction of a difference on the adding scale; on a linear scale the difference itself.

    Examples
    --------
    >>> round(size_shown(Measurand(), 0.02), 4)
    0.0198
    """
    return -math.expm1(-size) if measurand.scale == "log" else size


def draw_screened(result: Screened, width: Width = Width.WIDE) -> Drawing | None:
    """Draw every variant against the mean of all, and what can be expected of the best one.

    Parameters
    ----------
    result : Screened
        Finished, or covered.
    width : Width
        For which width.

    Returns
    -------
    Drawing or None
        None until the last run is done.

    Notes
    -----
    Variants stand in the order of the list. Up is more drive.
    """
    figures = result.figures
    if figures is None:
        return None
    rows = _rows(result, figures)
    reading = reading_of_measurand(result.plan.measurand)
    height = _HEIGHT[width]
    frame = upright(width, height, _across(result, width), _upwards(result, rows, reading, height))
    places = _Places(frame.x, frame.y, reading, width)
    layers = [
        *frame.layers,
        layer("rule", [{"at": 0.0}], x=frame.x.start, x2=frame.x.end, y="at", stroke="ink", strokeWidth=2),
        *_luck_layers(result, figures, places),
        *_variant_layers(rows),
        *_arrow_layers(result, figures, places),
    ]
    return Drawing(
        name="screening",
        title="Every variant, and what to expect of the best one",
        alternative=_said(result, figures, reading),
        caption="Up is more drive, against the mean of all. Short strokes: the single runs. Ring: their mean. Filled: "
        "the best one as seen. Arrow: down to what can be expected next time.",
        description=describe(width.value, height, frame.x, frame.y, layers),
        columns=("Variant", "As seen", "To expect", "Runs"),
        rows=tuple(_table_row(row, reading) for row in rows),
        width=width.value,
        height=height,
    )


def _rows(result: Screened, figures: ScreeningFigures) -> list[dict[str, Any]]:
    """Give every variant with sizes as a reader wants them."""
    measurand, kept = result.plan.measurand, figures.worth.factor
    return [
        {
            "number": number,
            "name": each.name,
            "mean": size_shown(measurand, each.mean),
            "expected": size_shown(measurand, kept * each.mean),
            "runs": [size_shown(measurand, run) for run in each.runs],
            "best": number - 1 == figures.best,
        }
        for number, each in enumerate(result.variants, 1)
    ]


def _table_row(row: dict[str, Any], reading: Reading) -> tuple[str, ...]:
    """Write one variant."""
    runs = ", ".join(reading.write(run) for run in row["runs"])
    return (row["name"], reading.write(row["mean"]), reading.write(row["expected"]), runs)


def _across(result: Screened, width: Width) -> Span:
    """Give the axis of the variants: the end of their names where that is short, else their number in the list."""
    names = result.plan.variants
    heads = {name.rpartition(" ")[0] for name in names}
    tails = [name.rpartition(" ")[2] for name in names]
    shared = len(heads) == 1 and "" not in heads and max(map(len, tails)) <= 4
    said = next(iter(heads)) if shared else "number in the list"
    short = tails if shared else [str(number) for number in range(1, len(names) + 1)]
    best = result.figures.best if result.figures is not None else 0
    marks = [(float(place + 1), short[place]) for place in _named(len(names), best, short, width)]
    return Span(0.2, len(names) + 0.8, said[: 28 if width is Width.PHONE else 60], marks=marks)


def _named(count: int, best: int, short: Sequence[str], width: Width) -> list[int]:
    """Choose which variants are named below the axis: as many as fit, the best one always."""
    room = (width.value - 90) / count
    every = max(1, math.ceil((text_width(max(short, key=len), 14) + 8) / room))
    chosen = [place for place in range(0, count, every) if place == best or abs(place - best) >= every]
    return sorted({*chosen, best})


def _upwards(result: Screened, rows: Sequence[dict[str, Any]], reading: Reading, height: int) -> Span:
    """Give the upright axis with room for words above and below every run."""
    figures = result.figures
    luck = size_shown(result.plan.measurand, figures.worth.luck) if figures is not None else 0.0
    sizes = [size for row in rows for size in (*row["runs"], row["mean"])] + [luck, 0.0]
    step = nice_step(max(sizes) - min(sizes), 7)
    low, high = math.floor(min(sizes) / step) * step, math.ceil(max(sizes) / step) * step
    unit = "% of the losses" if reading.share else " ".join(filter(None, [result.plan.measurand.name, reading.unit]))
    marks = [
        (step * place, reading.tick(step * place, step)) for place in range(round(low / step), round(high / step) + 1)
    ]
    pixel = (high - low) / (height - TOP - BELOW - _ABOVE - _BELOW)
    return Span(low - _BELOW * pixel, high + _ABOVE * pixel, f"{unit}, up is more drive", marks=marks)


def _luck_layers(result: Screened, figures: ScreeningFigures, places: _Places) -> list[Layer]:
    """Draw the dashed line of what the best of as many shows by luck alone."""
    luck = size_shown(result.plan.measurand, figures.worth.luck)
    written = places.reading.write(luck)
    long = f"dashed: what the best of {len(result.plan.variants)} shows by luck alone, {written}"
    said = [{"words": f"dashed: luck alone, {written}" if places.phone else long}]
    line: dict[str, Any] = {"x": places.x.start, "x2": places.x.end, "y": "luck"}
    return [
        layer("rule", [{"luck": luck}], **line, stroke="edge", strokeWidth=1.5, strokeDash=[6, 4]),
        words(said, x=places.x.start + 6, y=TOP + 14, size=14, align="left"),
    ]


def _variant_layers(rows: Sequence[dict[str, Any]]) -> list[Layer]:
    """Draw each variant: a stroke for every run, a line through them, a ring at their mean."""
    runs = [{"number": row["number"], "run": run} for row in rows for run in row["runs"]]
    spans = [{"number": row["number"], "low": min(row["runs"]), "high": max(row["runs"])} for row in rows]
    rings = [{"number": row["number"], "mean": row["mean"]} for row in rows if not row["best"]]
    best = [{"number": row["number"], "mean": row["mean"]} for row in rows if row["best"]]
    ring: dict[str, Any] = {"shape": "circle", "filled": True, "opacity": 1, "stroke": "ink", "strokeWidth": 2}
    return [
        layer("rule", spans, x="number", y="low", y2="high", stroke="edge", strokeWidth=1),
        layer("point", runs, x="number", y="run", shape="stroke", size=60, stroke="edge", strokeWidth=2, opacity=1),
        layer("point", rings, x="number", y="mean", fill="sheet", size=60, **ring),
        layer("point", best, x="number", y="mean", fill="ink", size=120, **ring),
    ]


def _arrow_layers(result: Screened, figures: ScreeningFigures, places: _Places) -> list[Layer]:
    """Draw the dotted arrow from what the best one shows down to what can be expected, and name both."""
    measurand, number = result.plan.measurand, figures.best + 1
    seen, expected = (size_shown(measurand, size) for size in (figures.worth.shown, figures.worth.expected))
    here = places.x.at(number)
    beside = here + (9 if number > len(result.variants) / 2 else -9)
    written, told = places.reading.write(seen), places.reading.write(expected)
    above = f"{_name_of_best(result, places)}: {written}" + ("" if places.phone else " as seen")
    below = f"next time: {told}" if places.phone else f"to expect next time: {told}"
    head, foot, tip = TOP + 36, places.y.start - 8, places.y.at(expected)
    bold: dict[str, Any] = {"size": 14, "bold": True, "fill": "ink"}
    highest = max(size_shown(measurand, run) for run in result.variants[figures.best].runs)
    return [
        layer("rule", [{}], x=here, y=head + 6, y2=places.y.at(highest) - 4, stroke="edge", strokeWidth=1),
        words([{"words": above}], x=_inside(here, text_width(above, 14, bold=True) / 2, places), y=head, **bold),
        *_arrow(beside, places.y.at(seen) + 4, tip),
        layer("rule", [{"expected": expected}], x=beside, y="expected", y2=foot - 16, stroke="edge", strokeWidth=1),
        words([{"words": below}], x=_inside(beside, text_width(below, 14, bold=True) / 2, places), y=foot, **bold),
    ]


def _arrow(x: float, top: float, tip: float) -> list[Layer]:
    """Draw a dotted arrow downwards, unless its ends are too close for one."""
    if tip - top < 16:
        return []
    head: dict[str, Any] = {"shape": "triangle-down", "size": 90, "filled": True, "opacity": 1}
    return [
        layer("rule", [{}], x=x, y=top, y2=tip - 8, stroke="ink", strokeWidth=2.5, strokeDash=[2, 3]),
        layer("point", [{}], x=x, y=tip - 5, fill="ink", **head),
    ]


def _name_of_best(result: Screened, places: _Places) -> str:
    """Give the name of the best one, shortened where it would not fit."""
    name = result.plan.variants[result.figures.best if result.figures is not None else 0]
    most = 20 if places.phone else 40
    return name if len(name) <= most else f"{name[: most - 1]}…"


def _inside(here: float, half: float, places: _Places) -> float:
    """Keep a text between the ends of the axis."""
    return min(max(here, places.x.start + half), places.x.end - half)


def _said(result: Screened, figures: ScreeningFigures, reading: Reading) -> str:
    """Say what the picture shows."""
    measurand, worth = result.plan.measurand, figures.worth
    seen, expected, luck = (
        reading.write(size_shown(measurand, size)) for size in (worth.shown, worth.expected, worth.luck)
    )
    name = result.plan.variants[figures.best]
    return (
        f"{result.headline} Of {len(result.variants)} variants {name} looks best: {seen} as seen, {expected} to expect "
        f"next time. By luck alone the best of {len(result.variants)} shows {luck}."
    )
