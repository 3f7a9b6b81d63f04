"""Where each pass sits: turns counted back from the last pass, so that every turn ends with an observed pass."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from truerun.errors import FitImpossible, ValueOutOfRange
from truerun.motion.panels import TURN

__all__ = ["PassGrid", "even_marks", "pass_grid", "scatter_variance"]


@dataclass(frozen=True, slots=True)
class PassGrid:
    """Passes in rows of one turn.

    ``times`` (n, m) count from the whole second before the first pass [s], since sums of times on a clock that has
    run for decades lose their digits; missing ones are filled in by straight lines. ``weights`` (n, m) are 1/sigma
    (or 1), and 0 for a pass that is missing; ``angles`` (m,) are the nominal angles of the marks from the start of
    the turn, the last one a whole turn; ``reference`` is the mark that starts and ends each turn; ``rows`` and
    ``columns`` give the place of every pass.
    """

    times: NDArray[np.float64]
    weights: NDArray[np.float64]
    angles: NDArray[np.float64]
    reference: int
    rows: NDArray[np.intp]
    columns: NDArray[np.intp]

    @property
    def turns(self) -> int:
        """Number of rows."""
        return int(self.times.shape[0])

    @property
    def marks(self) -> int:
        """Marks per turn."""
        return int(self.times.shape[1])


def even_marks(marks: int) -> NDArray[np.float64]:
    """Angles of evenly spaced marks, from mark 0 [rad]."""
    return TURN * np.arange(marks) / marks


def pass_grid(
    times: NDArray[np.float64],
    counts: NDArray[np.intp],
    mark_angles: NDArray[np.float64],
    sigma: NDArray[np.float64] | None,
) -> PassGrid:
    """Sort counted passes into turns.

    Parameters
    ----------
    times : array, shape (n,)
        Increasing [s].
    counts : array of int, shape (n,)
        Number of each pass; mark = count modulo the number of marks. Increasing; gaps are missing passes.
    mark_angles : array, shape (m,)
        Nominal angles of the marks, increasing, from 0 to less than a turn [rad].
    sigma : array, shape (n,), or None
        Standard uncertainty of each time [s]; None: equal and unknown.

    Returns
    -------
    PassGrid

    Raises
    ------
    ValueOutOfRange
        If times or counts do not increase, or sigma or the marks are not what is said above.
    FitImpossible
        If there are fewer than three turns.
    """
    _require_order(times, counts, mark_angles, sigma)
    times = times - np.floor(times[0])
    marks = mark_angles.size
    back = counts[-1] - counts
    turns = int(back[0]) // marks + 1
    if back[0] < 3 * marks:
        raise FitImpossible(
            f"The recording has {times.size} passes over {back[0] / marks:.1f} turns; at least 3 turns are "
            "needed. Record from higher speed, or for longer."
        )
    rows, columns = turns - 1 - back // marks, marks - 1 - back % marks
    reference = int(counts[-1]) % marks
    angles = (mark_angles[(reference + 1 + np.arange(marks)) % marks] - mark_angles[reference]) % TURN
    angles[-1] = TURN
    weights = np.zeros((turns, marks))
    weights[rows, columns] = 1.0 if sigma is None else 1 / sigma
    all_angles = (TURN * np.arange(turns)[:, None] + angles).ravel()
    place = rows * marks + columns
    filled = np.interp(all_angles, all_angles[place], times)
    before = np.arange(place[0])
    filled[before] = times[0] - (all_angles[place[0]] - all_angles[before]) / _first_speed(times, all_angles[place])
    return PassGrid(filled.reshape(turns, marks), weights, angles, reference, rows, columns)


def scatter_variance(grid: PassGrid) -> float:
    """Estimate the variance of a weighted time from how each mark's times bend from turn to turn.

    Parameters
    ----------
    grid : PassGrid

    Returns
    -------
    float

    Notes
    -----
    Median of the squared fourth differences, whose variance is 1 + 16 + 36 + 16 + 1 = 70 times that of a time; the
    median of chi-squared with one degree of freedom is 0.4549. Smooth motion hardly has fourth differences.
    """
    bends = np.diff(grid.times * grid.weights.max(), n=4, axis=0)
    if not bends.size:
        return 0.0
    return float(np.median(np.abs(bends)) ** 2) / 70 / 0.4549


def _first_speed(times: NDArray[np.float64], angles: NDArray[np.float64]) -> float:
    """Mean speed over about the first turn of the recording."""
    last = int(np.searchsorted(angles, angles[0] + TURN - 1e-9))
    return float((angles[last] - angles[0]) / (times[last] - times[0]))


def _require_order(
    times: NDArray[np.float64],
    counts: NDArray[np.intp],
    mark_angles: NDArray[np.float64],
    sigma: NDArray[np.float64] | None,
) -> None:
    """Refuse what is not clean."""
    if times.size != counts.size:
        raise ValueOutOfRange("number of counts", counts.size, f"{times.size}, one for each time")
    if times.size < 2 or not np.isfinite(times).all() or (np.diff(times) <= 0).any():
        raise ValueOutOfRange("list of pass times", "not increasing", "increasing", "Count and repair them first.")
    if (np.diff(counts) <= 0).any():
        raise ValueOutOfRange("list of counts", "not increasing", "increasing", "Number the passes in time.")
    if mark_angles.size < 1 or mark_angles[0] < 0 or mark_angles[-1] >= TURN or (np.diff(mark_angles) <= 0).any():
        raise ValueOutOfRange("list of mark angles", mark_angles.tolist(), "increasing from 0 to below 2 pi rad")
    if sigma is not None and (sigma.shape != times.shape or not (sigma > 0).all()):
        raise ValueOutOfRange("sigma", "not one positive number for each time", "positive", "Give it in seconds.")
