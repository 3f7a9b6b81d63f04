"""Two graduated axes for drawings of one quantity against another."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from truerun.charts.drawing import Width
from truerun.charts.layers import Axis, Layer, layer, words
from truerun.charts.reading import even_ticks, nice_step

__all__ = ["Frame", "Span", "plain_tick", "upright"]

LEFT, TOP, BELOW = 58, 34, 56


@dataclass(frozen=True, slots=True)
class Span:
    """One axis of a frame: from ``low`` to ``high``, what stands at its end, and how values are graduated.

    ``per`` is what a value is multiplied by to be written (for speeds in r/min: 30/pi). ``most`` is the largest
    number of parts. ``marks`` are graduations that are set, with their words; None: even ones.
    """

    low: float
    high: float
    words: str
    per: float = 1.0
    most: int = 6
    marks: Sequence[tuple[float, str]] | None = None

    def ticks(self, most: int | None = None) -> list[tuple[float, str]]:
        """Give the graduations, each with its words."""
        if self.marks is not None:
            return list(self.marks)
        low, high = self.low * self.per, self.high * self.per
        step = nice_step(high - low, most or self.most)
        return [(at / self.per, plain_tick(at, step)) for at in even_ticks(low, high, step)]


@dataclass(frozen=True, slots=True)
class Frame:
    """The axes, and the layers that show them."""

    x: Axis
    y: Axis
    layers: list[Layer]


def plain_tick(value: float, step: float) -> str:
    r"""Write a graduation with no more digits than the step has.

    Examples
    --------
    >>> plain_tick(-0.4, 0.2), plain_tick(120.0, 40.0)
    ('−0.4', '120')
    """
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    return f"{value:.{decimals}f}".replace("-", "\N{MINUS SIGN}")


def upright(width: Width, height: int, x: Span, y: Span) -> Frame:
    """Give two axes: ``x`` to the right with its words below, ``y`` upwards with its words above.

    Parameters
    ----------
    width : Width
        Of the drawing.
    height : int
        Of the drawing [px].
    x, y : Span
        What stands on them.

    Returns
    -------
    Frame
    """
    right = width.value - (14 if width is Width.PHONE else 26)
    across, up = Axis(x.low, x.high, LEFT, right), Axis(y.low, y.high, height - BELOW, TOP)
    columns = [{"at": at, "words": text} for at, text in x.ticks(4 if width is Width.PHONE else None)]
    rows = [{"at": at, "words": text} for at, text in y.ticks()]
    return Frame(
        across,
        up,
        [
            layer("rule", rows, x=LEFT, x2=right, y="at", stroke="line", strokeWidth=1),
            layer("rule", [{}], x=LEFT, x2=right, y=up.start, stroke="ink", strokeWidth=2),
            layer("rule", columns, x="at", y=up.start, y2=up.start + 6, stroke="edge", strokeWidth=1),
            words(rows, x=LEFT - 8, y="at", size=14, align="right", dy=5),
            words(columns, x="at", y=up.start + 22, size=14),
            words([{"words": y.words}], x=4, y=18, size=14, align="left", fill="ink"),
            words([{"words": x.words}], x=right, y=height - 10, size=14, align="right", fill="ink"),
        ],
    )
