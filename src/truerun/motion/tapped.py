"""The faster part of a rundown from the taps of a hand: quick, and what tapping alone leaves open."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from truerun.errors import FitImpossible
from truerun.motion.counting import count_passes
from truerun.motion.fit import fit_rundown
from truerun.motion.rundown import Rundown
from truerun.series import Clock, Passes, Timing

__all__ = ["LEAST_TAPS", "faster_part", "tapped_rundown"]

LEAST_TAPS = 12
"""Fewer taps in the faster part carry no curve."""

SLOWEST = 0.3
"""Share of the fastest rate at which the faster part ends: turns then change little from one to the next."""

ABOVE_A_STOP = 1.5
"""From how many last rates of a wheel that stopped on: a bump that catches a wheel first slows its last turns."""

_TERMS = 3


def faster_part(times: NDArray[np.float64], *, stopped: bool) -> NDArray[np.float64]:
    """Leave off the slow end of a tapped run, where turns are few and a bump may be felt.

    Parameters
    ----------
    times : array, shape (n,)
        Increasing [s].
    stopped : bool
        Whether the wheel was tapped until it stopped.

    Returns
    -------
    array, shape (k,)
        The taps up to the one at which the wheel has become slow.

    Notes
    -----
    The rate at a tap is one over the middle value of five intervals, so that a missed tap does no harm. Slow is below
    0.3 of the fastest rate and, for a wheel that stopped, below 1.5 times its last one.

    Examples
    --------
    >>> passes = 20.0 - 20 * np.sqrt(1 - np.arange(40) / 40)  # steady drag, 40 turns to rest
    >>> faster_part(passes, stopped=True).size
    37
    """
    steps = np.diff(times)
    if steps.size < LEAST_TAPS - 1:
        return times
    around = np.lib.stride_tricks.sliding_window_view(np.pad(steps, 2, mode="edge"), 5)
    rates = 1 / np.median(around, axis=1)
    fastest = int(np.argmax(rates))
    slow = max(SLOWEST * rates[fastest], ABOVE_A_STOP * rates[-1] if stopped else 0.0)
    ended = np.flatnonzero(rates[fastest:] < slow)
    return times if not ended.size else times[: fastest + int(ended[0]) + 1]


def tapped_rundown(times: NDArray[np.float64], *, stopped: bool = False) -> Rundown:
    """Fit the faster part of a run that a hand tapped, once for every pass of one mark.

    Parameters
    ----------
    times : array, shape (n,)
        Increasing [s].
    stopped : bool
        Whether the wheel was tapped until it stopped.

    Returns
    -------
    Rundown
        Drag of three terms in sqrt(speed). Uncertainties are those of tapping alone: how the drag of a wheel wanders
        shows between runs.

    Raises
    ------
    FitImpossible
        If there are too few taps, or they follow no wheel that slows down.

    Examples
    --------
    >>> passes = 20.0 - 20 * np.sqrt(1 - np.arange(40) / 40)  # steady drag, 4 turns a second at first
    >>> found = tapped_rundown(passes)
    >>> round(float(found.speed_high / np.pi), 3), found.passes
    (8.0, 37)
    """
    part = faster_part(times, stopped=stopped)
    if part.size < LEAST_TAPS:
        raise FitImpossible(
            f"There are {part.size} taps while it still ran fast; at least {LEAST_TAPS} are needed, better 40. Push it "
            "faster, and tap at every pass."
        )
    counted = count_passes(Passes(part, timing=Timing(clock=Clock.HAND)), 1)
    return fit_rundown(counted.times, 1, counts=counted.counts, terms=_TERMS)
