"""Drag as a function of speed: named powers or a Chebyshev series in the square root of speed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.polynomial.chebyshev import chebvander
from numpy.typing import NDArray

from truerun.errors import FitImpossible

__all__ = [
    "DragBasis",
    "DragTerms",
    "NamedTerms",
    "basis_slopes",
    "basis_values",
    "chebyshev_basis",
    "drag_at",
    "named_terms",
    "power_basis",
]


@dataclass(frozen=True, slots=True)
class DragBasis:
    """Functions of speed whose weighted sum is the specific drag.

    ``powers`` are the exponents of speed, or None for a Chebyshev series in sqrt(speed) of ``size`` terms over
    the speeds ``low`` to ``high`` [rad/s]. ``mixing`` (for powers) turns the well-conditioned weights used by the
    fit into coefficients of the powers; for a series it is the identity.
    """

    size: int
    low: float
    high: float
    powers: tuple[float, ...] | None
    mixing: NDArray[np.float64]


def chebyshev_basis(size: int, low: float, high: float) -> DragBasis:
    """Chebyshev polynomials in sqrt(speed), mapped to a range of speeds.

    Parameters
    ----------
    size : int
        Number of terms.
    low, high : float
        Speeds where the mapped variable is -1 and 1 [rad/s].

    Returns
    -------
    DragBasis

    Notes
    -----
    The square root makes dry, laminar-air (power 1.5), viscous and quadratic drag all exact from five terms on.
    """
    return DragBasis(size, low, high, None, np.eye(size))


def power_basis(powers: tuple[float, ...], low: float, high: float) -> DragBasis:
    """Powers of speed, mixed so that they are orthonormal over a range of speeds.

    Parameters
    ----------
    powers : tuple of float
        Exponents of speed, such as (0, 1, 2).
    low, high : float
        Range of speeds [rad/s].

    Returns
    -------
    DragBasis
    """
    places = np.cos(np.pi * (np.arange(64) + 0.5) / 64)
    speeds = low + (high - low) * (places + 1) / 2
    triangle = np.linalg.qr(speeds[:, None] ** np.array(powers), mode="r")
    mixing = np.linalg.inv(triangle) * 8.0  # 8 = sqrt(64): mean square 1
    return DragBasis(len(powers), low, high, tuple(powers), mixing)


def basis_values(basis: DragBasis, speed: NDArray[np.float64]) -> NDArray[np.float64]:
    """Values of the basis functions.

    Parameters
    ----------
    basis : DragBasis
    speed : array, shape (...)
        Not negative [rad/s].

    Returns
    -------
    array, shape (..., p)
    """
    if basis.powers is not None:
        return _powers(speed, basis.powers) @ basis.mixing
    return np.asarray(chebvander(_series_place(basis, speed), basis.size - 1), dtype=np.float64)


def basis_slopes(basis: DragBasis, speed: NDArray[np.float64]) -> NDArray[np.float64]:
    """Differentiate the basis functions with respect to speed.

    Parameters
    ----------
    basis : DragBasis
    speed : array, shape (...)
        Positive [rad/s].

    Returns
    -------
    array, shape (..., p)
    """
    if basis.powers is not None:
        lowered = tuple(power - 1 if power else 0.0 for power in basis.powers)
        slopes: NDArray[np.float64] = _powers(speed, lowered) * np.array(basis.powers) @ basis.mixing
        return slopes
    place_slope = _series_scale(basis) / (2 * np.sqrt(speed))
    return _chebyshev_slopes(_series_place(basis, speed), basis.size) * place_slope[..., None]


def _powers(speed: NDArray[np.float64], powers: tuple[float, ...]) -> NDArray[np.float64]:
    """Powers of speed along a new last axis; whole powers by multiplication."""
    return np.stack([speed ** (int(power) if power == int(power) else power) for power in powers], axis=-1)


def _series_place(basis: DragBasis, speed: NDArray[np.float64]) -> NDArray[np.float64]:
    """Map roots of speeds to -1 to 1."""
    place: NDArray[np.float64] = (np.sqrt(speed) - np.sqrt(basis.low)) * _series_scale(basis) - 1
    return place


def _series_scale(basis: DragBasis) -> float:
    """Give how far the place moves with the root of speed [(rad/s)^-1/2]."""
    return float(2 / (np.sqrt(basis.high) - np.sqrt(basis.low)))


def _chebyshev_slopes(place: NDArray[np.float64], size: int) -> NDArray[np.float64]:
    """Differentiate the first ``size`` Chebyshev polynomials: n times the second kind of order n - 1."""
    slopes = np.zeros((*place.shape, size))
    second = [np.ones_like(place), 2 * place]
    for order in range(1, size):
        slopes[..., order] = order * second[0]
        second = [second[1], 2 * place * second[1] - second[0]]
    return slopes


@dataclass(frozen=True, slots=True)
class DragTerms:
    """A fitted drag curve: basis, weights and two covariances of the weights.

    ``covariance`` is the honest one (it includes drift of the drag), ``reading`` the one that the scatter of
    single times alone would give.
    """

    basis: DragBasis
    weights: NDArray[np.float64]
    covariance: NDArray[np.float64]
    reading: NDArray[np.float64]


def drag_at(
    drag: DragTerms, speed: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Specific drag at some speeds, with its honest and its reading standard uncertainty.

    Parameters
    ----------
    drag : DragTerms
    speed : array, shape (n,)
        Speeds [rad/s].

    Returns
    -------
    value, uncertainty, reading : array, shape (n,)
        Each [rad/s^2].
    """
    values = basis_values(drag.basis, np.asarray(speed, dtype=float))
    honest = np.einsum("np,pq,nq->n", values, drag.covariance, values)
    reading = np.einsum("np,pq,nq->n", values, drag.reading, values)
    return values @ drag.weights, np.sqrt(honest), np.sqrt(reading)


@dataclass(frozen=True, slots=True)
class NamedTerms:
    """Drag as a sum of named powers of speed, a summary of the measured curve.

    ``coefficients`` are in rad/s^2 per (rad/s)^power; ``misfit`` is the largest distance between this sum and
    the measured curve as a share of the mean drag over the range.
    """

    powers: tuple[float, ...]
    coefficients: NDArray[np.float64]
    covariance: NDArray[np.float64]
    misfit: float


def named_terms(drag: DragTerms, powers: tuple[float, ...], low: float, high: float) -> NamedTerms:
    """Summarise a drag curve by named powers of speed.

    Parameters
    ----------
    drag : DragTerms
    powers : tuple of float
        Exponents, such as (0, 1, 2).
    low, high : float
        Range of speeds over which the summary holds [rad/s].

    Returns
    -------
    NamedTerms

    Raises
    ------
    FitImpossible
        If the range is empty, so that no terms can be told apart.

    Notes
    -----
    Least squares over 64 speeds, evenly spaced in the square root of speed; the covariance of the curve is
    carried over linearly. Where the curve is made of the same powers its coefficients come back unchanged.
    """
    if not 0 < low < high:
        raise FitImpossible(
            f"The speeds run from {low:.3g} to {high:.3g} rad/s; named drag terms need a range. Record longer."
        )
    speed = np.linspace(np.sqrt(low), np.sqrt(high), 64) ** 2
    target = power_basis(powers, low, high)
    solve = np.linalg.pinv(basis_values(target, speed)) @ basis_values(drag.basis, speed)
    weights = solve @ drag.weights
    change = target.mixing @ solve
    curve = basis_values(drag.basis, speed) @ drag.weights
    gap = np.abs(basis_values(target, speed) @ weights - curve).max()
    misfit = float(gap / max(float(np.abs(curve).mean()), np.finfo(float).tiny))
    return NamedTerms(powers, target.mixing @ weights, change @ drag.covariance @ change.T, misfit)
