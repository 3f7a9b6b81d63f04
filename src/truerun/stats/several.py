"""Many variants or many doses: what the best of several is worth, and the trend with dose.

Screening many variants names a candidate and no more: the best of several looks good by luck alone. A dose
series is decided by the exact list, with doses in the place of +1 and -1.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr  # scipy.stats takes seconds to import

from truerun.errors import FitImpossible, ValueOutOfRange
from truerun.stats.draw import draw_many
from truerun.stats.exact import ExactList, exact_list, interval, nuisance_basis

__all__ = [
    "DoseTrend",
    "Screening",
    "Shrinkage",
    "dose_interval",
    "dose_trend",
    "expected_maximum",
    "holm",
    "screening",
    "shrinkage",
    "shuffled_rows",
]

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

_TIE = 1e-9


@dataclass(frozen=True, slots=True)
class DoseTrend:
    """The exact list of a trend: ``slope`` per unit of dose; p-values and severity are read off ``found``.

    ``unit`` turns effects of the list into slopes: an effect of the list is what lies between one standard
    deviation of the doses below their mean and one above it.
    """

    found: ExactList
    unit: float
    slope: float


@dataclass(frozen=True, slots=True)
class Shrinkage:
    """What the best of several may be expected to show next time, above their mean.

    ``shown`` is what it showed, ``expected`` = ``factor`` times that; ``luck`` is what the best of as many equal
    variants would show by noise alone.
    """

    factor: float
    shown: float
    expected: float
    luck: float


@dataclass(frozen=True, slots=True)
class Screening:
    """The best variant, how far its mean lies above the mean of all runs, and how often the order alone does that."""

    best: int
    excess: float
    p: float


def holm(p_values: Sequence[float]) -> list[float]:
    """Correct p-values for their number, so that any false alarm at all stays as rare as stated.

    Parameters
    ----------
    p_values : sequence of float, length k
        One for each test.

    Returns
    -------
    list of float, length k
        In the given order; at most 1.

    References
    ----------
    S. Holm, Scand. J. Stat. 6 (1979) 65-70.

    Examples
    --------
    >>> holm([0.01, 0.04, 0.03])
    [0.03, 0.06, 0.06]
    """
    given = np.asarray(p_values, dtype=np.float64)
    rising = np.argsort(given, kind="stable")
    stepped = np.maximum.accumulate(given[rising] * np.arange(len(given), 0, -1))
    corrected = np.empty_like(given)
    corrected[rising] = np.minimum(1.0, stepped)
    return [float(p) for p in corrected]


def dose_trend(observations: Array, orders: Array, used: Array, columns: Array, names: Sequence[str] = ()) -> DoseTrend:
    """List the slope of the observations on the dose for every order of the doses.

    Parameters
    ----------
    observations : array, shape (n,)
        One value a slot, on the scale on which an effect adds.
    orders : array, shape (m, n)
        The dose of each slot in every order that could have been drawn (each the same doses, arranged), or in
        a sample of them by lot with the one used.
    used : array, shape (n,)
        The doses as drawn.
    columns : array, shape (n, q)
        Adjusted columns, as for :func:`truerun.stats.exact.nuisance_basis`.
    names : sequence of str, length q
        Their names, for messages.

    Returns
    -------
    DoseTrend

    Raises
    ------
    ValueOutOfRange
        If the doses are all the same, differ between orders, or follow the adjusted columns exactly.

    Notes
    -----
    Doses less their mean, divided by their standard deviation (of n), have the square sum n of a row of +1 and
    -1, which is all that the exact list asks of a row. Two doses in equal numbers give the list of two
    conditions itself.

    Examples
    --------
    >>> from itertools import permutations
    >>> orders = np.array(list(permutations([0.0, 1.0, 2.0, 3.0, 6.0])))
    >>> trend = dose_trend(np.array([1.0, 3.1, 5.0, 7.2, 13.0]), orders, orders[0], np.zeros((5, 0)))
    >>> round(trend.slope, 4), [round(end, 3) for end in dose_interval(trend, 0.05)]
    (1.9991, [1.933, 2.1])
    """
    spread = float(used.std())
    if not spread > 0:
        raise ValueOutOfRange("The dose", f"{used[0]:g} in every run", "different from run to run")
    if not np.allclose(np.sort(orders, axis=1), np.sort(used)):
        raise ValueOutOfRange("An order of the doses", "made of other doses", "an arrangement of those used")
    rows, row = (orders - used.mean()) / spread, (used - used.mean()) / spread
    # declared for rows of whole numbers, the list reckons in floats throughout
    as_rows, as_row = cast("NDArray[np.int8]", rows), cast("NDArray[np.int8]", row)
    found = exact_list(observations, as_rows, as_row, nuisance_basis(columns, names, row))
    return DoseTrend(found, 1 / (2 * spread), found.delta / (2 * spread))


def dose_interval(trend: DoseTrend, alpha: float) -> tuple[float | None, float | None]:
    """Give the interval of the slope at coverage 1 - ``alpha``; an end is None where the list cannot give one.

    Examples
    --------
    See :func:`dose_trend`.
    """
    low, high = interval(trend.found, alpha)
    return None if low is None else low * trend.unit, None if high is None else high * trend.unit


def expected_maximum(count: int) -> float:
    """Give how far the best of several equal variants is expected to stand out, in standard deviations.

    Parameters
    ----------
    count : int
        Number of normal values, at least 1.

    Returns
    -------
    float
        Above their common mean; for means of r runs divide by the root of r.

    Notes
    -----
    Integral of x count phi(x) Phi(x)^(count - 1), by equal steps of .02 from -12 to 12, which is exact to
    rounding for a smooth function that vanishes at both ends.

    References
    ----------
    L. H. C. Tippett, Biometrika 17 (1925) 364-387.

    Examples
    --------
    >>> round(expected_maximum(24), 3), round(expected_maximum(24) / 3**0.5, 2)
    (1.948, 1.12)
    """
    if count < 1:
        raise ValueOutOfRange("The number of variants", count, "at least 1")
    x = np.linspace(-12.0, 12.0, 1201)
    density = np.exp(-0.5 * x**2) / math.sqrt(2 * math.pi)
    return float((x * count * density * ndtr(x) ** (count - 1)).sum() * 0.02)


def shrinkage(means: Array, noise_variance: float, df: float | None = None) -> Shrinkage:
    """Give how much of what the best variant shows can be expected next time.

    Parameters
    ----------
    means : array, shape (k,)
        Mean of each variant, all from as many runs, at least four variants.
    noise_variance : float
        Variance of one such mean by run-to-run noise alone.
    df : float, optional
        Degrees of freedom of ``noise_variance``; None where it is known.

    Returns
    -------
    Shrinkage

    Raises
    ------
    FitImpossible
        If there are fewer than four variants.
    ValueOutOfRange
        If the variance is not positive.

    Notes
    -----
    factor = max(0, 1 - (k - 3) v / sum of squares about the mean), with v times df / (df + 2) where it is
    estimated.

    References
    ----------
    B. Efron, C. Morris, J. Am. Stat. Assoc. 70 (1975) 311-319; W. James, C. Stein (1961).

    Examples
    --------
    >>> found = shrinkage(np.array([1.0, 2.0, 3.0, 6.0]), 2.0)
    >>> round(found.factor, 3), found.shown, round(found.expected, 3), round(found.luck, 3)
    (0.857, 3.0, 2.571, 1.456)
    """
    if len(means) < 4:
        raise FitImpossible(
            f"There are {len(means)} variants and this needs 4; test the best one afresh against the control."
        )
    if not noise_variance > 0:
        raise ValueOutOfRange("The variance of a mean", noise_variance, "positive")
    allowed = noise_variance if df is None else noise_variance * df / (df + 2)
    around = means - means.mean()
    squares = float(around @ around)
    factor = max(0.0, 1 - (len(means) - 3) * allowed / squares) if squares > 0 else 0.0
    shown = float(around.max())
    return Shrinkage(factor, shown, factor * shown, expected_maximum(len(means)) * math.sqrt(noise_variance))


def shuffled_rows(seed: str, labels: Array, draws: int) -> Array:
    """Arrange labels by lot, again and again, in a way that anybody can repeat.

    Parameters
    ----------
    seed : str
        Any text; it is what is sealed.
    labels : array, shape (n,)
        Variants or doses, one for each slot.
    draws : int
        How many arrangements.

    Returns
    -------
    array, shape (draws, n)

    Notes
    -----
    Fisher-Yates: for place = n, n - 1, ..., 2 the entry at ``place`` changes with one of the first ``place``,
    number drawn by :func:`truerun.stats.draw.draw_many` from the seed ``"{seed} place {place}"``.

    References
    ----------
    R. A. Fisher, F. Yates, Statistical Tables (1938), example 12; R. Durstenfeld, Commun. ACM 7 (1964) 420.

    Examples
    --------
    >>> shuffled_rows("truerun test vector", np.array([1.0, 2, 3, 4]), 2).tolist()
    [[3.0, 2.0, 4.0, 1.0], [1.0, 2.0, 3.0, 4.0]]
    """
    rows = np.tile(labels, (draws, 1))
    every = np.arange(draws)
    for place in range(len(labels), 1, -1):
        drawn = draw_many(f"{seed} place {place}", place, draws)
        rows[every, drawn], rows[:, place - 1] = rows[:, place - 1].copy(), rows[every, drawn].copy()
    return rows


def screening(observations: Array, used: Whole, orders: Whole) -> Screening:
    """Judge the best of several variants by all orders in which they could have come.

    Parameters
    ----------
    observations : array, shape (n,)
        One value a slot.
    used : array of int, shape (n,)
        Variant of each slot, 0 to k - 1.
    orders : array of int, shape (m, n)
        Every order that could have been drawn, or a sample of them by lot with the one used.

    Returns
    -------
    Screening

    Raises
    ------
    ValueOutOfRange
        If the order used is not among the orders, or an order has other numbers of runs.

    Notes
    -----
    The statistic is the largest mean of a variant. With a single run of each variant the order cannot tell a
    variant from its slot, and p is 1: repeat every variant at least twice. A small p says "not all are equal",
    not "this one adds energy": that needs a fresh test.

    Examples
    --------
    >>> from itertools import permutations
    >>> orders = np.array(sorted(set(permutations([0, 0, 1, 1, 2, 2]))))
    >>> found = screening(np.array([1.0, 2.0, 5.0, 6.0, 1.0, 3.0]), np.array([0, 0, 1, 1, 2, 2]), orders)
    >>> found.best, found.excess, round(found.p, 3)
    (1, 2.5, 0.2)
    """
    counts = np.bincount(used)
    if not (orders == used).all(axis=1).any():
        raise ValueOutOfRange("The order used", "not among the orders", "one of those that could have been drawn")
    if not (np.sort(orders, axis=1) == np.sort(used)).all():
        raise ValueOutOfRange("An order of the variants", "made of other variants", "an arrangement of those used")
    around = observations - observations.mean()
    means = np.stack([(orders == variant) @ around / count for variant, count in enumerate(counts)], axis=1)
    mine = np.array([around[used == variant].mean() for variant in range(len(counts))])
    excess = float(mine.max())
    reached = means.max(axis=1) >= excess - _TIE * float(np.abs(around).max())
    return Screening(int(mine.argmax()), excess, float(reached.mean()))
