"""The fair window of several runs: found once, from all of them together, without knowing a condition."""

from __future__ import annotations

import math
from collections.abc import Sequence

from truerun.motion.hill import capture_speed
from truerun.motion.measured import Measured, hill_of

__all__ = ["CAPTURES", "fair_window", "held_window"]

CAPTURES = 3.0
"""From how many capture speeds on the time of a turn is within .25 % of the one without a hill."""

STEP = 0.1


def fair_window(runs: Sequence[Measured]) -> tuple[float, float]:
    """Give the speeds between which runs can be compared.

    Parameters
    ----------
    runs : sequence of Rundown or SpeedRundown
        All runs, whatever their conditions; at least one.

    Returns
    -------
    start, end : float
        [rad/s]. The start is the slowest launch. The end is three times the largest capture speed, rounded up to .1
        rad/s; where no run shows a hill, the lowest speed that all of them fell through, rounded up likewise.

    Notes
    -----
    Nothing says that the end lies below the start, or that every run fell to it: the caller checks.

    Examples
    --------
    >>> from truerun.motion.fit import fit_rundown
    >>> import numpy as np
    >>> run = fit_rundown(4 * (1 - np.sqrt(1 - np.arange(40) / 60)), 1, terms=(0,), sigma=1e-5)
    >>> start, end = fair_window([run, run])
    >>> round(start, 1), round(end, 1)
    (188.5, 111.6)
    """
    start = min(run.speed_high for run in runs)
    hills = [hill for hill in map(hill_of, runs) if hill is not None]
    if hills:
        return start, _rounded_up(CAPTURES * max(capture_speed(hill)[0] for hill in hills))
    return start, _rounded_up(max(run.speed_low for run in runs))


def held_window(runs: Sequence[Measured]) -> tuple[float, float] | None:
    """Give the widest fair window that all runs hold; None where there is none.

    Parameters
    ----------
    runs : sequence of Measured
        At least one.

    Returns
    -------
    (float, float) or None
        As :func:`fair_window` gives it [rad/s]; where some run did not fall so far, the end is the lowest speed that
        all fell through, rounded up to .1 rad/s. It then lies above three capture speeds, so it is fair all the same.
    """
    start, end = fair_window(runs)
    end = max(end, _rounded_up(max(run.speed_low for run in runs)))
    return (start, end) if end < start else None


def _rounded_up(speed: float) -> float:
    """Round up to the next .1 rad/s."""
    return round(math.ceil(speed / STEP - 1e-9) * STEP, 10)
