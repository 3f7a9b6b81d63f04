"""One turn cut into panels of Gauss-Legendre nodes: integrals and interpolation at high order."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.polynomial.legendre import leggauss, legvander
from numpy.typing import NDArray

__all__ = ["NODES", "TURN", "TurnGrid", "cumulative", "over_turn", "rows_at", "turn_grid"]

TURN = 2 * np.pi
NODES = 10


@dataclass(frozen=True, slots=True)
class TurnGrid:
    """Nodes of one turn, panel after panel.

    ``angles`` are the nodes [rad], shape (n,); ``inside`` maps the values in a panel to their integral from the
    start of the panel to each node, ``whole`` to the integral over the panel, ``series`` to Legendre
    coefficients.
    """

    panels: int
    angles: NDArray[np.float64]
    inside: NDArray[np.float64]
    whole: NDArray[np.float64]
    series: NDArray[np.float64]


def turn_grid(panels: int) -> TurnGrid:
    """Cut a turn into equal panels of ten Gauss-Legendre nodes.

    Parameters
    ----------
    panels : int
        Number of panels, at least 1.

    Returns
    -------
    TurnGrid

    Notes
    -----
    Exact for polynomials of degree 9 in each panel; integrals over whole panels up to degree 19.

    Examples
    --------
    >>> grid = turn_grid(4)
    >>> bool(np.isclose(over_turn(grid, np.cos(grid.angles) ** 2), np.pi, rtol=1e-14))
    True
    """
    nodes, weights = leggauss(NODES)
    half = TURN / panels / 2
    degrees = np.arange(NODES)
    series = (2 * degrees[:, None] + 1) / 2 * weights * legvander(nodes, NODES - 1).T
    starts = TURN / panels * np.arange(panels)
    angles = (starts[:, None] + half * (nodes + 1)).ravel()
    return TurnGrid(panels, angles, half * _legendre_integrals(nodes) @ series, half * weights, series)


def cumulative(grid: TurnGrid, values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Integrate from the start of the turn to every node.

    Parameters
    ----------
    grid : TurnGrid
    values : array, shape (n, ...)
        Integrand at the nodes.

    Returns
    -------
    array, shape (n, ...)
    """
    by_panel = values.reshape(grid.panels, NODES, -1)
    totals = grid.whole @ by_panel
    before = np.cumsum(totals, axis=0) - totals
    return (grid.inside @ by_panel + before[:, None, :]).reshape(values.shape)


def over_turn(grid: TurnGrid, values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Integrate over the whole turn.

    Parameters
    ----------
    grid : TurnGrid
    values : array, shape (n, ...)
        Integrand at the nodes.

    Returns
    -------
    array, shape (...)
    """
    total: NDArray[np.float64] = np.tensordot(np.tile(grid.whole, grid.panels), values, axes=1)
    return total


def rows_at(grid: TurnGrid, angles: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Weights that integrate up to, and interpolate at, any angles of the turn.

    Parameters
    ----------
    grid : TurnGrid
    angles : array, shape (m,)
        From the start of the turn, a little outside is allowed [rad].

    Returns
    -------
    integrate, interpolate : array, shape (m, n)
        Each row times the values at the nodes gives the integral from 0 to the angle, or the value there.
    """
    width = TURN / grid.panels
    panel = np.clip((angles / width).astype(np.intp), 0, grid.panels - 1)
    place = 2 * (angles / width - panel) - 1
    shape = (angles.size, grid.panels, NODES)
    integrate = np.where((np.arange(grid.panels) < panel[:, None])[..., None], grid.whole, np.zeros(shape))
    interpolate = np.zeros(shape)
    each = np.arange(angles.size)
    integrate[each, panel] = width / 2 * _legendre_integrals(place) @ grid.series
    interpolate[each, panel] = legvander(place, NODES - 1) @ grid.series
    return integrate.reshape(angles.size, -1), interpolate.reshape(angles.size, -1)


def _legendre_integrals(place: NDArray[np.float64]) -> NDArray[np.float64]:
    """Integrals of the Legendre polynomials from -1 to each place, shape (m, NODES)."""
    values = legvander(place, NODES)
    degrees = np.arange(1, NODES)
    first = (place + 1)[:, None]
    return np.hstack([first, (values[:, 2:] - values[:, :-2]) / (2 * degrees + 1)])
