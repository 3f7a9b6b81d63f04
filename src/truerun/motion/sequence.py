"""Turn after turn: the energies at the starts of all turns, and their sensitivities."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from truerun.motion.turn_map import OffTable, TurnMap, turn_shapes

__all__ = ["Sequence", "sequence_slopes", "turn_sequence"]


@dataclass(frozen=True, slots=True)
class Sequence:
    """Energies at the start of every turn, shape (n,), and the polynomials of the map there, shape (n, j)."""

    start: NDArray[np.float64]
    shapes: NDArray[np.float64]


def turn_sequence(table: TurnMap, first: float, turns: int) -> Sequence:
    """Energies at the starts of consecutive turns.

    Parameters
    ----------
    table : TurnMap
    first : float
        Energy at the start of the first turn [rad^2/s^2].
    turns : int
        Number of turns n.

    Returns
    -------
    Sequence

    Raises
    ------
    OffTable
        If the turns leave the range of the map: it must reach lower, or the wheel does not complete them.

    Notes
    -----
    x[n+1] = P(x[n]) as one system, Newton with a bidiagonal matrix, from a guess that treats the turns as
    continuous: the number of turns between two energies is about the integral of dx / (x - P).
    """
    start = _continuous_guess(table, first, turns)
    for _ in range(12):
        shapes = turn_shapes(table, start)
        gap = start[:-1] - shapes[:-1] @ table.loss - start[1:]
        if np.abs(gap).max(initial=0.0) <= 4e-15 * first:  # rounding of one subtraction
            return Sequence(start, shapes)
        carried = np.cumprod(shapes[:-1] @ table.carry)
        start = start.copy()
        start[1:] += carried * np.cumsum(gap / carried)
    if not np.abs(gap).max(initial=0.0) <= 1e-12 * first:
        raise OffTable
    return Sequence(start, turn_shapes(table, start))


def _continuous_guess(table: TurnMap, first: float, turns: int) -> NDArray[np.float64]:
    """Energies after 0, 1, ... turns, from the integral of dx / loss over the range of the map."""
    logs = np.linspace(table.low, table.high, 400)
    above = np.exp(logs)
    shapes = turn_shapes(table, table.least + above)
    loss = shapes @ table.loss
    lossless = np.flatnonzero(~(loss > 0))
    sound = slice(lossless[-1] + 1 if lossless.size else 0, None)
    logs, above, shapes, loss = logs[sound], above[sound], shapes[sound], loss[sound]
    if logs.size < 2:
        raise OffTable
    rate = above / loss * (1 + (1 - shapes @ table.carry) / 2)
    passed = np.concatenate([[0.0], np.cumsum((rate[1:] + rate[:-1]) / 2 * np.diff(logs))])
    at_first = np.interp(np.log(max(first - table.least, above[0])), logs, passed)
    guess: NDArray[np.float64] = np.exp(np.interp(at_first - np.arange(turns), passed, logs)) + table.least
    guess[0] = first
    return guess


def sequence_slopes(table: TurnMap, sequence: Sequence) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Differentiate all starting energies.

    Parameters
    ----------
    table : TurnMap
    sequence : Sequence

    Returns
    -------
    first, weights : array, shape (n,) and (n, q)
        With respect to the first energy, and to the weights of drag and hill.

    Notes
    -----
    X[n+1] = P' X[n] + P_p, solved with the running product of P'.
    """
    carried = np.cumprod(np.concatenate([[1.0], sequence.shapes[:-1] @ table.carry]))
    pushed = sequence.shapes[:-1] @ table.end / carried[1:, None]
    summed = np.concatenate([np.zeros((1, pushed.shape[1])), np.cumsum(pushed, axis=0)])
    weights: NDArray[np.float64] = carried[:, None] * summed
    return carried, weights
