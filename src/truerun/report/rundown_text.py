"""One reduced recording as plain text: the window first, then what was measured, then what was found."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from truerun.findings.finding import Finding
from truerun.motion.drag_curve import drag_at
from truerun.motion.hill import capture_speed, hill_height
from truerun.motion.measured import Measured, defined_by, hill_of, turns_of
from truerun.motion.rundown import Rundown
from truerun.motion.rundown_data import TERM_NAMES, standstill_bound, usual_terms
from truerun.motion.speed_fit import SpeedRundown
from truerun.motion.unseen import UnseenHill
from truerun.motion.window import Window
from truerun.report.noticed import recording_text
from truerun.trial.phrases import percent

__all__ = ["headline", "measured_rows", "per_minute", "rundown_text", "short_time", "with_uncertainty"]

_PER_MINUTE = 30 / math.pi
_SPACE = "\N{NO-BREAK SPACE}"
_UNSURE = 0.1
"""Standard uncertainty of a part, as a share of the whole drag, from which on the parts are not told apart."""
_MOST_DIGITS = 7
_KINDS = {"energy": "by energy", "turn-time": "by the time of a turn", "speed": "as read off a speedometer"}


def rundown_text(
    rundown: Measured,
    window: Window | None,
    said: Sequence[str],
    findings: Sequence[Finding],
    unseen: UnseenHill | None = None,
) -> str:
    """Write a reduced recording.

    Parameters
    ----------
    rundown : Rundown or SpeedRundown
    window : Window or None
        None where no fair one lies within the recording.
    said : sequence of str
        As what the file was read.
    findings : sequence of Finding
    unseen : UnseenHill, optional
        The bump that could have been missed, where none was seen.

    Returns
    -------
    str
        Lines of at most 88 characters, without a final line end.
    """
    return recording_text(headline(rundown, window), measured_rows(rundown, window, unseen), said, findings)


def headline(rundown: Measured, window: Window | None) -> str:
    """Say in a sentence what the wheel did."""
    if window is None:
        return (
            f"From {per_minute(rundown.speed_high)} down to {per_minute(rundown.speed_low)} in {turns_of(rundown):.1f} "
            "turns. No fair window lies within this recording."
        )
    return (
        f"From {per_minute(window.speed_from)} down to {per_minute(window.speed_to)} it took "
        f"{with_uncertainty(window.time, window.time_uncertainty)}{_SPACE}s and "
        f"{with_uncertainty(window.turns, window.turns_uncertainty)} turns."
    )


def measured_rows(rundown: Measured, window: Window | None, unseen: UnseenHill | None = None) -> list[tuple[str, str]]:
    """Give what was measured, a name and a value each."""
    rows = [
        _readings_row(rundown),
        ("Turns", f"{turns_of(rundown):.1f}"),
        ("Speed", f"{per_minute(rundown.speed_high)} down to {per_minute(rundown.speed_low)}"),
    ]
    if window is not None:
        kind = _KINDS[defined_by(rundown)]
        turning = f"{per_minute(window.speed_from)} down to {per_minute(window.speed_to)}"
        rows.append(("Window", f"{turning} ({window.speed_from:.4g} to {window.speed_to:.4g}{_SPACE}rad/s), {kind}"))
    rows += _hill_rows(rundown, unseen)
    rows += _drag_rows(rundown)
    rows.append(_reading_row(rundown))
    if rundown.drift is not None and rundown.drift.none < 0.5:
        rows.append(("Drag wandered in the run", f"by about {percent(rundown.drift.size)} of itself"))
    return rows


def _readings_row(rundown: Measured) -> tuple[str, str]:
    """Say from how much it was measured."""
    if isinstance(rundown, Rundown):
        marks = "1 mark" if rundown.marks == 1 else f"{rundown.marks} marks"
        return "Passes", f"{rundown.passes} of {marks} a turn"
    return "Speeds" if isinstance(rundown, SpeedRundown) else "Angles", f"{rundown.residuals.size}"


def _reading_row(rundown: Measured) -> tuple[str, str]:
    """Say how good one reading is."""
    if isinstance(rundown, Rundown):
        return "One time is good to", short_time(rundown.sigma)
    if isinstance(rundown, SpeedRundown):
        return "One speed is good to", f"{rundown.sigma * _PER_MINUTE:.2g}{_SPACE}r/min"
    return "One angle is good to", f"{math.degrees(rundown.sigma):.2g}°"


def _hill_rows(rundown: Measured, unseen: UnseenHill | None) -> list[tuple[str, str]]:
    """Say the bump, or how large one could have been missed."""
    hill = hill_of(rundown)
    if hill is None:
        return [("Magnetic bump", _no_hill(rundown)), *([] if unseen is None else _unseen_rows(unseen))]
    height, uncertainty = hill_height(hill)
    start = rundown.speed_high**2 / 2
    size = with_uncertainty(100 * height / start, 100 * uncertainty / start)
    speed, spread = capture_speed(hill)
    caught = f"{with_uncertainty(speed * _PER_MINUTE, spread * _PER_MINUTE)}{_SPACE}r/min"
    return [
        (
            "Magnetic bump",
            f"{size}{_SPACE}% of the energy at the start, from trough to crest; it takes none of it",
        ),
        ("It catches the wheel below", f"{caught}; a fair window ends at {per_minute(3 * speed)} or above"),
        *_standstill_rows(rundown),
    ]


def _no_hill(rundown: Measured) -> str:
    """Say why no bump is given."""
    if isinstance(rundown, SpeedRundown):
        return "cannot be seen without angles"
    few = isinstance(rundown, Rundown) and rundown.marks <= 2
    return "cannot be seen with so few marks" if few else "none seen"


def _unseen_rows(unseen: UnseenHill) -> list[tuple[str, str]]:
    """Say how large a bump could have been missed, and what it would do."""
    caught, fair = per_minute(unseen.capture_speed), per_minute(3 * unseen.capture_speed)
    size = f"up to {100 * unseen.share:.2g}{_SPACE}% of the energy at the start, from trough to crest"
    return [
        ("One that could be missed", f"{size}; a larger one shows in 95 of 100 such recordings"),
        ("That one would catch", f"the wheel below {caught}; a fair window ends at {fair} or above"),
    ]


def _standstill_rows(rundown: Measured) -> list[tuple[str, str]]:
    """Say what the bump alone could do to a time to standstill."""
    bound = standstill_bound(rundown)
    if bound is None:
        return []
    earlier, later = percent(bound.turn_back), percent(bound.rest)
    said = f"the bump alone can bring the first turn back up to {earlier} earlier, the rest up to {later} later"
    return [("In a time to standstill", said)]


def _drag_rows(rundown: Measured) -> list[tuple[str, str]]:
    """Say the drag at both ends, and what it is made of where the speeds tell."""
    speeds = np.array([rundown.speed_high, rundown.speed_low])
    value, spread, _ = drag_at(rundown.drag, speeds)
    ends = " and ".join(
        f"{with_uncertainty(f * _PER_MINUTE, u * _PER_MINUTE)} at {per_minute(w)}"
        for w, f, u in zip(speeds, value, spread, strict=True)
    )
    rows = [("Lost each second, r/min", ends)]
    terms = usual_terms(rundown)
    if terms is None:
        return rows
    deviation = np.sqrt(np.diag(terms.covariance))
    middle = math.sqrt(rundown.speed_high * rundown.speed_low)
    whole = float(terms.coefficients @ np.array([middle**power for power in terms.powers]))
    parts = [
        f"{TERM_NAMES[power]} {with_uncertainty(100 * c * middle**power / whole, 100 * u * middle**power / whole)}"
        for power, c, u in zip(terms.powers, terms.coefficients, deviation, strict=True)
    ]
    unsure = float(np.max(deviation * np.array([middle**power for power in terms.powers]))) > _UNSURE * whole
    hint = "; these speeds hardly tell them apart" if unsure else ""
    return [*rows, (f"Made up of, % at {per_minute(middle)}", ", ".join(parts) + hint)]


def per_minute(speed: float) -> str:
    r"""Write a speed in turns a minute.

    Examples
    --------
    >>> per_minute(20.0)
    '191.0\xa0r/min'
    """
    return f"{speed * _PER_MINUTE:#.4g}{_SPACE}r/min"


def with_uncertainty(value: float, uncertainty: float) -> str:
    """Write a value and its standard uncertainty, to two digits of the latter but no more than seven in all.

    Examples
    --------
    >>> with_uncertainty(66.4832, 0.00312), with_uncertainty(12.0, 4.0), with_uncertainty(3.25, 0.0)
    ('66.4832 ± 0.0031', '12.0 ± 4.0', '3.25')
    >>> with_uncertainty(66.483463, 0.0000131)
    '66.48346 ± 0.00001'
    """
    if not uncertainty > 0 or not math.isfinite(uncertainty):
        return f"{value:.6g}".replace("-", "\N{MINUS SIGN}")
    before = math.floor(math.log10(max(abs(value), uncertainty))) + 1
    decimals = max(0, min(1 - math.floor(math.log10(uncertainty)), _MOST_DIGITS - before))
    return f"{value:.{decimals}f} ± {max(uncertainty, 10.0**-decimals):.{decimals}f}".replace("-", "\N{MINUS SIGN}")


def short_time(seconds: float) -> str:
    r"""Write a short time.

    Examples
    --------
    >>> short_time(2e-5), short_time(0.0123), short_time(0.27)
    ('20\xa0µs', '12\xa0ms', '270\xa0ms')
    """
    for size, unit in ((1.0, "s"), (1e-3, "ms")):
        if seconds >= size:
            return f"{float(f'{seconds / size:.2g}'):g}{_SPACE}{unit}"
    return f"{float(f'{seconds * 1e6:.2g}'):g}{_SPACE}µs"
