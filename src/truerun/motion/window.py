"""Time and turns between two speeds, by energy."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from truerun.errors import FitImpossible, ValueOutOfRange
from truerun.motion.drag_curve import basis_values
from truerun.motion.drift import block_edges, block_slopes, constant_weights
from truerun.motion.hill import hill_matrix
from truerun.motion.panels import TURN, rows_at
from truerun.motion.prediction import start_slopes
from truerun.motion.rundown import FittedMotion, Rundown
from truerun.motion.turn import turn_motion, turn_slopes

__all__ = ["Window", "fit_window", "require_window"]


@dataclass(frozen=True, slots=True)
class Window:
    """What it took to slow from one speed to another.

    Speeds are by energy, sqrt(2 eps) with the hill's mean at 0 [rad/s]. ``time`` [s] and ``turns`` with standard
    uncertainties; these include drift of the drag where the rundown does.
    """

    speed_from: float
    speed_to: float
    time: float
    time_uncertainty: float
    turns: float
    turns_uncertainty: float


@dataclass(frozen=True, slots=True)
class _Crossing:
    """Angle and time at which the energy falls through a value, with derivatives."""

    angle: float
    time: float
    angle_slopes: NDArray[np.float64]
    time_slopes: NDArray[np.float64]


def require_window(speed_high: float, speed_low: float, speed_from: float, speed_to: float) -> None:
    """Refuse a window that does not fall, or that a recording does not hold.

    Parameters
    ----------
    speed_high, speed_low : float
        At the ends of the recording [rad/s].
    speed_from, speed_to : float
        Of the window [rad/s].

    Raises
    ------
    ValueOutOfRange
        If the speeds of the window are not in falling order.
    FitImpossible
        If the recording does not hold both.

    Examples
    --------
    >>> require_window(20.0, 2.0, 18.0, 1.0)
    Traceback (most recent call last):
    ...
    truerun.errors.FitImpossible: The recording runs from 20 to 2 rad/s; the window 18 to 1 rad/s is not inside.
    Choose a window within, or record more.
    """
    if not speed_from > speed_to > 0:
        raise ValueOutOfRange(
            "window", f"{speed_from:g} to {speed_to:g} rad/s", "from a higher to a lower positive speed"
        )
    if speed_from > speed_high or speed_to < speed_low:
        raise FitImpossible(
            f"The recording runs from {speed_high:.4g} to {speed_low:.4g} rad/s; the window "
            f"{speed_from:.4g} to {speed_to:.4g} rad/s is not inside. Choose a window within, or record more."
        )


def fit_window(rundown: Rundown, speed_from: float, speed_to: float) -> Window:
    """Find the time and the turns between two speeds.

    Parameters
    ----------
    rundown : Rundown
    speed_from, speed_to : float
        By energy; within the recorded speeds, the first one higher [rad/s].

    Returns
    -------
    Window

    Raises
    ------
    ValueOutOfRange
        If the speeds are not in falling order.
    FitImpossible
        If the recording does not hold both speeds.

    Notes
    -----
    A speed is reached where eps = speed^2/2 on the fitted motion. Uncertainties are linear: the derivative of the
    crossing is dt/dp at a fixed angle plus (d eps/dp)/(f w), with f the drag there.
    """
    require_window(rundown.speed_high, rundown.speed_low, speed_from, speed_to)
    drifting = rundown.drift is not None
    first, last = (_crossing(rundown.motion, speed**2 / 2, drifting=drifting) for speed in (speed_from, speed_to))
    slopes = np.array([last.time_slopes - first.time_slopes, last.angle_slopes - first.angle_slopes])
    values = np.array([last.time - first.time, last.angle - first.angle])
    if rundown.drift is None:
        shared = slopes.shape[1]
        spread = slopes @ rundown.motion.covariance[:shared, :shared] @ slopes.T
    else:
        values += slopes @ rundown.drift.mean
        spread = slopes @ rundown.drift.covariance @ slopes.T
    time_spread, angle_spread = np.sqrt(np.diag(spread))
    return Window(
        speed_from,
        speed_to,
        float(values[0]),
        float(time_spread),
        float(values[1]) / TURN,
        float(angle_spread) / TURN,
    )


def _crossing(motion: FittedMotion, energy: float, *, drifting: bool) -> _Crossing:
    """Follow the turn in which the energy falls through a value."""
    starts = motion.prediction.sequence.start
    turn = max(int(np.count_nonzero(starts >= energy)) - 1, 0)
    solver, guess = motion.solver, motion.guess
    grid = solver.grid
    waves = hill_matrix(grid.angles, guess.hill.size // 2)
    solved = turn_motion(grid, waves @ guess.hill, solver.basis, guess.drag, starts[turn : turn + 1])
    slopes = turn_slopes(grid, waves, solver.basis, guess.drag, solved)
    slowness = 1 / solved.speed[:, 0]
    angle = float(np.interp(-energy, -solved.energy[:, 0], grid.angles))
    for _ in range(4):
        whole, here = rows_at(grid, np.array([angle]))
        drag = float(basis_values(solver.basis, here @ solved.speed[:, 0])[0] @ guess.drag)
        angle += float(here[0] @ solved.energy[:, 0] - energy) / drag
    whole, here = rows_at(grid, np.array([angle]))
    drags = guess.drag.size
    bent = slopes.energy[:, 0].copy()
    bent[:, drags:] -= waves
    own_energy = np.append(here[0] @ slopes.energy_start[:, 0], here[0] @ slopes.energy[:, 0])
    own_time = np.append(
        -whole[0] @ (slopes.energy_start[:, 0] * slowness**3), -whole[0] @ (bent * slowness[:, None] ** 3)
    )
    at_energy, at_time = _shared_slopes(motion, turn, own_energy, own_time, drifting=drifting)
    moved = at_energy / drag
    before = np.cumsum(motion.prediction.sequence.shapes @ motion.prediction.table.times[:, -1])
    time = guess.start_time + (before[turn - 1] if turn else 0.0) + float(whole[0] @ slowness)
    return _Crossing(TURN * turn + angle, float(time), moved, at_time + float(here[0] @ slowness) * moved)


def _shared_slopes(
    motion: FittedMotion,
    turn: int,
    own_energy: NDArray[np.float64],
    own_time: NDArray[np.float64],
    *,
    drifting: bool,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Energy and time inside a turn with respect to start time, start energy, drag, hill (and extra drags)."""
    energies, times = (table[turn] for table in start_slopes(motion.prediction))
    by_energy = own_energy[0] * energies
    by_time = times + own_time[0] * energies
    by_energy[1:] += own_energy[1:]
    by_time[1:] += own_time[1:]
    at_energy, at_time = np.append(0.0, by_energy), np.append(1.0, by_time)
    if not drifting:
        return at_energy, at_time
    constant = constant_weights(motion.solver.basis)
    drags = slice(1, 1 + constant.size)
    tables = block_slopes(motion.prediction, constant, block_edges(motion.grid.turns))
    energies, times, inside = (table[turn] for table in tables)
    extra_energy = own_energy[0] * energies + float(own_energy[drags] @ constant) * inside
    extra_time = times + own_time[0] * energies + float(own_time[drags] @ constant) * inside
    return np.append(at_energy, extra_energy), np.append(at_time, extra_time)
