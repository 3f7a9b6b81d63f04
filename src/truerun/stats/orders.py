"""Sets of orders from which the order of runs is drawn by lot.

An order is a row of +1 (source) and -1 (control), one entry for each slot in time. A set is known by its name
and its number of runs; it can count its orders, list them all, and give the order of any number, so that a set
of millions need never be listed. To add a set: one entry in :data:`ORDER_SETS`, its count in the tests, a line
in the documentation.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from truerun.errors import ValueOutOfRange

__all__ = [
    "ENUMERATED_AT_MOST",
    "ORDER_SETS",
    "OrderSet",
    "attained_level",
    "orders_for",
    "rejecting_orders",
    "smallest_p",
]

ENUMERATED_AT_MOST = 200_000
"""Sets with more orders than this are sampled, not listed."""

_MOST_RUNS = 60
_MOST_BITS = 62  # numbers of orders stay whole in 64 bits
_MOST_RESTRICTED = 20

Orders = NDArray[np.int8]


@dataclass(frozen=True, slots=True)
class OrderSet:
    """All orders that can be drawn for a plan of ``runs`` runs.

    ``block`` is the number of runs in a block (None: the set has no blocks) and ``arrangements`` the orders of
    one block, shape (a, block). ``order(index)`` gives orders by number.
    """

    name: str
    runs: int
    count: int
    block: int | None
    arrangements: Orders | None
    unrank: Callable[[NDArray[np.int64]], Orders]

    @property
    def blocks(self) -> int | None:
        """Number of blocks, None where the set has none."""
        return self.runs // self.block if self.block else None

    @property
    def listed(self) -> bool:
        """Whether all orders are listed; larger sets are sampled."""
        return self.count <= ENUMERATED_AT_MOST

    def order(self, index: int) -> Orders:
        """Give order number ``index``, shape (runs,)."""
        return np.asarray(self.unrank(np.array([index], dtype=np.int64))[0])

    def all(self) -> Orders:
        """Give every order, shape (count, runs); for listed sets."""
        if not self.listed:
            raise ValueOutOfRange("The number of orders", self.count, f"at most {ENUMERATED_AT_MOST} to list them")
        return self.unrank(np.arange(self.count, dtype=np.int64))

    def begins_block(self, slot: int) -> bool:
        """Tell whether a slot, counted from 1, is the first of a block; the first of all in a set without blocks."""
        return (slot - 1) % (self.block or self.runs) == 0

    def contains(self, order: Orders) -> bool:
        """Tell whether an order, shape (runs,), belongs to the set."""
        if order.shape != (self.runs,):
            return False
        if self.block and self.arrangements is not None:
            kinds = {tuple(row) for row in self.arrangements.tolist()}
            return all(tuple(part) in kinds for part in order.reshape(-1, self.block).tolist())
        balanced = int(order.sum()) == 0
        return balanced if self.name == "complete" else balanced and bool(_well_mixed(order[None, :])[0])


def _blocked(name: str, arrangements: list[str]) -> Callable[[int], OrderSet]:
    """Make the builder of a set whose blocks are drawn independently of one another."""
    kinds = np.array([[1 if mark == "+" else -1 for mark in row] for row in arrangements], dtype=np.int8)
    size = kinds.shape[1]
    most = size * int(_MOST_BITS / math.log2(len(kinds)))

    def build(runs: int) -> OrderSet:
        if runs % size or not size <= runs <= most:
            raise ValueOutOfRange("The number of runs", runs, f"a multiple of {size} up to {most} for {name}")
        blocks = runs // size

        def unrank(index: NDArray[np.int64]) -> Orders:
            digits = np.empty((len(index), blocks), dtype=np.int64)
            rest = index
            for place in range(blocks - 1, -1, -1):
                rest, digits[:, place] = np.divmod(rest, len(kinds))
            return kinds[digits].reshape(len(index), runs)

        return OrderSet(name, runs, len(kinds) ** blocks, size, kinds, unrank)

    return build


def _complete(runs: int) -> OrderSet:
    """Every order with equal numbers of both conditions."""
    half = _half(runs, "complete")
    ways = [[math.comb(n, k) for k in range(half + 1)] for n in range(runs + 1)]

    def unrank(index: NDArray[np.int64]) -> Orders:
        orders = np.full((len(index), runs), -1, dtype=np.int8)
        rest = index.copy()
        left = np.full(len(index), half, dtype=np.int64)
        for slot in range(runs):
            row = np.array([0, *ways[runs - slot - 1]], dtype=np.int64)
            first = row[left]  # orders in which this slot is a source run, with `left` of them still to place
            here = (left > 0) & (rest < first)
            orders[here, slot] = 1
            rest = np.where(here, rest, rest - first)
            left -= here
        return orders

    return OrderSet("complete", runs, math.comb(runs, half), None, None, unrank)


def _half(runs: int, name: str) -> int:
    """Give the number of runs of one condition."""
    if runs % 2 or not 2 <= runs <= _MOST_RUNS:
        raise ValueOutOfRange("The number of runs", runs, f"even and between 2 and {_MOST_RUNS} for {name}")
    return runs // 2


def _well_mixed(orders: Orders) -> NDArray[np.bool_]:
    """Tell which orders have no condition more than three times running and mean slots within two."""
    runs = orders.shape[1]
    mixed = np.ones(len(orders), dtype=np.bool_)
    for start in range(runs - 3):
        mixed &= np.abs(orders[:, start : start + 4].sum(axis=1)) < 4
    slots = np.arange(1, runs + 1)
    # difference of mean slots = sum(z * slot) / (runs / 2); compared in whole numbers, so that 2 itself is within
    mixed &= np.abs(orders @ slots) <= runs
    return mixed


def _restricted(runs: int) -> OrderSet:
    """Well-mixed orders only, for small plans."""
    half = _half(runs, "restricted")
    if runs > _MOST_RESTRICTED:
        raise ValueOutOfRange(
            "The number of runs", runs, f"at most {_MOST_RESTRICTED} for restricted", "Choose blocks-of-four."
        )
    chosen = np.array(list(combinations(range(runs), half)))
    orders = np.full((len(chosen), runs), -1, dtype=np.int8)
    np.put_along_axis(orders, chosen, np.int8(1), axis=1)
    listed = orders[_well_mixed(orders)]
    return OrderSet("restricted", runs, len(listed), None, None, lambda index: listed[index])


ORDER_SETS: dict[str, Callable[[int], OrderSet]] = {
    "blocks-of-four": _blocked("blocks-of-four", ["++--", "+-+-", "+--+", "-++-", "-+-+", "--++"]),
    "pairs": _blocked("pairs", ["+-", "-+"]),
    "complete": _complete,
    "restricted": _restricted,
    "abba-blocks": _blocked("abba-blocks", ["+--+", "-++-"]),
}
"""Builders of the sets, by name; each takes the number of runs."""


@lru_cache(maxsize=64)
def orders_for(name: str, runs: int) -> OrderSet:
    """Give the set of orders of a plan.

    Parameters
    ----------
    name : str
        One of the keys of :data:`ORDER_SETS`.
    runs : int
        Number of runs in all.

    Returns
    -------
    OrderSet

    Raises
    ------
    ValueOutOfRange
        If the name is unknown or the set has no order of this length.

    Examples
    --------
    >>> orders_for("blocks-of-four", 16).count
    1296
    >>> orders_for("restricted", 8).count, orders_for("restricted", 10).count
    (50, 144)
    """
    if name not in ORDER_SETS:
        raise ValueOutOfRange("The set of orders", f'"{name}"', "one of " + ", ".join(ORDER_SETS))
    return ORDER_SETS[name](runs)


def rejecting_orders(count: int, alpha: float) -> int:
    """Give how many orders each side may reject: the whole part of alpha m / 2, alpha as a decimal fraction.

    Examples
    --------
    >>> rejecting_orders(216, 0.05), rejecting_orders(20, 0.05)
    (5, 0)
    """
    return math.floor(Fraction(str(alpha)) * count / 2)


def attained_level(count: int, alpha: float) -> float:
    """Give the level that a set of ``count`` orders really has when ``alpha`` is asked for; 0 if it can never reject.

    Examples
    --------
    >>> round(attained_level(1296, 0.05), 4), round(attained_level(1296, 0.01), 4)
    (0.0494, 0.0093)
    """
    return 2 * rejecting_orders(count, alpha) / count


def smallest_p(count: int) -> float:
    """Give the smallest two-sided p-value that a set of ``count`` orders can give.

    Examples
    --------
    >>> smallest_p(50)
    0.04
    """
    return min(1.0, 2 / count)
