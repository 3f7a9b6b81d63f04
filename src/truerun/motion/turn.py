"""One turn of a free wheel, for many starting energies at once: energy, time and their sensitivities."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from truerun.motion.drag_curve import DragBasis, basis_slopes, basis_values
from truerun.motion.panels import TurnGrid, cumulative, over_turn

__all__ = ["Turn", "TurnSlopes", "least_energy", "turn_motion", "turn_slopes"]

FLOOR = 0.02


@dataclass(frozen=True, slots=True)
class Turn:
    """Motion through one turn.

    ``energy`` and ``speed`` at the nodes, shape (n, j) for j starting energies; ``loss`` over the turn, shape
    (j,) [rad^2/s^2]; ``clears`` is true where the wheel gets over every top.
    """

    energy: NDArray[np.float64]
    speed: NDArray[np.float64]
    loss: NDArray[np.float64]
    clears: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class TurnSlopes:
    """Derivatives of a turn at a fixed angle.

    ``energy_start`` (n, j) and ``end_start`` (j,) with respect to the starting energy; ``energy`` (n, j, q) and
    ``end`` (j, q) with respect to the weights of drag and hill, in that order.
    """

    energy_start: NDArray[np.float64]
    end_start: NDArray[np.float64]
    energy: NDArray[np.float64]
    end: NDArray[np.float64]


def turn_motion(
    grid: TurnGrid,
    hill: NDArray[np.float64],
    basis: DragBasis,
    weights: NDArray[np.float64],
    start: NDArray[np.float64],
) -> Turn:
    """Solve one turn from given energies.

    Parameters
    ----------
    grid : TurnGrid
    hill : array, shape (n,)
        Specific potential at the nodes [rad^2/s^2].
    basis : DragBasis
    weights : array, shape (p,)
    start : array, shape (j,)
        Specific mechanical energy at angle 0 [rad^2/s^2].

    Returns
    -------
    Turn

    Notes
    -----
    d energy / d angle = -f(speed), speed = sqrt(2 (energy - hill)). Two Picard steps, then Newton in correction
    form: with R = energy - start + int f and g = f'/speed the correction is -R + exp(-G) int exp(G) g R, where
    G = int g. Kinetic energy is held above a small share of its largest value while iterating.
    """
    well = hill[:, None]
    energy = np.broadcast_to(start, (hill.size, start.size))
    for step in range(8):
        speed = _held_speed(energy, well, start)
        drag = basis_values(basis, speed) @ weights
        lost = cumulative(grid, drag)
        gap = energy - start + lost
        if step >= 2 and np.abs(gap).max() <= 4e-15 * float(start.max()):  # rounding of the sums
            break
        if step < 1:
            energy = start - lost
            continue
        bend = (basis_slopes(basis, speed) @ weights) / speed
        rise = np.exp(cumulative(grid, bend))
        energy = energy - gap + cumulative(grid, rise * bend * gap) / rise
    clears: NDArray[np.bool_] = np.logical_and.reduce((energy > well) & (np.abs(gap) <= 1e-9 * start), axis=0)
    return Turn(energy, speed, over_turn(grid, drag), clears)


def turn_slopes(
    grid: TurnGrid,
    waves: NDArray[np.float64],
    basis: DragBasis,
    weights: NDArray[np.float64],
    turn: Turn,
) -> TurnSlopes:
    """Differentiate a solved turn with respect to starting energy, drag weights and hill harmonics.

    Parameters
    ----------
    grid : TurnGrid
    waves : array, shape (n, 2 K)
        Harmonics at the nodes.
    basis : DragBasis
    weights : array, shape (p,)
    turn : Turn

    Returns
    -------
    TurnSlopes

    Notes
    -----
    With y the derivative of energy: y' = -g (y - u_p) - phi_p, so y = exp(-G) int exp(G) (g u_p - phi_p).
    """
    bend = (basis_slopes(basis, turn.speed) @ weights) / turn.speed
    rise = np.exp(cumulative(grid, bend))
    end_rise = np.exp(over_turn(grid, bend))
    push = np.concatenate([-basis_values(basis, turn.speed), bend[..., None] * waves[:, None, :]], axis=-1)
    push *= rise[..., None]
    energy = cumulative(grid, push) / rise[..., None]
    return TurnSlopes(1 / rise, 1 / end_rise, energy, over_turn(grid, push) / end_rise[:, None])


def least_energy(grid: TurnGrid, hill: NDArray[np.float64], basis: DragBasis, weights: NDArray[np.float64]) -> float:
    """Least energy at the start of a turn that clears every top in it.

    Parameters
    ----------
    grid : TurnGrid
    hill : array, shape (n,)
        Specific potential at the nodes [rad^2/s^2].
    basis : DragBasis
    weights : array, shape (p,)

    Returns
    -------
    float
        [rad^2/s^2].

    Notes
    -----
    The largest value over the turn of hill + energy lost so far, on the trajectory that only just gets there;
    fixed-point iteration, with the top between nodes taken from a parabola.
    """
    lost = np.zeros_like(hill)
    least = float(hill.max())
    for _ in range(6):
        kinetic = np.maximum(least - lost - hill, 0.25 * basis.low**2 / 2)
        lost = cumulative(grid, basis_values(basis, np.sqrt(2 * kinetic)) @ weights)
        least = _peak(grid.angles, hill + lost)
    return least


def _held_speed(
    energy: NDArray[np.float64], well: NDArray[np.float64], start: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Speed, with kinetic energy held above a small share of what the highest top leaves."""
    spare = np.maximum(FLOOR * (start - float(well.max())), 1e-9 * np.abs(start) + np.finfo(float).tiny)
    held: NDArray[np.float64] = np.sqrt(2 * np.maximum(energy - well, spare))
    return held


def _peak(angles: NDArray[np.float64], heights: NDArray[np.float64]) -> float:
    """Largest value of a smooth curve, by the parabola through the highest node and its neighbours."""
    top = int(np.argmax(heights))
    if top in (0, heights.size - 1):
        return float(heights[top])
    near = slice(top - 1, top + 2)
    curve = np.polyfit(angles[near] - angles[top], heights[near], 2)
    if curve[0] >= 0:
        return float(heights[top])
    return float(curve[2] - curve[1] ** 2 / (4 * curve[0]))
