"""A wheel that swings like a bell: period and decay from every reading, for small round swings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from truerun.errors import FitImpossible
from truerun.motion.least_squares import fit_least_squares
from truerun.motion.turnings import turning_points
from truerun.motion.words import lag_one

__all__ = ["Swing", "fit_swing", "widening"]

FEWEST_TURNINGS = 3
MOST_LAG = 0.995


@dataclass(frozen=True, slots=True, eq=False)
class Swing:
    """A decaying sine, offset + amplitude exp(-rate t) cos(2 pi t/period - phase), with t from the first reading.

    ``period`` [s] and ``rate`` [1/s]; ``amplitude`` and ``offset`` in the unit of the values; each with its standard
    uncertainty, widened ``widened`` times for residuals that hang together. ``covariance`` (5, 5), as widened, is
    that of offset, cosine part, sine part, rate and 2 pi/period. ``rms`` is that of the residuals.
    """

    period: float
    period_uncertainty: float
    rate: float
    rate_uncertainty: float
    amplitude: float
    amplitude_uncertainty: float
    offset: float
    offset_uncertainty: float
    covariance: NDArray[np.float64]
    widened: float
    rms: float
    residuals: NDArray[np.float64]

    @property
    def curvature(self) -> float:
        """Square of the undamped angular frequency [1/s^2]: curvature of the hill's bottom over the inertia."""
        return (2 * np.pi / self.period) ** 2 + self.rate**2


def fit_swing(times: NDArray[np.float64], values: NDArray[np.float64]) -> Swing:
    """Fit a decaying sine to angles, displacements or speeds of a swing.

    Parameters
    ----------
    times : array, shape (n,)
        Increasing [s].
    values : array, shape (n,)
        In any unit.

    Returns
    -------
    Swing

    Raises
    ------
    FitImpossible
        If there are fewer than three turning points, or the fit does not settle.

    Notes
    -----
    For viscous friction and a well that is a parabola over the swing. The period of a pendulum that swings by A rad is
    longer by A^2/16.

    Examples
    --------
    >>> t = np.linspace(0, 5, 500)
    >>> found = fit_swing(t, 0.1 + np.exp(-0.2 * t) * np.cos(2 * np.pi * t / 0.8))
    >>> round(found.period, 9), round(found.rate, 9)
    (0.8, 0.2)
    """
    turnings = turning_points(times, values)
    if turnings.times.size < FEWEST_TURNINGS:
        raise FitImpossible(
            f"The recording has {turnings.times.size} turning points; it must have at least {FEWEST_TURNINGS}. Record "
            "more swings."
        )
    since = times - times[0]
    swings = np.abs(np.diff(turnings.values)) / 2
    pace = np.pi / float(np.mean(np.diff(turnings.times)))
    dies_away = swings.size > 1 and min(swings[0], swings[-1]) > 0
    rate = float(np.log(swings[0] / swings[-1]) / (turnings.times[-2] - turnings.times[0])) if dies_away else 0.0
    waves = _waves(since, rate, pace)[0]
    straight = np.linalg.lstsq(waves, values, rcond=None)[0]

    def misses(parameters: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        shapes, turned = _waves(since, float(parameters[3]), float(parameters[4]))
        moved = turned[:, 1:] @ parameters[1:3]
        swung = shapes[:, 1:] @ parameters[1:3]
        slopes = np.column_stack([shapes, -since * swung, since * moved])
        return values - shapes @ parameters[:3], slopes

    floor = (1e-9 * float(np.ptp(values))) ** 2
    found = fit_least_squares(misses, np.append(straight, [rate, pace]), floor=floor)
    wide = widening(lag_one(found.residuals))
    covariance = found.covariance * found.variance * wide**2
    spread = np.sqrt(np.diag(covariance))
    offset, cosine, sine, rate, pace = found.parameters.tolist()
    size = float(np.hypot(cosine, sine))
    row = np.array([0.0, cosine, sine, 0.0, 0.0]) / size
    return Swing(
        period=2 * np.pi / pace,
        period_uncertainty=2 * np.pi / pace**2 * float(spread[4]),
        rate=rate,
        rate_uncertainty=float(spread[3]),
        amplitude=size,
        amplitude_uncertainty=float(np.sqrt(row @ covariance @ row)),
        offset=offset,
        offset_uncertainty=float(spread[0]),
        covariance=covariance,
        widened=wide,
        rms=float(np.sqrt(np.mean(found.residuals**2))),
        residuals=found.residuals,
    )


def widening(lag: float) -> float:
    """By how much residuals that hang together widen a standard uncertainty.

    Parameters
    ----------
    lag : float
        Correlation of neighbours.

    Returns
    -------
    float
        At least 1.

    Notes
    -----
    sqrt((1 + r)/(1 - r)), exact for the mean of many readings with correlation r, r^2, r^3, ...

    Examples
    --------
    >>> widening(0.6), widening(-0.3)
    (2.0, 1.0)
    """
    held = min(max(lag, 0.0), MOST_LAG)
    return float(np.sqrt((1 + held) / (1 - held)))


def _waves(since: NDArray[np.float64], rate: float, pace: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Constant and decaying waves, and their derivatives with respect to the phase."""
    fall = np.exp(-rate * since)
    cosine, sine = fall * np.cos(pace * since), fall * np.sin(pace * since)
    return np.column_stack([np.ones_like(since), cosine, sine]), np.column_stack([0 * since, -sine, cosine])
