"""How many drag terms and hill harmonics a recording can carry."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

import numpy as np
from numpy.typing import NDArray

from truerun.errors import FitImpossible
from truerun.motion.drift import with_drift
from truerun.motion.fit import fit_rundown
from truerun.motion.rundown import Rundown

__all__ = ["choose_rundown"]

FIRST_TERMS = 5
MOST_TERMS = 9
MOST_HARMONICS = 12
TERM_PRICE = 2.0


def choose_rundown(
    times: Sequence[float] | NDArray[np.float64],
    marks: int,
    *,
    sigma: float | NDArray[np.float64] | None = None,
    counts: NDArray[np.intp] | None = None,
    mark_angles: NDArray[np.float64] | None = None,
) -> Rundown:
    """Fit a rundown with as many harmonics and drag terms as the data ask for, and let the drag drift.

    Parameters
    ----------
    times, marks, sigma, counts, mark_angles
        As for :func:`truerun.motion.fit.fit_rundown`.

    Returns
    -------
    Rundown
        With ``drift`` set.

    Raises
    ------
    FitImpossible
        If not even two drag terms without a hill can be fitted.

    Notes
    -----
    Drag: a Chebyshev series in sqrt(speed) from five terms up (five hold dry, laminar-air, viscous and quadratic
    drag exactly; with four, the missing one was measured to bend the ends of the curve by four standard deviations
    while not being worth its price). It grows by two terms at a time as long as their chi-squared is above 4, and a
    last one that is not worth 2 is taken off again; fewer than five only where five cannot be fitted. Hill, then:
    from the highest order that the marks carry (12 at most) down to the last one whose chi-squared is above its
    price of 2 log(n). All chi-squared values use the drift-aware covariance: with reading errors alone the series
    would grow without end.
    """
    fit = partial(fit_rundown, times, marks, sigma=sigma, counts=counts, mark_angles=mark_angles)
    most = min((marks - 1) // 2, MOST_HARMONICS)
    first = _first_possible(fit, most)
    most = 0 if first.hill is None else int(first.hill.cosine.size)
    best = _grown(fit, first, most)
    harmonics = _orders_seen(best)
    if harmonics < most:
        best = with_drift(fit(terms=best.drag.weights.size, harmonics=harmonics))
    return best


def _first_possible(fit: Callable[..., Rundown], most: int) -> Rundown:
    """Fit with five terms and most harmonics; where that cannot be done, with fewer."""
    orders = sorted({most, most // 2, most // 4, 0}, reverse=True)
    tries = [(terms, order) for order in orders for terms in (FIRST_TERMS, 4, 3, 2)]
    for terms, order in tries[:-1]:
        try:
            return with_drift(fit(terms=terms, harmonics=order))
        except FitImpossible:
            continue
    return with_drift(fit(terms=tries[-1][0], harmonics=tries[-1][1]))


def _orders_seen(rundown: Rundown) -> int:
    """Highest order of the hill that is worth its price."""
    hill = rundown.hill
    if hill is None:
        return 0
    price = 2 * np.log(rundown.passes)
    for order in range(hill.cosine.size, 0, -1):
        place = slice(2 * order - 2, 2 * order)
        if _chi2(hill.coefficients[place], hill.covariance[place, place]) > price:
            return order
    return 0


def _grown(fit: Callable[..., Rundown], best: Rundown, harmonics: int) -> Rundown:
    """Add drag terms while they are worth their price."""
    while best.drag.weights.size >= FIRST_TERMS and best.drag.weights.size + 2 <= MOST_TERMS:
        try:
            more = with_drift(fit(terms=best.drag.weights.size + 2, harmonics=harmonics))
            if _chi2(more.drag.weights[-2:], more.drag.covariance[-2:, -2:]) <= 2 * TERM_PRICE:
                break
            best = more
            if _chi2(more.drag.weights[-1:], more.drag.covariance[-1:, -1:]) <= TERM_PRICE:
                return with_drift(fit(terms=more.drag.weights.size - 1, harmonics=harmonics))
        except FitImpossible:
            break
    return best


def _chi2(values: NDArray[np.float64], covariance: NDArray[np.float64]) -> float:
    """Distance from zero in units of the covariance, squared."""
    return float(values @ np.linalg.solve(covariance, values))
