"""Plain statistics of a sample, and of several samples side by side.

Every sum of squares is taken about the centre of the data, never as a difference of two large sums.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import fdtrc, gammaln

from truerun.errors import ValueOutOfRange

__all__ = [
    "DayComponents",
    "OneWay",
    "day_components",
    "doubt_of_standard_deviation",
    "lag1_autocorrelation",
    "mean",
    "one_way",
    "standard_deviation",
]


def _sample(values: ArrayLike, least: int, name: str = "sample") -> NDArray[np.float64]:
    """Give the values as an array, refusing too few and those that are not numbers."""
    array = np.asarray(values, dtype=np.float64).ravel()
    if array.size < least:
        raise ValueOutOfRange(name, f"{array.size} long", f"at least {least} long")
    if not np.isfinite(array).all():
        raise ValueOutOfRange(name, "not a number in places", "made of finite numbers")
    return array


def mean(values: ArrayLike) -> float:
    """Arithmetic mean, corrected for the rounding of its own sum.

    Parameters
    ----------
    values : array, shape (n,)
        At least one.

    Returns
    -------
    float
        Unit of the values.

    Raises
    ------
    ValueOutOfRange
        If there is no value, or one is not finite.

    Examples
    --------
    >>> mean([61.0, 62.0, 66.0])
    63.0
    """
    array = _sample(values, 1)
    first = float(array.mean())
    return first + float((array - first).mean())


def standard_deviation(values: ArrayLike) -> float:
    r"""Experimental standard deviation.

    Parameters
    ----------
    values : array, shape (n,)
        At least two.

    Returns
    -------
    float
        Unit of the values.

    Raises
    ------
    ValueOutOfRange
        If there are fewer than two values, or one is not finite.

    Notes
    -----
    .. math:: s^2 = \frac{1}{n-1}\left[\sum d_i^2 - \frac{1}{n}\left(\sum d_i\right)^2\right],
              \quad d_i = x_i - \bar x

    The second sum is zero but for rounding, which it takes out.

    References
    ----------
    JCGM 100:2008 (GUM) 4.2.2, eq. (4).

    Examples
    --------
    >>> round(standard_deviation([61.0, 62.0, 66.0]) ** 2, 9)
    7.0
    """
    array = _sample(values, 2)
    return float(np.sqrt(_squares(array - array.mean()) / (array.size - 1)))


def _squares(deviations: NDArray[np.float64]) -> float:
    """Sum of squares of deviations about their own mean."""
    return float(deviations @ deviations - deviations.sum() ** 2 / deviations.size)


def lag1_autocorrelation(values: ArrayLike) -> float:
    r"""Correlation of each value with the next one; near 0 where neighbours know nothing of each other.

    Parameters
    ----------
    values : array, shape (n,)
        In the order of time, at least three and not all equal.

    Returns
    -------
    float
        Between −1 and 1.

    Raises
    ------
    ValueOutOfRange
        If there are fewer than three values, or all are equal.

    Notes
    -----
    .. math:: r_1 = \sum_{i=1}^{n-1} d_i d_{i+1} \Big/ \sum_{i=1}^{n} d_i^2, \quad d_i = x_i - \bar x

    References
    ----------
    NIST Statistical Reference Datasets, univariate summary statistics, definition of the lag-1 coefficient.

    Examples
    --------
    >>> lag1_autocorrelation([1.0, 2.0, 3.0, 4.0, 5.0])
    0.4
    """
    array = _sample(values, 3)
    deviations = array - mean(array)
    squares = float(deviations @ deviations)
    if squares == 0.0:
        raise ValueOutOfRange("spread of the sample", 0, "positive", "Equal readings have no autocorrelation.")
    return float(deviations[:-1] @ deviations[1:]) / squares


def doubt_of_standard_deviation(n: int) -> float:
    r"""Relative standard deviation of a standard deviation found from n normal readings.

    Parameters
    ----------
    n : int
        Number of readings, at least two.

    Returns
    -------
    float
        A fraction; 0.52 for three readings.

    Raises
    ------
    ValueOutOfRange
        If n is less than two.

    Notes
    -----
    .. math:: \sqrt{1 - c_4^2}\,/\,c_4, \quad c_4 = \sqrt{\tfrac{2}{n-1}}\;\Gamma(\tfrac n2) / \Gamma(\tfrac{n-1}2)

    References
    ----------
    JCGM 100:2008 (GUM) E.4.3 and table E.1.

    Examples
    --------
    >>> round(doubt_of_standard_deviation(10), 2)
    0.24
    """
    if n < 2:
        raise ValueOutOfRange("number of readings", n, "at least 2")
    log_c4 = 0.5 * np.log(2.0 / (n - 1)) + gammaln(n / 2) - gammaln((n - 1) / 2)
    return float(np.sqrt(np.expm1(-2.0 * log_c4)))


@dataclass(frozen=True, slots=True)
class OneWay:
    """One-way analysis of variance; ``p`` is the chance of so large an F where the groups do not differ."""

    between_squares: float
    between_freedom: int
    within_squares: float
    within_freedom: int
    f: float
    p: float

    @property
    def residual_deviation(self) -> float:
        """Pooled standard deviation within the groups."""
        return float(np.sqrt(self.within_squares / self.within_freedom))

    @property
    def explained(self) -> float:
        """Share of all squares that lies between the groups."""
        return self.between_squares / (self.between_squares + self.within_squares)


def one_way(groups: Sequence[ArrayLike]) -> OneWay:
    """Compare the spread between groups with the spread inside them.

    Parameters
    ----------
    groups : sequence of arrays
        At least two, none empty, with at least one value more than there are groups.

    Returns
    -------
    OneWay

    Raises
    ------
    ValueOutOfRange
        If there are too few groups or values, or no spread inside the groups.

    Notes
    -----
    All values are centred on the first one before anything is summed. Where the last digits of the data are lost
    already in the floats given (small steps on a large number), subtract the large number from the text instead.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods 7.4.3.3.

    Examples
    --------
    >>> round(one_way([[1.0, 2.0, 3.0], [2.0, 3.0, 4.0]]).f, 6)
    1.5
    """
    if len(groups) < 2:
        raise ValueOutOfRange("number of groups", len(groups), "at least 2")
    samples = [_sample(group, 1, "group") for group in groups]
    shifted = [sample - samples[0][0] for sample in samples]
    total = sum(sample.size for sample in shifted)
    grand = mean(np.concatenate(shifted))
    means = np.array([mean(sample) for sample in shifted])
    sizes = np.array([sample.size for sample in shifted])
    between = float(sizes @ (means - grand) ** 2)
    within = sum(_squares(sample - centre) for sample, centre in zip(shifted, means, strict=True))
    df_between, df_within = len(groups) - 1, total - len(groups)
    if df_within < 1 or within <= 0.0:
        remedy = "Repeat inside the groups, or read more digits."
        raise ValueOutOfRange("spread inside the groups", 0, "positive", remedy)
    f = (between / df_between) / (within / df_within)
    return OneWay(between, df_between, within, df_within, f, float(fdtrc(df_between, df_within, f)))


@dataclass(frozen=True, slots=True)
class DayComponents:
    """What the same measurement on several days says: ``mean``, and its standard uncertainty in two ways.

    ``uncertainty`` comes from the spread of the day means (``freedom`` = days − 1) and holds whether or not the
    days differ; ``pooled_uncertainty`` holds only if they do not. ``within`` is the standard deviation of one
    reading on one day, ``between`` that of the days themselves (0 where none shows). ``f`` compares the two.
    """

    mean: float
    uncertainty: float
    freedom: int
    pooled_uncertainty: float
    pooled_freedom: int
    within: float
    between: float
    f: float
    p: float


def day_components(day_means: ArrayLike, day_deviations: ArrayLike, readings: int) -> DayComponents:
    r"""Put together equally many readings on each of several days.

    Parameters
    ----------
    day_means : array, shape (j,)
        Mean of each day, at least two days.
    day_deviations : array, shape (j,)
        Standard deviation of the readings of each day, same unit.
    readings : int
        Readings a day, K, at least two.

    Returns
    -------
    DayComponents

    Raises
    ------
    ValueOutOfRange
        If there are too few days or readings, as many deviations as days are missing, or no reading varies.

    Notes
    -----
    .. math:: s_a^2 = K s^2(\bar x_j), \quad s_b^2 = \overline{s_j^2}, \quad F = s_a^2 / s_b^2, \quad
              s_B^2 = \max(0, (s_a^2 - s_b^2)/K)

    Mean of all: u = s_a/√(JK) with J − 1 degrees of freedom; without a difference between days
    u² = [(J−1) s_a² + J(K−1) s_b²] / [JK (JK−1)] with JK − 1.

    References
    ----------
    JCGM 100:2008 (GUM) H.5.2, eqs. (H.24) to (H.28).

    Examples
    --------
    >>> round(day_components([10.0, 12.0, 11.0], [1.0, 1.0, 1.0], 4).f, 9)
    4.0
    """
    means, deviations = _sample(day_means, 2, "day means"), _sample(day_deviations, 2, "day deviations")
    if means.size != deviations.size:
        raise ValueOutOfRange("day deviations", f"{deviations.size} long", f"{means.size} long, as the means")
    if readings < 2:
        raise ValueOutOfRange("readings a day", readings, "at least 2")
    j, k = means.size, readings
    a2, b2 = k * standard_deviation(means) ** 2, float(np.mean(deviations**2))
    if b2 == 0.0:
        raise ValueOutOfRange("spread within days", 0, "positive", "Read more digits.")
    pooled = ((j - 1) * a2 + j * (k - 1) * b2) / (j * k * (j * k - 1))
    return DayComponents(
        mean=mean(means),
        uncertainty=float(np.sqrt(a2 / (j * k))),
        freedom=j - 1,
        pooled_uncertainty=float(np.sqrt(pooled)),
        pooled_freedom=j * k - 1,
        within=float(np.sqrt(b2)),
        between=float(np.sqrt(max(0.0, (a2 - b2) / k))),
        f=a2 / b2,
        p=float(fdtrc(j - 1, j * (k - 1), a2 / b2)),
    )
