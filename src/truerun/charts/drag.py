"""Drag against speed, with its band, and its named terms."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from truerun.charts.drawing import Drawing, Width
from truerun.charts.frame import Span, upright
from truerun.charts.layers import Layer, describe, layer, words
from truerun.charts.slowing import PER_MINUTE
from truerun.motion.drag_curve import drag_at, named_terms
from truerun.motion.measured import Measured

__all__ = ["COVERAGE_FACTOR", "draw_drag"]

COVERAGE_FACTOR = 1.959964
"""Half width of a 95 % band in standard uncertainties."""

_HEIGHT = {Width.WIDE: 320, Width.PHONE: 320, Width.PRINT: 300}
_POINTS = 61
_NAMED_AT = (18, 39, -1)
"""Points at which the parts are named, one beside the other, so that no name stands on the line of another."""

_TERMS: dict[float, tuple[str, list[int]]] = {0.0: ("dry", [1, 0]), 1.0: ("viscous", [7, 4]), 2.0: ("air", [2, 3])}


def draw_drag(rundown: Measured, width: Width = Width.WIDE) -> Drawing:
    """Draw the speed lost each second against the speed.

    Parameters
    ----------
    rundown : Rundown or SpeedRundown
    width : Width
        For which width.

    Returns
    -------
    Drawing
        The fitted curve with its 95 % band, the part that is reading error alone, and the named terms that add up
        to it as well as the range of speeds allows.
    """
    speeds = np.linspace(rundown.speed_low, rundown.speed_high, _POINTS)
    rows = _curve(rundown, speeds)
    terms = _terms(rundown, speeds)
    lowest = min(0.0, *(row["low"] for row in rows), *(each["drag"] for _, _, curve in terms for each in curve))
    highest = max(*(row["high"] for row in rows), *(each["drag"] for _, _, curve in terms for each in curve))
    frame = upright(
        width,
        _HEIGHT[width],
        Span(rundown.speed_low, rundown.speed_high, "speed, r/min", PER_MINUTE),
        Span(lowest, highest * 1.06, "lost each second, r/min", PER_MINUTE, 5),
    )
    layers: list[Layer] = [
        layer("area", rows, x="speed", y="low", y2="high", fill="band"),
        *frame.layers,
        *[
            layer("line", curve, x="speed", y="drag", stroke="ink3", strokeWidth=1.5, strokeDash=dash,
                  interpolate="linear")
            for _, dash, curve in terms
        ],
        layer("line", rows, x="speed", y="drag", stroke="ink", strokeWidth=2.5, interpolate="linear"),
        *[
            words([curve[place] | {"words": name}], x="speed", y="drag", dx=-4, dy=-5, size=14, align="right",
                  fill="ink2", halo=True)
            for (name, _, curve), place in zip(terms, _NAMED_AT, strict=False)
        ],
    ]  # fmt: skip
    ends = rows[0], rows[-1]
    said = " and ".join(
        f"{row['drag'] * PER_MINUTE:.3g} r/min each second at {row['speed'] * PER_MINUTE:.4g} r/min" for row in ends
    )
    return Drawing(
        name="drag",
        title="What slows it down, at each speed",
        alternative=f"The wheel loses {said}.",
        caption=(
            "Line: the speed lost each second. Band: 95 times in 100 the truth lies inside, drag that wandered "
            "within the run included." + (" Thin lines: parts that add up to it." if terms else "")
        ),
        description=describe(width.value, _HEIGHT[width], frame.x, frame.y, layers),
        columns=("Speed, r/min", "Lost each second, r/min", "from", "to"),
        rows=tuple(
            tuple(f"{row[name] * PER_MINUTE:.4g}" for name in ("speed", "drag", "low", "high")) for row in rows[::5]
        ),
        width=width.value,
        height=_HEIGHT[width],
    )


def _curve(rundown: Measured, speeds: NDArray[np.float64]) -> list[dict[str, float]]:
    """Give the fitted drag with its band."""
    value, honest, _ = drag_at(rundown.drag, speeds)
    half = COVERAGE_FACTOR * honest
    return [
        {"speed": float(w), "drag": float(f), "low": float(f - h), "high": float(f + h)}
        for w, f, h in zip(speeds, value, half, strict=True)
    ]


def _terms(rundown: Measured, speeds: NDArray[np.float64]) -> list[tuple[str, list[int], list[dict[str, float]]]]:
    """Split the curve into dry, viscous and air parts, where the range of speeds is wide enough for it."""
    if rundown.speed_high < 2 * rundown.speed_low:
        return []
    split = named_terms(rundown.drag, (0.0, 1.0, 2.0), rundown.speed_low, rundown.speed_high)
    parts = []
    for power, size in zip(split.powers, split.coefficients, strict=True):
        name, dash = _TERMS[power]
        parts.append((name, dash, [{"speed": float(w), "drag": float(size * w**power)} for w in speeds]))
    return parts
