"""The drive line: one result on a ruled line, from brake to drive."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from truerun.charts.drawing import Drawing, Width
from truerun.charts.layers import Axis, Layer, describe, layer, words
from truerun.charts.reading import Reading, doubling_span, reading_of, text_width
from truerun.charts.ruled_line import bar_and_needle, graduations, to_hundred
from truerun.trial.comparison import Comparison
from truerun.trial.context import claim_shown

__all__ = ["draw_drive_line"]

_LINE = 104
_CLAIM = 30
_NEEDLE = 22
_TRIANGLE = 17


def draw_drive_line(comparison: Comparison, width: Width = Width.WIDE) -> Drawing | None:
    """Draw value and span against zero, the margin and the claim.

    Parameters
    ----------
    comparison : Comparison
        Finished.
    width : Width
        For which width.

    Returns
    -------
    Drawing or None
        None for a covered result.
    """
    document = comparison.document()
    document["claimed"] = claim_shown(comparison.at)
    found = document["drive_fraction"] or document["effect"]
    if comparison.verdict is None or found is None:
        return None
    reading = reading_of(comparison)
    x, hundred = _axis(document, found, reading, width)
    span = found["low"] is not None or found["high"] is not None
    phone = width is Width.PHONE
    layers = [
        *graduations(x, _LINE, reading, unit=not phone),
        *(to_hundred(x, _LINE, hundred, "+100" if phone else "+100\N{NO-BREAK SPACE}%") if hundred else []),
        *_margin_layers(document["margin"]),
        *bar_and_needle(x, _LINE, found["value"], found["low"], found["high"], span=span),
        *_label_layers(
            found["value"], document["claimed"], x, hundred, _Words(reading, span, width, _why_no_span(comparison))
        ),
        *_ends(x, hundred, reading, width),
    ]
    height = _LINE + (74 if phone else 58)
    return Drawing(
        name="drive-line",
        title=comparison.headline,
        alternative=_said(document, found, reading, _why_no_span(comparison)),
        caption=_caption(document, found, reading),
        description=describe(width.value, height, x, Axis(0, 1, 0, 1), layers),
        columns=("", "Value", "From", "To"),
        rows=tuple(_table(document, found, reading)),
        width=width.value,
        height=height,
    )


def _axis(document: dict[str, Any], found: dict[str, Any], reading: Reading, width: Width) -> tuple[Axis, float | None]:
    """Give the ruled part of the line, and the pixel of +100 % where that lies beyond it."""
    claimed = document["claimed"]
    near = [found["value"], found["low"], found["high"], document["margin"]]
    near += [claimed] if claimed is not None and (claimed < 1 or not reading.share) else []
    span = doubling_span(max(abs(size) for size in near if size is not None), share=reading.share)
    left, right = (20.0, 26.0) if width is Width.PHONE else (44.0, 62.0)
    if not reading.share or span >= 1:
        outer = reading.tick(-span, span / 3, unit=width is not Width.PHONE)
        left = max(left, text_width(outer, 14) / 2 + 2)
        return Axis(-span, span, left, width.value - left), None
    dashed = 54 if width is Width.PHONE else 110
    return Axis(-span, span, left, width.value - right - dashed), width.value - right


@dataclass(frozen=True, slots=True)
class _Words:
    """What the labels above the line need to know."""

    reading: Reading
    span: bool
    width: Width
    why_not: str


def _label_layers(value: float, claimed: float | None, x: Axis, hundred: float | None, said: _Words) -> list[Layer]:
    """Write value and claim above the line; where they are close, one above the other and beside its stem."""
    number = said.reading.write(value)
    short = "no span" if said.width is Width.PHONE else f"no span: {said.why_not}"
    below = "this test" if said.span else short
    half = max(text_width(number, 17, bold=True), text_width(below)) / 2
    middle = _between(x.at(value), half, said.width)
    claim: list[Layer] = []
    if claimed is not None:
        here = hundred if claimed > x.high and hundred is not None else x.at(min(claimed, x.high))
        text = f"claimed {said.reading.write(claimed)}"
        near = abs(_between(here, text_width(text) / 2, said.width) - middle) < half + text_width(text) / 2 + 8
        if near:
            beside = here - half - 10 if here > x.at(value) else here + half + 10
            middle = min(middle, beside) if here > x.at(value) else max(middle, beside)
        close = abs(here - x.at(value)) < _TRIANGLE
        claim = _claim_layers({"claimed": claimed, "words": text}, here, said.width, near=near, close=close)
    return [
        *claim,
        words([{"value": value, "words": number}], x=middle, y=_LINE - 44, size=17, bold=True, fill="ink"),
        words([{"words": below}], x=middle, y=_LINE - 28),
    ]


def _why_no_span(comparison: Comparison) -> str:
    """Say why a result has no span."""
    return "not stopped where planned" if comparison.withdrawn else "this order cannot give one"


def _between(here: float, half: float, width: Width) -> float:
    """Keep a text inside the drawing."""
    return min(max(here, 4 + half), width.value - 4 - half)


def _claim_layers(row: dict[str, Any], here: float, width: Width, *, near: bool, close: bool) -> list[Layer]:
    """Mark what is claimed with a hollow triangle on the line; above the needle where the two would touch."""
    middle = _between(here, text_width(row["words"]) / 2, width)
    tip = _LINE - _NEEDLE - 3 if close else _LINE - 2
    stem = [layer("rule", [{}], x=here, y=_CLAIM + 6, y2=tip - 16, stroke="edge")] if near else []
    down = [layer("rule", [{}], x=here, y=tip, y2=_LINE, stroke="ink", strokeWidth=1)] if close else []
    triangle: dict[str, Any] = {"shape": "triangle-down", "size": 130, "strokeWidth": 2, "filled": True, "opacity": 1}
    return [
        *stem,
        *down,
        layer("point", [{"claimed": row["claimed"]}], x=here, y=tip - 6, fill="sheet", stroke="ink", **triangle),
        words([row], x=middle, y=_CLAIM if near else _LINE - 28),
    ]


def _margin_layers(margin: float | None) -> list[Layer]:
    """Mark the sealed margin with two short violet ticks."""
    if margin is None:
        return []
    ends = [{"margin": -margin}, {"margin": margin}]
    return [layer("rule", ends, x="margin", y=_LINE - 14, y2=_LINE + 14, stroke="mark", strokeWidth=2.5)]


def _ends(x: Axis, hundred: float | None, reading: Reading, width: Width) -> list[Layer]:
    """Name the two sides and the middle."""
    phone = width is Width.PHONE
    left, right = (reading.left_short, reading.right_short) if phone else (reading.left, reading.right)
    far = [{"words": "runs by itself"}] if hundred else []
    return [
        words([{"words": left}], x=x.start - (10 if phone else 16), y=_LINE + 50, align="left", fill="ink"),
        words([{"words": right}], x=x.end, y=_LINE + 50, align="right", fill="ink"),
        words([{"at": 0.0, "words": reading.middle}], x="at", y=_LINE + (68 if phone else 50)),
        words(
            far, x=width.value - 4 if phone else hundred or 0.0, y=_LINE + (68 if phone else 50),
            align="right" if phone else "center", fill="ink",
        ),
    ]  # fmt: skip


def _span_words(found: dict[str, Any], reading: Reading) -> tuple[str, str]:
    """Write the two ends of the span."""
    low, high = ("open" if found[end] is None else reading.write(found[end]) for end in ("low", "high"))
    return low, high


def _said(document: dict[str, Any], found: dict[str, Any], reading: Reading, why_not: str) -> str:
    """Say the result in a sentence."""
    value, (low, high) = reading.write(found["value"]), _span_words(found, reading)
    if found["low"] is None and found["high"] is None:
        return f"{document['headline']} {value}; no span: {why_not}."
    return f"{document['headline']} {value}, between {low} and {high}."


def _caption(document: dict[str, Any], found: dict[str, Any], reading: Reading) -> str:
    """Say what bar, needle and ticks are."""
    parts = []
    if found["low"] is not None or found["high"] is not None:
        parts.append(f"Bar: where it lies; this method is right {100 * (1 - document['alpha']):g} times in 100.")
    if document["margin"] is not None:
        margin = reading.write(document["margin"], signed=False)
        parts.append(f"Violet ticks: smallest effect that was called meaningful, {margin}.")
    return " ".join(["Needle: what this test found.", *parts])


def _table(document: dict[str, Any], found: dict[str, Any], reading: Reading) -> list[tuple[str, ...]]:
    """Give the figures as rows."""
    rows: list[tuple[str, ...]] = [("this test", reading.write(found["value"]), *_span_words(found, reading))]
    if document["margin"] is not None:
        margin = document["margin"]
        rows.append(("smallest effect that matters", "", reading.write(-margin), reading.write(margin)))
    if document["claimed"] is not None:
        rows.append(("claimed", reading.write(document["claimed"]), "", ""))
    return rows
