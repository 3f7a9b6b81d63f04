"""A running bet against "no effect", block by block, that may be read at any time.

A bet that is fair under "no effect" multiplies the stake by E after each block. Because its mean over all orders
that could have been drawn is exactly 1, it reaches 1/alpha with probability at most alpha, however often it is
looked at; so it may decide where a plan was stopped early or gone on.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Evidence", "confidence_sequence", "evidence", "highest_evidence"]

Array = NDArray[np.float64]

STAKES: Array = np.array([-4.0, -2.0, -1.0, 1.0, 2.0, 4.0])
"""The bets over which the evidence is averaged."""

_REFINEMENTS = 6
_FLAT = 1e-12


@dataclass(frozen=True, slots=True)
class Evidence:
    """E after each block, shape (blocks,); ``last`` is the present value."""

    steps: Array

    @property
    def last(self) -> float:
        """E after the last block, 1 before the first."""
        return float(self.steps[-1]) if len(self.steps) else 1.0


def evidence(observations: Array, used: NDArray[np.int8], arrangements: NDArray[np.int8]) -> Evidence:
    """Give the evidence against "no effect" after each whole block.

    Parameters
    ----------
    observations : array, shape (n,)
        On the scale on which an effect adds; NaN for a slot that was left out.
    used : array of +1 and -1, shape (n,)
        The order that was drawn.
    arrangements : array of +1 and -1, shape (a, size)
        The orders from which each block was drawn.

    Returns
    -------
    Evidence

    Notes
    -----
    In block b with deviations y' from the block mean and s_b^2 = sum of y'^2 over blocks 1..b divided by their runs
    less their blocks, c_b(z) = sum z y' / (2 s_b) and::

        E_n(theta) = prod_b exp(theta c_b(z used)) / mean over z of exp(theta c_b(z))

    averaged over theta = +-1, +-2, +-4. The mean over all orders is exactly 1. Perfect separation in blocks of four
    gives 2.478, 12.670, 67.630 after one, two and three blocks: a decision at 20 needs at least three.

    Examples
    --------
    >>> four = np.array([[1, 1, -1, -1], [1, -1, 1, -1], [1, -1, -1, 1],
    ...                  [-1, 1, 1, -1], [-1, 1, -1, 1], [-1, -1, 1, 1]], dtype=np.int8)
    >>> order = np.array([1, -1, -1, 1] * 3, dtype=np.int8)
    >>> [round(float(step), 3) for step in evidence(order * 1.0, order, four).steps]
    [2.478, 12.67, 67.63]
    """
    return Evidence(_paths(observations[None, :], used, arrangements)[0])


def _paths(observations: Array, used: NDArray[np.int8], arrangements: NDArray[np.int8]) -> Array:
    """E after each block for several sets of observations, shape (k, n) to (k, blocks)."""
    size = arrangements.shape[1]
    blocks = len(used) // size
    values = observations[:, : blocks * size].reshape(len(observations), blocks, size)
    present = np.isfinite(values)
    counts = present.sum(axis=2)
    filled = np.where(present, values, 0.0)
    mean = filled.sum(axis=2) / np.maximum(counts, 1)
    deviations = np.where(present, filled - mean[:, :, None], 0.0)
    deviations[np.abs(deviations) <= _FLAT * np.abs(mean[:, :, None])] = 0.0  # equal but for rounding
    freedom = np.cumsum(np.maximum(counts - 1, 0), axis=1)
    scale = np.sqrt(np.cumsum((deviations**2).sum(axis=2), axis=1) / np.maximum(freedom, 1))
    safe = np.where(scale > 0, scale, 1.0)[:, :, None]
    contrasts = deviations @ arrangements.T / (2 * safe)
    drawn = (deviations * used[: blocks * size].reshape(blocks, size)).sum(axis=2, keepdims=True) / (2 * safe)
    # |c| is at most the square root of the degrees of freedom, so no power below can overflow
    fair = np.log(np.exp(contrasts[..., None] * STAKES).mean(axis=2))
    paths: Array = np.exp(np.cumsum(drawn * STAKES - fair, axis=1)).mean(axis=2)
    return paths


def highest_evidence(arrangements: NDArray[np.int8], blocks: int) -> Array:
    """Give the E that perfect separation reaches after each block, shape (blocks,): no result can give more.

    Examples
    --------
    >>> pairs = np.array([[1, -1], [-1, 1]], dtype=np.int8)
    >>> round(float(highest_evidence(pairs, 6)[-1]), 1)
    20.9
    """
    order = np.tile(arrangements[0], blocks)
    return evidence(order.astype(np.float64), order, arrangements).steps


def confidence_sequence(
    observations: Array, used: NDArray[np.int8], arrangements: NDArray[np.int8], alpha: float
) -> tuple[float | None, float | None]:
    """Give the effects that the running bet has not excluded; an end is None where it is open.

    Parameters
    ----------
    observations, used, arrangements
        As in :func:`evidence`.
    alpha : float
        An effect is excluded where E against it is 1/alpha or more.

    Returns
    -------
    low, high : float or None
        The hull of {d : E(y - d z / 2) < 1/alpha}, on the scale of the observations.

    Notes
    -----
    E tends to its highest possible value far out on both sides, so an end exists only if that reaches 1/alpha. The
    outermost effect that is not excluded is looked for from far out inwards, in steps of 1/200 of the spread of the
    observations near the middle, then six times 64 times finer.
    """
    size = arrangements.shape[1]
    n = len(used) // size * size
    centre, spread = _centre_and_spread(observations[:n], used[:n])
    if spread == 0.0:
        return None, None

    def excluded(effects: Array) -> NDArray[np.bool_]:
        moved = observations[None, :] - effects[:, None] * used / 2
        return np.asarray(_paths(moved, used, arrangements)[:, -1] >= 1 / alpha)

    return _end(excluded, centre, -spread), _end(excluded, centre, spread)


def _centre_and_spread(values: Array, used: NDArray[np.int8]) -> tuple[float, float]:
    """Give the difference of means and the largest distance between two observations; 0 where there is none."""
    source = values[np.isfinite(values) & (used > 0)]
    control = values[np.isfinite(values) & (used < 0)]
    if not len(source) or not len(control):
        return 0.0, 0.0
    return float(source.mean() - control.mean()), float(np.ptp(np.concatenate([source, control])))


def _end(excluded: Callable[[Array], NDArray[np.bool_]], centre: float, reach: float) -> float | None:
    """Find the outermost effect towards ``reach`` that is not excluded."""
    grid = centre + reach * np.concatenate([np.geomspace(1e3, 4, 60), np.linspace(4, 0, 801)[1:]])
    out = excluded(grid)
    if not out[0]:
        return None
    first = int(np.argmin(out))
    if out[first]:
        return centre
    outside, inside = float(grid[first - 1]), float(grid[first])
    for _ in range(_REFINEMENTS):
        finer = np.linspace(outside, inside, 65)
        place = int(np.argmin(excluded(finer)))
        outside, inside = float(finer[place - 1]), float(finer[place])
    return inside
