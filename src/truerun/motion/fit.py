"""Fit of drag, hill and mark spacing to counted pass times."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from truerun.errors import FitImpossible, ValueOutOfRange
from truerun.motion.drag_curve import DragBasis, DragTerms, chebyshev_basis, power_basis
from truerun.motion.hill import Hill, turned_hill
from truerun.motion.normal import Blocks, Step, normal_blocks, normal_step, parameter_covariance
from truerun.motion.panels import turn_grid
from truerun.motion.places import PassGrid, even_marks, pass_grid
from truerun.motion.prediction import Prediction, Solver, pass_times, predict, time_slopes
from truerun.motion.rundown import FitDoubt, FittedMotion, Rundown
from truerun.motion.start import Guess, first_guess, turn_speeds
from truerun.motion.turn_map import Caught

__all__ = ["fit_rundown"]

STAGES = (2.5, 1.6, 1.25, 1.1, 1.0)
MOST_STEPS = 40
MOST_UPHILL = 4
COARSE_ROWS = 250
SPACING_PRIOR = 0.03
WEAKEST = 1e-13
ALLOWED_MISFIT = 5.0


@dataclass(frozen=True, slots=True)
class _Fit:
    """One evaluated set of parameters."""

    guess: Guess
    prediction: Prediction
    blocks: Blocks


@dataclass(frozen=True, slots=True)
class _Task:
    """What stays the same during one stage of growth."""

    solver: Solver
    grid: PassGrid
    rows: NDArray[np.intp]
    spacing: bool
    prior: float
    enough: float


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
    fit, task, steps, stuck = _grown(grid, solver, order, spacing=spacing)
    return _rundown(fit, task, angles, steps, stuck=stuck, stated=sigma is not None)


def _harmonics(marks: int, wanted: int | None) -> int:
    """Number of harmonics that these marks can carry."""
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


def _grown(
    grid: PassGrid, solver: Solver, harmonics: int, *, spacing: bool
) -> tuple[_Fit, _Task, int, bool]:
    """Fit the fast turns first, then more and more of the slow ones, then everything finely."""
    guess = first_guess(grid, solver.basis, harmonics, spacing=spacing)
    total = 0
    spare = 0.1 * guess.energy
    unknowns = 2 + solver.basis.size + 2 * harmonics
    for turns in _stage_turns(grid, unknowns):
        last = turns == grid.turns
        part = replace(grid, times=grid.times[:turns], weights=grid.weights[:turns])
        rows = np.unique(np.linspace(0, turns - 1, min(turns, COARSE_ROWS)).round().astype(np.intp))
        prior = 0.0 if last else _scatter(part) / (SPACING_PRIOR * 2 * np.pi / grid.marks) ** 2
        task = _Task(solver, part, rows, spacing, prior, 1e-4 if last else 0.1)
        fit, steps, stuck = _settled(task, _uncaught(task, guess, spare))
        guess, spare, total = fit.guess, fit.prediction.spare, total + steps
    if rows.size < grid.turns:
        task = replace(task, rows=np.arange(grid.turns))
        fit, steps, stuck = _settled(task, _evaluate(task, guess, spare))
        total += steps
    return *_refined(fit, task, total), stuck


def _stage_turns(grid: PassGrid, unknowns: int) -> list[int]:
    """Numbers of turns of the stages of growth, the last one all."""
    speeds = np.concatenate([[np.inf], turn_speeds(grid)])
    counts = [int((speeds > factor * speeds[-1]).sum()) for factor in STAGES[:-1]]
    least = max(6, 2 * unknowns // grid.marks + 2)
    return [*sorted({count for count in counts if least <= count < grid.turns}), grid.turns]


def _scatter(grid: PassGrid) -> float:
    """Variance of weighted times, from fourth differences of each mark from turn to turn (70 = 1+16+36+16+1)."""
    bends = np.diff(grid.times * grid.weights.max(), n=4, axis=0)
    return float(np.median(np.abs(bends)) ** 2 / 70 / 0.4549) + np.finfo(float).tiny


def _evaluate(task: _Task, guess: Guess, spare: float) -> _Fit:
    """Predict with these parameters and form the normal equations."""
    grid = task.grid
    prediction = predict(task.solver, guess, grid.angles, grid.turns, spare)
    residuals = (grid.times - pass_times(guess.start_time, prediction))[task.rows]
    slopes, slowness = time_slopes(prediction, task.rows)
    blocks = normal_blocks(slopes, slowness, residuals, grid.weights[task.rows], spacing=task.spacing)
    return _Fit(guess, prediction, blocks)


def _uncaught(task: _Task, guess: Guess, spare: float) -> _Fit:
    """Evaluate a guess, with a lower hill while the wheel of the guess is caught."""
    for _ in range(25):
        try:
            return _evaluate(task, guess, spare)
        except Caught:
            guess = replace(guess, hill=0.8 * guess.hill, energy=guess.energy * 1.002)
    raise FitImpossible(
        "No starting point was found from which the wheel passes the hill as often as recorded. "
        "Cut the slowest turns off, or record from higher speed."
    )


def _settled(task: _Task, fit: _Fit) -> tuple[_Fit, int, bool]:
    """Gauss-Newton steps until the decrement is small; also the number of steps, and whether rounding ended it.

    Hill and spacing trade along a bent valley, which plain steps cross uphill: up to four worse points in a row
    are followed before the search returns to the best one with Marquardt's damping.
    """
    best, damping, uphill = fit, 0.0, 0
    for steps in range(1, MOST_STEPS + 1):
        step = normal_step(fit.blocks, damping, task.prior, fit.guess.spacing)
        small = step.decrement < task.enough * _variance(task, fit.blocks)
        trial = _tried(task, fit, step)
        gain = -np.inf if trial is None else _objective(task, best) - _objective(task, trial)
        if trial is not None and gain >= -1e-9 * best.blocks.chi2:
            settled = damping == 0.0 and (small or gain < 1e-10 * best.blocks.chi2)
            fit = best = trial
            if settled:
                return best, steps, not small
            damping, uphill = (damping / 10 if damping > 1e-5 else 0.0), 0
        elif small:
            return best, steps, damping > 0
        elif trial is not None and damping == 0.0 and uphill < MOST_UPHILL:
            fit, uphill = trial, uphill + 1
        else:
            fit, damping = best, max(10 * damping, 1e-4)
    raise FitImpossible(
        f"The fit did not settle in {MOST_STEPS} steps. Ask for fewer drag terms or harmonics, or cut off the "
        "slowest turns."
    )


def _objective(task: _Task, fit: _Fit) -> float:
    """What the steps make small: squares of residuals, and of spacing errors where they are pulled to 0."""
    return fit.blocks.chi2 + task.prior * float(fit.guess.spacing @ fit.guess.spacing)


def _tried(task: _Task, fit: _Fit, step: Step) -> _Fit | None:
    """The fit after a step, or None if the wheel is caught on the way."""
    try:
        trial = _evaluate(task, _moved(fit.guess, step), fit.prediction.spare)
    except Caught:
        return None
    return trial if np.isfinite(trial.blocks.chi2) else None


def _moved(guess: Guess, step: Step) -> Guess:
    """Parameters after a step."""
    drags = guess.drag.size
    change = step.shared
    return Guess(
        guess.start_time + float(change[0]),
        guess.energy + float(change[1]),
        guess.drag + change[2 : 2 + drags],
        guess.hill + change[2 + drags :],
        guess.spacing + step.own if step.own.size else guess.spacing,
    )


def _freedom(task: _Task, blocks: Blocks) -> int:
    """Observations less parameters."""
    return int((task.grid.weights[task.rows] > 0).sum()) - blocks.shared.shape[0] - blocks.own.size


def _variance(task: _Task, blocks: Blocks) -> float:
    """Variance of a weighted residual, from the scatter."""
    return blocks.chi2 / max(_freedom(task, blocks), 1)


def _refined(fit: _Fit, task: _Task, steps: int) -> tuple[_Fit, _Task, int]:
    """Double the resolution of the turn until it no longer matters."""
    for _ in range(4):
        solver = task.solver
        finer = replace(solver, grid=turn_grid(2 * solver.grid.panels), nodes=solver.nodes + 16)
        grid = task.grid
        better = predict(finer, fit.guess, grid.angles, grid.turns, fit.prediction.spare)
        change = pass_times(0.0, better) - pass_times(0.0, fit.prediction)
        scatter = np.sqrt(_variance(task, fit.blocks) / grid.weights.size)
        allowed = 0.1 * scatter / max(float(grid.weights.max()), 1e-300)
        if np.abs(change).max() <= allowed + 4e-13 * float(np.ptp(grid.times)):
            return fit, task, steps
        task = replace(task, solver=finer)
        fit, more, _ = _settled(task, _evaluate(task, fit.guess, fit.prediction.spare))
        steps += more
    raise FitImpossible(
        "The motion close to capture could not be computed as finely as the times are read. "
        "Cut off the slowest turns."
    )


def _rundown(
    fit: _Fit, task: _Task, mark_angles: NDArray[np.float64], steps: int, *, stuck: bool, stated: bool
) -> Rundown:
    """Turn the fit into the record, in the angle of nominal mark 0 and with spacing of sum zero."""
    unit, weakest = parameter_covariance(fit.blocks)
    if weakest < WEAKEST:
        raise FitImpossible(
            "The speeds of this recording cannot tell the wanted terms apart: one combination is lost in rounding. "
            "Ask for fewer drag terms, or record over a wider range of speeds."
        )
    variance = _variance(task, fit.blocks)
    covariance = unit if stated else unit * variance
    grid, guess = task.grid, fit.guess
    motion = FittedMotion(task.solver, guess, grid, fit.prediction, covariance)
    drags = slice(2, 2 + guess.drag.size)
    fitted = pass_times(guess.start_time, fit.prediction)
    residuals = (grid.times - fitted)[grid.rows, grid.columns]
    hill, spacing, spread = _in_marks(motion, mark_angles, free=bool(fit.blocks.own.size))
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
        freedom=_freedom(task, fit.blocks),
        residuals=residuals,
        doubts=_doubts(task, fit, weakest, stuck=stuck, stated=stated),
        iterations=steps,
        motion=motion,
    )


def _doubts(task: _Task, fit: _Fit, weakest: float, *, stuck: bool, stated: bool) -> tuple[FitDoubt, ...]:
    """What the fit says against itself."""
    freedom = _freedom(task, fit.blocks)
    away = (_variance(task, fit.blocks) - 1) * np.sqrt(freedom / 2)
    checks = (
        (FitDoubt.MISFIT, stated and abs(away) > ALLOWED_MISFIT),
        (FitDoubt.WEAK, weakest < 100 * WEAKEST),
        (FitDoubt.ROUNDING, stuck),
    )
    return tuple(doubt for doubt, holds in checks if holds)


def _end_speeds(motion: FittedMotion) -> tuple[float, float]:
    """Speeds by energy at the first and the last pass."""
    table, sequence, grid = motion.prediction.table, motion.prediction.sequence, motion.grid
    loss = sequence.shapes @ table.loss
    ends = sequence.start - loss
    share = grid.angles[grid.columns[0]] / (2 * np.pi)
    first = sequence.start[grid.rows[0]] - share * loss[grid.rows[0]]
    return float(np.sqrt(2 * first)), float(np.sqrt(2 * max(ends[-1], 0.0)))


def _in_marks(
    motion: FittedMotion, mark_angles: NDArray[np.float64], *, free: bool
) -> tuple[Hill | None, NDArray[np.float64], NDArray[np.float64]]:
    """Hill and spacing in the angle of nominal mark 0, spacing errors adding to zero, with covariances."""
    guess, grid = motion.guess, motion.grid
    marks = grid.marks
    errors = np.append(guess.spacing, 0.0)
    ordered = (grid.reference + 1 + np.arange(marks)) % marks
    centring = np.zeros((marks, marks))
    centring[ordered] = np.eye(marks) - 1 / marks
    gauge = float(errors.mean())
    own = motion.covariance.shape[0] - (marks - 1 if free else 0)
    spread = np.zeros((marks, marks))
    if free:
        spread[:-1, :-1] = motion.covariance[own:, own:]
    spacing, spacing_spread = centring @ errors, centring @ spread @ centring.T
    if not guess.hill.size:
        return None, spacing, spacing_spread
    turned, turning = turned_hill(guess.hill, float(mark_angles[grid.reference]) - gauge)
    place = slice(2 + guess.drag.size, own)
    change = np.zeros((turned.size, motion.covariance.shape[0]))
    change[:, place] = turning
    if free:
        orders = np.repeat(np.arange(1, turned.size // 2 + 1), 2)
        swapped = turned.reshape(-1, 2)[:, ::-1] * np.array([1.0, -1.0])
        change[:, own:] = (orders * swapped.ravel())[:, None] / marks
    covariance = change @ motion.covariance @ change.T
    return Hill(turned[0::2], turned[1::2], covariance), spacing, spacing_spread
