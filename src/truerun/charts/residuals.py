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
from truerun.motion.measured import Measured
from truerun.motion.readout import fitted_speeds, residual_places
from truerun.motion.rundown import Rundown
from truerun.motion.speed_fit import SpeedRundown

__all__ = ["Against", "draw_residuals", "residual_views"]

_HEIGHT = 230
_MOST = 700
_TIMES = ((1.0, "s"), (1e3, "ms"), (1e6, "µs"))
_ANGLES = ((180 / math.pi, "degrees"), (180e3 / math.pi, "thousandths of a degree"))
_SPEEDS = ((PER_MINUTE, "r/min"), (1e3 * PER_MINUTE, "thousandths of an r/min"))


class Against(Enum):
    """Against what residuals are drawn."""

    TIME = "time"
    TURN = "turn"
    ANGLE = "angle"
    SPEED = "speed"


def residual_views(rundown: Measured) -> tuple[Against, ...]:
    """Give against what the residuals of a recording can be drawn."""
    if not isinstance(rundown, Rundown):
        return Against.TIME, Against.SPEED
    return Against.TURN, Against.ANGLE, Against.SPEED


def draw_residuals(rundown: Measured, against: Against, width: Width = Width.WIDE) -> Drawing:
    """Draw observed less fitted times, or speeds.

    Parameters
    ----------
    rundown : Rundown or SpeedRundown
    against : Against
        What stands to the right: one of :func:`residual_views`.
    width : Width
        For which width.

    Returns
    -------
    Drawing
        Some 700 dots at most, the largest residuals always among them.
    """
    late = rundown.residuals
    at = _places(rundown)[against]
    chosen = _chosen(late)
    reach = 1.15 * max(float(np.abs(late).max()), 3 * rundown.sigma)
    what, units = _units(rundown)
    per, unit = next(((p, u) for p, u in units if reach * p >= 1), units[-1])
    frame = upright(width, _HEIGHT, _across(against, at), Span(-reach, reach, f"{what}, {unit}", per, 4))
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
            f"{100 * inside:.0f} % of the {late.size} readings lie within two standard uncertainties of the fit; the "
            f"farthest is {np.abs(late).max() * per:.3g} {unit} away."
        ),
        caption="Dots: observed less fitted. Band: two standard uncertainties of one reading. A pattern in the dots "
        "is something that the fit does not know of.",
        description=describe(width.value, _HEIGHT, frame.x, frame.y, layers),
        columns=(against.value.capitalize(), f"{what.capitalize()}, {unit}"),
        rows=tuple((f"{dots[k]['at']:.4g}", f"{dots[k]['late'] * per:.4g}") for k in range(0, len(dots), 20)),
        width=width.value,
        height=_HEIGHT,
    )


def _units(rundown: Measured) -> tuple[str, tuple[tuple[float, str], ...]]:
    """Give what a residual is called, and the units it may be written in."""
    if isinstance(rundown, Rundown):
        return "late by", _TIMES
    return ("faster by", _SPEEDS) if isinstance(rundown, SpeedRundown) else ("ahead by", _ANGLES)


def _places(rundown: Measured) -> dict[Against, NDArray[np.float64]]:
    """Give where each residual belongs, in every view."""
    if not isinstance(rundown, Rundown):
        speeds = np.interp(rundown.times, *fitted_speeds(rundown))
        return {Against.TIME: rundown.times - rundown.times[0], Against.SPEED: speeds}
    return dict(zip(residual_views(rundown), residual_places(rundown), strict=True))


def _across(against: Against, at: NDArray[np.float64]) -> Span:
    """Give the axis to the right."""
    if against is Against.ANGLE:
        marks = [(quarter * np.pi / 2, f"{90 * quarter}°") for quarter in range(5)]
        return Span(-0.1, 2 * np.pi + 0.1, "angle from mark 1", marks=marks)
    low, high = float(at.min()), float(at.max())
    room = 0.02 * (high - low)
    if against is Against.SPEED:
        return Span(low - room, high + room, "speed, r/min", PER_MINUTE)
    words = "seconds since the first reading" if against is Against.TIME else "turns since the first pass"
    return Span(low - room, high + room, words)


def _chosen(late: NDArray[np.float64]) -> NDArray[np.intp]:
    """Choose passes: the largest ones, and others spread by the golden ratio, so that no mark is preferred."""
    if late.size <= _MOST:
        return np.arange(late.size)
    largest = np.argsort(np.abs(late))[-_MOST // 10 :]
    spread = (np.arange(_MOST) * (math.sqrt(5) - 1) / 2 % 1 * late.size).astype(np.intp)
    return np.unique(np.concatenate([largest, spread]))
