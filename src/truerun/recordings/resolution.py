"""How finely numbers were recorded: the step of their digits, and the step in which they come."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["digit_step", "time_step", "value_step"]

LOOKED_AT = 2000  # values from which a step is told
MOST_PLACES = 12
ENOUGH = 20  # times; fewer may have a common multiple by chance


def digit_step(values: NDArray[np.float64]) -> float | None:
    """Step of the last digit that numbers were written with.

    Parameters
    ----------
    values : array, shape (n,)
        In the unit in which they were written.

    Returns
    -------
    float or None
        A power of ten, at most 1; None where the digits go on as far as those of a float.

    Notes
    -----
    The larger half of the values tells it, because numbers written with a power of ten have a coarser step there.

    Examples
    --------
    >>> digit_step(np.array([0.5, 1.25, 3.0])), digit_step(np.array([691.0, 638.0])), digit_step(np.array([1 / 3]))
    (0.01, 1.0, None)
    """
    finite = values[np.isfinite(values)]
    chosen = finite[:: max(1, finite.size // LOOKED_AT)]
    larger = chosen[np.abs(chosen) >= np.median(np.abs(chosen))] if chosen.size else chosen
    for places in range(MOST_PLACES + 1):
        scaled = larger * 10.0**places
        slack = 1e-9 + 4 * np.finfo(np.float64).eps * np.abs(scaled)
        if slack.size and slack.max() > 0.01:
            return None
        if np.all(np.abs(scaled - np.rint(scaled)) <= slack):
            return float(10.0**-places)
    return None


def time_step(times: NDArray[np.float64]) -> float | None:
    """Step of a clock: the largest that all differences of its times are multiples of.

    Parameters
    ----------
    times : array, shape (n,)
        In the unit in which they were written.

    Returns
    -------
    float or None
        A multiple of :func:`digit_step`, that itself for fewer than 20 times.

    Examples
    --------
    >>> time_step(np.arange(100) ** 2 * 4.0), time_step(np.array([0.5, 1.25, 3.0]))
    (4.0, 0.01)
    """
    step = digit_step(times)
    if step is None or times.size < ENOUGH:
        return step
    chosen = times[:LOOKED_AT]
    ticks = np.rint((chosen - chosen[0]) / step)
    ticks = ticks[np.isfinite(ticks)].astype(np.int64)
    return step * max(1, int(np.gcd.reduce(np.abs(ticks))))


def value_step(values: NDArray[np.float64]) -> float | None:
    """Step of readings: where many are equal, the smallest difference between unequal ones, else that of the digits.

    Parameters
    ----------
    values : array, shape (n,)
        In the unit in which they were written.

    Returns
    -------
    float or None

    Examples
    --------
    >>> value_step(np.array([691.0, 638.0, 590.0])), value_step(np.tile([0.0, 0.5, 1.0], 40))
    (1.0, 0.5)
    """
    unequal = np.unique(values[np.isfinite(values)])
    if unequal.size < 2 or values.size < 50 or 2 * unequal.size > values.size:
        return digit_step(values)
    return float(f"{np.diff(unequal).min():.6g}")
