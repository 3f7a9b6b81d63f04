"""Drag both ways as words and rows of figures."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from truerun.charts.slowing import PER_MINUTE
from truerun.findings.finding import Finding
from truerun.motion.two_way import TwoWay
from truerun.motion.two_way_data import SURELY, Push, push_of
from truerun.report.layout import rows_text, wrapped
from truerun.report.noticed import findings_text
from truerun.report.rundown_text import per_minute, with_uncertainty

__all__ = ["cause_words", "two_way_headline", "two_way_rows", "two_way_text"]

_SPACE = "\N{NO-BREAK SPACE}"


def two_way_text(found: TwoWay, runs: tuple[int, int], findings: Sequence[Finding]) -> str:
    """Write drag both ways.

    Parameters
    ----------
    found : TwoWay
    runs : (int, int)
        How many recordings there were each way.
    findings : sequence of Finding

    Returns
    -------
    str
        Lines of at most 88 characters, without a final line end.
    """
    parts = [wrapped(two_way_headline(found)), rows_text(two_way_rows(found, runs)), wrapped(cause_words(found))]
    parts += [findings_text(findings)] if findings else []
    return "\n\n".join(parts)


def two_way_headline(found: TwoWay) -> str:
    """Say in a sentence whether something pushes the wheel one way."""
    push = push_of(found)
    size, drag = abs(found.mean_drive), found.mean_drag
    if push is Push.UNSEEN:
        most = size + SURELY * found.mean_drive_uncertainty
        return (
            "Both ways the wheel slows down alike: no push to one side is seen. If there is one it is smaller than "
            f"{_digits(most * PER_MINUTE)}{_SPACE}r/min each second{_of(most, drag)}, 95 times in 100."
        )
    spread = found.mean_drive_uncertainty * PER_MINUTE
    said = f"{with_uncertainty(size * PER_MINUTE, spread)}{_SPACE}r/min each second{_of(size, drag)}"
    return f"Something pushes the wheel in the direction {push.value}: by {said}."


def two_way_rows(found: TwoWay, runs: tuple[int, int]) -> list[tuple[str, str]]:
    """Give what was measured, a name and a value each."""
    there, back = runs
    per = PER_MINUTE
    drag = with_uncertainty(found.mean_drag * per, found.mean_drag_uncertainty * per)
    push = with_uncertainty(found.mean_drive * per, found.mean_drive_uncertainty * per)
    return [
        ("Recordings", f"{there} there, {back} back"),
        (
            "Speeds",
            f"{per_minute(float(found.speeds[-1]))} down to {per_minute(float(found.speeds[0]))}, in all of them",
        ),
        ("Drag that both ways share", f"{drag}{_SPACE}r/min lost each second, the mean over these speeds"),
        ("Push, there counted positive", f"{push}{_SPACE}r/min each second, the mean over these speeds"),
        ("Push at each speed", _band(found)),
    ]


def cause_words(found: TwoWay) -> str:
    """Say what the halves mean."""
    if push_of(found) is Push.UNSEEN:
        return (
            "A drive that works one way only, whatever the direction of travel, would show as such a push. What drags "
            "alike both ways says nothing about a drive that turns round with the wheel."
        )
    return (
        "A drive that keeps its direction does this; so do a draught, a travelling field and a tilted brush, and a "
        "drag that knows directions, such as a card or a rubbing lip. Take the source out and run both ways again: "
        "what stays is not the source. Times the moment of inertia the push is a torque."
    )


def _band(found: TwoWay) -> str:
    """Say whether the band of the push leaves out zero somewhere."""
    out = np.abs(found.drive) > found.factor * found.drive_uncertainty
    if not out.any():
        return "nowhere clear of 0, with a band that holds at all speeds at once"
    if out.all():
        return "clear of 0 at all of them, with a band that holds at all speeds at once"
    low, high = (per_minute(float(found.speeds[out][end])) for end in (0, -1))
    return f"clear of 0 between {low} and {high}, with a band that holds at all speeds at once"


def _digits(value: float) -> str:
    """Write a positive value to two digits, without powers of ten."""
    return str(np.format_float_positional(value, precision=2, fractional=False, trim="-"))


def _of(size: float, drag: float) -> str:
    """Write a push as a share of the drag, where there is one."""
    return f", {_digits(100 * size / drag)}{_SPACE}% of the drag" if drag > 0 else ""
