"""Fit of drag, hill and mark spacing to counted pass times."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from truerun.errors import FitImpossible, ValueOutOfRange
from truerun.motion.drag_curve import DragBasis, DragTerms, chebyshev_basis, power_basis
from truerun.motion.frame import in_marks
from truerun.motion.growth import End, Settled, degrees_of_freedom, grown_fit, residual_variance
from truerun.motion.normal import parameter_covariance
from truerun.motion.panels import turn_grid
from truerun.motion.places import PassGrid, even_marks, pass_grid
from truerun.motion.prediction import pass_times
from truerun.motion.rundown import FitDoubt, FittedMotion, Rundown
from truerun.motion.start import turn_speeds
from truerun.motion.turn_map import Solver

__all__ = ["fit_rundown"]

WEAKEST = 1e-13
ALLOWED_MISFIT = 5.0


def fit_rundown(
    times: Sequence[float] | NDArray[np.float64],
    marks: int,
    *,
    terms: int | tuple[float, ...] = 4,
    harmonics: int | None = None,
    sigma: float | NDArray[np.float64] | None = None,
    counts: NDArray[np.intp] | None = None,
    mark_angles: NDArray[np.float64] | None = None,
    spacing: bool = True,
) -> Rundown:
    """Fit drag, hill and mark spacing to the times at which marks pass a sensor.

    Parameters
    ----------
    times : array, shape (n,)
        Clean, counted pass times of a wheel that slows down freely, increasing [s].
    marks : int
        Marks per turn m.
    terms : int or tuple of float
        Drag: number of Chebyshev terms in sqrt(speed), or exponents of speed such as (0, 1, 2).
    harmonics : int, optional
        Highest order K of the hill; at most (m - 1)/2. None: the smaller of 3 and that.
    sigma : float or array, shape (n,), optional
        Standard uncertainty of a time [s]. None: equal for all, taken from the scatter.
    counts : array of int, shape (n,), optional
        Number of each pass, mark = count modulo m; gaps are missing passes. None: 0, 1, 2, ...
    mark_angles : array, shape (m,), optional
        Nominal angles of the marks, from 0 up [rad]. None: evenly spaced.
    spacing : bool
        Whether small errors of the mark angles are fitted.

    Returns
    -------
    Rundown

    Raises
    ------
    FitImpossible
        If there is too little in the data, or the fit does not converge; the sentence says which.
    ValueOutOfRange
        If an argument does not fit the others.

    Notes
    -----
    Energy eps = speed^2/2 + u(angle) obeys d eps/d angle = -f(speed), time d t/d angle = 1/speed. One turn is
    solved as a function of its starting energy, all turns follow from it; Gauss-Newton steps on times, grown from
    the fast turns to the slow ones.
    """
    seconds = np.asarray(times, dtype=float)
    number = np.arange(seconds.size) if counts is None else np.asarray(counts, dtype=np.intp)
    angles = even_marks(marks) if mark_angles is None else np.asarray(mark_angles, dtype=float)
    if angles.size != marks:
        raise ValueOutOfRange("number of mark angles", angles.size, f"{marks}, one for each mark")
    each = None if sigma is None else np.broadcast_to(np.asarray(sigma, dtype=float), seconds.shape)
    grid = pass_grid(seconds, number, angles, each)
    order = _harmonics(marks, harmonics)
    solver = _solver(grid, terms, order)
    _require_passes(grid, solver.basis.size, order, spacing=spacing)
    found = grown_fit(grid, solver, order, spacing=spacing, stated=sigma is not None)
    return _rundown(found, angles, stated=sigma is not None)


def _harmonics(marks: int, wanted: int | None) -> int:
    """Find the number of harmonics that these marks can carry."""
    most = (marks - 1) // 2
    if wanted is None:
        return min(3, most)
    if not 0 <= wanted <= most:
        raise ValueOutOfRange(
            "number of hill harmonics", wanted, f"0 to {most} with {marks} marks", "Use more marks for more."
        )
    return wanted


def _solver(grid: PassGrid, terms: int | tuple[float, ...], harmonics: int) -> Solver:
    """Resolution and drag basis for these passes."""
    speeds = turn_speeds(grid)
    low, high = float(speeds.min()), float(speeds.max())
    if isinstance(terms, tuple):
        basis: DragBasis = power_basis(terms, 0.9 * low, high)
    else:
        basis = chebyshev_basis(terms, 0.9 * low, high)
    return Solver(turn_grid(max(2, 4 * harmonics)), 32, basis)


def _require_passes(grid: PassGrid, drags: int, harmonics: int, *, spacing: bool) -> None:
    """Refuse fewer passes than parameters."""
    needed = 2 + drags + 2 * harmonics + (grid.marks - 1 if spacing else 0) + 2
    found = int((grid.weights > 0).sum())
    if found < needed:
        raise FitImpossible(
            f"The recording has {found} passes; this fit needs at least {needed}. Ask for fewer drag terms or "
            "harmonics, or record longer."
        )


def _rundown(found: Settled, mark_angles: NDArray[np.float64], *, stated: bool) -> Rundown:
    """Turn the fit into the record, in the angle of nominal mark 0 and with spacing of sum zero."""
    fit, task = found.fit, found.task
    unit, weakest = parameter_covariance(fit.blocks)
    if weakest < WEAKEST:
        raise FitImpossible(
            "The speeds of this recording cannot tell the wanted terms apart: one combination is lost in rounding. "
            "Ask for fewer drag terms, or record over a wider range of speeds."
        )
    variance = residual_variance(task, fit.blocks)
    covariance = unit if stated else unit * variance
    grid, guess = task.grid, fit.guess
    nominal = float(mark_angles[grid.reference])
    motion = FittedMotion(task.solver, guess, grid, fit.prediction, covariance, nominal, free=bool(fit.blocks.own.size))
    drags = slice(2, 2 + guess.drag.size)
    fitted = pass_times(guess.start_time, fit.prediction)
    residuals = (grid.times - fitted)[grid.rows, grid.columns]
    hill, spacing, spread = in_marks(motion)
    used = grid.weights[grid.rows, grid.columns]
    back = grid.turns - (grid.rows[0] + grid.angles[grid.columns[0]] / (2 * np.pi))
    high, low = _end_speeds(motion)
    part = covariance[drags, drags]
    return Rundown(
        passes=residuals.size,
        marks=grid.marks,
        turns=float(back),
        speed_high=high,
        speed_low=low,
        drag=DragTerms(task.solver.basis, guess.drag, part, part),
        hill=hill,
        spacing=spacing,
        spacing_covariance=spread,
        sigma=float(np.sqrt(1 / np.mean(used**2))) if stated else float(np.sqrt(variance)),
        misfit=variance if stated else None,
        freedom=degrees_of_freedom(task, fit.blocks),
        residuals=residuals,
        doubts=_doubts(found, weakest, stated=stated),
        iterations=found.steps,
        motion=motion,
        drift=None,
    )


def _doubts(found: Settled, weakest: float, *, stated: bool) -> tuple[FitDoubt, ...]:
    """List what the fit says against itself."""
    blocks = found.fit.blocks
    away = (residual_variance(found.task, blocks) - 1) * np.sqrt(degrees_of_freedom(found.task, blocks) / 2)
    checks = (
        (FitDoubt.MISFIT, stated and abs(away) > ALLOWED_MISFIT),
        (FitDoubt.WEAK, weakest < 100 * WEAKEST),
        (FitDoubt.ROUNDING, found.end is End.ROUNDING),
    )
    return tuple(doubt for doubt, holds in checks if holds)


def _end_speeds(motion: FittedMotion) -> tuple[float, float]:
    """Speeds by energy at the first and the last pass."""
    table, sequence, grid = motion.prediction.table, motion.prediction.sequence, motion.grid
    loss = sequence.shapes @ table.loss
    ends = sequence.start - loss
    share = grid.angles[grid.columns[0]] / (2 * np.pi)
    first = sequence.start[grid.rows[0]] - share * loss[grid.rows[0]]
    if ends[-1] <= 0:
        raise FitImpossible(
            "The last turn ends with less energy than the wheel needs to stand at the mean height of its bump: it is "
            "caught there, or the fit makes it so. Cut off the slowest turns."
        )
    return float(np.sqrt(2 * first)), float(np.sqrt(2 * ends[-1]))
