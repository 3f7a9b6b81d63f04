"""Releases from rest in one long recording: held still, let go, turned back, caught, held still again."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from truerun.motion.panels import TURN
from truerun.motion.turnings import scatter_of, turning_points
from truerun.series import AngleTrack, Releases

__all__ = ["releases_in"]

HELD = 1.0
"""For so long a wheel must stand still to count as held [s]."""

STILL = 3e-3
"""Within this it stands still, or within six times the scatter of a reading [rad]."""

FEWEST = 4
BACK = 0.1
"""A wheel that was let go swings back by at least this share of its way; a hand sets it down."""

FINEST_STEP = 0.01
FEWEST_ROWS = 8


def releases_in(track: AngleTrack) -> Releases | None:
    """Find releases from rest in a track of angles.

    Parameters
    ----------
    track : AngleTrack

    Returns
    -------
    Releases or None
        Where the wheel was held still for a second or more, then moved, and turned back by itself, four times or more;
        None where it was not.

    Notes
    -----
    A wheel that a hand takes to the next place comes to rest there and does not swing back. Readings closer than .01 s
    are thinned out before anything stands still or moves.

    Examples
    --------
    >>> times = np.arange(0, 8, 0.05)
    >>> swing = np.where(times % 2 < 1.2, 1.0, np.cos(6 * (times % 2 - 1.2)))
    >>> found = releases_in(AngleTrack(times, swing))
    >>> found.starts.round(2), found.turnings.round(2)
    (array([1., 1., 1., 1.]), array([-1., -1., -1., -1.]))
    """
    if track.times.size < FEWEST_ROWS:
        return None
    step = max(int(FINEST_STEP / max(float(np.median(np.diff(track.times))), 1e-9)), 1)
    times = track.times[::step]
    wound = float(np.ptp(track.angles)) <= 1.02 * TURN
    angles = (np.unwrap(track.angles) if wound else track.angles)[::step]
    if times.size < 3 or times[-1] - times[0] < FEWEST * HELD:
        return None
    scatter = scatter_of(times, angles)
    held = _held(times, angles, max(STILL, 6 * scatter))
    if len(held) < FEWEST:
        return None
    found = []
    for (first, last), (after, _) in zip(held, [*held[1:], (times.size, times.size)], strict=True):
        start = float(np.median(angles[first : first + max(2 * (last - first) // 3, 1)]))
        rows = slice(last - 1, after)
        turned = _turned_back(start, times[rows], angles[rows], max(STILL, 8 * scatter))
        if turned is not None:
            found.append((start, turned))
    if len(found) < FEWEST:
        return None
    starts, turnings = np.array(found).T
    return Releases(starts, turnings)


def _held(times: NDArray[np.float64], angles: NDArray[np.float64], still: float) -> list[tuple[int, int]]:
    """Find the stretches in which the wheel stands still, as first row and the one after the last."""
    ahead = np.searchsorted(times, times + HELD)
    inside = np.flatnonzero(ahead < times.size)
    calm = inside[np.abs(angles[ahead[inside]] - angles[inside]) <= 2 * still]
    found: list[tuple[int, int]] = []
    for row in calm.tolist():
        beyond = int(ahead[row]) + 1
        if (found and row < found[-1][1]) or float(np.ptp(angles[row:beyond])) > 2 * still:
            continue
        middle = float(np.mean(angles[row:beyond]))
        moved = np.flatnonzero(np.abs(angles[beyond:] - middle) > 1.5 * still)
        found.append((row, beyond + int(moved[0]) if moved.size else times.size))
    return found


def _turned_back(start: float, times: NDArray[np.float64], angles: NDArray[np.float64], least: float) -> float | None:
    """Give the angle at which a wheel that was let go first turned back; None where it did not by itself."""
    if angles.size < FEWEST_ROWS:
        return None
    turned = turning_points(times, angles, least=least)
    if not turned.times.size:
        return None
    first = float(turned.values[0])
    later = angles[times > turned.times[0]]
    side = np.sign(first - start)
    return first if float((side * (first - later)).max()) > BACK * abs(first - start) > BACK * least else None
