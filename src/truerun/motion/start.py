"""First guess of all parameters, by linear regressions only."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from truerun.errors import FitImpossible
from truerun.motion.drag_curve import DragBasis, basis_values
from truerun.motion.hill import hill_matrix
from truerun.motion.panels import TURN
from truerun.motion.places import PassGrid

__all__ = ["Guess", "first_guess", "turn_speeds"]

MOST_POINTS = 1000
SPACING_DOUBT = 0.1


@dataclass(frozen=True, slots=True)
class Guess:
    """Parameters of the motion, angles counted from the reference mark.

    ``start_time`` [s] and ``energy`` [rad^2/s^2] at the start of the first row, ``drag`` weights (p,), ``hill``
    harmonics (2 K,), ``spacing`` (m - 1,) errors of the marks before the reference mark [rad].
    """

    start_time: float
    energy: float
    drag: NDArray[np.float64]
    hill: NDArray[np.float64]
    spacing: NDArray[np.float64]


def turn_speeds(grid: PassGrid) -> NDArray[np.float64]:
    """Mean speed over every turn from reference mark to reference mark.

    Parameters
    ----------
    grid : PassGrid

    Returns
    -------
    array, shape (n - 1,)
        Turns 1, 2, ... (the first row may be incomplete) [rad/s].
    """
    speeds: NDArray[np.float64] = TURN / np.diff(grid.times[:, -1])
    return speeds


def first_guess(grid: PassGrid, basis: DragBasis, harmonics: int, *, spacing: bool, terms: int | None = None) -> Guess:
    """Regress the drag on turn means, hill and spacing on what intervals differ from turn means.

    Parameters
    ----------
    grid : PassGrid
    basis : DragBasis
    harmonics : int
        Highest order of the hill.
    spacing : bool
        Whether the marks may be misplaced.
    terms : int, optional
        How many of the drag's terms are guessed, the others being 0. None: all.

    Returns
    -------
    Guess

    Raises
    ------
    FitImpossible
        If the wheel does not slow down.

    Notes
    -----
    Interval speed v = angle/time, E = v^2/2. Turn-mean E against the integrals of the basis functions gives the
    drag. E less its centred turn mean, for each kind of interval against [1, E] with weights v^-3: the intercept
    is minus the mean hill there, the slope minus twice the spacing error over the interval's angle.
    """
    drag, energy = _drag_guess(grid, basis, min(terms or basis.size, basis.size))
    hill, errors = np.zeros(2 * harmonics), np.zeros(grid.marks - 1)
    if grid.marks > 2 and (spacing or harmonics):
        hill, errors = _hill_guess(grid, harmonics, spacing=spacing)
    start = float(grid.times[0, -1] - TURN / np.sqrt(2 * energy))
    return Guess(start, energy, drag, hill, errors)


def _drag_guess(grid: PassGrid, basis: DragBasis, terms: int) -> tuple[NDArray[np.float64], float]:
    """Weights of the drag, and the energy at the start of the first row."""
    flat = grid.times.ravel()
    first = int(np.argmax(grid.weights.ravel() > 0))
    ends = np.arange(first + grid.marks, flat.size)
    ends = ends[:: max(1, ends.size // MOST_POINTS)]
    speed = TURN / (flat[ends] - flat[ends - grid.marks])
    angles = np.concatenate([TURN * np.arange(grid.turns)[:, None] + grid.angles]).ravel()
    middle = angles[ends] - TURN / 2
    if speed[-1] >= speed[0]:
        raise FitImpossible(
            f"The speed goes from {speed[0]:.4g} to {speed[-1]:.4g} rad/s; a rundown must slow down. Cut the "
            "recording to the part after the last push."
        )
    shapes = basis_values(basis, speed)[:, :terms]
    steps = np.diff(middle)[:, None] * (shapes[1:] + shapes[:-1]) / 2
    passed = np.concatenate([np.zeros((1, terms)), np.cumsum(steps, axis=0)])
    design = np.column_stack([np.ones_like(speed), -passed]) * (speed**-3.0)[:, None]
    solved = np.linalg.lstsq(design, speed**2 / 2 * speed**-3.0, rcond=1e-10)[0]
    before = float(shapes[0] @ solved[1:]) * middle[0]
    drag = np.append(solved[1:], np.zeros(basis.size - terms))
    return drag, max(float(solved[0]) + before, float(speed[0] ** 2) / 2)


def _hill_guess(grid: PassGrid, harmonics: int, *, spacing: bool) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Hill harmonics and spacing errors from what single intervals differ from the turn's mean."""
    width = np.diff(np.concatenate([[0.0], grid.angles]))
    steps = np.diff(grid.times.ravel()).reshape(-1)
    kind = (np.arange(steps.size) + 1) % grid.marks
    energy = (width[kind] / steps) ** 2 / 2
    mean, middle = _centred_mean(energy, grid.marks)
    away, kind = energy[middle] - mean, kind[middle]
    present = (grid.weights.ravel()[1:] > 0) & (grid.weights.ravel()[:-1] > 0)
    weight = (2 * mean) ** -1.5 * present[middle]
    lines = []
    for each in range(grid.marks):
        some = np.flatnonzero(kind == each)
        some = some[:: max(1, some.size // MOST_POINTS)]
        lines.append(_line(mean[some], away[some], weight[some], spacing=spacing))
    level, slope = np.array(lines).T
    edges = np.concatenate([[0.0], grid.angles])
    hill = np.zeros(2 * harmonics)
    if harmonics:
        means = _interval_means(edges, harmonics)
        hill = np.linalg.lstsq(means - means.mean(axis=0), level.mean() - level, rcond=None)[0]
    shifts = -slope * width / 2
    return hill, np.cumsum(shifts - shifts.mean())[:-1]


def _line(
    mean: NDArray[np.float64], away: NDArray[np.float64], weight: NDArray[np.float64], *, spacing: bool
) -> tuple[float, float]:
    """Intercept and slope with a mild pull of the slope to 0, so that a short range does not run away."""
    design = np.column_stack([np.ones_like(mean), mean]) * weight[:, None]
    target = away * weight
    solved = np.linalg.lstsq(design, target, rcond=None)[0]
    noise = float(np.sqrt(np.mean((target - design @ solved)[weight > 0] ** 2))) if (weight > 0).any() else 1.0
    pull = noise / (SPACING_DOUBT if spacing else 1e-9)
    solved = np.linalg.lstsq(np.vstack([design, [0.0, pull]]), np.append(target, 0.0), rcond=None)[0]
    return float(solved[0]), float(solved[1])


def _centred_mean(values: NDArray[np.float64], span: int) -> tuple[NDArray[np.float64], NDArray[np.intp]]:
    """Mean over a whole turn round each value, half weights at the ends where the count is even."""
    kernel = np.ones(span) if span % 2 else np.concatenate([[0.5], np.ones(span - 1), [0.5]])
    mean = np.convolve(values, kernel / span, mode="valid")
    return mean, np.arange(mean.size) + kernel.size // 2


def _interval_means(edges: NDArray[np.float64], harmonics: int) -> NDArray[np.float64]:
    """Mean of each harmonic over each interval between marks, shape (m, 2 K)."""
    orders = np.arange(1, harmonics + 1)
    waves = hill_matrix(edges, harmonics).reshape(edges.size, harmonics, 2)
    rise = np.diff(waves, axis=0) / np.diff(edges)[:, None, None] / orders[:, None]
    return np.stack([rise[..., 1], -rise[..., 0]], axis=-1).reshape(-1, 2 * harmonics)
