"""A planned look at half the runs: a small level there, the rest of it at the end.

The look and its level are sealed with the plan. At the look the list of the first runs decides at its level; if
it does not, the list of all runs decides at what is left. No more than the sum of both levels of all orders can
reject, whatever the noise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from truerun.errors import PlanBroken
from truerun.stats.orders import attained_level, rejecting_orders

__all__ = ["PlannedLook", "StageRejections", "planned_look", "stage_rejections"]

Array = NDArray[np.float64]

_TIE = 1e-9


@dataclass(frozen=True, slots=True)
class PlannedLook:
    """Levels of a plan with one look.

    The list of the first runs decides at ``first_alpha``, which it attains as ``first_level``; the list of all
    runs at ``last_alpha``, attained as ``last_level``. No more than ``total_level`` of the orders can reject.
    """

    first_alpha: float
    first_level: float
    last_alpha: float
    last_level: float

    @property
    def total_level(self) -> float:
        """The sum of both attained levels."""
        return self.first_level + self.last_level


@dataclass(frozen=True, slots=True)
class StageRejections:
    """Which orders reject at the look and at the end, shape (m,), and their share ``level`` in all."""

    first: NDArray[np.bool_]
    last: NDArray[np.bool_]
    level: float


def planned_look(first_orders: int, all_orders: int, alpha: float, first_alpha: float = 0.01) -> PlannedLook:
    """Divide a level between a look and the end.

    Parameters
    ----------
    first_orders : int
        Number of orders of the runs up to the look.
    all_orders : int
        Number of orders of the whole plan.
    alpha : float
        Level of the whole plan.
    first_alpha : float
        Level asked for at the look.

    Returns
    -------
    PlannedLook
        ``last_alpha`` is alpha less what the look attains, cut after six decimals so that it can be sealed.

    Raises
    ------
    PlanBroken
        If the look, or the end, could never decide.

    Examples
    --------
    >>> look = planned_look(216, 216**2, 0.05)
    >>> round(look.first_level, 5), look.last_alpha, round(look.total_level, 5)
    (0.00926, 0.04074, 0.04998)
    """
    if rejecting_orders(first_orders, first_alpha) < 1:
        raise PlanBroken(
            f"A look at level {first_alpha:g} needs at least {math.ceil(2 / Fraction(str(first_alpha)))} orders",
            f"the runs before it have {first_orders}",
            "Look later, plan more runs, or plan no look.",
        )
    left = Fraction(str(alpha)) - 2 * Fraction(rejecting_orders(first_orders, first_alpha), first_orders)
    last_alpha = math.floor(max(left, Fraction(0)) * 10**6) / 10**6
    if rejecting_orders(all_orders, last_alpha) < 1:
        raise PlanBroken(
            f"The look leaves the level {last_alpha:g} for the end",
            f"the plan has {all_orders} orders and could never reject at that level",
            "Give the look a smaller level, or plan no look.",
        )
    first_level = attained_level(first_orders, first_alpha)
    return PlannedLook(first_alpha, first_level, last_alpha, attained_level(all_orders, last_alpha))


def stage_rejections(first_heap: Array, last_heap: Array, look: PlannedLook) -> StageRejections:
    """Count which orders would reject, the observations being what they are.

    Parameters
    ----------
    first_heap : array, shape (m,)
        For every order of the whole plan what its first runs show: the heap of their exact list, laid out over
        the orders that begin so. Each beginning must be as frequent as any other, as in blocks.
    last_heap : array, shape (m,)
        What the whole order shows.
    look : PlannedLook
        From :func:`planned_look`.

    Returns
    -------
    StageRejections
        ``level`` lies below ``look.total_level`` as far as the same orders reject twice.

    Examples
    --------
    >>> heap = np.arange(400.0) - 199.5
    >>> stage_rejections(heap, heap, planned_look(400, 400, 0.05)).level
    0.04
    """
    first = _rejecting(first_heap, look.first_alpha)
    last = ~first & _rejecting(last_heap, look.last_alpha)
    return StageRejections(first, last, float((first | last).mean()))


def _rejecting(heap: Array, alpha: float) -> NDArray[np.bool_]:
    """Tell which orders have so few others as far out on their side that they reject."""
    allowed = rejecting_orders(len(heap), alpha)
    ordered = np.sort(heap)
    tie = _TIE * float(np.abs(heap).max())
    above = len(heap) - np.searchsorted(ordered, heap - tie, side="left")
    below = np.searchsorted(ordered, heap + tie, side="right")
    return np.asarray(np.minimum(above, below) <= allowed)
