"""A bump from releases: where the wheel was let go, where it turned back, and the hill between."""

from __future__ import annotations

import numpy as np

from truerun.charts.drawing import Drawing, Width
from truerun.charts.frame import Span, upright
from truerun.charts.layers import Layer, describe, layer
from truerun.motion.hill import hill_matrix
from truerun.motion.release_choice import ReleasedHill

__all__ = ["draw_releases"]

_HEIGHT = 320
_TURN = 2 * np.pi


def draw_releases(released: ReleasedHill, width: Width = Width.WIDE) -> Drawing:
    """Draw the hill over the angle, in turns of dry drag, with the releases on it.

    Parameters
    ----------
    released : ReleasedHill
    width : Width
        For which width.

    Returns
    -------
    Drawing
        Dots: where the wheel was let go. Triangles: where it turned back.
    """
    shape, used = released.found.shape, released.found.used
    angles = np.linspace(0, _TURN, 181)
    curve = hill_matrix(angles, shape.cosine.size) @ shape.coefficients / _TURN
    rows = [{"angle": float(np.degrees(a)), "height": float(h)} for a, h in zip(angles, curve, strict=True)]
    ends = [
        [
            {"angle": float(np.degrees(a % _TURN)), "height": float(h)}
            for a, h in zip(places, hill_matrix(places, shape.cosine.size) @ shape.coefficients / _TURN, strict=True)
        ]
        for places in (released.releases.starts[used], released.releases.turnings[used])
    ]
    low, high = float(curve.min()), float(curve.max())
    room = 0.12 * (high - low)
    marks = [(90.0 * quarter, f"{90 * quarter}°") for quarter in range(5)]
    frame = upright(
        width,
        _HEIGHT,
        Span(0, 360, "angle, as it was read", marks=marks),
        Span(low - room, high + room, "height, in turns of dry drag", most=5),
    )
    layers: list[Layer] = [
        *frame.layers,
        layer("area", [row | {"foot": frame.y.low} for row in rows], x="angle", y="height", y2="foot", fill="band"),
        layer("line", rows, x="angle", y="height", stroke="ink", strokeWidth=2.4, interpolate="linear"),
        layer("point", ends[0], x="angle", y="height", shape="circle", size=70, fill="ink2", filled=True, opacity=1),
        layer("point", ends[1], x="angle", y="height", shape="triangle-up", size=70, fill="sheet", stroke="ink",
              strokeWidth=1.6, filled=True, opacity=1),
    ]  # fmt: skip
    pairs = zip(released.releases.starts[used], released.releases.turnings[used], strict=True)
    return Drawing(
        name="releases",
        title="The magnetic bump, from releases at rest",
        alternative=(
            f"From trough to crest the bump is as high as what dry drag uses up in {released.turns:.3g} turns; "
            f"{int(used.sum())} releases show it."
        ),
        caption="Dots: where the wheel was let go from rest. Triangles: where it first turned back. Line: the bump.",
        description=describe(width.value, _HEIGHT, frame.x, frame.y, layers),
        columns=("Let go at, degrees", "Turned back at, degrees"),
        rows=tuple((f"{np.degrees(a):.1f}", f"{np.degrees(b):.1f}") for a, b in pairs),
        width=width.value,
        height=_HEIGHT,
    )
