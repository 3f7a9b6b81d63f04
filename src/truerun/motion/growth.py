"""From a first guess to the least-squares fit: growing the window from fast turns to slow ones."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum, auto

import numpy as np
from numpy.typing import NDArray

from truerun.errors import FitImpossible
from truerun.motion.hill import hill_matrix
from truerun.motion.normal import Blocks, Step, normal_blocks, normal_step
from truerun.motion.panels import TURN, turn_grid
from truerun.motion.places import PassGrid, scatter_variance
from truerun.motion.prediction import Prediction, pass_times, predict, time_slopes
from truerun.motion.start import Guess, first_guess, turn_speeds
from truerun.motion.turn_map import Caught, Solver

__all__ = ["End", "Evaluated", "Settled", "Task", "degrees_of_freedom", "grown_fit", "residual_variance"]

STAGES = (2.5, 1.6, 1.25, 1.1)
MOST_STEPS = 40
STAGE_STEPS = 12
MOST_UPHILL = 4
COARSE_ROWS = 250
SPACING_PRIOR = 0.03
ROUNDING = 1e-13
FINEST = 1e-11
PLAUSIBLE = 3.0
PLACES = np.linspace(0, TURN, 100)
NOT_SETTLED = (
    f"The fit did not settle in {MOST_STEPS} steps. Ask for fewer drag terms or harmonics, or cut off the slowest "
    "turns."
)


class End(Enum):
    """Why the steps ended."""

    SETTLED = auto()
    ROUNDING = auto()
    OUT_OF_STEPS = auto()


@dataclass(frozen=True, slots=True)
class Evaluated:
    """One evaluated set of parameters."""

    guess: Guess
    prediction: Prediction
    blocks: Blocks


@dataclass(frozen=True, slots=True)
class Task:
    """What stays the same during one stage of growth.

    ``rows`` are the turns that are compared, ``prior`` the weight that pulls spacing errors to 0, ``floor`` the
    least variance of a weighted residual that steps are measured against, ``enough`` the decrement, as a multiple
    of the variance, at which steps end, and ``most`` their number.
    """

    solver: Solver
    grid: PassGrid
    rows: NDArray[np.intp]
    spacing: bool
    prior: float
    floor: float
    enough: float
    most: int


@dataclass(frozen=True, slots=True)
class Settled:
    """Where the steps ended."""

    fit: Evaluated
    task: Task
    steps: int
    end: End


def grown_fit(grid: PassGrid, solver: Solver, harmonics: int, *, spacing: bool, stated: bool) -> Settled:
    """Fit the fast turns first, then more and more of the slow ones, then everything finely.

    Parameters
    ----------
    grid : PassGrid
    solver : Solver
    harmonics : int
        Highest order of the hill.
    spacing : bool
        Whether spacing errors of the marks are free.
    stated : bool
        Whether the weights hold a stated sigma, so that a residual of 1 is meant.

    Returns
    -------
    Settled

    Raises
    ------
    FitImpossible
        If no start leads to a settled fit, or the turn cannot be computed finely enough.

    Notes
    -----
    Drag that was fitted over few turns reaches badly into slow ones, so each stage begins from the best of: the
    stage before, the regressions over the whole recording, and those with the hill of the stage before.
    """
    first = first_guess(grid, solver.basis, harmonics, spacing=spacing)
    floor = 1.0 if stated else (FINEST * float(np.ptp(grid.times))) ** 2
    task = _stage(grid, solver, grid.turns, spacing=spacing, floor=floor)
    found = _at_once(task, first)
    if found is None:
        plain = first_guess(grid, solver.basis, harmonics, spacing=spacing, terms=2)
        found = _by_stages(task, [first, plain, _flat(first), _flat(plain)])
    if task.rows.size < grid.turns:
        whole = replace(task, rows=np.arange(grid.turns))
        found = _settled(replace(found, task=whole, fit=_evaluate(whole, found.fit.guess, found.fit.prediction.spare)))
    found = _refined(found)
    if found.end is End.OUT_OF_STEPS:
        raise FitImpossible(NOT_SETTLED)
    return found


def _at_once(task: Task, first: Guess) -> Settled | None:
    """Settle on the whole recording straight away, if that leaves no more than the scatter."""
    start = _uncaught(task, first)
    if start is None:
        return None
    found = _settled(Settled(start, replace(task, most=STAGE_STEPS), 0, End.OUT_OF_STEPS))
    wanted = PLAUSIBLE * max(scatter_variance(task.grid), task.floor)
    good = found.end is not End.OUT_OF_STEPS and residual_variance(task, found.fit.blocks) <= wanted
    return replace(found, task=task) if good else None


def _by_stages(task: Task, first: list[Guess]) -> Settled:
    """Settle on more and more of the recording."""
    grid, solver = task.grid, task.solver
    starts, total = first, 0
    for turns in _stage_turns(grid, first[0].hill.size + solver.basis.size + 2):
        part = _stage(grid, solver, turns, spacing=task.spacing, floor=task.floor)
        found = _settled(_best_first(part, starts)[0])
        total += found.steps
        now = found.fit.guess
        starts = [now, replace(first[0], hill=now.hill, spacing=now.spacing), *first]
    found = _first_settled(_best_first(task, starts))
    return replace(found, steps=total + found.steps)


def residual_variance(task: Task, blocks: Blocks) -> float:
    """Variance of a weighted residual, from the scatter.

    Parameters
    ----------
    task : Task
    blocks : Blocks

    Returns
    -------
    float
    """
    return blocks.chi2 / max(degrees_of_freedom(task, blocks), 1)


def degrees_of_freedom(task: Task, blocks: Blocks) -> int:
    """Observations less parameters.

    Parameters
    ----------
    task : Task
    blocks : Blocks

    Returns
    -------
    int
    """
    unknowns = int(blocks.shared.shape[0]) + blocks.own.size
    return int(np.count_nonzero(task.grid.weights[task.rows])) - unknowns


def _flat(guess: Guess) -> Guess:
    """Take the guess without hill and spacing errors."""
    return replace(guess, hill=0 * guess.hill, spacing=0 * guess.spacing)


def _stage(grid: PassGrid, solver: Solver, turns: int, *, spacing: bool, floor: float) -> Task:
    """Make the first turns a task; the last stage has no prior and settles fully."""
    last = turns == grid.turns
    part = replace(grid, times=grid.times[:turns], weights=grid.weights[:turns])
    rows = np.unique(np.linspace(0, turns - 1, min(turns, COARSE_ROWS)).round().astype(np.intp))
    prior = 0.0 if last else max(scatter_variance(part), floor) / (SPACING_PRIOR * TURN / grid.marks) ** 2
    return Task(solver, part, rows, spacing, prior, floor, *((1e-4, MOST_STEPS) if last else (0.1, STAGE_STEPS)))


def _stage_turns(grid: PassGrid, unknowns: int) -> list[int]:
    """Numbers of turns of the stages of growth before the last."""
    speeds = np.concatenate([[np.inf], turn_speeds(grid)])
    counts = {int(np.count_nonzero(speeds > factor * speeds[-1])) for factor in STAGES}
    least = max(6, 2 * unknowns // grid.marks + 2)
    return sorted(count for count in counts if least <= count < grid.turns)


def _evaluate(task: Task, guess: Guess, spare: float) -> Evaluated:
    """Predict with these parameters and form the normal equations."""
    grid = task.grid
    prediction = predict(task.solver, guess, grid.angles, grid.turns, spare)
    residuals = (grid.times - pass_times(guess.start_time, prediction))[task.rows]
    slopes, slowness = time_slopes(prediction, task.rows)
    blocks = normal_blocks(slopes, slowness, residuals, grid.weights[task.rows], spacing=task.spacing)
    return Evaluated(guess, prediction, blocks)


def _best_first(task: Task, starts: list[Guess]) -> list[Settled]:
    """Sort the starts that pass the hill as often as recorded, smallest residuals first."""
    found = [fit for fit in (_uncaught(task, guess) for guess in starts) if fit is not None]
    if not found:
        raise FitImpossible(
            "No starting point was found from which the wheel passes the hill as often as recorded. "
            "Cut the slowest turns off, or record from higher speed."
        )
    found.sort(key=lambda fit: _objective(task, fit))
    return [Settled(fit, task, 0, End.OUT_OF_STEPS) for fit in found]


def _uncaught(task: Task, guess: Guess) -> Evaluated | None:
    """Evaluate a guess, with a lower hill while the wheel of the guess is caught."""
    last = float(turn_speeds(task.grid)[-1]) ** 2 / 2
    for _ in range(8):
        top = float((hill_matrix(PLACES, guess.hill.size // 2) @ guess.hill).max(initial=0.0))
        try:
            return _evaluate(task, guess, max(last - top, 0.05 * last))
        except Caught:
            guess = replace(guess, hill=0.8 * guess.hill)
    return None


def _first_settled(starts: list[Settled]) -> Settled:
    """Settle from the first start from which it is possible."""
    for start in starts:
        found = _settled(start)
        if found.end is not End.OUT_OF_STEPS:
            return found
    raise FitImpossible(NOT_SETTLED)


def _settled(start: Settled) -> Settled:
    """Gauss-Newton steps until the decrement is small, or rounding or the number of steps ends them.

    Hill and spacing trade along a bent valley, which plain steps cross uphill: up to four worse points in a row
    are followed before the search returns to the best one with Marquardt's damping.
    """
    task, fit, best, damping, uphill = start.task, start.fit, start.fit, 0.0, 0
    for steps in range(start.steps + 1, start.steps + task.most + 1):
        step = normal_step(fit.blocks, damping, task.prior, fit.guess.spacing)
        small = step.decrement < task.enough * max(residual_variance(task, fit.blocks), task.floor)
        trial = _tried(task, fit, step)
        gain = -np.inf if trial is None else _objective(task, best) - _objective(task, trial)
        if trial is not None and gain >= -1e-9 * best.blocks.chi2:
            fit = best = trial
            if damping == 0.0 and (small or gain < 1e-10 * best.blocks.chi2):
                return Settled(best, task, steps, End.SETTLED if small else End.ROUNDING)
            damping, uphill = (damping / 10 if damping > 1e-5 else 0.0), 0
        elif small and damping == 0.0:
            return Settled(best, task, steps, End.SETTLED if uphill == 0 else End.ROUNDING)
        elif trial is not None and damping == 0.0 and uphill < MOST_UPHILL:
            fit, uphill = trial, uphill + 1
        else:
            fit, damping = best, max(10 * damping, 1e-4)
    return Settled(best, task, start.steps + task.most, End.OUT_OF_STEPS)


def _objective(task: Task, fit: Evaluated) -> float:
    """Add up what the steps make small: squares of residuals, and of spacing errors where they are pulled to 0."""
    return fit.blocks.chi2 + task.prior * float(fit.guess.spacing @ fit.guess.spacing)


def _tried(task: Task, fit: Evaluated, step: Step) -> Evaluated | None:
    """Evaluate after a step; None if the wheel is caught on the way."""
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


def _refined(found: Settled) -> Settled:
    """Double the resolution of the turn until it no longer matters."""
    for _ in range(4):
        fit, task, grid = found.fit, found.task, found.task.grid
        finer = replace(task.solver, grid=turn_grid(2 * task.solver.grid.panels), nodes=task.solver.nodes + 16)
        try:
            better = predict(finer, fit.guess, grid.angles, grid.turns, fit.prediction.spare)
            change = pass_times(0.0, better) - pass_times(0.0, fit.prediction)
            scatter = np.sqrt(max(residual_variance(task, fit.blocks), task.floor) / grid.weights.size)
            if np.abs(change).max() <= 0.1 * scatter / grid.weights.max() + 4 * ROUNDING * np.ptp(grid.times):
                return found
            task = replace(task, solver=finer)
            found = _settled(replace(found, task=task, fit=_evaluate(task, fit.guess, fit.prediction.spare)))
        except Caught:  # seen finely, it would not get over the bump
            break
    raise FitImpossible(
        "The motion close to capture could not be computed as finely as the times are read. Cut off the slowest turns."
    )
