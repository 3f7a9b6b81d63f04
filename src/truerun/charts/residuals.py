"""What the fit leaves over, against turn, angle and speed."""

from __future__ import annotations

import math
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from truerun.charts.drawing import Drawing, Width
from truerun.charts.frame import Span, upright
from truerun.charts.layers import Layer, describe, layer
from truerun.charts.slowing import PER_MINUTE
from truerun.motion.readout import residual_places
from truerun.motion.rundown import Rundown

__all__ = ["Against", "draw_residuals"]

_HEIGHT = 230
_MOST = 700
_UNITS = ((1.0, "s"), (1e3, "ms"), (1e6, "µs"))


class Against(Enum):
    """Against what residuals are drawn."""

    TURN = "turn"
    ANGLE = "angle"
    SPEED = "speed"


def draw_residuals(rundown: Rundown, against: Against, width: Width = Width.WIDE) -> Drawing:
    """Draw observed less fitted times.

    Parameters
    ----------
    rundown : Rundown
    against : Against
        What stands to the right.
    width : Width
        For which width.

    Returns
    -------
    Drawing
        Some 700 dots at most, the largest residuals always among them.
    """
    late = rundown.residuals
    places = dict(zip(Against, residual_places(rundown), strict=True))
    at = places[against]
    chosen = _chosen(late)
    reach = 1.15 * max(float(np.abs(late).max()), 3 * rundown.sigma)
    per, unit = next(((p, u) for p, u in _UNITS if reach * p >= 1), _UNITS[-1])
    frame = upright(width, _HEIGHT, _across(against, at), Span(-reach, reach, f"late by, {unit}", per, 4))
    dots = [{"at": float(at[k]), "late": float(late[k])} for k in chosen]
    band = [{"low": -2 * rundown.sigma, "high": 2 * rundown.sigma}]
    layers: list[Layer] = [
        layer("rect", band, x=frame.x.start, x2=frame.x.end, y="low", y2="high", fill="band"),
        *frame.layers,
        layer("rule", [{"zero": 0.0}], x=frame.x.start, x2=frame.x.end, y="zero", stroke="edge", strokeWidth=1),
        layer("point", dots, x="at", y="late", shape="circle", size=14, fill="ink2", filled=True, opacity=1),
    ]
    inside = float((np.abs(late) <= 2 * rundown.sigma).mean())
    return Drawing(
        name=f"residuals-{against.value}",
        title=f"What the fit leaves over, against {against.value}",
        alternative=(
            f"{100 * inside:.0f} % of the {late.size} passes lie within two standard uncertainties of the fit; the "
            f"farthest is {np.abs(late).max() * per:.3g} {unit} away."
        ),
        caption="Dots: observed less fitted times. Band: two standard uncertainties of one time. A pattern in the "
        "dots is something that the fit does not know of.",
        description=describe(width.value, _HEIGHT, frame.x, frame.y, layers),
        columns=(against.value.capitalize(), f"Late by, {unit}"),
        rows=tuple((f"{dots[k]['at']:.4g}", f"{dots[k]['late'] * per:.4g}") for k in range(0, len(dots), 20)),
        width=width.value,
        height=_HEIGHT,
    )


def _across(against: Against, at: NDArray[np.float64]) -> Span:
    """Give the axis to the right."""
    if against is Against.ANGLE:
        marks = [(quarter * np.pi / 2, f"{90 * quarter}°") for quarter in range(5)]
        return Span(-0.1, 2 * np.pi + 0.1, "angle from mark 1", marks=marks)
    low, high = float(at.min()), float(at.max())
    room = 0.02 * (high - low)
    if against is Against.SPEED:
        return Span(low - room, high + room, "speed, r/min", PER_MINUTE)
    return Span(low - room, high + room, "turns since the first pass")


def _chosen(late: NDArray[np.float64]) -> NDArray[np.intp]:
    """Choose passes: the largest ones, and others spread by the golden ratio, so that no mark is preferred."""
    if late.size <= _MOST:
        return np.arange(late.size)
    largest = np.argsort(np.abs(late))[-_MOST // 10 :]
    spread = (np.arange(_MOST) * (math.sqrt(5) - 1) / 2 % 1 * late.size).astype(np.intp)
    return np.unique(np.concatenate([largest, spread]))
