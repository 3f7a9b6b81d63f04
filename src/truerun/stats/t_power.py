"""Power and numbers of runs of t tests: a cross-check on planning, which simulates the sealed list itself."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from scipy.special import chdtri, gammaln, nctdtr, ndtr, stdtrit  # scipy.stats takes seconds to import

from truerun.errors import ValueOutOfRange
from truerun.stats.bisection import crossing

__all__ = [
    "detectable",
    "fewest_runs",
    "one_sample_power",
    "one_sample_runs",
    "t_power",
    "tost_power",
    "two_sample_power",
    "two_sample_runs",
    "upper_sd",
]

_MOST_RUNS = 1e5


def t_power(noncentrality: float, df: float, alpha: float = 0.05, *, two_sided: bool = True) -> float:
    """Give the probability that a t test rejects "no effect".

    Parameters
    ----------
    noncentrality : float
        True effect divided by its true standard error.
    df : float
        Degrees of freedom.
    alpha : float
        Level of the test.
    two_sided : bool
        False: only effects above 0 reject.

    Returns
    -------
    float

    Notes
    -----
    Each tail is taken as one minus a distribution function: the direct lower tail is lost for large
    noncentralities.

    References
    ----------
    J. Cohen, Statistical Power Analysis for the Behavioral Sciences, 2nd ed. (1988), chapter 2.

    Examples
    --------
    >>> round(t_power(0.5 * 32**0.5, 126), 4)
    0.8015
    """
    critical = float(stdtrit(df, 1 - alpha / (2 if two_sided else 1)))
    upper = 1 - float(nctdtr(df, noncentrality, critical))
    return upper + 1 - float(nctdtr(df, -noncentrality, critical)) if two_sided else upper


def two_sample_power(size: float, runs: float, alpha: float = 0.05, *, two_sided: bool = True) -> float:
    """Give the power of Student's two-sample t test.

    Parameters
    ----------
    size : float
        True difference in run-to-run standard deviations.
    runs : float
        Of each condition.
    alpha, two_sided
        As in :func:`t_power`.

    Returns
    -------
    float

    Examples
    --------
    >>> round(two_sample_power(1.0, 20), 4)
    0.869
    """
    return t_power(size * math.sqrt(runs / 2), 2 * runs - 2, alpha, two_sided=two_sided)


def one_sample_power(size: float, runs: float, alpha: float = 0.05, *, two_sided: bool = True) -> float:
    """Give the power of a one-sample or paired t test.

    Parameters
    ----------
    size : float
        True mean in standard deviations of the values (for pairs: of the differences).
    runs : float
        Number of values, or of pairs.
    alpha, two_sided
        As in :func:`t_power`.

    Returns
    -------
    float

    Examples
    --------
    >>> round(one_sample_power(1.0, 10), 4)
    0.8031
    """
    return t_power(size * math.sqrt(runs), runs - 1, alpha, two_sided=two_sided)


def two_sample_runs(size: float, power: float, alpha: float = 0.05, *, two_sided: bool = True) -> float:
    """Give the runs of each condition that reach a power, before rounding up.

    Parameters
    ----------
    size : float
        True difference in run-to-run standard deviations, not 0.
    power : float
        Wanted, above ``alpha``.
    alpha, two_sided
        As in :func:`t_power`.

    Returns
    -------
    float
        Whole runs are the next number up.

    Raises
    ------
    ValueOutOfRange
        If it would take more than 100 000 runs, or fewer than two reach it.

    Examples
    --------
    >>> round(two_sample_runs(0.5, 0.8), 3)
    63.766
    """

    def reached(runs: float) -> float:
        return two_sample_power(size, runs, alpha, two_sided=two_sided)

    return _runs_for(reached, power)


def one_sample_runs(size: float, power: float, alpha: float = 0.05, *, two_sided: bool = True) -> float:
    """Give the values or pairs that reach a power, before rounding up; see :func:`two_sample_runs`.

    Examples
    --------
    >>> round(one_sample_runs(0.5, 0.8), 3)
    33.367
    """

    def reached(runs: float) -> float:
        return one_sample_power(size, runs, alpha, two_sided=two_sided)

    return _runs_for(reached, power)


def _runs_for(reached: Callable[[float], float], power: float) -> float:
    """Find where ``reached`` equals ``power`` in doubling steps, since huge numbers of runs lose the tails."""
    low = high = 1.05
    while high < _MOST_RUNS and reached(high) < power:
        low, high = high, 2 * high
    if low == high or high >= _MOST_RUNS:
        raise ValueOutOfRange("The number of runs", "beyond what can be planned", "between 2 and 100000")
    return crossing(lambda runs: reached(runs) - power, low, high)


def detectable(runs: float, df: float, alpha: float = 0.05, power: float = 0.8) -> float:
    """Give the smallest effect that a two-sided t test finds with a stated probability.

    Parameters
    ----------
    runs : float
        Of each condition.
    df : float
        Degrees of freedom: 2 ``runs`` - 2, less one for each adjusted column.
    alpha : float
        Level of the test.
    power : float
        Wanted, above ``alpha``.

    Returns
    -------
    float
        In run-to-run standard deviations.

    Notes
    -----
    What a plan really detects is somewhat more: its list has few orders, and adjusted columns are not quite
    at right angles to the order.

    Examples
    --------
    >>> [round(detectable(n, 2 * n - 2), 2) for n in (6, 8, 12)]
    [1.8, 1.51, 1.2]
    """
    if not 0 < alpha < power < 1:
        raise ValueOutOfRange("The power", power, f"between the level {alpha} and 1")
    high = 1.0
    while t_power(high, df, alpha) < power:
        high *= 2
    return crossing(lambda shift: t_power(shift, df, alpha) - power, 0.0, high) / math.sqrt(runs / 2)


def tost_power(
    difference: float,
    margins: tuple[float, float],
    standard_error: float,
    df: float,
    alpha: float = 0.05,
) -> float:
    """Give the probability that two one-sided t tests both reject, so that equivalence is shown.

    Parameters
    ----------
    difference : float
        True effect.
    margins : tuple of float
        Lower and upper, on its scale.
    standard_error : float
        True standard error of the estimated effect, on its scale.
    df : float
        Degrees of freedom of the estimated one.
    alpha : float
        Level of each test.

    Returns
    -------
    float

    Notes
    -----
    With u = estimated / true standard error and t the critical value, both reject where the estimate lies
    between the margins moved inwards by t u; that probability is averaged over u^2 = chi^2 / df by
    Gauss-Legendre quadrature with 200 points.

    References
    ----------
    D. J. Schuirmann, J. Pharmacokinet. Biopharm. 15 (1987) 657-680; K. F. Phillips, ibid. 18 (1990) 137-144.

    Examples
    --------
    >>> round(tost_power(-4, (-19.2, 19.2), 18 * (2 / 15) ** 0.5, 28), 4)
    0.6934
    """
    critical = float(stdtrit(df, 1 - alpha))
    lowest = (margins[0] - difference) / standard_error
    highest = (margins[1] - difference) / standard_error
    reach = 12 / math.sqrt(2 * df)  # beyond 12 standard deviations of u nothing is left
    start, end = max(0.0, 1 - reach), min(1 + reach, (highest - lowest) / (2 * critical))
    if end <= start:
        return 0.0
    nodes, weights = np.polynomial.legendre.leggauss(200)
    u = start + (end - start) * (nodes + 1) / 2
    log_density = math.log(2) + df / 2 * math.log(df / 2) - gammaln(df / 2) + (df - 1) * np.log(u) - df * u**2 / 2
    both = ndtr(highest - critical * u) - ndtr(lowest + critical * u)
    return float((weights * np.exp(log_density) * both).sum() * (end - start) / 2)


def fewest_runs(reached: Callable[[int], float], power: float, start: int = 2) -> int:
    """Give the smallest whole number of runs at which a rising power reaches what is wanted.

    Parameters
    ----------
    reached : callable
        Power for a number of runs.
    power : float
        Wanted.
    start : int
        Fewest runs to consider.

    Returns
    -------
    int

    Raises
    ------
    ValueOutOfRange
        If more than 100 000 runs would be needed.

    Examples
    --------
    >>> fewest_runs(lambda n: two_sample_power(0.5, n), 0.8)
    64
    """
    low, high = start - 1, start
    while reached(high) < power:
        low, high = high, 2 * high
        if low > _MOST_RUNS:
            raise ValueOutOfRange("The number of runs", "beyond what can be planned", "at most 100000")
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if reached(middle) >= power else (middle, high)
    return high


def upper_sd(sd: float, df: float, confidence: float = 0.8) -> float:
    """Give the upper limit of a standard deviation known from few runs.

    Parameters
    ----------
    sd : float
        Found in a pilot.
    df : float
        Its degrees of freedom.
    confidence : float
        Probability that the true one is not above the limit.

    Returns
    -------
    float
        In the unit of ``sd``.

    References
    ----------
    R. H. Browne, Stat. Med. 14 (1995) 1933-1940: plan with the upper limit, not with the estimate.

    Examples
    --------
    >>> [round(upper_sd(1.0, 2 * n - 2), 3) for n in (4, 6, 8)]
    [1.398, 1.272, 1.216]
    """
    return sd * math.sqrt(df / float(chdtri(df, confidence)))
