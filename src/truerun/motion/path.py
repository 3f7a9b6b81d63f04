"""One whole run as a path over the angle: energy, time and what every parameter does to them, without a turn map."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from truerun.motion.drag_curve import DragBasis, basis_slopes, basis_values
from truerun.motion.hill import hill_matrix
from truerun.motion.panels import NODES, TURN, TurnGrid, cumulative, turn_grid

__all__ = ["MARGIN", "Path", "PathGrid", "angles_at", "path_grid", "path_of", "pushed"]

PASSES = 12
SETTLED = 1e-11
SLOWEST = 0.02
MARGIN = 0.2
DELAY_PASSES = 20


@dataclass(frozen=True, slots=True, eq=False)
class PathGrid:
    """Nodes over all turns, with the hill's harmonics there; ``basis`` is that of the drag."""

    grid: TurnGrid
    waves: NDArray[np.float64]
    basis: DragBasis


@dataclass(frozen=True, slots=True, eq=False)
class Path:
    """A run at its nodes: ``angles``, ``energies``, ``speeds``, ``times`` (m,), the drag ``rates`` there.

    ``energy_slopes`` and ``time_slopes`` (m, q) are derivatives at fixed angle with respect to start time, start
    energy, weights of drag and hill. ``rise`` (m,) is the integral over the angle of the drag's slope by energy.
    """

    angles: NDArray[np.float64]
    energies: NDArray[np.float64]
    speeds: NDArray[np.float64]
    times: NDArray[np.float64]
    rates: NDArray[np.float64]
    energy_slopes: NDArray[np.float64]
    time_slopes: NDArray[np.float64]
    rise: NDArray[np.float64]


def path_grid(basis: DragBasis, harmonics: int, first: float, last: float, panels: int) -> PathGrid:
    """Lay panels from one angle to another.

    Parameters
    ----------
    basis : DragBasis
    harmonics : int
        Of the hill.
    first, last : float
        [rad]; the grid begins .2 rad before and reaches at least .2 rad beyond.
    panels : int
        Panels a turn, of ten nodes.

    Returns
    -------
    PathGrid
    """
    one = turn_grid(panels)
    count = int(np.ceil((last - first + 2 * MARGIN) / TURN * panels))
    starts = first - MARGIN + TURN / panels * np.arange(count)
    angles = (starts[:, None] + one.angles[:NODES]).ravel()
    return PathGrid(replace(one, panels=count, angles=angles), hill_matrix(angles, harmonics), basis)


def path_of(
    nodes: PathGrid, start_time: float, energy: float, drag: NDArray[np.float64], hill: NDArray[np.float64]
) -> Path:
    """Follow a run over the angle.

    Parameters
    ----------
    nodes : PathGrid
    start_time, energy : float
        Where the grid begins [s] and [rad^2/s^2].
    drag, hill : array, shape (p,) and (2 K,)
        Weights.

    Returns
    -------
    Path

    Raises
    ------
    ArithmeticError
        If the wheel does not get to the end of the grid.

    Notes
    -----
    d eps/d angle = -f(w), w = sqrt(2 (eps - u)): Newton on the whole path at once, R = eps - eps0 + int f,
    change = -R + exp(-G) int exp(G) g R with g = f'(w)/w and G = int g.
    """
    grid, well = nodes.grid, nodes.waves @ hill
    energies = np.full(well.size, energy)
    for _ in range(PASSES):
        speeds = np.sqrt(2 * np.maximum(energies - well, SLOWEST**2 * energy))
        rates = basis_values(nodes.basis, speeds) @ drag
        bend = (basis_slopes(nodes.basis, speeds) @ drag) / speeds
        rise = cumulative(grid, bend)
        if not np.isfinite(rise).all() or float(np.abs(rise).max()) > 300:
            raise ArithmeticError
        gap = energies - energy + cumulative(grid, rates)
        change = -gap + np.exp(-rise) * cumulative(grid, np.exp(rise) * bend * gap)
        energies = energies + change
        if float(np.abs(change).max()) <= SETTLED * energy:
            break
    else:
        raise ArithmeticError
    if bool((energies - well <= SLOWEST**2 * energy).any()):
        raise ArithmeticError
    times = start_time + cumulative(grid, 1 / speeds)
    grown = np.exp(rise)[:, None]
    pushes = np.column_stack([-basis_values(nodes.basis, speeds), bend[:, None] * nodes.waves])
    after = np.column_stack([1 / grown, cumulative(grid, grown * pushes) / grown])
    own = np.column_stack([np.zeros((well.size, 1 + drag.size)), nodes.waves])
    late = -cumulative(grid, (after - own) / speeds[:, None] ** 3)
    none, one = np.zeros((well.size, 1)), np.ones((well.size, 1))
    return Path(grid.angles, energies, speeds, times, rates, np.hstack([none, after]), np.hstack([one, late]), rise)


def pushed(nodes: PathGrid, path: Path, edges: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Differentiate energy and time with respect to an extra drag in each of several stretches of angle.

    Parameters
    ----------
    nodes : PathGrid
    path : Path
    edges : array, shape (b + 1,)
        Angles at which stretches begin and end [rad].

    Returns
    -------
    energies, times : array, shape (m, b)
    """
    grown = np.exp(path.rise)
    total = cumulative(nodes.grid, grown)
    at_edges = np.interp(edges, path.angles, total)
    energies = -(np.clip(total[:, None], at_edges[:-1], at_edges[1:]) - at_edges[:-1]) / grown[:, None]
    return energies, -cumulative(nodes.grid, energies / path.speeds[:, None] ** 3)


def angles_at(
    path: Path, times: NDArray[np.float64], late: NDArray[np.float64], delay: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Angles seen at given times, and their derivatives.

    Parameters
    ----------
    path : Path
    times : array, shape (n,)
        [s].
    late : array, shape (m, q)
        Derivatives of the times at the nodes, at fixed angle.
    delay : array, shape (2,) or (0,)
        Cosine and sine part over the seen angle s of the time by which the wheel is seen later [s]; empty for none.

    Returns
    -------
    angles : array, shape (n,)
    slopes : array, shape (n, q + 2) or (n, q)

    Raises
    ------
    ArithmeticError
        If the path does not hold all the times.

    Notes
    -----
    The angle is a cubic between nodes with the speeds as its slopes; an earlier time is a larger angle:
    d angle/dp = -w dt/dp. With a delay, s = angle(t + d(s)), so ds/dp = (d angle/dp + w dd/dp)/(1 - w d'(s)).
    """
    from scipy.interpolate import CubicHermiteSpline, CubicSpline  # noqa: PLC0415  half a second, only for tracks

    angle = CubicHermiteSpline(path.times, path.angles, path.speeds)
    slopes = CubicSpline(path.times, -late * path.speeds[:, None])
    if not (path.times[0] < times[0] and path.times[-1] > times[-1]):
        raise ArithmeticError
    seen = angle(times)
    if not delay.size:
        return seen, slopes(times)
    for _ in range(DELAY_PASSES):
        at = times + _waves(seen) @ delay
        seen = angle(at)
    speeds = angle(at, 1)[:, None]
    share = 1 - speeds * (_waves(seen + np.pi / 2) @ delay)[:, None]
    return seen, np.hstack([slopes(at), speeds * _waves(seen)]) / share


def _waves(angles: NDArray[np.float64]) -> NDArray[np.float64]:
    """Cosine and sine."""
    return np.column_stack([np.cos(angles), np.sin(angles)])
