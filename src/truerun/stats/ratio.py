"""The interval of a ratio of two estimates, after Fieller."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum

from scipy.special import ndtri, stdtrit  # scipy.stats takes seconds to import

from truerun.errors import ValueOutOfRange

__all__ = ["Ratio", "Reach", "fieller"]


class Reach(Enum):
    """The shape of the set of ratios that the data allow."""

    BOUNDED = "between two ends"
    OUTSIDE = "everything but one stretch"
    EVERYTHING = "every ratio"


@dataclass(frozen=True, slots=True)
class Ratio:
    """A ratio and the set of ratios that the data allow.

    ``value`` is None where the denominator is exactly 0. ``low`` and ``high`` are numbers only where ``reach``
    is BOUNDED. Where it is OUTSIDE, ``excluded`` is the open stretch that is ruled out (an end may be infinite).
    """

    value: float | None
    reach: Reach
    low: float | None
    high: float | None
    excluded: tuple[float, float] | None


def fieller(
    numerator: float,
    denominator: float,
    variances: tuple[float, float],
    covariance: float = 0.0,
    *,
    df: float | None = None,
    alpha: float = 0.05,
) -> Ratio:
    """Give the interval of a ratio of two estimates.

    Parameters
    ----------
    numerator, denominator : float
        Normal estimates, any units.
    variances : tuple of float
        Of the numerator and of the denominator.
    covariance : float
        Of the two.
    df : float, optional
        Degrees of freedom of variances and covariance; None where they are known.
    alpha : float
        One minus the coverage.

    Returns
    -------
    Ratio

    Raises
    ------
    ValueOutOfRange
        If a variance is negative, or the covariance is larger than the variances allow.

    Notes
    -----
    The set is {r : (a - r b)^2 <= t^2 (v_a - 2 r c + r^2 v_b)}. It is bounded exactly where the denominator
    differs from 0 at level ``alpha``; otherwise the ends are None and nothing should be claimed about the ratio.

    References
    ----------
    E. C. Fieller, J. R. Stat. Soc. B 16 (1954) 175-185.

    Examples
    --------
    >>> found = fieller(1.0, 2.0, (0.01, 0.04))
    >>> found.reach.name, round(found.low, 6), round(found.high, 6)
    ('BOUNDED', 0.377239, 0.662711)
    >>> fieller(1.0, 0.1, (0.01, 0.04)).reach.value
    'everything but one stretch'
    """
    var_a, var_b = variances
    if min(variances) < 0 or covariance**2 > var_a * var_b * (1 + 1e-9):
        raise ValueOutOfRange(
            "The covariance of the two estimates",
            f"{covariance:g} beside variances {var_a:g} and {var_b:g}",
            "at most the root of their product, and no variance negative",
        )
    t2 = float(ndtri(1 - alpha / 2) if df is None else stdtrit(df, 1 - alpha / 2)) ** 2
    a = denominator**2 - t2 * var_b
    b = numerator * denominator - t2 * covariance
    c = numerator**2 - t2 * var_a
    value = numerator / denominator if denominator else None
    # a r^2 - 2 b r + c <= 0
    discriminant = b * b - a * c
    if a > 0:
        low, high = _roots(a, b, c, max(discriminant, 0.0))
        return Ratio(value, Reach.BOUNDED, low, high, None)
    if discriminant <= 0:
        return Ratio(value, Reach.EVERYTHING, None, None, None)
    return Ratio(value, Reach.OUTSIDE, None, None, _roots(a, b, c, discriminant))


def _roots(a: float, b: float, c: float, discriminant: float) -> tuple[float, float]:
    """Roots of a r^2 - 2 b r + c in rising order without cancellation; one is infinite where a is 0."""
    q = b + math.copysign(math.sqrt(discriminant), b)
    first = q / a if a else -math.copysign(math.inf, q)
    second = c / q if q else 0.0
    return min(first, second), max(first, second)
