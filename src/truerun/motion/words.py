"""What is said about fitted drag: negative terms, terms that stand in for each other, residuals that hang together."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from truerun.findings.catalogue import finding
from truerun.findings.finding import Finding
from truerun.motion.drag_curve import DragTerms

__all__ = ["lag_one", "power_findings", "term_findings", "term_name"]

CLEARLY = 2.0
TRADING = 0.99
NAMES: dict[float, str] = {0: "dry", 1: "viscous", 1.5: "smooth-air", 2: "quadratic"}
NOT: dict[float, str] = {
    0: "It is read off beyond the slowest speed recorded, so it shows no drive.",
    1: "Friction that falls with speed does this; it is no magnetic brake.",
}
NOT_AIR = "It is not air drag."


def term_name(power: float) -> str:
    """Name a power of speed.

    Parameters
    ----------
    power : float

    Returns
    -------
    str

    Examples
    --------
    >>> term_name(1), term_name(3)
    ('viscous', 'power 3')
    """
    return NAMES.get(power, f"power {power:g}")


def lag_one(residuals: NDArray[np.float64]) -> float:
    """Find how much each residual resembles the one before.

    Parameters
    ----------
    residuals : array, shape (n,)

    Returns
    -------
    float
        Between -1 and 1; 0 for residuals that are all 0.

    Notes
    -----
    Sum of products of neighbours about the mean, over the sum of squares about the mean.
    """
    away = residuals - residuals.mean()
    total = float(away @ away)
    return float(away[1:] @ away[:-1]) / total if total > 0 else 0.0


def term_findings(drag: DragTerms) -> tuple[Finding, ...]:
    """Say what negative terms cannot be, and which terms can stand in for each other.

    Parameters
    ----------
    drag : DragTerms
        With named powers; of a series nothing is said.

    Returns
    -------
    tuple of Finding
    """
    powers = drag.basis.powers
    if powers is None:
        return ()
    mixing = drag.basis.mixing
    return power_findings(powers, mixing @ drag.weights, mixing @ drag.covariance @ mixing.T)


def power_findings(
    powers: tuple[float, ...], values: NDArray[np.float64], covariance: NDArray[np.float64]
) -> tuple[Finding, ...]:
    """Say of powers of speed what negative ones cannot be, and which can stand in for each other.

    Parameters
    ----------
    powers : tuple of float
        Exponents of speed.
    values : array, shape (p,)
        Drag of each, in rad/s^2 per (rad/s)^power.
    covariance : array, shape (p, p)

    Returns
    -------
    tuple of Finding
    """
    spread = np.sqrt(np.diag(covariance))
    said = [
        finding("negative-drag-term", term=term_name(power), meaning=NOT.get(power, NOT_AIR))
        for power, value, error in zip(powers, values, spread, strict=True)
        if value < -CLEARLY * error
    ]
    ties = np.triu(covariance / np.outer(spread, spread), 1)
    if ties.size and np.abs(ties).max() >= TRADING:
        one, other = np.unravel_index(int(np.abs(ties).argmax()), ties.shape)
        names = f"{term_name(powers[one])} and {term_name(powers[other])}"
        said.append(finding("terms-trade-off", terms=names, tie=f"{ties[one, other]:.4f}".replace("-", "−")))
    return tuple(said)
