"""Drag one way and the other: the half that both share, and the half that changes sign."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from truerun.charts.drawing import Drawing, Width
from truerun.charts.frame import Frame, Span, upright
from truerun.charts.layers import Layer, describe, layer, words
from truerun.charts.slowing import PER_MINUTE
from truerun.motion.two_way import TwoWay

__all__ = ["draw_push", "draw_shared_drag"]

_HEIGHT = 320
_WAYS = (("there", [8, 5], -1.0), ("back", [2, 4], 1.0))


def draw_shared_drag(found: TwoWay, width: Width = Width.WIDE) -> Drawing:
    """Draw the half of the drag that both ways share, with its band and the drag of each way.

    Parameters
    ----------
    found : TwoWay
    width : Width
        For which width.

    Returns
    -------
    Drawing
    """
    rows = _rows(found, found.drag, found.drag_uncertainty)
    ways = [(name, dash, _rows(found, found.drag + side * found.drive)) for name, dash, side in _WAYS]
    reach = max(*(row["high"] for row in rows), *(row["value"] for _, _, way in ways for row in way))
    low = min(0.0, *(row["low"] for row in rows))
    frame = upright(width, _HEIGHT, _speeds(found), Span(low, 1.12 * reach, "lost each second, r/min", PER_MINUTE, 5))
    layers: list[Layer] = [
        layer("area", rows, x="speed", y="low", y2="high", fill="band"),
        *frame.layers,
        *[
            layer("line", way, x="speed", y="value", stroke="ink2", strokeWidth=1.8, strokeDash=dash,
                  interpolate="linear")
            for _, dash, way in ways
        ],
        layer("line", rows, x="speed", y="value", stroke="ink", strokeWidth=2.6, interpolate="linear"),
        *_key(frame),
    ]  # fmt: skip
    return Drawing(
        name="shared-drag",
        title="The drag that both ways share",
        alternative=f"Both ways the wheel loses {_ends(rows)}.",
        caption=(
            "Whole line: the half of the drag that is the same both ways. Dashed: there. Dotted: back. Band: "
            f"{_surely(found)} the whole line lies inside."
        ),
        description=describe(width.value, _HEIGHT, frame.x, frame.y, layers),
        columns=("Speed, r/min", "Shared, r/min each second", "from", "to"),
        rows=_table(rows),
        width=width.value,
        height=_HEIGHT,
    )


def draw_push(found: TwoWay, width: Width = Width.WIDE) -> Drawing:
    """Draw the half that changes sign with the direction, with a band that holds at all speeds at once.

    Parameters
    ----------
    found : TwoWay
    width : Width
        For which width.

    Returns
    -------
    Drawing
    """
    rows = _rows(found, found.drive, found.drive_uncertainty)
    low, high = min(0.0, *(row["low"] for row in rows)), max(0.0, *(row["high"] for row in rows))
    room = 0.1 * (high - low)
    frame = upright(
        width, _HEIGHT, _speeds(found), Span(low - room, high + room, "push, r/min each second", PER_MINUTE, 5)
    )
    layers: list[Layer] = [
        layer("area", rows, x="speed", y="low", y2="high", fill="band"),
        *frame.layers,
        layer("rule", [{"zero": 0.0}], x=frame.x.start, x2=frame.x.end, y="zero", stroke="ink", strokeWidth=2),
        layer("line", rows, x="speed", y="value", stroke="ink", strokeWidth=2.6, interpolate="linear"),
    ]
    return Drawing(
        name="push",
        title="The push that changes sign with the direction",
        alternative=f"In the direction there the push is {_ends(rows)}. The band holds at all speeds at once.",
        caption=(
            "Above 0 something pushes the wheel in the direction there, below 0 in the direction back. Band: "
            f"{_surely(found)} the whole line lies inside."
        ),
        description=describe(width.value, _HEIGHT, frame.x, frame.y, layers),
        columns=("Speed, r/min", "Push, r/min each second", "from", "to"),
        rows=_table(rows),
        width=width.value,
        height=_HEIGHT,
    )


def _rows(
    found: TwoWay, values: NDArray[np.float64], uncertainty: NDArray[np.float64] | None = None
) -> list[dict[str, float]]:
    """Give a curve, with its band where there is one, as rows."""
    half = found.factor * (np.zeros_like(values) if uncertainty is None else uncertainty)
    return [
        {"speed": float(w), "value": float(v), "low": float(v - h), "high": float(v + h)}
        for w, v, h in zip(found.speeds, values, half, strict=True)
    ]


def _speeds(found: TwoWay) -> Span:
    """Give the axis of speeds."""
    return Span(float(found.speeds[0]), float(found.speeds[-1]), "speed, r/min", PER_MINUTE)


def _surely(found: TwoWay) -> str:
    """Say how often a band holds."""
    return f"{100 * found.coverage:g} times in 100"


def _ends(rows: list[dict[str, float]]) -> str:
    """Say a curve by its ends."""
    return " and ".join(
        f"{row['value'] * PER_MINUTE:.3g} ({row['low'] * PER_MINUTE:.3g} to {row['high'] * PER_MINUTE:.3g}) r/min each "
        f"second at {row['speed'] * PER_MINUTE:.4g} r/min".replace("-", "\N{MINUS SIGN}")
        for row in (rows[0], rows[-1])
    )


def _table(rows: list[dict[str, float]]) -> tuple[tuple[str, ...], ...]:
    """Give a curve as a table."""
    names = ("speed", "value", "low", "high")
    return tuple(
        tuple(f"{row[name] * PER_MINUTE:.4g}".replace("-", "\N{MINUS SIGN}") for name in names) for row in rows[::8]
    )


def _key(frame: Frame) -> list[Layer]:
    """Write what each line is beside a piece of it, in the corner below the curves."""
    layers: list[Layer] = []
    right = frame.x.end
    names = (("shared by both ways", [1, 0], 2.6, "ink"), *((name, dash, 1.8, "ink2") for name, dash, _ in _WAYS))
    for row, (name, dash, thick, colour) in enumerate(names):
        line = frame.y.start - 58 + 22 * row
        layers += [
            layer("rule", [{}], x=right - 36, x2=right, y=line - 5, stroke=colour, strokeWidth=thick, strokeDash=dash),
            words([{"words": name}], x=right - 44, y=line, size=14, align="right", fill="ink", halo=True),
        ]
    return layers
