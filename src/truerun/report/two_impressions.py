"""Both impressions that runs give whose time was taken by a stopwatch and by a recording, and why they differ."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from truerun.charts.drawing import Width
from truerun.charts.luck import draw_luck
from truerun.charts.render import svg_of
from truerun.report.figures_shown import Found, Luck, figures_shown
from truerun.report.pictures import Picture
from truerun.report.plan_words import end_words
from truerun.trial.comparison import Comparison
from truerun.trial.impressions import Impression
from truerun.units.formats import format_quantity

__all__ = ["Side", "TwoImpressions", "two_impressions"]

_NO_DIFFERENCE = "No clear difference"
_FEW = 1.0
"""Seconds outside the window by which conditions must differ to be worth a sentence."""


@dataclass(frozen=True, slots=True)
class Side:
    """One impression: by what, what it looks like, its figures, and what luck could have done."""

    by: str
    says: str
    found: Found
    luck: Luck | None
    picture: Picture | None


@dataclass(frozen=True, slots=True)
class TwoImpressions:
    """Both sides, where the seconds are (a row each: what, source, control), and in plain words why they differ."""

    stopwatch: Side
    window: Side
    differ: bool
    columns: tuple[str, str, str]
    rows: tuple[tuple[str, str, str], ...]
    why: tuple[str, ...]


def two_impressions(
    result: Comparison, impression: Impression, captures: tuple[float | None, float | None] = (None, None)
) -> TwoImpressions | None:
    """Put both impressions side by side.

    Parameters
    ----------
    result : Comparison
        That of the recordings, which decides.
    impression : Impression
        What the stopwatch says of the same runs.
    captures : (float or None, float or None)
        Below which speed the bump catches the wheel with the source and with the control, as the recordings show;
        None where they show no bump [rad/s].

    Returns
    -------
    TwoImpressions or None
        None for a covered result.
    """
    fair, watch = figures_shown(result), figures_shown(impression.comparison)
    if fair is None or watch is None:
        return None
    names, window = result.at.rules.conditions, end_words(None, None, result.at.rules.window)
    by_watch = impression.comparison
    looks = _looks(by_watch, watch.found)
    sides = (
        Side("By the stopwatch, until the wheel lay still", looks, watch.found, watch.luck, _luck(by_watch)),
        Side(f"By the recordings, {window}", _decided(result), fair.found, fair.luck, _luck(result)),
    )
    return TwoImpressions(
        *sides,
        differ=impression.finding is not None,
        columns=("Mean time of a run", names.source, names.control),
        rows=_rows(impression, window, captures),
        why=tuple(_why(result, impression, window, captures)),
    )


def _luck(result: Comparison) -> Picture | None:
    """Draw what luck could have done; narrow in every width, since two of them stand side by side."""
    drawing = draw_luck(result, Width.PHONE)
    if drawing is None:
        return None
    drawn = svg_of(drawing)
    return Picture(drawing, drawn, drawn)


def _looks(watch: Comparison, found: Found) -> str:
    """Say what the stopwatch alone would make one believe."""
    figures = watch.figures
    if figures is not None and figures.p > watch.at.rules.alpha:
        return _NO_DIFFERENCE
    return "Looks like a gain" if found.adds else "Looks like a brake"


def _decided(result: Comparison) -> str:
    """Say what the verdict is, in a word or two."""
    verdict = result.verdict.value if result.verdict is not None else ""
    return {"adds-energy": "A gain", "takes-energy": "A brake", "not-a-fair-test": "Not a fair test"}.get(
        verdict, _NO_DIFFERENCE
    )


def _rows(
    impression: Impression, window: str, captures: tuple[float | None, float | None]
) -> tuple[tuple[str, str, str], ...]:
    """Say where the seconds are."""
    whole, inside = zip(impression.source, impression.control, strict=True)
    outside = [all_of_it - part for all_of_it, part in zip(whole, inside, strict=True)]
    rows = [
        ("By the stopwatch, from launch to rest", *_seconds(whole)),
        (f"Of it {window}", *_seconds(inside)),
        ("Of it before and after", *_seconds(outside)),
    ]
    if any(captures):
        caught = [_speed(each) if each else "no bump seen" for each in captures]
        rows.append(("The bump catches the wheel below", caught[0], caught[1]))
    return tuple(rows)


def _seconds(pair: Sequence[float]) -> tuple[str, str]:
    """Write two times."""
    source, control = (f"{value:.1f}\N{NO-BREAK SPACE}s" for value in pair)
    return source, control


def _speed(speed: float) -> str:
    """Write a speed."""
    return format_quantity(speed, "r/min", digits=2)


def _why(
    result: Comparison, impression: Impression, window: str, captures: tuple[float | None, float | None]
) -> list[str]:
    """Say in plain words where the two impressions come from."""
    names = impression.comparison.at.rules.conditions
    inside = (impression.source[1], impression.control[1])
    outside = (impression.source[0] - inside[0], impression.control[0] - inside[1])
    if impression.finding is None:
        return [f"Both point the same way: {window}, and to the very end, the runs differ by about the same share."]
    turns = (
        f"Both are true of the same runs; they ask different things. {_capital(window)} a run with {names.source} took "
        f"{inside[0]:.1f} s, one with {names.control} {inside[1]:.1f} s: {_on_the_turns(result, names.source)}"
    )
    rule = f"The verdict goes by the times {window}, because there the wheel turns on in both conditions."
    return [turns, *_outside(outside, (names.source, names.control), captures), rule]


def _on_the_turns(result: Comparison, source: str) -> str:
    """Say what the times over the window mean."""
    lost = {"takes-energy": "more", "adds-energy": "less"}.get(result.verdict.value if result.verdict else "")
    if lost is None:
        return "over these speeds no clear difference was found."
    return f"while it turned, the wheel lost {lost} with {source}."


def _outside(
    seconds: tuple[float, float], names: tuple[str, str], captures: tuple[float | None, float | None]
) -> list[str]:
    """Say what the rest of the time is made of."""
    if abs(seconds[0] - seconds[1]) < _FEW:
        return []
    longer = 0 if seconds[0] > seconds[1] else 1
    shorter = 1 - longer
    counted = (
        f"Before and after it the stopwatch counted {seconds[longer]:.0f} s with {names[longer]} and "
        f"{seconds[shorter]:.0f} s with {names[shorter]}. The two impressions differ by these seconds."
    )
    caught = [(name, speed) for name, speed in zip(names, captures, strict=True) if speed]
    said = [
        f"Below about {_speed(speed)} a magnetic bump catches the wheel with {name}: it can no longer climb over it."
        for name, speed in caught
    ]
    return [counted, *said, _ROCKING]


_ROCKING = (
    "A wheel that a bump has caught rocks to and fro until friction has used up the little that is left. It may lie "
    "still at once or rock for minutes, because it moves slowly and so loses little each second; nothing need drive it "
    "meanwhile. How long that lasts says nothing of what a turn costs."
)


def _capital(words: str) -> str:
    """Begin a sentence."""
    return words[:1].upper() + words[1:]
