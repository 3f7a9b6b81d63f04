"""The few marks that every drawing is made of, written as Vega-Lite layers."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from truerun.charts.palette import paint

__all__ = ["Axis", "Layer", "describe", "layer", "words"]

Layer = dict[str, Any]
Row = Mapping[str, Any]
Place = str | float

_FROM_FIELDS = ("x", "y", "x2", "y2")


@dataclass(frozen=True, slots=True)
class Axis:
    """A straight or logarithmic axis: ``low`` stands at pixel ``start``, ``high`` at pixel ``end``."""

    low: float
    high: float
    start: float
    end: float
    log: bool = False

    def at(self, value: float) -> float:
        """Give the pixel of a value.

        Examples
        --------
        >>> Axis(0, 10, 100, 200).at(2.5), Axis(1, 100, 0, 50, log=True).at(10)
        (125.0, 25.0)
        """
        low, high, here = (
            (math.log(self.low), math.log(self.high), math.log(value)) if self.log else (self.low, self.high, value)
        )
        return self.start + (here - low) / (high - low) * (self.end - self.start)

    def back(self, pixel: float) -> float:
        """Give the value at a pixel of a straight axis."""
        return self.low + (pixel - self.start) / (self.end - self.start) * (self.high - self.low)

    def scale(self) -> dict[str, Any]:
        """Give the axis as a Vega-Lite scale."""
        kind = {"type": "log"} if self.log else {"zero": False}
        return {"domain": [self.low, self.high], "range": [self.start, self.end], "nice": False, **kind}


def layer(
    kind: Literal["area", "rect", "point", "rule", "line", "text"],
    rows: Sequence[Row],
    *,
    x: Place,
    y: Place,
    x2: Place | None = None,
    y2: Place | None = None,
    text: str | None = None,
    **mark: Any,
) -> Layer:
    """Give one layer; a place is the name of a field (a value on the axis) or a number (a pixel).

    Examples
    --------
    >>> layer("rule", [{"at": 0.0}], x="at", y=10, y2=20, stroke="ink")["encoding"]["x"]
    {'field': 'at', 'type': 'quantitative'}
    """
    encoding: dict[str, Any] = {}
    for channel, place in zip(_FROM_FIELDS, (x, y, x2, y2), strict=True):
        if isinstance(place, str):
            encoding[channel] = {"field": place} | ({} if channel in ("x2", "y2") else {"type": "quantitative"})
        elif place is not None:
            encoding[channel] = {"value": place}
    if text is not None:
        encoding["text"] = {"field": text, "type": "nominal"}
    painted = {key: paint(value) if key in ("fill", "stroke") else value for key, value in mark.items()}
    return {
        "data": {"values": [dict(row) for row in rows]},
        "mark": {"type": kind, "clip": False, **painted},
        "encoding": encoding,
    }


def words(
    rows: Sequence[Row],
    *,
    x: Place,
    y: Place,
    size: int = 15,
    fill: str = "ink2",
    align: Literal["left", "center", "right"] = "center",
    bold: bool = False,
    halo: bool = False,
    **mark: Any,
) -> Layer:
    """Give a layer of text from the field ``words``; ``y`` is the line on which letters stand."""
    if halo:
        mark |= {"stroke": "sheet", "strokeWidth": 5}
    if bold:
        mark["fontWeight"] = 700
    return layer(
        "text", rows, x=x, y=y, text="words", fontSize=size, fill=fill, align=align, baseline="alphabetic", **mark
    )


def describe(width: int, height: int, x: Axis, y: Axis, layers: Sequence[Layer]) -> dict[str, Any]:
    """Put layers on one pair of axes, without any frame, legend or grid of its own.

    Parameters
    ----------
    width, height : int
        Of the whole drawing [px].
    x, y : Axis
        Shared by all layers.
    layers : sequence of dict
        From :func:`layer` and :func:`words`, the lowest first.

    Returns
    -------
    dict
        Vega-Lite; data are inside, nothing is fetched.
    """
    scales = {"x": {"scale": x.scale(), "axis": None}, "y": {"scale": y.scale(), "axis": None}}
    placed = []
    for each in layers:
        channels = {
            name: channel | scales[name] if name in scales and "field" in channel else channel
            for name, channel in each["encoding"].items()
        }
        placed.append(each | {"encoding": channels})
    return {
        "width": width,
        "height": height,
        "background": None,
        "padding": 0,
        "autosize": {"type": "none"},
        "config": {"aria": False, "view": {"stroke": None}},
        "layer": placed,
    }
