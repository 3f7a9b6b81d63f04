"""Second opinions: intervals from Student's t, shown beside the exact list and never deciding.

They assume normal noise of one size and, for :func:`welch` and :func:`paired`, runs that do not drift. All are
differences source minus control on the scale of the observations (for times: ln T).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtrc, stdtr, stdtrit  # scipy.stats takes seconds to import

from truerun.errors import FitImpossible, ValueOutOfRange

__all__ = [
    "Equivalence",
    "Opinion",
    "SharedTest",
    "ancova_interval",
    "paired",
    "shared_test",
    "slope_interval",
    "t_opinion",
    "tost",
    "welch",
]

Array = NDArray[np.float64]

_FLAT = 1e-12


@dataclass(frozen=True, slots=True)
class Opinion:
    """An effect with its t interval; ``p`` is two-sided for "no effect", ``df`` the degrees of freedom."""

    effect: float
    standard_error: float
    df: float
    t: float
    p: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Equivalence:
    """Two one-sided t tests; ``p`` is the larger one and speaks against "the effect lies outside the margins"."""

    t_low: float
    p_low: float
    t_high: float
    p_high: float
    p: float


@dataclass(frozen=True, slots=True)
class SharedTest:
    """F test of several columns at once; ``residual_variance`` is what is left per degree of freedom."""

    f: float
    df: int
    df_residual: int
    p: float
    residual_variance: float


def t_opinion(effect: float, standard_error: float, df: float, alpha: float = 0.05) -> Opinion:
    """Give the t interval of an effect that is known with its standard error.

    Parameters
    ----------
    effect, standard_error : float
        On one scale.
    df : float
        Degrees of freedom of the standard error.
    alpha : float
        One minus the coverage.

    Returns
    -------
    Opinion

    Raises
    ------
    FitImpossible
        If there are no degrees of freedom, or the standard error is 0.

    Examples
    --------
    >>> found = t_opinion(2.0, 1.0, 10)
    >>> round(found.p, 4), round(found.low, 3), round(found.high, 3)
    (0.0734, -0.228, 4.228)
    """
    if not df > 0:
        raise FitImpossible("There are not enough runs to see how much they spread; make at least one more.")
    if not standard_error > 0:
        raise FitImpossible("The runs do not spread at all, so an interval has no width; read them more finely.")
    t = effect / standard_error
    reach = float(stdtrit(df, 1 - alpha / 2)) * standard_error
    return Opinion(effect, standard_error, df, t, float(2 * stdtr(df, -abs(t))), effect - reach, effect + reach)


def welch(source: Array, control: Array, alpha: float = 0.05) -> Opinion:
    """Compare two means that may spread differently.

    Parameters
    ----------
    source, control : array, shapes (k,) and (l,)
        One value a run, at least two runs each.
    alpha : float
        One minus the coverage.

    Returns
    -------
    Opinion
        Of the source's mean minus the control's.

    Raises
    ------
    FitImpossible
        If a condition has fewer than two runs, or no run differs from its condition's mean.

    Notes
    -----
    Not valid under drift, and weak where runs alternate under drift: the order in time is ignored.

    References
    ----------
    B. L. Welch, Biometrika 34 (1947) 28-35; degrees of freedom after F. E. Satterthwaite (1946).

    Examples
    --------
    >>> found = welch(np.array([5.0, 6, 7]), np.array([3.0, 4, 5]))
    >>> round(found.t, 4), round(found.df, 4), round(found.p, 4)
    (2.4495, 4.0, 0.0705)
    """
    if min(len(source), len(control)) < 2:
        raise FitImpossible("Each condition needs at least two runs to show how much it spreads.")
    parts = np.array([_variance(values) / len(values) for values in (source, control)])
    total = float(parts.sum())
    freedom = np.array([len(source) - 1, len(control) - 1])
    df = total**2 / float((parts**2 / freedom).sum()) if total > 0 else 0.0
    return t_opinion(float(source.mean() - control.mean()), math.sqrt(total), df or 1.0, alpha)


def paired(source: Array, control: Array, alpha: float = 0.05) -> Opinion:
    """Compare two conditions pair by pair.

    Parameters
    ----------
    source, control : array, shape (k,)
        Entries of the same place belong to one pair; at least two pairs.
    alpha : float
        One minus the coverage.

    Returns
    -------
    Opinion
        Of the mean of source minus control.

    Raises
    ------
    ValueOutOfRange
        If the two have different lengths.
    FitImpossible
        If there are fewer than two pairs, or all differences are the same.

    References
    ----------
    Student, Biometrika 6 (1908) 1-25.

    Examples
    --------
    >>> round(paired(np.array([5.0, 6, 9]), np.array([3.0, 5, 6])).p, 4)
    0.0742
    """
    if source.shape != control.shape:
        raise ValueOutOfRange("The number of source runs", len(source), f"{len(control)}, as of control runs")
    differences = source - control
    if len(differences) < 2:
        raise FitImpossible("There must be at least two pairs to show how much their differences spread.")
    error = math.sqrt(_variance(differences) / len(differences))
    return t_opinion(float(differences.mean()), error, len(differences) - 1, alpha)


def slope_interval(observations: Array, column: Array, basis: Array, alpha: float = 0.05) -> Opinion:
    """Give what one unit of a column adds, by least squares, other columns held.

    Parameters
    ----------
    observations, column : array, shape (n,)
        One value a run.
    basis : array, shape (n, rank)
        Orthonormal basis of the constant and the other columns,
        from :func:`truerun.stats.exact.nuisance_basis`.
    alpha : float
        One minus the coverage.

    Returns
    -------
    Opinion

    Raises
    ------
    FitImpossible
        If no degree of freedom is left, or the columns explain the observations completely.

    Notes
    -----
    With r the part of the column that the basis does not explain: slope = r . y / r . r, and its standard error
    is s / abs(r), s^2 being the residual sum of squares divided by n - rank - 1.

    References
    ----------
    G. W. Snedecor, W. G. Cochran, Statistical Methods, 6th ed. (1967), chapter 14.

    Examples
    --------
    >>> y, x = np.array([1.0, 2, 4, 4]), np.array([0.0, 1, 2, 3])
    >>> found = slope_interval(y, x, np.full((4, 1), 0.5))
    >>> round(found.effect, 3), round(found.standard_error, 4)
    (1.1, 0.2646)
    """
    left = column - basis @ (basis.T @ column)
    rest = observations - basis @ (basis.T @ observations)
    size = float(left @ left)
    slope = float(left @ rest) / size
    df = len(observations) - basis.shape[1] - 1
    unexplained = rest - slope * left
    if df < 1 or np.abs(unexplained).max() <= _FLAT * np.abs(observations).max():
        return t_opinion(slope, 0.0, df, alpha)
    return t_opinion(slope, math.sqrt(float(unexplained @ unexplained) / df / size), df, alpha)


def ancova_interval(observations: Array, order: Array, basis: Array, alpha: float = 0.05) -> Opinion:
    """Give the t interval of the effect, source minus control, with columns adjusted for.

    Parameters
    ----------
    observations : array, shape (n,)
        One value a slot.
    order : array of +1 and -1, shape (n,)
        Source and control.
    basis : array, shape (n, rank)
        The one that the exact list used.
    alpha : float
        One minus the coverage.

    Returns
    -------
    Opinion

    Raises
    ------
    FitImpossible
        As :func:`slope_interval`.

    Notes
    -----
    The effect is the delta of the exact list: the slope on half the order. Without adjusted columns this is
    Student's two-sample t test with one pooled variance.

    Examples
    --------
    >>> y, order = np.array([5.0, 3, 6, 4, 7, 5]), np.array([1.0, -1, 1, -1, 1, -1])
    >>> found = ancova_interval(y, order, np.full((6, 1), 6**-0.5))
    >>> round(found.effect, 4), found.df, round(found.p, 4)
    (2.0, 4, 0.0705)
    """
    return slope_interval(observations, order / 2, basis, alpha)


def shared_test(observations: Array, columns: Array, basis: Array) -> SharedTest:
    """Test whether several columns together explain more than the basis does.

    Parameters
    ----------
    observations : array, shape (n,)
        One value a run.
    columns : array, shape (n, q)
        For instance an indicator for each session but one.
    basis : array, shape (n, rank)
        As in :func:`slope_interval`.

    Returns
    -------
    SharedTest

    Raises
    ------
    FitImpossible
        If the columns add nothing to the basis, no degree of freedom is left, or nothing is left to explain.

    References
    ----------
    R. A. Fisher, Statistical Methods for Research Workers (1925), chapter VII.

    Examples
    --------
    >>> y, days = np.array([1.0, 2, 3, 5, 6, 7]), np.array([[0.0], [0], [0], [1], [1], [1]])
    >>> found = shared_test(y, days, np.full((6, 1), 6**-0.5))
    >>> round(found.f, 6), found.df_residual, round(found.p, 4)
    (24.0, 4, 0.008)
    """
    left = columns - basis @ (basis.T @ columns)
    directions, sizes, _ = np.linalg.svd(left, full_matrices=False)
    added = directions[:, sizes > 1e-10 * np.abs(columns).max(initial=1.0)]
    df, df_residual = added.shape[1], len(observations) - basis.shape[1] - added.shape[1]
    rest = observations - basis @ (basis.T @ observations)
    explained = added.T @ rest
    unexplained = rest - added @ explained
    flat = np.abs(unexplained).max() <= _FLAT * np.abs(observations).max()
    if df < 1 or df_residual < 1 or flat:
        raise FitImpossible("There is nothing left over to compare these columns with; make more runs.")
    variance = float(unexplained @ unexplained) / df_residual
    f = float(explained @ explained) / df / variance
    return SharedTest(f, df, df_residual, float(fdtrc(df, df_residual, f)), variance)


def tost(opinion: Opinion, lowest: float, highest: float) -> Equivalence:
    """Test whether an effect lies between two margins, by two one-sided t tests.

    Parameters
    ----------
    opinion : Opinion
        From any function of this module.
    lowest, highest : float
        The margins, on the scale of the effect.

    Returns
    -------
    Equivalence

    Raises
    ------
    ValueOutOfRange
        If the margins are not in rising order.

    Notes
    -----
    ``p`` is at most alpha exactly where the interval at coverage 1 - 2 alpha lies between the margins.

    References
    ----------
    D. J. Schuirmann, J. Pharmacokinet. Biopharm. 15 (1987) 657-680.

    Examples
    --------
    >>> round(tost(t_opinion(0.5, 1.0, 10), -3.0, 3.0).p, 4)
    0.0157
    """
    if not lowest < highest:
        raise ValueOutOfRange("The lower margin", lowest, f"below the upper one, {highest}")
    t_low = (opinion.effect - lowest) / opinion.standard_error
    t_high = (opinion.effect - highest) / opinion.standard_error
    p_low, p_high = float(stdtr(opinion.df, -t_low)), float(stdtr(opinion.df, t_high))
    return Equivalence(t_low, p_low, t_high, p_high, max(p_low, p_high))


def _variance(values: Array) -> float:
    """Variance about the mean, exactly 0 where only rounding is left."""
    spread = values - values.mean()
    if np.abs(spread).max() <= _FLAT * np.abs(values).max():
        return 0.0
    return float(spread @ spread) / (len(values) - 1)
