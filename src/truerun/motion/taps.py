"""Counting taps of a watch worked by hand: one mark, large scatter, so that only the whole run tells."""

from __future__ import annotations

import numpy as np
from numpy.polynomial import Chebyshev
from numpy.typing import NDArray

from truerun.errors import FitImpossible

__all__ = ["count_taps", "tap_curve"]

LEAST_TAPS = 8
MOST_DEGREE = 5
ROUNDS = 20


def count_taps(times: NDArray[np.float64]) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.float64]]:
    """Give taps their turns by a smooth curve of turns over time.

    Parameters
    ----------
    times : array, shape (n,)
        Increasing [s].

    Returns
    -------
    index, counts : array of int, shape (k,)
        Which taps count, and the turn of each.
    away : array, shape (k,)
        How far each lies from the curve [turns].

    Raises
    ------
    FitImpossible
        If there are fewer than eight taps, or no smooth curve goes through them.

    Notes
    -----
    First numbers from each interval over the median of those around it, then rounds of fitting and rounding
    until nothing changes. Of two taps in one turn the nearer one counts.
    """
    if times.size < LEAST_TAPS:
        raise FitImpossible(
            f"There are {times.size} taps; at least {LEAST_TAPS} are needed, better 40: tap at every turn, over the "
            "whole rundown."
        )
    steps = np.diff(times)
    near = np.lib.stride_tricks.sliding_window_view(np.pad(steps, 3, mode="reflect"), 7)
    counts = np.concatenate([[0.0], np.cumsum(np.round(steps / np.median(near, axis=1)))])
    for _ in range(ROUNDS):
        curve = tap_curve(times, counts)
        rounded = np.round(curve - np.median(curve - np.round(curve)))
        if (rounded == counts).all():
            break
        counts = rounded
    away = tap_curve(times, counts) - counts
    keep = _nearest(counts, np.abs(away))
    index = np.flatnonzero(keep)
    whole = np.asarray(counts[keep] - counts[keep][0], dtype=np.intp)
    return index.astype(np.intp), whole, away[keep]


def tap_curve(times: NDArray[np.float64], counts: NDArray[np.float64]) -> NDArray[np.float64]:
    """Read the turns at the times of taps off a smooth curve through their numbers.

    Parameters
    ----------
    times, counts : array, shape (n,)
        [s] and [turns].

    Returns
    -------
    array, shape (n,)
    """
    degree = min(MOST_DEGREE, 2 + times.size // 10)
    weights = np.ones(times.size)
    for _ in range(3):
        curve = Chebyshev.fit(times, counts, degree, w=weights)(times)
        weights = 1 / np.maximum(1.0, np.abs(counts - curve) / 0.2)
    return np.asarray(curve, dtype=np.float64)


def _nearest(counts: NDArray[np.float64], away: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Of taps with one number keep the nearest."""
    keep = np.zeros(counts.size, dtype=np.bool_)
    keep[[int(np.flatnonzero(counts == turn)[np.argmin(away[counts == turn])]) for turn in np.unique(counts)]] = True
    return keep
