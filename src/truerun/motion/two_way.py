"""Drag one way and the other: what changes sign with the direction is a static drive, what does not is drag."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import ndtr  # scipy.stats would cost seconds at import

from truerun.errors import FitImpossible, ValueOutOfRange
from truerun.findings.catalogue import finding
from truerun.findings.finding import Finding
from truerun.motion.drag_curve import DragTerms, basis_values

__all__ = ["TwoWay", "band_factor", "split_two_way"]

PLACES = 101


@dataclass(frozen=True, slots=True, eq=False)
class TwoWay:
    """Even and odd halves of the specific drag at ``speeds`` (n,) [rad/s].

    ``drag`` (n,) is the half that does not change sign, ``drive`` (n,) the one that does, positive where it drives
    forwards [rad/s^2], with standard uncertainties. ``factor`` times those is a band that holds the whole curve at
    once with probability ``coverage``. ``mean_drive`` and ``mean_drag`` are averages over the speeds.
    """

    speeds: NDArray[np.float64]
    drag: NDArray[np.float64]
    drag_uncertainty: NDArray[np.float64]
    drive: NDArray[np.float64]
    drive_uncertainty: NDArray[np.float64]
    factor: float
    coverage: float
    mean_drive: float
    mean_drive_uncertainty: float
    mean_drag: float
    mean_drag_uncertainty: float
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Way:
    """Mean drag of the runs one way, and a square root of its covariance: (n,) and (n, q)."""

    value: NDArray[np.float64]
    root: NDArray[np.float64]


def split_two_way(
    forward: Sequence[DragTerms],
    reverse: Sequence[DragTerms],
    speed_low: float,
    speed_high: float,
    *,
    coverage: float = 0.95,
) -> TwoWay:
    """Split drag measured both ways into its even and its odd half.

    Parameters
    ----------
    forward, reverse : sequence of DragTerms
        Fitted drag of each run one way and the other, as ``Rundown.drag``.
    speed_low, speed_high : float
        Range over which all of them were recorded [rad/s].
    coverage : float
        Of the simultaneous band.

    Returns
    -------
    TwoWay

    Raises
    ------
    FitImpossible
        If a direction has no run.
    ValueOutOfRange
        If the range is empty, or reaches beyond a run's speeds.

    Notes
    -----
    f_forward = drag - drive and f_reverse = drag + drive, so drive = (f_reverse - f_forward)/2 and drag is half the
    sum: I times the drive is a torque that every drag leaves alone, source in minus out that of the source. The
    covariances of single runs are honest within a run; with two or more runs each way the scatter between them is
    used where it is larger. A drag that itself depends on direction (a card, a rubbing lip) looks like a drive.

    Examples
    --------
    >>> from truerun.motion.drag_curve import chebyshev_basis
    >>> basis = chebyshev_basis(1, 4.0, 20.0)
    >>> way = lambda drag: DragTerms(basis, np.array([drag]), np.eye(1) * 1e-6, np.eye(1) * 1e-6)
    >>> found = split_two_way([way(0.08)], [way(0.10)], 5.0, 15.0)
    >>> round(found.mean_drive, 9), round(found.mean_drag, 9)
    (0.01, 0.09)
    """
    if not forward or not reverse:
        given = f"{len(forward)} runs forwards and {len(reverse)} backwards"
        raise FitImpossible(f"There are {given}; a two-way test needs at least one each way. Record the missing one.")
    _require_range((*forward, *reverse), speed_low, speed_high)
    speeds = np.linspace(speed_low, speed_high, PLACES)
    ahead, back = _way(forward, speeds), _way(reverse, speeds)
    root = np.hstack([ahead.root, back.root]) / 2
    spread = np.linalg.norm(root, axis=1)
    drag, drive = (back.value + ahead.value) / 2, (back.value - ahead.value) / 2
    mean_spread = float(np.linalg.norm(root.mean(axis=0)))
    odd = np.hstack([-ahead.root, back.root]) / 2
    said = (finding("one-run-each-way"),) if len(forward) < 2 or len(reverse) < 2 else ()
    return TwoWay(
        speeds=speeds,
        drag=drag,
        drag_uncertainty=spread,
        drive=drive,
        drive_uncertainty=spread,
        factor=band_factor(odd, coverage),
        coverage=coverage,
        mean_drive=float(drive.mean()),
        mean_drive_uncertainty=float(np.linalg.norm(odd.mean(axis=0))),
        mean_drag=float(drag.mean()),
        mean_drag_uncertainty=mean_spread,
        findings=said,
    )


def band_factor(root: NDArray[np.float64], coverage: float) -> float:
    """Find with how many standard uncertainties a band holds a whole Gaussian curve.

    Parameters
    ----------
    root : array, shape (n, q)
        Square root of the curve's covariance at closely spaced places: covariance = root @ root.T.
    coverage : float
        Between 0 and 1.

    Returns
    -------
    float

    Notes
    -----
    The unit vectors root/|root| draw a path of length L on a sphere; the band misses somewhere with probability at
    most 2 (1 - Phi(c)) + L/pi exp(-c^2/2), nearly exactly so for a smooth curve.

    References
    ----------
    D. Q. Naiman, Annals of Statistics 14 (1986) 896-906; from memory, checked by simulation.

    Examples
    --------
    >>> round(band_factor(np.ones((5, 1)), 0.95), 3)
    1.96
    """
    unit = root / np.linalg.norm(root, axis=1)[:, None]
    length = float(np.linalg.norm(np.diff(unit, axis=0), axis=1).sum())

    def over(factor: float) -> float:
        miss = 2 * (1 - float(ndtr(factor))) + length / np.pi * float(np.exp(-(factor**2) / 2))
        return miss - (1 - coverage)

    return float(brentq(over, 0.0, 20.0))


def _require_range(runs: Sequence[DragTerms], low: float, high: float) -> None:
    """Refuse speeds at which some run says nothing."""
    least, most = max(run.basis.low for run in runs), min(run.basis.high for run in runs)
    if not least <= low < high <= most:
        raise ValueOutOfRange(
            "range of speeds",
            f"{low:.4g} to {high:.4g} rad/s",
            f"within {least:.4g} to {most:.4g} rad/s, where all runs were fitted",
        )


def _way(runs: Sequence[DragTerms], speeds: NDArray[np.float64]) -> _Way:
    """Average the runs one way."""
    shapes = [basis_values(run.basis, speeds) for run in runs]
    curves = np.array([shape @ run.weights for shape, run in zip(shapes, runs, strict=True)])
    count = len(runs)
    parts = [shape @ _root(run.covariance) / count for shape, run in zip(shapes, runs, strict=True)]
    within = np.hstack(parts)
    if count == 1:
        return _Way(curves[0], within)
    between = (curves - curves.mean(axis=0)).T / np.sqrt(count * (count - 1))
    larger = float(np.mean(np.sum(between**2, axis=1))) > float(np.mean(np.sum(within**2, axis=1)))
    return _Way(curves.mean(axis=0), between if larger else within)


def _root(covariance: NDArray[np.float64]) -> NDArray[np.float64]:
    """Square root of a covariance, also of one that is nearly singular."""
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0)), dtype=np.float64)
