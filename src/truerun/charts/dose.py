"""A dose series: every run against the dose, with the trend and its span."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from truerun.charts.drawing import Drawing, Width
from truerun.charts.frame import Span, upright
from truerun.charts.layers import Layer, describe, layer, words
from truerun.charts.reading import Reading, nice_step, text_width
from truerun.charts.screening import reading_of_measurand
from truerun.trial.dose import Dosed, Trend
from truerun.trial.plan import Measurand

__all__ = ["draw_dosed", "shown_of_dose"]

_HEIGHT = {Width.WIDE: 380, Width.PHONE: 350, Width.PRINT: 350}
_STEPS = 24


@dataclass(frozen=True, slots=True)
class _Series:
    """Doses and sizes of all runs, the trend at even doses, and how sizes are written."""

    runs: list[dict[str, float]]
    line: list[dict[str, float]]
    reading: Reading


def draw_dosed(result: Dosed, width: Width = Width.WIDE) -> Drawing | None:
    """Draw every run against its dose, the run number set aside, with the trend and its span.

    Parameters
    ----------
    result : Dosed
        Finished, or covered.
    width : Width
        For which width.

    Returns
    -------
    Drawing or None
        None until the last run is done.

    Notes
    -----
    Zero is where the trend stands without any dose. What moved with the run number, a straight line, is taken off the
    runs. Up is more drive; on a linear scale more of what was measured. Where one end of the span is
    open, no band is drawn.
    """
    if result.trend is None:
        return None
    series = _series(result, result.trend)
    height = _HEIGHT[width]
    frame = upright(width, height, _across(result, width), _upwards(result, series))
    band = [row for row in series.line if "low" in row]
    ring: dict[str, Any] = {"shape": "circle", "filled": True, "opacity": 1, "stroke": "ink", "strokeWidth": 2}
    layers = [
        layer("area", band, x="dose", y="low", y2="high", fill="band", opacity=1, fillOpacity=1),
        *frame.layers,
        layer("rule", [{"at": 0.0}], x=frame.x.start, x2=frame.x.end, y="at", stroke="ink", strokeWidth=2),
        layer("line", series.line, x="dose", y="trend", stroke="ink", strokeWidth=2.5),
        layer("point", series.runs, x="dose", y="size", fill="sheet", size=60, **ring),
        _label(result, result.trend, frame.x.end, frame.y.start - 10, series.reading),
    ]
    return Drawing(
        name="dose",
        title="Every run against the dose",
        alternative=_said(result, result.trend, series.reading),
        caption=f"Against none; {_upward(result)}. Ring: one run, what moved with the run number taken off. Line: the "
        "trend." + (" Band: where the trend lies." if band else ""),
        description=describe(width.value, height, frame.x, frame.y, layers),
        columns=(f"Number of {_plural(result.rules.unit)}", "Runs", "Mean of the runs", "Trend", "From", "To"),
        rows=tuple(_table_row(dose, series) for dose in sorted(set(result.doses))),
        width=width.value,
        height=height,
    )


def _series(result: Dosed, trend: Trend) -> _Series:
    """Give runs and trend against no dose."""
    measurand, doses = result.rules.measurand, np.array(result.doses)
    number = np.arange(len(doses), dtype=np.float64)
    rest = result.y - trend.slope * doses
    sizes = result.y - np.polyval(np.polyfit(number, rest, 1), number)
    runs = [
        {"dose": float(dose), "size": shown_of_dose(measurand, float(size))}
        for dose, size in zip(doses, sizes, strict=True)
    ]
    at = sorted({0.0, *np.linspace(0.0, doses.max(), _STEPS + 1).tolist(), *doses.tolist()})
    line = [{"dose": dose} | _trend_at(result, trend, dose) for dose in at]
    return _Series(runs, line, reading_of_measurand(measurand))


def _trend_at(result: Dosed, trend: Trend, dose: float) -> dict[str, float]:
    """Give the trend and its span at a dose."""
    measurand = result.rules.measurand
    found = {"trend": shown_of_dose(measurand, trend.slope * dose)}
    if trend.low is None or trend.high is None:
        return found
    ends = sorted(shown_of_dose(measurand, end * dose) for end in (trend.low, trend.high))
    return found | {"low": ends[0], "high": ends[1]}


def _across(result: Dosed, width: Width) -> Span:
    """Give the axis of the doses; a dose is named where its words do not touch those before."""
    doses = sorted(set(result.doses))
    high = doses[-1]
    edge = 0.05 * high
    room, last = (width.value - 90) / (1.1 * high), -math.inf
    marks = []
    for dose in doses:
        wide = text_width(f"{dose:g}", 14) + 6
        if dose * room - last >= wide:
            marks.append((dose, f"{dose:g}"))
            last = dose * room
    return Span(-edge, high + edge, f"number of {_plural(result.rules.unit)}", marks=marks)


def _upwards(result: Dosed, series: _Series) -> Span:
    """Give the upright axis with room for every run and the span of the trend."""
    sizes = [row["size"] for row in series.runs]
    sizes += [row[key] for row in series.line for key in ("trend", "low", "high") if key in row] + [0.0]
    step = nice_step(max(sizes) - min(sizes), 6)
    low, high = math.floor(min(sizes) / step), math.ceil(max(sizes) / step)
    marks = [(step * place, series.reading.tick(step * place, step)) for place in range(low, high + 1)]
    named = "% of the losses" if series.reading.share else _measured(result)
    return Span(step * low, step * high, f"{named}, {_upward(result)}", marks=marks)


def _measured(result: Dosed) -> str:
    """Give name and unit of what was measured."""
    measurand = result.rules.measurand
    return " ".join(filter(None, [measurand.name, measurand.unit]))


def _label(result: Dosed, trend: Trend, x: float, foot: float, reading: Reading) -> Layer:
    """Say the trend in the picture, in the corner that it leaves free."""
    said = f"each {result.rules.unit}: {reading.write(shown_of_dose(result.rules.measurand, trend.slope))}"
    if shown_of_dose(result.rules.measurand, trend.slope) > 0:
        return words([{"words": said}], x=x, y=foot, size=14, align="right", bold=True, fill="ink", halo=True)
    return words([{"words": said}], x=x, y=52, size=14, align="right", bold=True, fill="ink", halo=True)


def shown_of_dose(measurand: Measurand, size: float) -> float:
    """Give the drive fraction of a size on the adding scale; on a linear scale the difference as measured."""
    return -math.expm1(-size) if measurand.scale == "log" else measurand.sign * size


def _upward(result: Dosed) -> str:
    """Say what up means."""
    share = result.rules.measurand.scale == "log"
    return f"up is more {'drive' if share else result.rules.measurand.name}"


def _plural(unit: str) -> str:
    """Give the plural of a word such as magnet."""
    return unit if unit.endswith("s") else f"{unit}s"


def _table_row(dose: float, series: _Series) -> tuple[str, ...]:
    """Write one dose: its runs, their mean, and the trend there."""
    write = series.reading.write
    sizes = [row["size"] for row in series.runs if row["dose"] == dose]
    at: dict[str, float] = next(row for row in series.line if row["dose"] == dose)
    ends = tuple(write(at[key]) if key in at else "no span" for key in ("low", "high"))
    runs = ", ".join(write(size) for size in sizes)
    return (f"{dose:g}", runs, write(sum(sizes) / len(sizes)), write(at["trend"]), *ends)


def _said(result: Dosed, trend: Trend, reading: Reading) -> str:
    """Say what the picture shows."""
    measurand, unit = result.rules.measurand, result.rules.unit
    value = reading.write(shown_of_dose(measurand, trend.slope))
    ends: Sequence[float | None] = (trend.low, trend.high)
    known = [reading.write(end) for end in sorted(shown_of_dose(measurand, end) for end in ends if end is not None)]
    span = f", between {known[0]} and {known[1]}" if len(known) == 2 else ", no span can be given"
    return f"{result.headline} Each {unit}: {value}{span}; {len(result.doses)} runs of {len(set(result.doses))} doses."
