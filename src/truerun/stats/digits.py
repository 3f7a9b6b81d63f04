"""Do the last digits of hand-read values look read, or chosen? A finding, never a verdict."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import bdtrc, chdtrc, gammaln  # scipy.stats takes seconds to import

from truerun.errors import FitImpossible, ValueOutOfRange

__all__ = ["DigitPreference", "digit_preference", "last_digits"]

_EXACT_UP_TO = 60


@dataclass(frozen=True, slots=True)
class DigitPreference:
    """Last digits against "each equally likely".

    ``counts`` are of 0 to 9, ``p`` is the probability of a chi-square as large by luck. ``round_ends`` counts 0
    and 5 (a fifth is expected) and ``p_round`` is the probability of as many by luck.
    """

    counts: tuple[int, ...]
    chi_square: float
    p: float
    round_ends: int
    p_round: float


def last_digits(values: NDArray[np.float64], resolution: float) -> NDArray[np.int64]:
    """Give the last digit that was written of each value.

    Parameters
    ----------
    values : array, shape (n,)
        As written.
    resolution : float
        The step of the last digit, in the same unit: a power of ten of the unit in which it was written.

    Returns
    -------
    array of int, shape (n,)

    Raises
    ------
    ValueOutOfRange
        If ``resolution`` is not positive, or a value is no whole number of steps.

    Notes
    -----
    Digits say something only where the values spread over many times ten steps.

    Examples
    --------
    >>> last_digits(np.array([61.2, 58.9, 60.0]), 0.1).tolist()
    [2, 9, 0]
    """
    if not resolution > 0:
        raise ValueOutOfRange("The step of the last digit", resolution, "positive")
    steps = values / resolution
    whole = np.rint(steps)
    off = np.abs(steps - whole) > 1e-6 * np.maximum(1.0, np.abs(steps))
    if off.any():
        found = float(values[int(np.argmax(off))])
        raise ValueOutOfRange("A value", f"{found:g}", f"a whole number of steps of {resolution:g}")
    return np.asarray(np.mod(np.abs(whole), 10).astype(np.int64))


def digit_preference(digits: NDArray[np.int64]) -> DigitPreference:
    """Test whether last digits are spread evenly.

    Parameters
    ----------
    digits : array of int, shape (n,)
        From 0 to 9.

    Returns
    -------
    DigitPreference

    Raises
    ------
    FitImpossible
        If there are no digits.

    Notes
    -----
    Up to 60 digits ``p`` is exact: chi-square = 10 sum(c^2) / n - n, and the distribution of the sum of squares
    of ten multinomial counts is built up cell by cell. Above, the chi-square distribution with 9 degrees of
    freedom is used. ``p_round`` is the binomial tail.

    References
    ----------
    K. Pearson, Philos. Mag. 50 (1900) 157-175; exact form own derivation.

    Examples
    --------
    >>> found = digit_preference(np.array([0, 5, 0, 5, 0, 0, 5, 5]))
    >>> found.chi_square, round(found.p, 5), found.round_ends, round(found.p_round, 7)
    (32.0, 0.00032, 8, 2.6e-06)
    """
    n = len(digits)
    if n == 0:
        raise FitImpossible("There are no digits to look at; at least ten or so would show a habit.")
    counts = np.bincount(digits, minlength=10)
    squares = int((counts**2).sum())
    chi_square = 10 * squares / n - n
    p = _square_sum_tail(n, squares) if n <= _EXACT_UP_TO else float(chdtrc(9, chi_square))
    ends = int(counts[0] + counts[5])
    p_round = float(bdtrc(ends - 1, n, 0.2)) if ends else 1.0
    return DigitPreference(tuple(int(count) for count in counts), chi_square, p, ends, p_round)


def _square_sum_tail(n: int, squares: int) -> float:
    """Probability that ten equally likely counts of n have a sum of squares of at least ``squares``."""
    inverse_factorials = np.exp(-gammaln(np.arange(n + 1) + 1.0))
    table = np.zeros((n + 1, n * n + 1))  # counted so far, sum of squares so far
    table[0, 0] = 1.0
    for _ in range(10):
        grown = np.zeros_like(table)
        for count in range(n + 1):
            square = count * count
            rest = table[: n + 1 - count, : n * n + 1 - square]
            grown[count:, square:] += rest * (inverse_factorials[count] * 10.0**-count)
        table = grown
    return float(min(1.0, table[n, squares:].sum() * np.exp(gammaln(n + 1.0))))
