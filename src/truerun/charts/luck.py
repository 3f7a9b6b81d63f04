"""The luck picture: one square for each order that could have been drawn, ours marked."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np

from truerun.charts.drawing import Drawing, Width
from truerun.charts.layers import Axis, Layer, describe, layer, words
from truerun.charts.orders_shown import ShownOrders, order_rows, shown_orders
from truerun.charts.reading import Reading, even_ticks, nice_step, reading_of, text_width
from truerun.trial.comparison import Comparison
from truerun.trial.phrases import adjusted_words, count_words, listed
from truerun.trial.plan import Role
from truerun.trial.verdict import Verdict

__all__ = ["draw_luck", "luck_orders_csv", "luck_sentence"]

_PART = {Width.WIDE: 650, Width.PHONE: 325, Width.PRINT: 585}
_TALLEST = {Width.WIDE: 290, Width.PHONE: 236, Width.PRINT: 250}
_LOWEST_MARK = 1.5
_FEW = 100
_FILLED = 0.88
_SMALLEST_SHARE = 0.026
_TOP = 30


@dataclass(frozen=True, slots=True)
class _Heap:
    """Where the marks stand: ``columns`` of them, ``pitch`` high each; ``marks`` is one row for each."""

    x: Axis
    step: float
    pitch: float
    each: int
    marks: list[dict[str, Any]]
    heights: dict[int, int]
    column: float
    floor: float

    def clear_above(self, left: float, right: float) -> float:
        """Give the height of the highest mark between two pixels."""
        first, last = (math.floor(self.x.back(pixel) / self.column) for pixel in (left, right))
        highest = max((self.heights.get(place, 0) for place in range(first, last + 1)), default=0)
        return self.floor - highest * self.pitch


def luck_sentence(shown: ShownOrders) -> str:
    """Say what luck alone does.

    Parameters
    ----------
    shown : ShownOrders
        From :func:`truerun.charts.orders_shown.shown_orders`.

    Returns
    -------
    str
    """
    drawn = f" drawn by lot from {count_words(shown.of)}" if shown.part and shown.orders < shown.of else ""
    return f"Luck alone does this in {count_words(shown.luck)} of {count_words(shown.orders)} orders{drawn}."


def draw_luck(comparison: Comparison, width: Width = Width.WIDE) -> Drawing | None:
    """Draw every order that could have been drawn, as a mark at the difference that it would have given.

    Parameters
    ----------
    comparison : Comparison
        Finished.
    width : Width
        For which width.

    Returns
    -------
    Drawing or None
        None where no order may be shown: covered, withdrawn, or drawn from no known set.

    Notes
    -----
    A mark stands for several orders where it would be lower than 1.5 px otherwise; the drawing says for how many.
    """
    shown = shown_orders(comparison)
    if shown is None:
        return None
    reading = reading_of(comparison)
    heap = _heap(shown, width, share=reading.share)
    heap = _lowered(shown, heap, reading, width)
    labels = [*_ours(shown, heap, reading), *_mirror(shown, heap, width)]
    layers = [*_mark_layers(heap), *_axis_layers(heap, reading, width), _corner(shown, heap, width), *labels]
    sentence = luck_sentence(shown)
    height = round(heap.floor + (56 if width is not Width.PHONE else 74))
    columns, rows = _table(shown, heap, reading)
    return Drawing(
        name="luck",
        title="What luck alone does",
        alternative=f"{sentence} Each mark is the difference that one order would have given with the same runs. "
        f"This test stands at {reading.write(shown.ours)}; {_strong_words(shown)}.",
        caption=" ".join([sentence, *_remarks(comparison, shown)]),
        description=describe(width.value, height, heap.x, _levels(heap), layers),
        columns=columns,
        rows=rows,
        width=width.value,
        height=height,
    )


def luck_orders_csv(comparison: Comparison) -> str | None:
    """Give every order with its signs and its difference, to be counted in a spreadsheet.

    Parameters
    ----------
    comparison : Comparison
        Finished.

    Returns
    -------
    str or None
        A table with commas: number of the order (those drawn by lot are numbered as they came), each run with ``+``
        for the source and ``-`` for the control, the difference (in percent of the losses, or in the unit of what
        was measured), and whether it is as far from zero as ours or farther. None as for :func:`draw_luck`.
    """
    shown, behind = shown_orders(comparison), order_rows(comparison)
    if shown is None or behind is None:
        return None
    reading = reading_of(comparison)
    signs, slots = behind
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    unit = "percent" if reading.share else reading.unit or "as measured"
    writer.writerow(["order", *(f"run {slot}" for slot in slots), f"difference in {unit}", "as far as ours"])
    for number, (row, size, strong) in enumerate(zip(signs, shown.sizes, shown.strong, strict=True), start=1):
        marks = ["+" if sign > 0 else "-" for sign in row]
        writer.writerow([number, *marks, f"{size * reading.per:.6g}", "yes" if strong else "no"])
    return text.getvalue()


def _span(farthest: float, *, share: bool) -> float:
    """Give half the span, 2.6, 6.5, 13, 26 ... with 12 % of room beyond the farthest mark."""
    fitting = max(farthest, 1e-12) / (1.3 * _FILLED)
    power = 10.0 ** math.floor(math.log10(fitting))
    span = 1.3 * next(digit * power for digit in (2, 5, 10) if digit * power >= fitting * (1 - 1e-12))
    return max(span, _SMALLEST_SHARE) if share else span


def _heap(shown: ShownOrders, width: Width, *, share: bool) -> _Heap:
    """Stack the marks into columns."""
    span = _span(float(np.abs(shown.sizes).max()), share=share)
    across = _PART[width]
    many = len(shown.sizes) > _FEW
    count = 130 if many and width is not Width.PHONE else 65 if many or width is not Width.PHONE else 26
    column = 2 * span / count
    places = np.clip(np.floor(shown.sizes / column + 1e-9).astype(int), -count // 2, (count - 1) // 2)
    kinds, number = np.unique(np.column_stack([places, shown.strong]), axis=0, return_counts=True)
    pitch, each = _pitch(kinds, number, across / count, _TALLEST[width])
    marks: list[dict[str, Any]] = []
    heights: dict[int, int] = {}
    for (place, strong), orders in zip(kinds.tolist(), number.tolist(), strict=True):
        for _ in range(math.ceil(orders / each)):
            level = heights.get(place, 0)
            heights[place] = level + 1
            ends = {"from": round(place * column, 12), "to": round((place + 1) * column, 12)}
            marks.append(ends | {"level": level, "next": level + 1, "strong": bool(strong)})
    floor = 100 + max(heights.values()) * pitch
    left = (width.value - across) / 2
    step = nice_step(2 * span, 7)
    return _Heap(Axis(-span, span, left, left + across), step, pitch, each, marks, heights, column, floor)


def _pitch(kinds: Any, number: Any, wide: float, tallest: float) -> tuple[float, int]:
    """Give how high a mark is with its gap [px], and for how many orders it stands."""
    for each in range(1, 100_000):
        heights: dict[int, int] = {}
        for place, orders in zip(kinds[:, 0].tolist(), number.tolist(), strict=True):
            heights[place] = heights.get(place, 0) + math.ceil(orders / each)
        pitch = min(wide, tallest / max(heights.values()))
        if pitch >= _LOWEST_MARK:
            break
    return pitch, each


def _levels(heap: _Heap) -> Axis:
    """Give the upright axis: one level for each mark."""
    most = max(heap.heights.values())
    return Axis(0, most, heap.floor, heap.floor - most * heap.pitch)


def _mark_layers(heap: _Heap) -> list[Layer]:
    """Draw the marks, near ones and strong ones."""
    gap = min(0.5, heap.pitch * 0.15)
    ends: dict[str, Any] = {"x": "from", "x2": "to", "y": "level", "y2": "next"}
    inset: dict[str, Any] = {"xOffset": 0.5, "x2Offset": -0.5, "yOffset": -gap, "y2Offset": gap}
    near = [mark for mark in heap.marks if not mark["strong"]]
    strong = [mark for mark in heap.marks if mark["strong"]]
    outline: dict[str, Any] = {"stroke": "near-line", "strokeWidth": 0.4}
    return [
        layer("rect", near, **ends, fill="near", **outline, **inset),
        layer("rect", strong, **ends, fill="ink", **inset),
    ]


def _axis_layers(heap: _Heap, reading: Reading, width: Width) -> list[Layer]:
    """Draw the ruled line below the heap; zero has the longest tick."""
    phone = width is Width.PHONE
    floor = heap.floor + 1
    ticks = even_ticks(heap.x.low, heap.x.high, heap.step)
    plain = [{"at": at, "words": reading.tick(at, heap.step, unit=not phone)} for at in ticks if at]
    between = [{"at": at} for at in even_ticks(heap.x.low, heap.x.high, heap.step / 2)]
    ends = [
        {"at": heap.x.low, "words": reading.left_short if phone else reading.left},
        {"at": heap.x.high, "words": reading.right_short if phone else reading.right},
    ]
    return [
        layer("rule", [{}], x=heap.x.start, x2=heap.x.end, y=floor, stroke="ink", strokeWidth=2),
        layer("rule", between, x="at", y=floor, y2=floor + 5, stroke="edge", strokeWidth=1),
        layer("rule", plain, x="at", y=floor, y2=floor + 8, stroke="edge", strokeWidth=1),
        layer("rule", [{"at": 0.0}], x="at", y=floor, y2=floor + 11, stroke="ink", strokeWidth=2),
        words(plain, x="at", y=floor + 22, size=14),
        words([{"at": 0.0, "words": "0"}], x="at", y=floor + 26, bold=True, fill="ink"),
        words(ends[:1], x=heap.x.start, y=floor + 46, align="left", fill="ink"),
        words(ends[1:], x=heap.x.end, y=floor + 46, align="right", fill="ink"),
        words([{"at": 0.0, "words": reading.middle}], x="at", y=floor + (64 if phone else 46), fill="ink2"),
    ]


def _corner(shown: ShownOrders, heap: _Heap, width: Width) -> Layer:
    """Say in the corner what a mark is."""
    one = "each mark is one order" if heap.each == 1 else f"each mark is up to {heap.each} orders"
    number = count_words(len(shown.sizes))
    total = f"{number} drawn by lot" if shown.part else f"{number} in all"
    said = [{"words": f"{one}, {total}"}]
    return words(said, x=width.value - (width.value - _PART[width]) / 2, y=16, size=14, align="right")


def _ours(shown: ShownOrders, heap: _Heap, reading: Reading) -> list[Layer]:
    """Point at ours from above."""
    middle, foot, tip = _pointer(shown, heap, reading)
    ours = {"at": shown.ours}
    return [
        layer("rule", [ours], x="at", y=foot, y2=tip - 8, stroke="ink", strokeWidth=2.5),
        layer("point", [ours], x="at", y=tip - 5, shape="triangle-down", size=110, fill="ink", filled=True, opacity=1),
        words([ours | {"words": reading.write(shown.ours)}], x=middle, y=foot - 22, size=17, bold=True, fill="ink"),
        words([{"words": "this test"}], x=middle, y=foot - 5, fill="ink"),
    ]


def _pointer(shown: ShownOrders, heap: _Heap, reading: Reading) -> tuple[float, float, float]:
    """Give the middle of the label of ours, where its pointer begins, and where it ends [px]."""
    here = heap.x.at(shown.ours)
    half = max(text_width(reading.write(shown.ours), 17, bold=True), text_width("this test")) / 2 + 4
    middle = min(max(here, heap.x.start + half - 10), heap.x.end - half + 10)
    tip = heap.clear_above(here - 6, here + 6) - 4
    return middle, min(heap.clear_above(middle - half, middle + half) - 16, tip - 46), tip


def _lowered(shown: ShownOrders, heap: _Heap, reading: Reading, width: Width) -> _Heap:
    """Set the heap as high in the drawing as its labels leave it."""
    tops = [heap.clear_above(heap.x.start, heap.x.end), _pointer(shown, heap, reading)[1] - 38]
    place = _mirror_place(shown, heap, width)
    tops += [place[1] - 17 * len(place[2]) - 5] if place else []
    return replace(heap, floor=heap.floor - (min(tops) - _TOP))


def _mirror(shown: ShownOrders, heap: _Heap, width: Width) -> list[Layer]:
    """Name the other strong mark where there are two: ours with the conditions swapped."""
    place = _mirror_place(shown, heap, width)
    if place is None:
        return []
    middle, foot, lines = place
    other = max((float(size) for size in shown.sizes[shown.strong]), key=lambda size: abs(size - shown.ours))
    texts = [
        words([{"words": line}], x=middle, y=foot - 5 - 17 * (len(lines) - 1 - place), size=14)
        for place, line in enumerate(lines)
    ]
    pointer = layer("rule", [{"at": other}], x="at", y=foot, y2=heap.floor - heap.pitch - 4, stroke="edge")
    return [pointer, *texts]


def _mirror_place(shown: ShownOrders, heap: _Heap, width: Width) -> tuple[float, float, list[str]] | None:
    """Give middle and foot [px] of the lines that name the mirror image, outwards of it where there is room."""
    if shown.luck != 2 or shown.part or not shown.both_sides:
        return None
    other = max((float(size) for size in shown.sizes[shown.strong]), key=lambda size: abs(size - shown.ours))
    lines = ["its mirror image"] if width is Width.PHONE else ["its mirror image,", "conditions swapped"]
    half = text_width(max(lines, key=len), 14) / 2
    here = heap.x.at(other)
    outwards = here + math.copysign(half - 12, other)
    middle = min(max(outwards, heap.x.start + half), heap.x.end - half)
    clear = heap.clear_above(middle - half, middle + half)
    return middle, min(clear - 12, heap.floor - heap.pitch - 22), lines


def _strong_words(shown: ShownOrders) -> str:
    """Say what the strong marks are."""
    as_far = "strong marks are as far from zero as this test, or farther"
    if shown.both_sides:
        return as_far
    count = count_words(int(shown.strong.sum()))
    return f"{as_far}, on its own side: {count}, counted twice, as either side would count"


def _remarks(comparison: Comparison, shown: ShownOrders) -> list[str]:
    """Give what else the caption says."""
    said = []
    if shown.luck > comparison.at.rules.alpha * shown.orders:
        same = comparison.at.rules.role is Role.SAME_AGAINST_SAME
        expected = same and comparison.verdict in (Verdict.NO_DIFFERENCE, Verdict.WITHIN_MARGIN)
        said.append("Nothing found, as it should be." if expected else comparison.headline)
    strong = _strong_words(shown)
    said.append(f"{strong[0].upper()}{strong[1:]}.")
    if shown.part and shown.orders == shown.of:
        said.append(f"All orders were counted; {count_words(len(shown.sizes))} of them, drawn by lot, are shown.")
    if comparison.at.seen.worst.any():
        said.append("A run that was left out after its time was seen is reckoned at its worst.")
    if comparison.at.rules.adjust:
        said.append(f"Adjusted for {listed(adjusted_words(comparison.at.rules.adjust))}.")
    return said


def _table(shown: ShownOrders, heap: _Heap, reading: Reading) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    """Count the orders by their distance from zero."""
    ends = even_ticks(0, heap.x.high + heap.step, heap.step)
    rows = []
    for low, high in pairwise(ends):
        inside = (np.abs(shown.sizes) >= low) & (np.abs(shown.sizes) < high)
        parts = [int((inside & side).sum()) for side in (shown.sizes < 0, shown.sizes >= 0)]
        if sum(parts):
            span = f"{reading.write(low, signed=False)} to {reading.write(high, signed=False)}"
            rows.append((span, *(count_words(part) for part in parts), count_words(int((inside & shown.strong).sum()))))
    totals = [int((shown.sizes < 0).sum()), int((shown.sizes >= 0).sum()), int(shown.strong.sum())]
    rows.append(("all", *(count_words(total) for total in totals)))
    return ("Distance from zero", "Orders below zero", "Orders from zero up", "As far as ours"), tuple(rows)
