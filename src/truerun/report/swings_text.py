"""Swings as words and rows of figures."""

from __future__ import annotations

import math
from collections.abc import Sequence

from truerun.charts.slowing import PER_MINUTE
from truerun.charts.swings import swing_unit
from truerun.findings.finding import Finding
from truerun.motion.rocking import Decay, Friction
from truerun.motion.swings import Part, SwingOf, Swings
from truerun.motion.swings_data import decays_of
from truerun.report.layout import rows_text, wrapped
from truerun.report.noticed import recording_text
from truerun.report.rundown_text import with_uncertainty

__all__ = ["stops_words", "swings_after_text", "swings_headline", "swings_rows", "swings_text"]

_SPACE = "\N{NO-BREAK SPACE}"
_WHAT = {SwingOf.ANGLE: "angles", SwingOf.PLACE: "places along a line", SwingOf.SPEED: "speeds"}


def swings_text(swings: Swings, said: Sequence[str], findings: Sequence[Finding]) -> str:
    """Write a recording of swings.

    Parameters
    ----------
    swings : Swings
    said : sequence of str
        As what the file was read.
    findings : sequence of Finding

    Returns
    -------
    str
        Lines of at most 88 characters, without a final line end.
    """
    return recording_text(swings_headline(swings), swings_rows(swings), said, findings)


def swings_after_text(swings: Swings) -> str:
    """Write the swings after a rundown, to stand below it."""
    head = wrapped("After the bump has caught the wheel it swings to and fro.")
    return f"{head}\n\n{rows_text(swings_rows(swings))}"


def swings_headline(swings: Swings) -> str:
    """Say in two sentences what the wheel did and what stops it."""
    return f"The wheel swings to and fro: a small swing takes {_sized(swings.period)}{_SPACE}s. {stops_words(swings)}"


def stops_words(swings: Swings) -> str:
    """Say in a sentence what stops the swings."""
    decays = decays_of(swings)
    if swings.friction is Friction.DRY:
        fall = _straight(swings, decays["straight"])
        return f"Each swing is smaller by about the same amount, {fall}, as dry drag does it."
    if swings.friction is Friction.VISCOUS:
        fall = _share(decays["exponential"])
        return f"Each swing is smaller by about the same share, {fall}, as viscous drag does it."
    return "Whether dry or viscous drag stops it stays open."


def swings_rows(swings: Swings) -> list[tuple[str, str]]:
    """Give what the swings say, a name and a value each."""
    per, unit = swing_unit(swings)
    first, last = (f"{size * per:.3g}" for size in (swings.peaks[0], swings.peaks[-1]))
    points = f"{swings.turning_points} turning points"
    by = "a decaying sine through every reading" if swings.sine is not None else "the turning points"
    return [
        ("Swings", f"{points} in {_WHAT[swings.of]}, from {first} down to {last} {unit} to either side"),
        ("A small swing takes", f"{_sized(swings.period)}{_SPACE}s, to and fro, by {by}"),
        (
            "Stiffness of the bump",
            f"{_sized(swings.stiffness)} rad/s² for each rad off its bottom, moment of inertia taken out",
        ),
        ("What stops it", stops_words(swings)),
        *_drag_rows(swings),
        *_dead_band(swings),
        *_catching(swings),
    ]


def _drag_rows(swings: Swings) -> list[tuple[str, str]]:
    """Give dry and viscous drag."""
    rows = []
    dry, viscous = swings.dry, swings.viscous
    if dry is not None:
        per, unit = swing_unit(swings)
        per, unit = (per, f"{unit} a second,") if swings.of is SwingOf.PLACE else (PER_MINUTE, "r/min")
        size = with_uncertainty(dry.value * per, dry.uncertainty * per)
        rows.append(("Dry drag", f"{size} {unit} lost each second"))
    if viscous is not None:
        size = with_uncertainty(100 * viscous.value, 100 * viscous.uncertainty)
        alone = ", if all of the drag is viscous" if dry is None and swings.friction is not Friction.VISCOUS else ""
        rows.append(("Viscous drag", f"{size}{_SPACE}% of the speed lost each second{alone}"))
    return rows


def _dead_band(swings: Swings) -> list[tuple[str, str]]:
    """Say how far off the bottom dry drag can hold the wheel."""
    rocking = swings.rocking
    if rocking is None or swings.of is SwingOf.SPEED or not rocking.dead_band > 2 * rocking.dead_band_uncertainty:
        return []
    per, unit = swing_unit(swings)
    size = with_uncertainty(rocking.dead_band * per, rocking.dead_band_uncertainty * per)
    return [("It can come to rest up to", f"{size} {unit} off the bottom")]


def _catching(swings: Swings) -> list[tuple[str, str]]:
    """Say below which speed a bump of this stiffness catches the wheel."""
    speed = swings.catching()
    if speed is None:
        return []
    size = with_uncertainty(speed.value * PER_MINUTE, speed.uncertainty * PER_MINUTE)
    said = f"{size}{_SPACE}r/min, if it is one smooth bump a turn; with n equal bumps a turn, an nth of that"
    return [("It catches the wheel below", said)]


def _sized(part: Part) -> str:
    """Write a value with its uncertainty."""
    return with_uncertainty(part.value, part.uncertainty)


def _straight(swings: Swings, decay: Decay) -> str:
    """Write the fall of a straight line."""
    per, unit = swing_unit(swings)
    return f"{with_uncertainty(decay.rate * per, decay.uncertainty * per)} {unit} each second"


def _share(decay: Decay) -> str:
    """Write the fall of an exponential: the share lost in a second."""
    lost = -math.expm1(-decay.rate)
    return f"{with_uncertainty(100 * lost, 100 * decay.uncertainty * math.exp(-decay.rate))}{_SPACE}% each second"
