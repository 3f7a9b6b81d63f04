"""In plain words what tapped runs show: over common speeds, until they stopped, and what the hand costs."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from truerun.report.layout import rows_text, wrapped
from truerun.report.plain_text import look_text
from truerun.trial.look import Look
from truerun.trial.phrases import percent
from truerun.units.formats import format_quantity

if TYPE_CHECKING:
    from truerun.trial.tapped_look import TappedLook

__all__ = [
    "both_impressions",
    "hand_words",
    "longer_words",
    "slowing_rows",
    "tapped_sentences",
    "tapped_text",
    "window_words",
]

_ALIKE = 0.01
"""Two differences that lie closer are one impression."""

_TURN_A_MINUTE = math.pi / 30


def window_words(tapped: TappedLook) -> str:
    """Say between which speeds tapped runs are compared."""
    start, end = (each / _TURN_A_MINUTE for each in (tapped.speed_from, tapped.speed_to))
    return f"from {start:.0f} down to {end:.0f}\N{NO-BREAK SPACE}r/min"


def longer_words(look: Look) -> str:
    """Say how much longer or shorter the runs with the source were."""
    share = 1 / (1 - look.difference) - 1
    return f"{percent(abs(share))} {'longer' if look.difference > 0 else 'shorter'}"


def slowing_rows(tapped: TappedLook) -> list[tuple[str, str]]:
    """Give for each condition by how much the wheel slowed each second between the two speeds."""
    return [
        (name, format_quantity(value, "r/min", uncertainty)) for name, (value, uncertainty) in tapped.slowing.items()
    ]


def hand_words(tapped: TappedLook) -> str:
    """Say what the hand's tapping costs in spread, and whether a sensor would help."""
    spread = tapped.look.spread
    told = (
        f"One tap scatters by {tapped.scatter:.2g} s. That alone spreads the times by {percent(tapped.tapping)}; these "
        f"runs spread by {percent(spread)}."
    )
    if tapped.tapping > 0.7 * spread:
        return f"{told} Most of the spread may be your hand: a sensor would need fewer runs."
    if tapped.tapping > 0.4 * spread:
        return f"{told} The rest is the wheel itself, which differs from run to run: a sensor would help somewhat."
    return f"{told} Most of it is the wheel itself, which differs from run to run: a better watch would help little."


def both_impressions(tapped: TappedLook) -> tuple[str, ...]:
    """Say what the same runs look like over common speeds and until they stopped; nothing where one is not known."""
    whole, fair = tapped.to_standstill, tapped.look
    if whole is None:
        return ()
    over = window_words(tapped)
    said = (
        f"{over[:1].upper()}{over[1:]}, runs with “{fair.source}” were {longer_words(fair)}. Until they stopped, the "
        f"same runs were {longer_words(whole)}."
    )
    return said, _why(whole, fair, over)


def _why(whole: Look, fair: Look, over: str) -> str:
    """Say what the two impressions have to do with each other."""
    if abs(whole.difference - fair.difference) < _ALIKE:
        return "Both say about the same of these runs."
    rest = "how hard each run was pushed, and how it ended"
    catch = "Magnets can catch a slow wheel early, or let it rock for longer, and lose nothing by it."
    if abs(fair.difference) < _ALIKE:
        return f"While the wheel rolled {over}, hardly any difference is left. The rest is {rest}. {catch}"
    if fair.difference * whole.difference < 0:
        return f"The two point different ways. What turns them round is {rest}. {catch}"
    size = longer_words(fair).rpartition(" ")[0]
    return f"While the wheel rolled {over}, the difference was {size}. The rest is {rest}. {catch}"


def tapped_text(look: Look, tapped: TappedLook | None, set_aside: tuple[str, ...]) -> str:
    """Write a look at tapped runs.

    Parameters
    ----------
    look : Look
        Over common speeds, or of the times as they stand where the taps could not be used.
    tapped : TappedLook or None
    set_aside : tuple of str
        Sentences about taps that are not used.

    Returns
    -------
    str
    """
    rows = (
        [] if tapped is None else [(f"Each second it slowed, {name}, by", rate) for name, rate in slowing_rows(tapped)]
    )
    said = [wrapped(each) for each in tapped_sentences(tapped, set_aside)]
    return "\n\n".join([look_text(look), *said, *([rows_text(rows)] if rows else [])])


def tapped_sentences(tapped: TappedLook | None, set_aside: tuple[str, ...]) -> tuple[str, ...]:
    """Say what taps show and cost, both impressions, and which taps were not used."""
    if tapped is None:
        return ("The taps could not be used: these are the times of the stopwatch.", *set_aside)
    return f"By your taps, {window_words(tapped)}. {hand_words(tapped)}", *both_impressions(tapped), *set_aside
