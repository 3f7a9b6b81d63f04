"""Places of a point that goes round, or to and fro on an arc, as angles about the centre of its circle."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from truerun.series import AngleTrack, PositionTrack

__all__ = ["Circle", "circle_through", "round_track"]

MOST_OFF = 0.1
"""Scatter of the distances from the centre, as a share of the radius, up to which a path is a circle."""

SHORTEST_ARC = np.radians(20)
"""Arcs shorter than this are nearly straight, and their centre is not known."""

BETTER = 0.3
"""A circle must leave less than this share of what a straight line leaves."""


@dataclass(frozen=True, slots=True)
class Circle:
    """A circle through places: its centre, its radius, and by how much the distances from it scatter."""

    x: float
    y: float
    radius: float
    scatter: float


def circle_through(x: NDArray[np.float64], y: NDArray[np.float64]) -> Circle:
    """Find the circle that places lie on.

    Parameters
    ----------
    x, y : array, shape (n,)
        At least 3.

    Returns
    -------
    Circle

    Notes
    -----
    x^2 + y^2 = 2 a x + 2 b y + c by least squares, about the mean place; unbiased for whole turns, good to the
    scatter squared over the radius for arcs.

    Examples
    --------
    >>> angles = np.linspace(0, 3, 9)
    >>> found = circle_through(2 + 5 * np.cos(angles), 1 + 5 * np.sin(angles))
    >>> round(found.x, 9), round(found.y, 9), round(found.radius, 9)
    (2.0, 1.0, 5.0)
    """
    away = np.column_stack([x - x.mean(), y - y.mean()])
    columns = np.column_stack([2 * away, np.ones(x.size)])
    a, b, c = np.linalg.lstsq(columns, (away**2).sum(axis=1), rcond=None)[0].tolist()
    radius = float(np.sqrt(max(c + a**2 + b**2, 0.0)))
    distances = np.hypot(away[:, 0] - a, away[:, 1] - b)
    return Circle(a + float(x.mean()), b + float(y.mean()), radius, float(np.sqrt(np.mean((distances - radius) ** 2))))


def round_track(track: PositionTrack) -> tuple[AngleTrack, Circle] | None:
    """Turn places into angles where they lie on a circle.

    Parameters
    ----------
    track : PositionTrack

    Returns
    -------
    (AngleTrack, Circle) or None
        None where the path is no circle: then it may still swing along a line.

    Examples
    --------
    >>> angles = np.linspace(0, 9, 90)
    >>> found = round_track(PositionTrack(angles, 3 * np.cos(angles), 3 * np.sin(angles)))
    >>> found[0].angles[1:3].round(3), round(found[1].radius, 9)
    (array([0.101, 0.202]), 3.0)
    """
    if track.times.size < 3:
        return None
    circle = circle_through(track.x, track.y)
    if not circle.radius > 0 or circle.scatter > MOST_OFF * circle.radius:
        return None
    angles = np.unwrap(np.arctan2(track.y - circle.y, track.x - circle.x))
    reach = float(np.ptp(angles))
    away = np.column_stack([track.x - track.x.mean(), track.y - track.y.mean()])
    off_line = float(np.linalg.svd(away, compute_uv=False)[1]) / np.sqrt(track.times.size)
    if reach < SHORTEST_ARC or circle.scatter > BETTER * off_line:
        return None
    return AngleTrack(track.times, np.asarray(angles, dtype=np.float64), timing=track.timing), circle
