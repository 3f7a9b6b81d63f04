"""The turn map: all that one turn does, as smooth functions of the energy at its start."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.polynomial.chebyshev import chebvander
from numpy.typing import NDArray

from truerun.motion.drag_curve import DragBasis
from truerun.motion.hill import hill_matrix
from truerun.motion.panels import TurnGrid, rows_at
from truerun.motion.turn import Turn, TurnSlopes, least_energy, turn_motion, turn_slopes

__all__ = ["Caught", "OffTable", "Solver", "TurnMap", "turn_map", "turn_shapes"]


class Caught(ArithmeticError):
    """With these parameters the hill stops the wheel within the recording; used inside the fit only."""


class OffTable(Caught):
    """The turns lead to energies below those of the map; a map that reaches lower may hold them."""


@dataclass(frozen=True, slots=True)
class Solver:
    """How finely a turn is solved: panels round the turn, starting energies, and the drag's basis."""

    grid: TurnGrid
    nodes: int
    basis: DragBasis


@dataclass(frozen=True, slots=True)
class TurnMap:
    """Chebyshev coefficients, in s = ln(energy - least), of what one turn does.

    ``loss`` (j,) energy lost; ``carry`` (j,) derivative of the end energy with respect to the start energy;
    ``times`` (j, m) time to each mark; ``times_start`` (j, m) its derivative with respect to the start energy;
    ``slowness`` (j, m) 1/speed at the marks; ``end`` (j, q) and ``times_weights`` (j, m, q) derivatives of end
    energy and times with respect to the weights of drag and hill.
    """

    least: float
    low: float
    high: float
    loss: NDArray[np.float64]
    carry: NDArray[np.float64]
    times: NDArray[np.float64]
    times_start: NDArray[np.float64]
    slowness: NDArray[np.float64]
    end: NDArray[np.float64]
    times_weights: NDArray[np.float64]


def turn_map(
    solver: Solver,
    drag: NDArray[np.float64],
    hill: NDArray[np.float64],
    marks: NDArray[np.float64],
    spare: tuple[float, float],
) -> TurnMap:
    """Solve a turn at Chebyshev-Lobatto nodes and keep its series.

    Parameters
    ----------
    solver : Solver
    drag : array, shape (p,)
        Weights of the drag.
    hill : array, shape (2 K,)
        Harmonics, cosine 1, sine 1, ... [rad^2/s^2].
    marks : array, shape (m,)
        True angles of the marks from the start of the turn [rad].
    spare : (float, float)
        Range of starting energies: the energy above the least one at the slowest turn, and the energy at the
        fastest turn [rad^2/s^2].

    Returns
    -------
    TurnMap

    Raises
    ------
    Caught
        If a turn in the range does not get over the hill.
    """
    grid = solver.grid
    waves = hill_matrix(grid.angles, hill.size // 2)
    well = waves @ hill
    least = least_energy(grid, well, solver.basis, drag)
    if spare[1] <= least:
        raise Caught
    low, high = np.log(spare[0]), np.log(spare[1] - least)
    if high - low < 0.02:
        low, high = low - 0.01, high + 0.01
    places = np.cos(np.pi * np.arange(solver.nodes) / (solver.nodes - 1))
    start = least + np.exp(low + (high - low) * (places + 1) / 2)
    turn = turn_motion(grid, well, solver.basis, drag, start)
    if not turn.clears.all():
        raise Caught
    slopes = turn_slopes(grid, waves, solver.basis, drag, turn)
    return _series(rows_at(grid, marks), waves, turn, slopes, (least, float(low), float(high)))


def _series(
    rows: tuple[NDArray[np.float64], NDArray[np.float64]],
    waves: NDArray[np.float64],
    turn: Turn,
    slopes: TurnSlopes,
    place: tuple[float, float, float],
) -> TurnMap:
    """Turn times at the marks and their derivatives into Chebyshev coefficients."""
    integrate, interpolate = rows
    slowness = 1 / turn.speed
    cube = slowness**3
    nodes = turn.loss.size
    drags = slopes.end.shape[1] - waves.shape[1]
    bent = slopes.energy.copy()
    bent[..., drags:] -= waves[:, None, :]
    bent *= -cube[..., None]
    times_weights = (integrate @ bent.reshape(slowness.shape[0], -1)).reshape(-1, nodes, drags + waves.shape[1])
    series = np.linalg.inv(chebvander(np.cos(np.pi * np.arange(nodes) / (nodes - 1)), nodes - 1))
    return TurnMap(
        *place,
        loss=series @ turn.loss,
        carry=series @ slopes.end_start,
        times=series @ (integrate @ slowness).T,
        times_start=series @ (integrate @ (-slopes.energy_start * cube)).T,
        slowness=series @ (interpolate @ slowness).T,
        end=series @ slopes.end,
        times_weights=np.tensordot(series, times_weights, axes=(1, 1)),
    )


def turn_shapes(table: TurnMap, start: NDArray[np.float64]) -> NDArray[np.float64]:
    """Chebyshev polynomials at some starting energies.

    Parameters
    ----------
    table : TurnMap
    start : array, shape (n,)
        Energies at the start of a turn [rad^2/s^2].

    Returns
    -------
    array, shape (n, j)
        Times a series of the map: its value for these turns.

    Raises
    ------
    OffTable
        If an energy is not above the least one.
    """
    above = start - table.least
    if not (above > 0).all():
        raise OffTable
    place = (2 * np.log(above) - table.low - table.high) / (table.high - table.low)
    return np.asarray(chebvander(place, table.loss.size - 1), dtype=np.float64)
