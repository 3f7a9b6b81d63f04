"""Several timekeepers for the same runs: what each run took, and what each keeper adds and scatters."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from truerun.errors import FitImpossible

__all__ = ["Timekeepers", "timekeepers"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Timekeepers:
    """Runs and keepers taken apart.

    ``runs`` is what the keepers together say of each run, corrected for who was missing, shape (n,);
    ``run_errors`` are its standard errors from reading alone. ``offsets`` say how far each keeper lies from the
    mean of the keepers, shape (m,), with ``offset_errors``. ``scatter`` is the standard deviation of one
    reading, with ``df`` degrees of freedom. Errors and scatter are None where ``df`` is 0.
    """

    runs: Array
    run_errors: Array | None
    offsets: Array
    offset_errors: Array | None
    scatter: float | None
    df: int
    residuals: Array


def timekeepers(times: Array) -> Timekeepers:
    """Take runs and keepers apart by least squares.

    Parameters
    ----------
    times : array, shape (n, m)
        One row a run, one column a keeper, NaN where a keeper has no reading; any unit.

    Returns
    -------
    Timekeepers
        In the same unit; ``residuals`` has the shape of ``times``, NaN where nothing was read.

    Raises
    ------
    FitImpossible
        If a run or a keeper has no reading, or keepers share no run with the others, even by way of a third.

    Notes
    -----
    Model: reading = run + keeper + noise of one size, keeper offsets summing to 0. A run that a late keeper
    alone has timed is thereby corrected for his lateness.

    References
    ----------
    F. Yates, Emp. J. Exp. Agric. 1 (1933) 129-142 (two-way tables with missing readings).

    Examples
    --------
    >>> found = timekeepers(np.array([[60.1, 60.3], [58.0, 58.2], [61.0, np.nan]]))
    >>> [round(float(run), 2) for run in found.runs], [round(float(offset), 2) for offset in found.offsets]
    ([60.2, 58.1, 61.1], [-0.1, 0.1])
    """
    n, m = times.shape
    row, column = np.nonzero(~np.isnan(times))
    _require_connected(n, m, row, column)
    # unknowns: n runs, then m - 1 offsets; the last offset is minus the sum of the others
    offset_rows = np.vstack([np.eye(m - 1), -np.ones((1, m - 1))])
    design = np.hstack([np.eye(n)[row], offset_rows[column]])
    readings = times[row, column]
    inverse = np.linalg.inv(design.T @ design)
    middle = float(readings.mean())
    fitted = inverse @ (design.T @ (readings - middle))
    left = readings - middle - design @ fitted
    residuals = np.full_like(times, np.nan)
    residuals[row, column] = left
    df = len(readings) - n - m + 1
    runs, offsets = fitted[:n] + middle, offset_rows @ fitted[n:]
    if df < 1:
        return Timekeepers(runs, None, offsets, None, None, 0, residuals)
    scatter = math.sqrt(float(left @ left) / df)
    run_errors = scatter * np.sqrt(np.diag(inverse)[:n])
    offset_errors = scatter * np.sqrt(np.diag(offset_rows @ inverse[n:, n:] @ offset_rows.T))
    return Timekeepers(runs, run_errors, offsets, offset_errors, scatter, df, residuals)


def _require_connected(n: int, m: int, row: NDArray[np.intp], column: NDArray[np.intp]) -> None:
    """Raise where runs and keepers fall into groups that no reading connects."""
    group = np.arange(n + m)
    for run, keeper in zip(row, n + column, strict=True):
        group[group == group[keeper]] = group[run]
    missing = np.flatnonzero(np.bincount(row, minlength=n) == 0)
    if len(missing):
        raise FitImpossible(f"Run {missing[0] + 1} has no reading; leave it out or add a reading.")
    if len(np.unique(group)) > 1:
        raise FitImpossible(
            "The keepers do not share enough runs to be compared; at least one run must be timed by keepers of "
            "both groups."
        )
