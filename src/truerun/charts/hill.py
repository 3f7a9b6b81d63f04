"""The magnetic bump: energy stored and given back, over one turn."""

from __future__ import annotations

import numpy as np

from truerun.charts.drawing import Drawing, Width
from truerun.charts.frame import Span, upright
from truerun.charts.layers import Axis, Layer, describe, layer, words
from truerun.charts.slowing import PER_MINUTE
from truerun.motion.hill import Hill, capture_speed, hill_height, hill_matrix
from truerun.motion.measured import Measured, hill_of
from truerun.trial.phrases import percent

__all__ = ["draw_hill", "draw_hill_ring"]

_HEIGHT = 300
_RING = 354
_CAPTION = (
    "What the climb costs, the descent gives back: the bump itself takes no energy. Where the wheel has less than "
    "its top, it is caught."
)


def draw_hill(rundown: Measured, width: Width = Width.WIDE) -> Drawing | None:
    """Draw the bump over the angle, as a share of the energy at the first pass, with the level of capture.

    Parameters
    ----------
    rundown : Rundown, SpeedRundown or TrackRundown
    width : Width
        For which width.

    Returns
    -------
    Drawing or None
        None where no bump was fitted.
    """
    hill = hill_of(rundown)
    if hill is None:
        return None
    rows = _rows(rundown, hill)
    top, bottom = max(row["share"] for row in rows), min(row["share"] for row in rows)
    room = 0.25 * (top - bottom)
    marks = [(90.0 * quarter, f"{90 * quarter}°") for quarter in range(5)]
    frame = upright(
        width,
        _HEIGHT,
        Span(0, 360, "angle from mark 1, in the direction of travel", marks=marks),
        Span(bottom - room / 2, top + room, "% of the energy at the start", 100, 5),
    )
    speed, _ = capture_speed(hill)
    level = {"share": top, "words": f"caught below {speed * PER_MINUTE:.3g} r/min"}
    layers: list[Layer] = [
        *frame.layers,
        layer("area", [row | {"foot": frame.y.low} for row in rows], x="angle", y="share", y2="foot", fill="band"),
        layer("line", rows, x="angle", y="share", stroke="ink", strokeWidth=2.5, interpolate="linear"),
        layer("rule", [level], x=frame.x.start, x2=frame.x.end, y="share", stroke="mark", strokeDash=[6, 4],
              strokeWidth=1.5),
        words([level], x=frame.x.end, y="share", dy=-6, size=14, align="right", fill="mark", halo=True),
    ]  # fmt: skip
    return Drawing(
        name="hill",
        title="The magnetic bump",
        alternative=_said(rundown, hill),
        caption=_CAPTION,
        description=describe(width.value, _HEIGHT, frame.x, frame.y, layers),
        columns=("Angle, degrees", "Share of the energy at the start"),
        rows=tuple((f"{row['angle']:.0f}", f"{100 * row['share']:.3f} %") for row in rows[::15]),
        width=width.value,
        height=_HEIGHT,
    )


def draw_hill_ring(rundown: Measured) -> Drawing | None:
    """Draw the bump round the wheel: farther out is higher.

    Parameters
    ----------
    rundown : Rundown, SpeedRundown or TrackRundown

    Returns
    -------
    Drawing or None
        None where no bump was fitted. The height on the paper fills the ring whatever its size; the figure in the
        middle says how high it is. Angles run anticlockwise from the right, as the wheel is seen to turn.
    """
    hill = hill_of(rundown)
    if hill is None:
        return None
    rows = _rows(rundown, hill)
    most = max(abs(row["share"]) for row in rows)
    rim = [
        {"x": radius * np.cos(np.radians(row["angle"])), "y": radius * np.sin(np.radians(row["angle"])), "order": place}
        for place, row in enumerate(rows)
        for radius in (1 + 0.28 * row["share"] / most,)
    ]
    circle = [
        {"x": float(np.cos(turn)), "y": float(np.sin(turn)), "order": place}
        for place, turn in enumerate(np.linspace(0, 2 * np.pi, 91))
    ]
    across, up = Axis(-1.5, 1.5, 12, _RING - 12), Axis(-1.5, 1.5, _RING - 12, 12)
    names = [
        {"x": 1.42 * np.cos(turn), "y": 1.42 * np.sin(turn) - 0.03, "words": f"{round(np.degrees(turn))}°"}
        for turn in np.arange(4) * np.pi / 2
    ]
    height, _ = hill_height(hill)
    share = 2 * height / rundown.speed_high**2
    layers: list[Layer] = [
        _closed(layer("line", circle, x="x", y="y", stroke="line", strokeWidth=1, interpolate="linear")),
        _closed(layer("line", rim, x="x", y="y", stroke="ink", strokeWidth=2.2, fill="wash", interpolate="linear")),
        _closed(layer("line", circle, x="x", y="y", stroke="edge", strokeWidth=1, strokeDash=[3, 3],
                      interpolate="linear")),
        words(names, x="x", y="y", size=14),
        words([{"words": percent(share)}], x=_RING / 2, y=_RING / 2 - 10, size=22, bold=True, fill="ink"),
        words([{"words": "of the start energy"}], x=_RING / 2, y=_RING / 2 + 10, size=13),
        words([{"words": "trough to crest"}], x=_RING / 2, y=_RING / 2 + 26, size=13),
    ]  # fmt: skip
    return Drawing(
        name="hill-ring",
        title="The magnetic bump round the wheel",
        alternative=_said(rundown, hill),
        caption="Farther out is higher; dashed: the mean. " + _CAPTION,
        description=describe(_RING, _RING, across, up, layers),
        columns=("Angle, degrees", "Share of the energy at the start"),
        rows=tuple((f"{row['angle']:.0f}", f"{100 * row['share']:.3f} %") for row in rows[::15]),
        width=_RING,
        height=_RING,
    )


def _closed(each: Layer) -> Layer:
    """Draw a line through its points in their order, not from left to right."""
    each["encoding"]["order"] = {"field": "order", "type": "quantitative"}
    return each


def _rows(rundown: Measured, hill: Hill) -> list[dict[str, float]]:
    """Heights over one turn, every second degree, as shares of the energy at the first pass."""
    degrees = np.arange(0.0, 361.0, 2.0)
    heights = hill_matrix(np.radians(degrees), hill.cosine.size) @ hill.coefficients
    start = rundown.speed_high**2 / 2
    return [{"angle": float(at), "share": float(u / start)} for at, u in zip(degrees, heights, strict=True)]


def _said(rundown: Measured, hill: Hill) -> str:
    """Say the picture in words."""
    height, _ = hill_height(hill)
    speed, uncertainty = capture_speed(hill)
    return (
        f"From trough to crest the bump holds {percent(2 * height / rundown.speed_high**2)} of the energy at the "
        f"start. It catches the wheel below {speed * PER_MINUTE:.3g} r/min "
        f"(standard uncertainty {uncertainty * PER_MINUTE:.2g})."
    )
