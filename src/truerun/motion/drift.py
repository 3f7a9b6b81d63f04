"""Drift of the drag within a run: the honest uncertainty beside the reading error.

On real benches the drag wanders from turn to turn. That wander enters the times through a double integral, so the
residuals hang together and the textbook standard error is far too small. Here the wander is part of the model: an
extra drag for each block of turns, drawn from an autoregressive process whose size and length are averaged over.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from truerun.errors import ValueOutOfRange
from truerun.motion.drag_curve import DragBasis, basis_values
from truerun.motion.frame import in_marks
from truerun.motion.places import scatter_variance
from truerun.motion.prediction import Prediction, pass_times, time_slopes
from truerun.motion.rundown import Drift, FittedMotion, Rundown
from truerun.motion.wander import average_wander

__all__ = ["block_edges", "block_slopes", "constant_weights", "with_drift"]

MOST_BLOCKS = 240
LONG_RUN = 1000
LONG_RUN_BLOCKS = 80
CHUNK_TURNS = 400


@dataclass(frozen=True, slots=True)
class _Reduced:
    """Triangle of the least-squares problem in shared parameters and extra drags, spacing eliminated.

    ``triangle`` (c, c) has the columns shared parameters, extra drags, residuals; ``blocks`` is the number of extra
    drags. ``across`` (c - 1, m - 1) turns changes of the parameters into changes of the spacing errors (with the
    sign turned), ``own`` (m - 1,) is the weight of those.
    """

    triangle: NDArray[np.float64]
    freedom: int
    blocks: int
    across: NDArray[np.float64]
    own: NDArray[np.float64]

    @property
    def shared(self) -> int:
        """Number of shared parameters."""
        return int(self.triangle.shape[0]) - 1 - self.blocks


def with_drift(rundown: Rundown) -> Rundown:
    """Let the drag drift, and give drag, hill, spacing and later the window their honest uncertainty.

    Parameters
    ----------
    rundown : Rundown
        As fitted with a drag that depends on speed only.

    Returns
    -------
    Rundown
        With ``drift`` set, estimates moved to the drift-aware ones and their covariances widened;
        ``drag.reading`` stays as it was.

    Raises
    ------
    ValueOutOfRange
        If the drag has no term that does not depend on speed: then drift has no unit.

    Notes
    -----
    At most 240 blocks of turns (80 beyond 1000 turns). Restricted likelihood on a fixed grid of sizes (shares of
    the mean drag) and correlation lengths (shares of the run), flat over both, with half of the belief on no
    drift at all; the result is the mixture. A stated sigma is believed, otherwise the scatter is estimated along.
    A drift that hangs together over more than a third of the run looks like the drag curve itself and only shows
    between runs. The 95 % band holds the drag in 96 to 99 % of virtual runs whose drift is well seen (0.1 to 3 %,
    2 to 10 turns of 100), in 94 % where it lasts a third of the run, in 73 % where a whole run; in 99.5 % without
    any drift, in 89 % where it is so small (0.002 %) that it is hardly seen. More belief on none, or longer lengths,
    gain at one end what they lose at the other.
    """
    reduced = _reduced(rundown)
    speeds = np.linspace(rundown.speed_low, rundown.speed_high, 50)
    level = float(np.abs(basis_values(rundown.drag.basis, speeds) @ rundown.drag.weights).mean())
    stated = rundown.misfit is not None
    left = float(np.sum(reduced.triangle[reduced.shared :, -1] ** 2)) / reduced.freedom
    unit = 1.0 if stated else min(scatter_variance(rundown.motion.grid) or left, left)
    found = average_wander(
        reduced.triangle, reduced.blocks, reduced.freedom, level / float(np.sqrt(unit)), stated=stated
    )
    drift = Drift(found.size, found.length, found.none, found.mean, found.covariance)
    return _widened(rundown, reduced, drift, found.variance)


def _widened(rundown: Rundown, reduced: _Reduced, drift: Drift, variance: float) -> Rundown:
    """Rewrite the record with the drift-aware estimate."""
    motion, mean, covariance = rundown.motion, drift.mean, drift.covariance
    shared = mean.size - reduced.blocks
    cross = -covariance @ reduced.across
    own = np.diag(variance / reduced.own) - reduced.across.T @ cross
    whole = np.block([[covariance[:shared, :shared], cross[:shared]], [cross[:shared].T, own]])
    if motion.late is not None:
        covariance, whole = covariance.copy(), whole + motion.late
        covariance[:shared, :shared] += motion.late[:shared, :shared]
        drift = replace(drift, covariance=covariance)
    drags, guess = slice(2, 2 + rundown.drag.weights.size), motion.guess
    moved = replace(guess, drag=guess.drag + mean[drags], hill=guess.hill + mean[drags.stop : shared])
    if motion.free:
        moved = replace(moved, spacing=guess.spacing - mean @ reduced.across)
    hill, spacing, spread = in_marks(replace(motion, guess=moved, covariance=whole))
    drag = replace(rundown.drag, weights=moved.drag, covariance=whole[drags, drags])
    return replace(rundown, drag=drag, hill=hill, spacing=spacing, spacing_covariance=spread, drift=drift)


def block_edges(turns: int) -> NDArray[np.intp]:
    """First turns of the blocks, and the number of turns at the end.

    Parameters
    ----------
    turns : int

    Returns
    -------
    array of int, shape (b + 1,)

    Examples
    --------
    >>> block_edges(4)
    array([0, 1, 2, 3, 4])
    """
    most = MOST_BLOCKS if turns <= LONG_RUN else LONG_RUN_BLOCKS
    ends = np.linspace(0, turns, min(turns, most) + 1)
    return np.asarray(ends.round(), dtype=np.intp)


def constant_weights(basis: DragBasis) -> NDArray[np.float64]:
    """Weights of the basis that give a drag of 1 at every speed.

    Parameters
    ----------
    basis : DragBasis

    Returns
    -------
    array, shape (p,)

    Raises
    ------
    ValueOutOfRange
        If the basis holds no constant.
    """
    if basis.powers is None:
        return np.append(1.0, np.zeros(basis.size - 1))
    if 0 not in basis.powers:
        raise ValueOutOfRange("list of drag terms", list(basis.powers), "with power 0", "Add the dry term.")
    weights: NDArray[np.float64] = np.linalg.solve(basis.mixing, np.eye(basis.size)[basis.powers.index(0)])
    return weights


def block_slopes(
    prediction: Prediction, constant: NDArray[np.float64], edges: NDArray[np.intp]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Differentiate energy and time at the start of every turn with respect to the extra drag of every block.

    Parameters
    ----------
    prediction : Prediction
    constant : array, shape (p,)
        Weights of a drag of 1.
    edges : array of int, shape (b + 1,)

    Returns
    -------
    energies, times, inside : array, shape (n, b)
        ``inside`` is 1 where the turn belongs to the block.
    """
    table, sequence = prediction.table, prediction.sequence
    turns = np.arange(sequence.start.size)
    drags = constant.size
    carried = np.cumprod(np.concatenate([[1.0], sequence.shapes @ table.carry]))
    pushes = np.concatenate([[0.0], np.cumsum(sequence.shapes @ (table.end[:, :drags] @ constant) / carried[1:])])
    until = np.minimum(turns[:, None], edges[1:])
    since = np.minimum(turns[:, None], edges[:-1])
    energies = carried[:-1, None] * (pushes[until] - pushes[since])
    inside = ((turns[:, None] >= edges[:-1]) & (turns[:, None] < edges[1:])).astype(float)
    whole = sequence.shapes @ table.times_start[:, -1:] * energies
    whole += sequence.shapes @ (table.times_weights[:, -1:, :drags] @ constant) * inside
    return energies, np.cumsum(whole, axis=0) - whole, inside


def _reduced(rundown: Rundown) -> _Reduced:
    """Bring the least-squares problem with extra drags to a triangle, in chunks of turns.

    Extra drags move the times by very many standard deviations, so squares (normal equations) would lose everything.
    """
    motion = rundown.motion
    grid, table = motion.grid, motion.prediction.table
    constant = constant_weights(rundown.drag.basis)
    tables = block_slopes(motion.prediction, constant, block_edges(grid.turns))
    own_times = table.times_weights[:, :, : constant.size] @ constant
    chunks = [np.arange(k, min(k + CHUNK_TURNS, grid.turns)) for k in range(0, grid.turns, CHUNK_TURNS)]
    parts = [_columns(motion, own_times, tables, rows) for rows in chunks]
    free = grid.marks - 1 if motion.free else 0
    own = np.sum([np.sum(slowness[:, :free] ** 2, axis=0) for _, slowness in parts], axis=0)
    mixed = np.sum([np.einsum("nk,nkc->kc", slow[:, :free], columns[:, :free]) for columns, slow in parts], axis=0)
    across = mixed.T / own
    triangle = np.zeros((parts[0][0].shape[-1],) * 2)  # square also where passes are fewer than columns
    for columns, slowness in parts:
        columns[:, :free] -= slowness[:, :free, None] * across.T
        stacked = np.vstack([triangle, columns.reshape(-1, columns.shape[-1])])
        triangle = np.asarray(np.linalg.qr(stacked, mode="r"), dtype=np.float64)
    blocks = tables[0].shape[1]
    freedom = int(np.count_nonzero(grid.weights)) - own.size - (triangle.shape[1] - 1 - blocks)
    return _Reduced(triangle, freedom, blocks, across[:-1], own)


def _columns(
    motion: FittedMotion,
    own_times: NDArray[np.float64],
    tables: tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]],
    rows: NDArray[np.intp],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Weighted derivatives of the times of some turns, residuals last; also those by the marks' own errors."""
    prediction, grid = motion.prediction, motion.grid
    slopes, slowness = time_slopes(prediction, rows)
    energies, times, inside = (table[rows][:, None, :] for table in tables)
    shapes = prediction.sequence.shapes[rows]
    extra = times + (shapes @ prediction.table.times_start)[..., None] * energies
    extra += (shapes @ own_times)[..., None] * inside
    left = grid.times - pass_times(motion.guess.start_time, prediction)
    columns = np.concatenate([slopes, extra, left[rows][..., None]], axis=-1)
    return columns * grid.weights[rows][..., None], slowness * grid.weights[rows]
