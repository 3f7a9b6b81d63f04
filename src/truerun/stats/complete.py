"""The exact list of a complete order without adjusted columns, counted instead of listed.

Any order differs from the one used by swapping k source runs for k control runs. The effect at which it ties is
then simply the mean of the source runs swapped out less the mean of the control runs swapped in, so all ties are
differences of subset means: two sorted halves give their counts, and no order is ever written down.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from truerun.errors import ValueOutOfRange
from truerun.stats.exact import ExactList

__all__ = ["MOST_PER_CONDITION", "complete_list"]

Array = NDArray[np.float64]

MOST_PER_CONDITION = 20
"""Subset sums of more runs than this do not fit into memory comfortably."""

_TIE = 1e-9
_FLAT = 1e-12
_FEW = 100_000
_APART = 0.01


@dataclass(frozen=True, slots=True)
class CountedTies:
    """Ties as pairs of sorted subset means: ``source[k - 1]`` and ``control[k - 1]`` hold those of k runs."""

    source: tuple[Array, ...]
    control: tuple[Array, ...]
    count: int
    tolerance: float

    def at_most(self, effect: float) -> int:
        """Count the ties at or below ``effect``."""
        return self._below(effect + self.tolerance)

    def at_least(self, effect: float) -> int:
        """Count the ties at or above ``effect``."""
        return self.count - self._below(math.nextafter(effect - self.tolerance, -math.inf))

    def smallest(self, rank: int) -> float:
        """Give the ``rank``-th smallest tie, from 1."""
        if self.tolerance == 0.0:
            return 0.0
        low = float(self.source[0][0] - self.control[0][-1]) - self.tolerance
        high = float(self.source[0][-1] - self.control[0][0]) + self.tolerance
        below, up_to = 0, self.count
        halve = False
        while up_to - below > _FEW and high - low > _APART * self.tolerance:
            share = 0.5 if halve else min(max((rank - below) / (up_to - below), 0.02), 0.98)
            middle = low + share * (high - low)
            counted = self._below(middle)
            halve = not halve
            if counted >= rank:
                high, up_to = middle, counted
            else:
                low, below = middle, counted
        if up_to - below > _FEW:  # so many ties in so small a stretch are one and the same
            found = self._last_up_to(high)
        else:
            found = float(np.partition(self._between(low, high), rank - below - 1)[rank - below - 1])
        return 0.0 if abs(found) <= self.tolerance else found  # as p at 0 takes it

    def largest(self, rank: int) -> float:
        """Give the ``rank``-th largest tie, from 1."""
        return self.smallest(self.count - rank + 1)

    def _below(self, effect: float) -> int:
        """Count the ties at or below ``effect``, to the last bit."""
        pairs = zip(self.source, self.control, strict=True)
        return sum(int((len(out) - np.searchsorted(out, into - effect, side="left")).sum()) for into, out in pairs)

    def _last_up_to(self, effect: float) -> float:
        """Give the largest tie at or below ``effect``."""
        best = -math.inf
        for into, out in zip(self.source, self.control, strict=True):
            place = np.searchsorted(out, into - effect, side="left")
            there = place < len(out)
            best = max(best, float((into[there] - out[place[there]]).max(initial=-math.inf)))
        return best

    def _between(self, low: float, high: float) -> Array:
        """List the ties above ``low`` up to ``high``."""
        found = []
        for into, out in zip(self.source, self.control, strict=True):
            first = np.searchsorted(out, into - high, side="left")
            last = np.searchsorted(out, into - low, side="left")
            each = last - first
            starts = np.repeat(first - np.concatenate([[0], np.cumsum(each)[:-1]]), each)
            found.append(np.repeat(into, each) - out[starts + np.arange(int(each.sum()))])
        return np.concatenate(found)


def complete_list(source: Array, control: Array) -> ExactList:
    """Give the exact list over all ways to divide the runs, without adjusted columns.

    Parameters
    ----------
    source, control : array, shape (h,)
        Observations of each condition, on the scale on which an effect adds; at most 20 each.

    Returns
    -------
    ExactList
        ``heap`` is None: the orders are counted, not listed.

    Raises
    ------
    ValueOutOfRange
        If the numbers differ or exceed 20.

    Notes
    -----
    The same figures as :func:`truerun.stats.exact.exact_list` with every order, for C(40, 20) = 1.4e11 orders too.

    Examples
    --------
    >>> from truerun.stats.exact import two_sided_p
    >>> found = complete_list(np.array([4.0, 5, 6, 7]), np.array([1.0, 2, 3, 3.5]))
    >>> found.orders, round(two_sided_p(found), 5)
    (70, 0.02857)
    """
    half = len(source)
    if len(control) != half or not 1 <= half <= MOST_PER_CONDITION:
        raise ValueOutOfRange("The number of runs", f"{half} and {len(control)}", "equal and at most 20 each")
    middle = (source.mean() + control.mean()) / 2
    spread = float(np.abs(np.concatenate([source, control]) - middle).max())
    flat = spread <= _FLAT * abs(middle)
    shifted = [np.zeros(half) if flat else values - middle for values in (source, control)]
    orders = math.comb(2 * half, half)
    ties = CountedTies(_subset_means(shifted[0]), _subset_means(shifted[1]), orders - 1, 0.0 if flat else _TIE * spread)
    return ExactList(orders, 1, float(shifted[0].mean() - shifted[1].mean()), ties, 1.0, None)


def _subset_means(values: Array) -> tuple[Array, ...]:
    """Give the sorted means of all subsets of 1, 2, ... h values."""
    sums = np.zeros(1)
    sizes = np.zeros(1, dtype=np.int64)
    for value in values:
        sums = np.concatenate([sums, sums + value])
        sizes = np.concatenate([sizes, sizes + 1])
    return tuple(np.sort(sums[sizes == k]) / k for k in range(1, len(values) + 1))
