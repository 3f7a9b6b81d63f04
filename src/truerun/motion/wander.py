"""Belief about how much, and how long together, the drag wanders, averaged over a fixed grid of both.

Works on the triangle of a linear least-squares problem whose columns are the shared parameters, the extra drag of each
block of the run, and the residuals; from passes, speeds or angles alike.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Wandered", "average_wander"]

SIZES = 10.0 ** np.arange(-5.0, -0.49, 0.25)
LENGTHS = np.array([0.01, 0.03, 0.1, 0.3, 0.9])


@dataclass(frozen=True, slots=True)
class Wandered:
    """What the wander does to the estimate.

    ``mean`` (c,) is the change of the shared parameters, then the extra drag of every block; ``covariance`` (c, c)
    theirs. ``variance`` is that of a weighted residual, ``size`` the standard deviation of the extra drag as a share
    of the level, ``length`` how long it hangs together as a share of the run, ``none`` the belief in none at all.
    """

    mean: NDArray[np.float64]
    covariance: NDArray[np.float64]
    variance: float
    size: float
    length: float
    none: float


@dataclass(frozen=True, slots=True)
class _Problem:
    """Triangle (c, c): columns of shared parameters, of extra drags, residuals. Numbers of extra drags and freedom."""

    triangle: NDArray[np.float64]
    blocks: int
    freedom: int

    @property
    def shared(self) -> int:
        """Number of shared parameters."""
        return int(self.triangle.shape[0]) - 1 - self.blocks


@dataclass(frozen=True, slots=True)
class _Wander:
    """Extra drags in independent coordinates, for one length: extra drag = ``turning`` @ coordinates.

    ``known`` (b,) is how well each is seen, ``pull`` (b,) where the data pull it, ``rest`` the chi-squared that no
    extra drag explains.
    """

    turning: NDArray[np.float64]
    known: NDArray[np.float64]
    pull: NDArray[np.float64]
    rest: float


@dataclass(frozen=True, slots=True)
class _Mixture:
    """Mean and covariance of the extra drags over all sizes and lengths, and the mean variance of a reading."""

    mean: NDArray[np.float64]
    covariance: NDArray[np.float64]
    variance: float
    size: float
    length: float
    none: float


def average_wander(triangle: NDArray[np.float64], blocks: int, freedom: int, level: float, *, stated: bool) -> Wandered:
    """Average the estimate over sizes and lengths of the wander.

    Parameters
    ----------
    triangle : array, shape (c, c)
        Upper triangle of the weighted problem: shared parameters, extra drag of each block, residuals.
    blocks : int
        Number of extra drags; equally long blocks of the run, in their order.
    freedom : int
        Readings less shared parameters.
    level : float
        Mean drag, in units of the scatter of a weighted residual: sizes are shares of it.
    stated : bool
        Whether the weights hold a stated uncertainty.

    Returns
    -------
    Wandered

    Notes
    -----
    Extra drags are an AR(1) process. Restricted likelihood on a grid of sizes and lengths, flat over both, with half
    of the belief on none at all.
    """
    problem = _Problem(triangle, blocks, freedom)
    shared = problem.shared
    corner = np.linalg.inv(triangle[:shared, :shared])  # of a triangle: back substitution, no rows change places
    tied = corner @ triangle[:shared, shared:-1]
    mixture = _mixed(problem, SIZES * level, stated=stated)
    mean = np.concatenate([corner @ triangle[:shared, -1] - tied @ mixture.mean, mixture.mean])
    spread = -tied @ mixture.covariance
    top = mixture.variance * (corner @ corner.T) - spread @ tied.T
    covariance = np.block([[top, spread], [spread.T, mixture.covariance]])
    return Wandered(mean, covariance, mixture.variance, mixture.size / level, mixture.length, mixture.none)


def _mixed(problem: _Problem, sizes: NDArray[np.float64], *, stated: bool) -> _Mixture:
    """Average over sizes (in units of the scatter) and lengths by their restricted likelihood."""
    wanders = [_wander(problem, float(length)) for length in LENGTHS]
    loads = 1 / sizes**2
    known = np.array([wander.known for wander in wanders])[:, None, :] + loads[:, None]
    pulls = np.array([wander.pull for wander in wanders])[:, None, :]
    rest = np.array([wander.rest for wander in wanders])[:, None]
    seen = np.array([wander.known for wander in wanders])[:, None, :]
    sound = np.where(seen > 0, pulls**2 / np.maximum(seen, np.finfo(float).tiny), 0.0)
    left = np.append((rest + (sound * loads[:, None] / known).sum(axis=-1)).ravel(), rest[0, 0] + sound[0].sum())
    spread = np.append((np.log(known) - np.log(loads)[:, None]).sum(axis=-1).ravel(), 0.0)
    fit = left if stated else problem.freedom * np.log(left)
    belief = np.exp(-0.5 * (fit + spread - (fit + spread).min()))
    belief[-1] *= belief.size - 1  # before the data, no drift is believed as much as any drift
    belief /= belief.sum()
    variance = np.ones_like(left) if stated else left / problem.freedom
    shares, scatter = (row[:-1].reshape(LENGTHS.size, sizes.size) for row in (belief, variance))
    return _added_up(wanders, known, (shares, scatter), sizes, float(belief @ variance))


def _added_up(
    wanders: list[_Wander],
    known: NDArray[np.float64],
    shares: tuple[NDArray[np.float64], NDArray[np.float64]],
    sizes: NDArray[np.float64],
    variance: float,
) -> _Mixture:
    """Mean and covariance over the grid, from belief and variance of a reading at each of its points."""
    blocks = known.shape[-1]
    mean, second = np.zeros(blocks), np.zeros((blocks, blocks))
    for wander, share, noise, seen in zip(wanders, *shares, known, strict=True):
        means = wander.pull / seen
        mean += wander.turning @ (share @ means)
        inner = np.diag((share * noise) @ (1 / seen)) + (means * share[:, None]).T @ means
        second += wander.turning @ inner @ wander.turning.T
    drifting = float(shares[0].sum())
    found = max(drifting, np.finfo(float).tiny)
    size = float(shares[0].sum(axis=0) @ sizes) / found
    length = float(shares[0].sum(axis=1) @ LENGTHS) / found
    return _Mixture(mean, second - np.outer(mean, mean), variance, size, length, max(1 - drifting, 0.0))


def _wander(problem: _Problem, length: float) -> _Wander:
    """Independent coordinates of an AR(1) process of unit size, as seen once the shared parameters are fitted."""
    tie = float(np.exp(-1 / (problem.blocks * length)))
    steps = np.arange(problem.blocks)
    root = np.tril(tie ** np.abs(steps[:, None] - steps)) * np.sqrt(1 - tie**2)
    root[:, 0] /= np.sqrt(1 - tie**2)
    place = slice(problem.shared, -1)
    left, seen, right = np.linalg.svd(problem.triangle[place, place] @ root)
    pulled = left.T @ problem.triangle[place, -1]
    return _Wander(root @ right.T, seen**2, seen * pulled, float(problem.triangle[-1, -1] ** 2))
