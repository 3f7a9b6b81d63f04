"""The hill: a specific potential over the angle, as a sum of harmonics without a mean."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Hill", "capture_speed", "hill_height", "hill_matrix", "turned_hill"]


@dataclass(frozen=True, slots=True)
class Hill:
    """Harmonics of the specific potential [rad^2/s^2] with their covariance.

    u(angle) = sum over k = 1..K of cosine[k-1] cos(k angle) + sine[k-1] sin(k angle). The covariance has the
    order cosine 1, sine 1, cosine 2, ...
    """

    cosine: NDArray[np.float64]
    sine: NDArray[np.float64]
    covariance: NDArray[np.float64]

    @property
    def coefficients(self) -> NDArray[np.float64]:
        """Cosine 1, sine 1, cosine 2, ..."""
        return np.column_stack([self.cosine, self.sine]).ravel()


def hill_matrix(angles: NDArray[np.float64], harmonics: int) -> NDArray[np.float64]:
    """Cosines and sines whose weighted sum is the potential.

    Parameters
    ----------
    angles : array, shape (n,)
        [rad].
    harmonics : int
        Highest order K.

    Returns
    -------
    array, shape (n, 2 K)
        Columns cos, sin, cos 2, sin 2, ...
    """
    phase = angles[:, None] * np.arange(1, harmonics + 1)
    return np.stack([np.cos(phase), np.sin(phase)], axis=-1).reshape(angles.size, 2 * harmonics)


def turned_hill(coefficients: NDArray[np.float64], shift: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Harmonics of the same hill when angles are counted from a place ``shift`` further back.

    Parameters
    ----------
    coefficients : array, shape (2 K,)
        Cosine 1, sine 1, cosine 2, ... in the old angle.
    shift : float
        New angle = old angle + shift [rad].

    Returns
    -------
    turned : array, shape (2 K,)
    turning : array, shape (2 K, 2 K)
        The matrix that did it: turned = turning @ coefficients.

    Examples
    --------
    >>> turned_hill(np.array([1.0, 0.0]), np.pi / 2)[0].round(12)
    array([0., 1.])
    """
    count = coefficients.size // 2
    turning = np.zeros((2 * count, 2 * count))
    for order in range(1, count + 1):
        cosine, sine = np.cos(order * shift), np.sin(order * shift)
        place = slice(2 * order - 2, 2 * order)
        turning[place, place] = [[cosine, -sine], [sine, cosine]]
    return turning @ coefficients, turning


def hill_height(hill: Hill) -> tuple[float, float]:
    """Height of the hill from bottom to top, with its standard uncertainty.

    Parameters
    ----------
    hill : Hill

    Returns
    -------
    height, uncertainty : float
        Specific energy [rad^2/s^2].

    Notes
    -----
    To first order the place of the top does not matter: the derivatives are the harmonics at top and bottom.
    """
    top, bottom = _extreme(hill.coefficients, 1.0), _extreme(hill.coefficients, -1.0)
    difference = hill_matrix(np.array([top, bottom]), hill.cosine.size)
    row = difference[0] - difference[1]
    return float(row @ hill.coefficients), float(np.sqrt(row @ hill.covariance @ row))


def capture_speed(hill: Hill) -> tuple[float, float]:
    """Speed, by energy, below which the hill catches the wheel, with its standard uncertainty.

    Parameters
    ----------
    hill : Hill

    Returns
    -------
    speed, uncertainty : float
        w_c = sqrt(2 u_max) with <u> = 0 [rad/s].

    Examples
    --------
    >>> speed, uncertainty = capture_speed(Hill(np.array([2.0]), np.array([0.0]), np.diag([4e-4, 4e-4])))
    >>> round(speed, 9), round(uncertainty, 9)
    (2.0, 0.01)
    """
    row = hill_matrix(np.array([_extreme(hill.coefficients, 1.0)]), hill.cosine.size)[0]
    top = float(row @ hill.coefficients)
    if top <= 0:
        return 0.0, 0.0
    speed = float(np.sqrt(2 * top))
    return speed, float(np.sqrt(row @ hill.covariance @ row)) / speed


def _extreme(coefficients: NDArray[np.float64], sign: float) -> float:
    """Angle of the top (sign +1) or bottom (-1): the best of a fine grid, then three Newton steps."""
    harmonics = coefficients.size // 2
    angles = np.linspace(0, 2 * np.pi, 64 * harmonics + 1)
    angle = angles[np.argmax(sign * (hill_matrix(angles, harmonics) @ coefficients))]
    orders = np.repeat(np.arange(1, harmonics + 1), 2)
    crossed = (coefficients.reshape(-1, 2) @ np.array([[0.0, -1.0], [1.0, 0.0]])).ravel()
    for _ in range(3):
        waves = hill_matrix(np.array([angle]), harmonics)[0]
        bend = -waves @ (coefficients * orders**2)
        if bend * sign >= 0:
            break
        angle -= (waves @ (crossed * orders)) / bend
    return float(angle)
