"""The exact list of many simulated tests at once: the same figures as one by one, for calibrations.

Written apart from :mod:`truerun.stats.exact` on purpose, so that the two check each other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["ManyLists", "list_many"]

Array = NDArray[np.float64]

_TIE = 1e-9
_FLAT = 1e-12
_CELLS = 1_000_000


@dataclass(frozen=True, slots=True)
class ManyLists:
    """Results of many tests, each array of shape (repetitions,).

    ``plus`` and ``minus`` are the one-sided p-values at the effect asked for, ``delta`` the estimated effects.
    """

    plus: Array
    minus: Array
    delta: Array

    @property
    def two_sided(self) -> Array:
        """Two-sided p-values."""
        return np.asarray(np.minimum(1.0, 2 * np.minimum(self.plus, self.minus)))


def list_many(
    observations: Array, orders: NDArray[np.int8], used: NDArray[np.int64], basis: Array, effect: Array | float = 0.0
) -> ManyLists:
    """List what every order says, for many tests with the same set of orders.

    Parameters
    ----------
    observations : array, shape (repetitions, n)
        On the scale on which an effect adds.
    orders : array of +1 and -1, shape (m, n)
        Every order that could have been drawn.
    used : array of int, shape (repetitions,)
        Number of the order that was drawn in each test.
    basis : array, shape (n, rank)
        From :func:`truerun.stats.exact.nuisance_basis`.
    effect : float or array, shape (repetitions,)
        The effect for which p-values are asked.

    Returns
    -------
    ManyLists

    Examples
    --------
    >>> from truerun.stats.orders import orders_for
    >>> pairs = orders_for("pairs", 12).all()
    >>> y = np.array([[2.0, 1, 2.5, 1, 3, 1, 2, 1, 2, 1.5, 3, 2]])
    >>> float(list_many(y, pairs, np.array([0]), np.full((12, 1), 12**-0.5)).two_sided[0])
    0.03125
    """
    left = orders - (orders @ basis) @ basis.T
    length = np.sqrt((left**2).sum(axis=1))
    able = length**2 > orders.shape[1] * _TIE
    unit = np.where(able[:, None], left / np.where(able, length, 1.0)[:, None], 0.0)
    rest = observations - (observations @ basis) @ basis.T
    rest[np.abs(rest).max(axis=1) <= _FLAT * np.abs(observations).max(axis=1)] = 0.0
    asked = np.broadcast_to(np.asarray(effect, dtype=np.float64), used.shape)
    stretch = max(1, _CELLS // len(orders))
    counts = [
        _counts(rest[part], left[used[part]], unit, asked[part])
        for part in (slice(start, start + stretch) for start in range(0, len(used), stretch))
    ]
    plus, minus = np.concatenate(counts).T / len(orders)
    return ManyLists(plus, minus, 2 * (rest * left[used]).sum(axis=1) / length[used] ** 2)


def _counts(rest: Array, drawn: Array, unit: Array, effect: Array) -> NDArray[np.int64]:
    """Count the orders on either side of an effect, those like the one used on both, shape (repetitions, 2)."""
    length = np.sqrt((drawn**2).sum(axis=1, keepdims=True))
    lead = 2 * ((drawn * rest).sum(axis=1, keepdims=True) / length - rest @ unit.T)
    gap = length - drawn @ unit.T
    same = gap <= _TIE * length
    tie = _TIE * np.abs(rest).max(axis=1)
    high = lead <= (effect + tie)[:, None] * gap
    low = lead >= (effect - tie)[:, None] * gap
    return np.column_stack([(same | high).sum(axis=1), (same | low).sum(axis=1)])
