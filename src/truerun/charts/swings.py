"""How swings die away: their size against time, with a straight line and an exponential."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from truerun.charts.drawing import Drawing, Width
from truerun.charts.frame import Frame, Span, upright
from truerun.charts.layers import Layer, describe, layer, words
from truerun.charts.slowing import PER_MINUTE
from truerun.motion.rocking import Friction
from truerun.motion.swings import SwingOf, Swings
from truerun.motion.swings_data import decays_of

__all__ = ["draw_swings", "swing_unit"]

_HEIGHT = 330
_POINTS = 80
_MOST_ROWS = 24
_WHOLE = [1, 0]
_DASH = {"straight": [8, 5], "exponential": [2, 4], "both": _WHOLE}
_NAMES = {"straight": "straight: dry", "exponential": "exponential: viscous", "both": "dry and viscous together"}


def swing_unit(swings: Swings) -> tuple[float, str]:
    """Give by what a swing is multiplied to be written, and the unit it then has.

    Parameters
    ----------
    swings : Swings

    Returns
    -------
    (float, str)
        Degrees for angles, r/min for speeds, millimetres or the recording's own unit for places.
    """
    if swings.of is SwingOf.ANGLE:
        return 180 / math.pi, "degrees"
    if swings.of is SwingOf.SPEED:
        return PER_MINUTE, "r/min"
    return (1000.0, "mm") if swings.unit == "m" else (1.0, "units of the recording")


def draw_swings(swings: Swings, width: Width = Width.WIDE) -> Drawing:
    """Draw the size of each swing against time.

    Parameters
    ----------
    swings : Swings
    width : Width
        For which width.

    Returns
    -------
    Drawing
        Dots: half of what lies between two turning points. Lines: straight (dashed), exponential (dotted), and both
        drags together (whole); where a decaying sine is the motion, its exponential is whole.
    """
    per, unit = swing_unit(swings)
    zero = float(swings.peak_times[0])
    since = swings.peak_times - zero
    dots = [{"time": float(at), "swing": float(size)} for at, size in zip(since, swings.peaks, strict=True)]
    span = float(since[-1]) or 1.0
    frame = upright(
        width,
        _HEIGHT,
        Span(-0.02 * span, 1.02 * span, "seconds since the first swing"),
        Span(0, _top(swings), f"swing to either side, {unit}", per, 5),
    )
    layers: list[Layer] = [
        *frame.layers,
        *_lines(swings, span),
        layer("point", dots, x="time", y="swing", shape="circle", size=40, fill="ink2", filled=True, opacity=1),
        *_key(swings, frame),
    ]
    first, last = swings.peaks[0] * per, swings.peaks[-1] * per
    return Drawing(
        name="swings",
        title="How the swings die away",
        alternative=(
            f"{swings.peaks.size} swings become smaller from {first:.3g} to {last:.3g} {unit} in {span:.3g} s. "
            f"{_fits(swings)}"
        ),
        caption=_caption(swings),
        description=describe(width.value, _HEIGHT, frame.x, frame.y, layers),
        columns=("Seconds since the first swing", f"Swing to either side, {unit}"),
        rows=tuple(
            (f"{row['time']:.3f}", f"{row['swing'] * per:.4g}")
            for row in dots[:: max(1, math.ceil(len(dots) / _MOST_ROWS))]
        ),
        width=width.value,
        height=_HEIGHT,
    )


def _lines(swings: Swings, span: float) -> list[Layer]:
    """Draw the forms that were fitted."""
    top = _top(swings)
    layers: list[Layer] = []
    for name, (at, size) in _curves(swings, span).items():
        rows = [{"time": float(t), "swing": float(s)} for t, s in zip(at, size, strict=True) if 0 <= s <= top]
        dash = _dash(name, swings)
        layers.append(
            layer("line", rows, x="time", y="swing", stroke="ink", strokeWidth=2.2 if dash == _WHOLE else 1.8,
                  strokeDash=dash, interpolate="linear")
        )  # fmt: skip
    return layers


def _top(swings: Swings) -> float:
    """Give the largest swing that is shown."""
    return 1.08 * float(swings.peaks.max())


def _curves(swings: Swings, span: float) -> dict[str, tuple[NDArray[np.float64], NDArray[np.float64]]]:
    """Give times and swings of each form."""
    at = np.linspace(0, span, _POINTS)
    curves = {}
    for name, decay in decays_of(swings).items():
        straight = name == "straight"
        curves[name] = at, decay.start - decay.rate * at if straight else decay.start * np.exp(-decay.rate * at)
    followed = swings.followed()
    if followed is not None and swings.sine is None:
        curves["both"] = swings.peak_times - swings.peak_times[0], followed
    return curves


def _dash(name: str, swings: Swings) -> list[int]:
    """Give the stroke of a line: the one that stands for the motion is whole."""
    return _WHOLE if name == "exponential" and swings.sine is not None else _DASH[name]


def _caption(swings: Swings) -> str:
    """Say what dots and lines are."""
    dots = "Dots: half the way from one turning point to the next."
    dashed = " Dashed: each smaller by the same amount, as dry drag does it." if swings.rocking is not None else ""
    if swings.sine is not None:
        return f"{dots} Whole line: each swing smaller by the same share, as viscous drag does it.{dashed}"
    dotted = " Dotted: each smaller by the same share, as viscous drag does it."
    return f"{dots} Whole line: dry and viscous drag together.{dashed}{dotted}"


def _key(swings: Swings, frame: Frame) -> list[Layer]:
    """Write each name beside a piece of its line, in the corner above the curves."""
    layers: list[Layer] = []
    right = frame.x.end
    for row, name in enumerate(_curves(swings, 1.0)):
        line, dash = frame.y.end + 18 + 22 * row, _dash(name, swings)
        layers += [
            layer("rule", [{}], x=right - 36, x2=right, y=line - 5, stroke="ink", strokeWidth=2, strokeDash=dash),
            words([{"words": _NAMES[name]}], x=right - 44, y=line, size=14, align="right", fill="ink", halo=True),
        ]
    return layers


def _fits(swings: Swings) -> str:
    """Say which line fits better."""
    if swings.rocking is None:
        return "An exponential describes them."
    if swings.friction is Friction.UNDECIDED:
        return "A straight line and an exponential fit nearly alike."
    better = "a straight line" if swings.friction is Friction.DRY else "an exponential"
    other = "an exponential" if swings.friction is Friction.DRY else "a straight line"
    return f"They follow {better} better than {other}."
