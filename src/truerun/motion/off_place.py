"""Counted passes that lie where no mark can have passed."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from truerun.motion.mark_pattern import mark_widths

__all__ = ["off_place", "places_away"]

LEAST_AWAY = 0.03
SCATTERS = 7.0
MOST_AWAY = 0.35
ROUNDS = 6
TURNS = (-2, -1, 1, 2)


def places_away(times: NDArray[np.float64], counts: NDArray[np.intp], marks: int) -> NDArray[np.float64]:
    """How far each pass lies from its place between its neighbours.

    Parameters
    ----------
    times : array, shape (n,)
        Increasing [s].
    counts : array of int, shape (n,)
        Number of each pass.
    marks : int
        Marks per turn.

    Returns
    -------
    array, shape (n,)
        As a share of the gap to the nearer of the marks beside it; NaN where no other turn has the same three passes.

    Notes
    -----
    A pass divides the time between its neighbours in nearly the same way in each turn; the reference is the median
    over up to two turns on either side.
    """
    at = np.full(int(counts[-1] - counts[0]) + 1, np.nan)
    own = counts - counts[0]
    at[own] = times
    before, here, after = own[:-2], own[1:-1], own[2:]
    share = (times[1:-1] - times[:-2]) / (times[2:] - times[:-2])
    others = np.full((len(TURNS), here.size), np.nan)
    for row, turns in enumerate(TURNS):
        moved = [_taken(at, part + turns * marks) for part in (before, here, after)]
        others[row] = (moved[1] - moved[0]) / (moved[2] - moved[0])
    known = np.isfinite(others).any(axis=0)
    away = np.full(times.size, np.nan)
    usual = np.full(here.size, np.nan)
    usual[known] = np.nanmedian(others[:, known], axis=0)
    widths = np.nan_to_num(mark_widths(times, counts, marks), nan=1 / marks)
    gone = np.concatenate([[0.0], np.cumsum(widths)])
    angles = counts // marks + gone[counts % marks]
    near = np.minimum(widths[counts[1:-1] % marks], widths[(counts[1:-1] - 1) % marks])
    away[1:-1][known] = ((share - usual) * (angles[2:] - angles[:-2]) / near)[known]
    return away


def _taken(values: NDArray[np.float64], places: NDArray[np.intp]) -> NDArray[np.float64]:
    """Take values, NaN outside."""
    inside = (places >= 0) & (places < values.size)
    return np.where(inside, values[np.where(inside, places, 0)], np.nan)


def off_place(times: NDArray[np.float64], counts: NDArray[np.intp], marks: int) -> NDArray[np.bool_]:
    """Find passes that cannot be of the mark whose number they got.

    Parameters
    ----------
    times : array, shape (n,)
        Increasing [s].
    counts : array of int, shape (n,)
        Number of each pass.
    marks : int
        Marks per turn.

    Returns
    -------
    array of bool, shape (n,)

    Notes
    -----
    More than 3 % of the gap to the next mark and more than seven times the usual scatter from its place, or more
    than 35 % of that gap. The farthest of its
    neighbourhood goes first, since it moves the reference of the others.
    """
    off = np.zeros(times.size, dtype=np.bool_)
    for _ in range(ROUNDS):
        left = np.flatnonzero(~off)
        if left.size < 3 * marks + 3:
            break
        away = np.nan_to_num(np.abs(places_away(times[left], counts[left], marks)))
        limit = min(max(LEAST_AWAY, SCATTERS * float(np.median(away)) / 0.6745), MOST_AWAY)
        beside = np.lib.stride_tricks.sliding_window_view(np.pad(away, 2), 5).max(axis=1)
        worst = (away > limit) & (away >= beside)
        if not worst.any():
            break
        off[left[worst]] = True
    return off
