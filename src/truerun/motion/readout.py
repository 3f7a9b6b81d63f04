"""What a fitted rundown looks like turn by turn: plain arrays for pictures and tables."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from truerun.motion.measured import Measured
from truerun.motion.panels import TURN
from truerun.motion.prediction import pass_times
from truerun.motion.rundown import Rundown
from truerun.motion.speed_fit import SpeedRundown
from truerun.motion.track_fit import TrackRundown

__all__ = ["fitted_speeds", "measured_speeds", "residual_places"]


def measured_speeds(rundown: Measured) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Mean speeds of whole turns, or speeds as they were read.

    Parameters
    ----------
    rundown : Rundown, SpeedRundown or TrackRundown

    Returns
    -------
    times, speeds : array, shape (n,)
        Middle of each turn [s], and its mean speed [rad/s]. Turns whose ends were not both observed are left out.
        For a table of speeds its own rows.

    Examples
    --------
    >>> from truerun.motion.fit import fit_rundown
    >>> rundown = fit_rundown(4 * (1 - np.sqrt(1 - np.arange(40) / 60)), 1, terms=(0,), sigma=1e-5)
    >>> times, speeds = measured_speeds(rundown)
    >>> times.size, bool(speeds[0] > speeds[-1])
    (39, True)
    """
    if isinstance(rundown, TrackRundown):
        return _track_speeds(rundown)
    if isinstance(rundown, SpeedRundown):
        return rundown.times, np.interp(rundown.times, rundown.motion.times, rundown.motion.speeds) + rundown.residuals
    grid = rundown.motion.grid
    seen = grid.weights[:, -1] > 0
    ends = grid.times[seen, -1]
    turns = np.diff(np.flatnonzero(seen))
    return (ends[1:] + ends[:-1]) / 2, TURN * turns / np.diff(ends)


def _track_speeds(rundown: TrackRundown) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Mean speeds over whole turns of a track, from its own angles."""
    angles = np.interp(rundown.times, rundown.path.times, rundown.path.angles) + rundown.residuals
    count = int((angles[-1] - angles[0]) / TURN)
    ends = np.interp(angles[0] + TURN * np.arange(count + 1), angles, rundown.times)
    return (ends[1:] + ends[:-1]) / 2, TURN / np.diff(ends)


def fitted_speeds(rundown: Measured) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Speeds as fitted: by energy at the start of every turn and at the end of the last, or at many times.

    Parameters
    ----------
    rundown : Rundown, SpeedRundown or TrackRundown

    Returns
    -------
    times, speeds : array, shape (n,)
        [s] and [rad/s].
    """
    if isinstance(rundown, SpeedRundown):
        return rundown.motion.times, rundown.motion.speeds
    if isinstance(rundown, TrackRundown):
        return rundown.path.times, np.sqrt(2 * rundown.path.energies)
    motion = rundown.motion
    ends = pass_times(motion.guess.start_time, motion.prediction)[:, -1]
    times = np.append(motion.guess.start_time, ends)
    energies = np.append(motion.prediction.sequence.start, rundown.speed_low**2 / 2)
    return times, np.sqrt(2 * energies)


def residual_places(
    rundown: Rundown,
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Where each residual belongs.

    Parameters
    ----------
    rundown : Rundown

    Returns
    -------
    turn, angle, speed : array, shape (n,)
        Turns since the first pass; angle from nominal mark 0 [rad]; speed by energy at the start of the turn [rad/s].
    """
    motion = rundown.motion
    grid = motion.grid
    turn = grid.rows + grid.angles[grid.columns] / TURN
    angle = (motion.nominal + grid.angles[grid.columns]) % TURN
    speed = np.sqrt(2 * motion.prediction.sequence.start)[grid.rows]
    return turn - turn[0], angle, speed
