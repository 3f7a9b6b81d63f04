"""The drag of two conditions at each speed, and the drive fraction that lies between them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from truerun.charts.drawing import Drawing, Width
from truerun.charts.frame import Frame, Span, upright
from truerun.charts.layers import Layer, describe, layer, words
from truerun.charts.slowing import PER_MINUTE
from truerun.motion.drive_curve import DriveCurve
from truerun.trial.phrases import percent

__all__ = ["draw_drive_curve", "draw_two_drags"]

_HEIGHT = 320
_DASH = [8, 5]


def draw_two_drags(curve: DriveCurve, source: str, control: str, width: Width = Width.WIDE) -> Drawing:
    """Draw the mean drag of both conditions against speed.

    Parameters
    ----------
    curve : DriveCurve
    source, control : str
        Names of the conditions.
    width : Width
        For which width.

    Returns
    -------
    Drawing
        The conditions are told by the stroke of the line (whole, dashed), by their names and by colour.
    """
    reach = float(max(curve.source_drag.max(), curve.control_drag.max())) * 1.08
    least = min(0.0, float(min(curve.source_drag.min(), curve.control_drag.min())))
    frame = upright(
        width,
        _HEIGHT,
        Span(float(curve.speed[0]), float(curve.speed[-1]), "speed, r/min", PER_MINUTE),
        Span(least, reach, "lost each second, r/min", PER_MINUTE, 5),
    )
    layers: list[Layer] = [*frame.layers]
    for drag, colour, dash in ((curve.source_drag, "in", [1, 0]), (curve.control_drag, "out", _DASH)):
        rows = _rows(curve.speed, drag)
        layers.append(
            layer("line", rows, x="speed", y="value", stroke=colour, strokeWidth=2.6, interpolate="linear",
                  strokeDash=dash)
        )  # fmt: skip
    layers += _key(source, control, frame)
    ends = [f"{percent(float(value), signed=True)} at {speed * PER_MINUTE:.4g} r/min"
            for speed, value in (_row(curve, 0), _row(curve, -1))]  # fmt: skip
    return Drawing(
        name="two-drags",
        title=f"What slows it down: {source} and {control}",
        alternative=f"The drive that lies between the two lines is {' and '.join(ends)}.",
        caption=f'Speed lost each second: whole line "{source}", dashed line "{control}"; each the mean of its runs.',
        description=describe(width.value, _HEIGHT, frame.x, frame.y, layers),
        columns=("Speed, r/min", f"{source}, r/min each second", f"{control}, r/min each second"),
        rows=tuple(
            tuple(f"{value * PER_MINUTE:.4g}" for value in row)
            for row in list(zip(curve.speed, curve.source_drag, curve.control_drag, strict=True))[::6]
        ),
        width=width.value,
        height=_HEIGHT,
    )


def draw_drive_curve(curve: DriveCurve, width: Width = Width.WIDE) -> Drawing:
    """Draw the drive fraction against speed, with a band that holds at all speeds at once.

    Parameters
    ----------
    curve : DriveCurve
    width : Width
        For which width.

    Returns
    -------
    Drawing
    """
    rows = [
        {"speed": float(w), "value": float(d), "low": float(a), "high": float(b)}
        for w, d, a, b in zip(curve.speed, curve.drive, curve.low, curve.high, strict=True)
    ]
    low, high = min(0.0, float(curve.low.min())), max(0.0, float(curve.high.max()))
    room = 0.08 * (high - low)
    frame = upright(
        width,
        _HEIGHT,
        Span(float(curve.speed[0]), float(curve.speed[-1]), "speed, r/min", PER_MINUTE),
        Span(low - room, high + room, "drive, % of the losses", 100, 5),
    )
    zero = [{"zero": 0.0}]
    layers: list[Layer] = [
        layer("area", rows, x="speed", y="low", y2="high", fill="band"),
        *frame.layers,
        layer("rule", zero, x=frame.x.start, x2=frame.x.end, y="zero", stroke="ink", strokeWidth=2),
        layer("line", rows, x="speed", y="value", stroke="ink", strokeWidth=2.6, interpolate="linear"),
    ]
    surely = f"{100 * curve.confidence:g} times in 100"
    ends = " and ".join(
        f"{percent(row['value'], signed=True)} ({percent(row['low'], signed=True)} to "
        f"{percent(row['high'], signed=True)}) at {row['speed'] * PER_MINUTE:.4g} r/min"
        for row in (rows[0], rows[-1])
    )
    return Drawing(
        name="drive-curve",
        title="The drive at each speed",
        alternative=f"The drive is {ends}. The band holds at all speeds at once, {surely}.",
        caption=(
            f"Above 0 the source adds, below it takes; 100 would run by itself. Band: {surely} the whole curve lies "
            "inside."
        ),
        description=describe(width.value, _HEIGHT, frame.x, frame.y, layers),
        columns=("Speed, r/min", "Drive", "from", "to"),
        rows=tuple(
            (
                f"{row['speed'] * PER_MINUTE:.4g}",
                *(percent(row[name], signed=True) for name in ("value", "low", "high")),
            )
            for row in rows[::6]
        ),
        width=width.value,
        height=_HEIGHT,
    )


def _row(curve: DriveCurve, place: int) -> tuple[float, float]:
    """Give a speed and the drive there."""
    return float(curve.speed[place]), float(curve.drive[place])


def _rows(speed: NDArray[np.float64], value: NDArray[np.float64]) -> list[dict[str, float]]:
    """Give a curve as rows."""
    return [{"speed": float(w), "value": float(f)} for w, f in zip(speed, value, strict=True)]


def _key(source: str, control: str, frame: Frame) -> list[Layer]:
    """Write each name beside a piece of its line, in the corner below the curves."""
    layers: list[Layer] = []
    right = frame.x.end
    for name, colour, dash, up in ((source, "in", [1, 0], 36), (control, "out", _DASH, 14)):
        line = frame.y.start - up
        layers += [
            layer("rule", [{}], x=right - 34, x2=right, y=line - 5, stroke=colour, strokeWidth=2.6, strokeDash=dash),
            words([{"words": name}], x=right - 42, y=line, size=15, align="right", fill=colour, bold=True, halo=True),
        ]
    return layers
