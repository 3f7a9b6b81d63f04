"""Predicted pass times for given parameters, with all derivatives."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from truerun.motion.sequence import Sequence, sequence_slopes, turn_sequence
from truerun.motion.start import Guess
from truerun.motion.turn_map import Caught, OffTable, Solver, TurnMap, turn_map

__all__ = ["Prediction", "pass_times", "predict", "start_slopes", "time_slopes"]

ROOM = 0.4


@dataclass(frozen=True, slots=True)
class Prediction:
    """The turn map and the sequence of turns; ``spare`` is the energy of the last turn above the least one."""

    table: TurnMap
    sequence: Sequence
    spare: float


def predict(solver: Solver, guess: Guess, angles: NDArray[np.float64], turns: int, spare: float) -> Prediction:
    """Solve the motion through all turns.

    Parameters
    ----------
    solver : Solver
    guess : Guess
    angles : array, shape (m,)
        Nominal angles of the marks from the start of a turn [rad].
    turns : int
    spare : float
        Expected energy of the last turn above the least one that clears the hill [rad^2/s^2]; only sets the
        range that is solved first.

    Returns
    -------
    Prediction

    Raises
    ------
    Caught
        If the hill or the drag stops the wheel before the turns are complete.
    """
    marks = angles.copy()
    marks[:-1] += guess.spacing
    low = ROOM * spare
    for _ in range(6):
        span = (low, guess.energy * 1.001)
        try:
            with np.errstate(all="ignore"):  # a motion that runs away is found out below
                table = turn_map(solver, guess.drag, guess.hill, marks, span)
                sequence = turn_sequence(table, guess.energy, turns)
        except OffTable:
            low *= 0.05
            continue
        found = float(sequence.start[-1]) - table.least
        if found >= 0.8 * low:
            return Prediction(table, sequence, found)
        low = ROOM * found
    raise Caught


def pass_times(start_time: float, prediction: Prediction) -> NDArray[np.float64]:
    """Add up the times of all passes.

    Parameters
    ----------
    start_time : float
        At the start of the first row [s].
    prediction : Prediction

    Returns
    -------
    array, shape (n, m)
        [s].
    """
    inside = prediction.sequence.shapes @ prediction.table.times
    before = np.cumsum(inside[:, -1]) - inside[:, -1]
    return start_time + before[:, None] + inside


def start_slopes(prediction: Prediction) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Differentiate energy and time at the start of every turn.

    Parameters
    ----------
    prediction : Prediction

    Returns
    -------
    energies, times : array, shape (n, 1 + q)
        With respect to start energy, drag weights, hill harmonics.
    """
    table, sequence = prediction.table, prediction.sequence
    first, weights = sequence_slopes(table, sequence)
    energies = np.column_stack([first, weights])
    whole = sequence.shapes @ table.times_start[:, -1:] * energies
    whole[:, 1:] += sequence.shapes @ table.times_weights[:, -1, :]
    return energies, np.cumsum(whole, axis=0) - whole


def time_slopes(prediction: Prediction, rows: NDArray[np.intp]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Differentiate the pass times.

    Parameters
    ----------
    prediction : Prediction
    rows : array of int, shape (r,)
        Turns that are wanted.

    Returns
    -------
    slopes : array, shape (r, m, 2 + q)
        With respect to start time, start energy, drag weights, hill harmonics.
    slowness : array, shape (r, m)
        1/speed: derivative with respect to the mark's own spacing error [s/rad].
    """
    table, sequence = prediction.table, prediction.sequence
    starts, before = start_slopes(prediction)
    shapes = sequence.shapes[rows]
    marks = table.times.shape[1]
    slopes = np.empty((rows.size, marks, starts.shape[1] + 1))
    slopes[..., 0] = 1.0
    own = shapes @ table.times_weights.reshape(table.times_weights.shape[0], -1)
    by_start = (shapes @ table.times_start)[..., None]
    np.multiply(by_start, starts[rows][:, None, :], out=slopes[..., 1:])
    slopes[..., 1:] += before[rows][:, None, :]
    slopes[..., 2:] += own.reshape(rows.size, marks, -1)
    return slopes, shapes @ table.slowness
