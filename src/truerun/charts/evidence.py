"""The running bet against no effect, block by block."""

from __future__ import annotations

import math
from itertools import pairwise

from truerun.charts.drawing import Drawing, Width
from truerun.charts.layers import Axis, Layer, describe, layer, words
from truerun.trial.comparison import Comparison

__all__ = ["draw_evidence"]

_HEIGHT = 290


def draw_evidence(comparison: Comparison, width: Width = Width.WIDE) -> Drawing | None:
    """Draw what a stake of one has become after each block.

    Parameters
    ----------
    comparison : Comparison
        Finished.
    width : Width
        For which width.

    Returns
    -------
    Drawing or None
        None for a covered result, and where the set of orders has no blocks or no block is whole.
    """
    document = comparison.document()
    steps = document["evidence_steps"]
    if not steps:
        return None
    rows = [{"block": block, "stake": stake} for block, stake in enumerate([1.0, *steps])]
    decides = 1 / document["alpha"]
    x, y = _axes(rows, decides, width)
    layers = [
        *_grid(x, y, rows, decides),
        layer("line", rows, x="block", y="stake", stroke="ink", strokeWidth=2.5),
        layer("point", rows, x="block", y="stake", shape="circle", size=80, fill="ink", filled=True, opacity=1),
        *_values(rows, x),
    ]
    after = [f"block {row['block']}: {_written(row['stake'])}" for row in rows[1:]]
    last = f"Your stake times {_written(steps[-1])}"
    return Drawing(
        name="evidence",
        title="A running bet against no effect",
        alternative=f"{last}. After {'; after '.join(after)}. It decides at {decides:g}.",
        caption=f"{last}. The bet is fair if there is no effect, and may be read after any block. "
        "Each step upwards is ten times the one before.",
        description=describe(width.value, _HEIGHT, x, y, layers),
        columns=("After block", "Stake times"),
        rows=tuple((str(row["block"]), _written(row["stake"])) for row in rows),
        width=width.value,
        height=_HEIGHT,
    )


def _axes(rows: list[dict[str, float]], decides: float, width: Width) -> tuple[Axis, Axis]:
    """Give the axes: blocks to the right, the stake upwards in tenfold steps."""
    stakes = [row["stake"] for row in rows] + [decides, 1.0]
    low, high = (math.log10(end(stakes)) for end in (min, max))
    room = 0.12 * (high - low)
    right = width.value - (30 if width is Width.PHONE else 44)
    return Axis(0, rows[-1]["block"], 62, right), Axis(
        10 ** (low - room), 10 ** (high + room), _HEIGHT - 50, 20, log=True
    )


def _grid(x: Axis, y: Axis, rows: list[dict[str, float]], decides: float) -> list[Layer]:
    """Draw the tenfold steps, the level that decides, and the numbers of the blocks."""
    powers = range(math.ceil(math.log10(y.low)), math.floor(math.log10(y.high)) + 1)
    lines = [{"stake": 10.0**power, "words": f"×{10.0**power:g}"} for power in powers]
    every = max(1, math.ceil(24 / (x.at(1) - x.at(0))))
    numbers = [row | {"words": str(row["block"])} for row in rows if row["block"] % every == 0]
    level = [{"stake": decides, "words": f"×{decides:g} decides"}]
    return [
        layer("rule", lines, x=x.start, x2=x.end, y="stake", stroke="line", strokeWidth=1),
        words(lines, x=x.start - 10, y="stake", dy=5, size=14, align="right"),
        layer("rule", level, x=x.start, x2=x.end, y="stake", stroke="ink", strokeWidth=1.5, strokeDash=[6, 4]),
        words(level, x=x.start + 6, y="stake", dy=-7, align="left", fill="ink", halo=True),
        words(numbers, x="block", y=y.start + 20, size=14),
        words([{"words": "blocks done"}], x=x.end, y=y.start + 42, size=14, align="right"),
    ]


def _values(rows: list[dict[str, float]], x: Axis) -> list[Layer]:
    """Write the stake beside each point, as far as there is room; the last one always, and bold."""
    last = rows[-1]
    wide = x.at(1) - x.at(0) >= 44
    between = [
        row | {"words": f"×{_written(row['stake'])}", "falls": following["stake"] < row["stake"]}
        for row, following in pairwise(rows[1:])
        if wide
    ]
    over, under = ([row for row in between if row["falls"] is falls] for falls in (True, False))
    final = [last | {"words": f"×{_written(last['stake'])}"}]
    rising = last["stake"] >= rows[-2]["stake"]
    return [
        words(over, x="block", y="stake", dy=-9, dx=6, size=14, align="left", halo=True),
        words(under, x="block", y="stake", dy=24, dx=6, size=14, align="left", halo=True),
        words(final, x="block", y="stake", dy=-13 if rising else 25, size=17, bold=True, fill="ink", halo=True),
    ]


def _written(stake: float) -> str:
    """Write a stake with three digits at most."""
    return f"{stake:.0f}" if stake >= 100 else f"{stake:.2g}"
