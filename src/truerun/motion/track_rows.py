"""Rows of a track in the order of time: one row a time, and no time that falls back."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from truerun.errors import FitImpossible
from truerun.findings.catalogue import finding
from truerun.findings.finding import Finding
from truerun.series import AngleTrack, PositionTrack

__all__ = ["first_of_each_time", "require_forward", "rows_in_order"]


def require_forward(times: NDArray[np.float64]) -> None:
    """Refuse times that fall back.

    Parameters
    ----------
    times : array, shape (n,)
        As recorded [s].

    Raises
    ------
    FitImpossible
        With the first row that is earlier than the one before.
    """
    back = np.flatnonzero(np.diff(times) < 0)
    if back.size:
        raise FitImpossible(
            f"The time in row {int(back[0]) + 2} is earlier than the one before. Cut the recording there and use one "
            "part."
        )


def first_of_each_time(times: NDArray[np.float64]) -> NDArray[np.intp]:
    """Give the rows that are the first of their time.

    Parameters
    ----------
    times : array, shape (n,)
        Not falling [s].

    Returns
    -------
    array of int

    Examples
    --------
    >>> first_of_each_time(np.array([0.0, 0.0, 0.1, 0.2, 0.2]))
    array([0, 2, 3])
    """
    return np.flatnonzero(np.diff(times, prepend=-np.inf) > 0)


def rows_in_order(track: AngleTrack | PositionTrack) -> tuple[AngleTrack | PositionTrack, tuple[Finding, ...]]:
    """Keep the first row of each time.

    Parameters
    ----------
    track : AngleTrack or PositionTrack

    Returns
    -------
    track : AngleTrack or PositionTrack
        With times that increase.
    findings : tuple of Finding
        Where rows were left out.

    Raises
    ------
    FitImpossible
        If a time falls back.

    Notes
    -----
    Stamps are cut off more often than rounded, so the first row of a stamp lies nearest to it.

    Examples
    --------
    >>> rows_in_order(AngleTrack(np.array([0.0, 0.1, 0.1]), np.array([0.0, 0.5, 0.7])))[0].times
    array([0. , 0.1])
    """
    require_forward(track.times)
    rows = first_of_each_time(track.times)
    if rows.size == track.times.size:
        return track, ()
    said = (finding("rows-of-one-time", rows=track.times.size, stamps=rows.size),)
    if isinstance(track, AngleTrack):
        return replace(track, times=track.times[rows], angles=track.angles[rows]), said
    return replace(track, times=track.times[rows], x=track.x[rows], y=track.y[rows]), said
