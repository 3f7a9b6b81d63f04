"""The exact list: what each order that could have been drawn says about the same observations.

One of ``m`` orders was drawn by lot. Under "no effect" the observations would have been the same under any of
them, so the order used may be compared with all others, whatever the noise looks like. With r_j the part of
order z_j that the adjusted columns do not explain, and o the order used::

    a_j = r_j . y / |r_j|        b_j = r_j . z_o / |r_j|        delta = 2 a_o / b_o
    x_j = 2 (a_o - a_j) / (b_o - b_j)          the effect at which order j ties with the one used

p-values count the x_j on one side of an effect, the interval is a pair of order statistics of the x_j: both are
read off one sorted list, so they cannot disagree.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from truerun.errors import ValueOutOfRange
from truerun.stats.orders import rejecting_orders

__all__ = [
    "ExactList",
    "Ties",
    "attained",
    "exact_list",
    "interval",
    "nuisance_basis",
    "p_minus",
    "p_plus",
    "severity",
    "two_sided_p",
]

Array = NDArray[np.float64]

_SAME_ORDER = 1e-9
_TIE = 1e-9
_FLAT = 1e-12
_ROWS_AT_A_TIME = 20_000


class Ties(Protocol):
    """The effects at which the other orders tie with the one used, listed or only counted."""

    def at_most(self, effect: float) -> int:
        """Count the ties at or below ``effect``."""

    def at_least(self, effect: float) -> int:
        """Count the ties at or above ``effect``."""

    def smallest(self, rank: int) -> float:
        """Give the ``rank``-th smallest tie, from 1."""

    def largest(self, rank: int) -> float:
        """Give the ``rank``-th largest tie, from 1."""


@dataclass(frozen=True, slots=True)
class ListedTies:
    """Ties as a sorted array, shape (m - s,); within ``tolerance`` counts on both sides."""

    values: Array
    tolerance: float

    def at_most(self, effect: float) -> int:
        """Count the ties at or below ``effect``."""
        return int(np.searchsorted(self.values, effect + self.tolerance, side="right"))

    def at_least(self, effect: float) -> int:
        """Count the ties at or above ``effect``."""
        return len(self.values) - int(np.searchsorted(self.values, effect - self.tolerance, side="left"))

    def smallest(self, rank: int) -> float:
        """Give the ``rank``-th smallest tie, from 1."""
        return float(self.values[rank - 1])

    def largest(self, rank: int) -> float:
        """Give the ``rank``-th largest tie, from 1."""
        return float(self.values[-rank])


@dataclass(frozen=True, slots=True)
class ExactList:
    """All that the orders say about one set of observations.

    ``orders`` is m, ``same`` is s (orders that cannot be told from the one used, itself included), ``delta`` the
    estimated effect, ``retained`` the share of the order used that the adjusted columns leave over
    (|r_o|^2 / n), ``heap`` the effect that each order would have given on the scale of the order used,
    2 a_j / b_o, shape (m,), None where the orders are counted and not listed.
    """

    orders: int
    same: int
    delta: float
    ties: Ties
    retained: float
    heap: Array | None


def nuisance_basis(columns: Array, names: Sequence[str], order: Array) -> Array:
    """Give an orthonormal basis of the constant and the adjusted columns.

    Parameters
    ----------
    columns : array, shape (n, q)
        Adjusted columns, any units; the constant is added.
    names : sequence of str, length q
        Names for messages.
    order : array, shape (n,)
        The order used, +1 and -1.

    Returns
    -------
    array, shape (n, rank)

    Raises
    ------
    ValueOutOfRange
        If the columns explain the order used completely, so that nothing is left to compare.

    Examples
    --------
    >>> nuisance_basis(np.zeros((4, 0)), (), np.array([1.0, -1, -1, 1])).shape
    (4, 1)
    """
    n = len(order)
    centred = columns - columns.mean(axis=0)
    norms = np.sqrt((centred**2).sum(axis=0))
    kept = norms > _FLAT * np.abs(columns).max(axis=0, initial=1.0)
    left, size, _ = np.linalg.svd(np.column_stack([np.full(n, n**-0.5), centred[:, kept] / norms[kept]]))
    basis = np.asarray(left[:, : len(size)][:, size > 1e-10 * size[0]])  # columns repeated or summing to another
    if np.abs(order - basis @ (basis.T @ order)).max() < 1e-9:
        alone = [name for name, column in zip(names, centred.T, strict=True) if _same_line(column, order)]
        named = " and ".join(dict.fromkeys(alone[:1] or names)) or "the constant"
        raise ValueOutOfRange(
            "The order of the runs",
            f"the same thing as {named}",
            "independent of what is adjusted for",
            "Take that column out of what is adjusted, or draw a new order.",
        )
    return basis


def _same_line(column: Array, order: Array) -> bool:
    """Tell whether a centred column is the order but for its mean and unit."""
    centred = order - order.mean()
    product = float(column @ centred)
    return product != 0 and product**2 >= (1 - 1e-9) * float(column @ column) * float(centred @ centred)


def exact_list(observations: Array, orders: NDArray[np.int8], used: NDArray[np.int8], basis: Array) -> ExactList:
    """List what every order says.

    Parameters
    ----------
    observations : array, shape (n,)
        One value a slot, on the scale on which an effect adds (for times: ln T).
    orders : array of +1 and -1, shape (m, n)
        Every order that could have been drawn, the one used included; orders may repeat.
    used : array of +1 and -1, shape (n,)
        The order that was drawn.
    basis : array, shape (n, rank)
        From :func:`nuisance_basis`.

    Returns
    -------
    ExactList

    Notes
    -----
    Exact for any noise where there is no effect, since only the order is random; the interval assumes an effect
    that adds the same to every source run. Ties within 1e-9 of the largest residual count on both sides.

    References
    ----------
    R. A. Fisher, The Design of Experiments (1935), sections 17 and 21.

    Examples
    --------
    >>> from truerun.stats.orders import orders_for
    >>> allowed = orders_for("pairs", 12).all()
    >>> y = np.array([2.0, 1, 2.5, 1, 3, 1, 2, 1, 2, 1.5, 3, 2])
    >>> found = exact_list(y, allowed, allowed[0], nuisance_basis(np.zeros((12, 0)), (), allowed[0] * 1.0))
    >>> round(found.delta, 4), round(two_sided_p(found), 5)
    (1.1667, 0.03125)
    """
    drawn = used.astype(np.float64)
    rest = _residual(observations, basis)
    rest_drawn = drawn - basis @ (basis.T @ drawn)
    a, b = _projections(orders, rest, rest_drawn, basis)
    length = float(np.sqrt(rest_drawn @ rest_drawn))
    a_used = float(rest_drawn @ rest) / length
    same = b >= length * (1 - _SAME_ORDER)
    ties = np.sort(2 * (a_used - a[~same]) / (length - b[~same]))
    tolerance = _TIE * float(np.abs(rest).max())
    ties[np.abs(ties) <= tolerance] = 0.0  # as p at 0 takes them, so that interval and p agree there to the last digit
    return ExactList(
        orders=len(orders),
        same=int(same.sum()),
        delta=2 * a_used / length,
        ties=ListedTies(ties, tolerance),
        retained=length**2 / len(drawn),
        heap=2 * a / length,
    )


def _residual(observations: Array, basis: Array) -> Array:
    """Observations less what the basis explains, exactly 0 where only rounding is left."""
    rest = observations - basis @ (basis.T @ observations)
    flat = np.abs(rest).max() <= _FLAT * np.abs(observations).max()
    return np.zeros_like(rest) if flat else rest


def _projections(orders: NDArray[np.int8], rest: Array, rest_drawn: Array, basis: Array) -> tuple[Array, Array]:
    """Give a_j and b_j of every order, a stretch of orders at a time; 0 where an order is explained completely."""
    a = np.zeros(len(orders))
    b = np.zeros(len(orders))
    n = orders.shape[1]
    both = np.column_stack([rest, rest_drawn])
    for start in range(0, len(orders), _ROWS_AT_A_TIME):
        rows = orders[start : start + _ROWS_AT_A_TIME].astype(np.float64)
        square = n - ((rows @ basis) ** 2).sum(axis=1)
        left = square > n * _SAME_ORDER
        projected = rows[left] @ both / np.sqrt(square[left])[:, None]
        a[start : start + len(rows)][left] = projected[:, 0]
        b[start : start + len(rows)][left] = projected[:, 1]
    return a, b


def p_plus(found: ExactList, effect: float = 0.0) -> float:
    """Give the share of orders that speak for an effect above ``effect`` at least as much as the one used.

    Small values speak against "the true effect is ``effect`` or less".

    Examples
    --------
    See :func:`exact_list`.
    """
    return (found.same + found.ties.at_most(effect)) / found.orders


def p_minus(found: ExactList, effect: float = 0.0) -> float:
    """Give the share of orders that speak for an effect below ``effect`` at least as much as the one used."""
    return (found.same + found.ties.at_least(effect)) / found.orders


def two_sided_p(plus: ExactList, minus: ExactList | None = None, effect: float = 0.0) -> float:
    """Give the two-sided p-value for "the true effect is ``effect``".

    Parameters
    ----------
    plus, minus : ExactList
        Lists for the two sides; they differ only where a missing observation is reckoned at its worst for each
        side. ``minus`` None: the same list.
    effect : float
        On the scale of the observations.

    Returns
    -------
    float
        Between 2/m and 1.
    """
    return min(1.0, 2 * min(p_plus(plus, effect), p_minus(minus or plus, effect)))


def interval(plus: ExactList, alpha: float, minus: ExactList | None = None) -> tuple[float | None, float | None]:
    """Give the interval of the effect at coverage 1 - ``alpha``; an end is None where the list cannot give one.

    Parameters
    ----------
    plus, minus : ExactList
        As in :func:`two_sided_p`.
    alpha : float
        Read as a decimal fraction, 0 to 1.

    Returns
    -------
    low, high : float or None
        Effects inside are those with a two-sided p-value above ``alpha``, on the scale of the observations.
    """
    other = minus or plus
    low_rank = rejecting_orders(plus.orders, alpha) - (plus.same - 1)
    high_rank = rejecting_orders(other.orders, alpha) - (other.same - 1)
    low = plus.ties.smallest(low_rank) if 1 <= low_rank <= plus.orders - plus.same else None
    high = other.ties.largest(high_rank) if 1 <= high_rank <= other.orders - other.same else None
    return low, high


def attained(found: ExactList, alpha: float) -> float:
    """Give the coverage that the interval at ``alpha`` really has, 1 - 2 floor(alpha m / 2) / m."""
    return 1 - 2 * rejecting_orders(found.orders, alpha) / found.orders


def severity(found: ExactList, effects: Array) -> Array:
    """Give how surely an effect at or above each of ``effects`` is ruled out, 1 - p_minus, shape (k,).

    Parameters
    ----------
    found : ExactList
        The list for the lower side.
    effects : array, shape (k,)
        On the scale of the observations.

    Returns
    -------
    array, shape (k,)
        Between 0 and 1 - s/m.
    """
    return np.array([1 - p_minus(found, float(effect)) for effect in effects])
