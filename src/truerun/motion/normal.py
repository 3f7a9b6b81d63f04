"""Normal equations of the rundown fit, with the spacing errors of the marks as a diagonal block."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Blocks", "Step", "normal_blocks", "normal_step", "parameter_covariance"]


@dataclass(frozen=True, slots=True)
class Blocks:
    """Blocks of J'J and J'r for weighted residuals r = observed - predicted.

    ``shared`` (q, q) for the parameters that all passes share, ``mixed`` (q, m - 1), ``own`` (m - 1,) diagonal
    for the spacing errors, ``shared_pull`` (q,) and ``own_pull`` (m - 1,) the right-hand sides; ``chi2`` = r'r.
    """

    shared: NDArray[np.float64]
    mixed: NDArray[np.float64]
    own: NDArray[np.float64]
    shared_pull: NDArray[np.float64]
    own_pull: NDArray[np.float64]
    chi2: float


@dataclass(frozen=True, slots=True)
class Step:
    """One step: changes of shared and own parameters, and ``decrement`` = g'H^-1 g of the undamped problem."""

    shared: NDArray[np.float64]
    own: NDArray[np.float64]
    decrement: float


def normal_blocks(
    slopes: NDArray[np.float64],
    slowness: NDArray[np.float64],
    residuals: NDArray[np.float64],
    weights: NDArray[np.float64],
    *,
    spacing: bool,
) -> Blocks:
    """Form the blocks.

    Parameters
    ----------
    slopes : array, shape (n, m, q)
        Derivatives of the times; overwritten with their weighted values.
    slowness : array, shape (n, m)
        Derivative with respect to the mark's own angle [s/rad].
    residuals : array, shape (n, m)
        Observed less predicted time [s].
    weights : array, shape (n, m)
        1/sigma, 0 where there is no observation.
    spacing : bool
        Whether spacing errors are free (not that of the last column, the reference mark).

    Returns
    -------
    Blocks
    """
    slopes *= weights[..., None]
    flat = slopes.reshape(-1, slopes.shape[-1])
    pull = residuals * weights
    free = slopes.shape[1] - 1 if spacing else 0
    own = (slowness * weights)[:, :free]
    mixed = np.matmul(slopes[:, :free].transpose(1, 2, 0), own.T[..., None])[..., 0].T
    return Blocks(
        flat.T @ flat,
        mixed,
        np.einsum("nk,nk->k", own, own),
        flat.T @ pull.ravel(),
        np.einsum("nk,nk->k", own, pull[:, :free]),
        float(np.einsum("nk,nk->", pull, pull)),
    )


def normal_step(blocks: Blocks, damping: float, own_prior: float, own_now: NDArray[np.float64]) -> Step:
    """Solve for a step.

    Parameters
    ----------
    blocks : Blocks
    damping : float
        Marquardt's share added to the diagonal; 0 for a plain Gauss-Newton step.
    own_prior : float
        Weight that pulls spacing errors to 0 (0: none), in the unit of ``blocks.own``.
    own_now : array, shape (m - 1,)
        Present spacing errors [rad].

    Returns
    -------
    Step

    Notes
    -----
    The diagonal block is eliminated first (Schur complement); columns are scaled to unit length.
    """
    own = blocks.own + own_prior
    own_pull = blocks.own_pull - own_prior * own_now[: blocks.own.size]
    shared, own_change = _solve(blocks, own, own_pull, damping)
    if damping:
        plain, plain_own = _solve(blocks, own, own_pull, 0.0)
    else:
        plain, plain_own = shared, own_change
    decrement = float(blocks.shared_pull @ plain + own_pull @ plain_own)
    return Step(shared, own_change, decrement)


def parameter_covariance(blocks: Blocks) -> tuple[NDArray[np.float64], float]:
    """Inverse of J'J over shared and own parameters, and its weakest direction.

    Parameters
    ----------
    blocks : Blocks

    Returns
    -------
    covariance : array, shape (q + m - 1, q + m - 1)
        For unit variance of the weighted residuals.
    weakest : float
        Smallest eigenvalue of the scaled matrix: at 1e-14 nothing but rounding is left of that direction.
    """
    scale = 1 / np.sqrt(np.diag(blocks.shared))
    reduced = _reduced(blocks, blocks.own) * scale * scale[:, None]
    values, vectors = np.linalg.eigh(reduced)
    safe = np.maximum(values, np.finfo(float).eps)
    shared = (vectors / safe) @ vectors.T * scale * scale[:, None]
    across = -shared @ blocks.mixed / blocks.own
    own = np.diag(1 / blocks.own) - (blocks.mixed / blocks.own).T @ across
    return np.block([[shared, across], [across.T, own]]), float(values[0])


def _reduced(blocks: Blocks, own: NDArray[np.float64]) -> NDArray[np.float64]:
    """Schur complement: what the shared parameters are known to, spacing eliminated."""
    return blocks.shared - blocks.mixed / own @ blocks.mixed.T


def _solve(
    blocks: Blocks, own: NDArray[np.float64], own_pull: NDArray[np.float64], damping: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Find the changes of shared and own parameters for one damping."""
    damped = own * (1 + damping)
    reduced = _reduced(blocks, damped) + damping * np.diag(np.diag(blocks.shared))
    scale = 1 / np.sqrt(np.diag(blocks.shared))
    values, vectors = np.linalg.eigh(reduced * scale * scale[:, None])
    pull = scale * (blocks.shared_pull - blocks.mixed @ (own_pull / damped))
    safe = np.maximum(values, np.finfo(float).eps)
    shared = scale * (vectors @ ((vectors.T @ pull) / safe))
    return shared, (own_pull - blocks.mixed.T @ shared) / damped
