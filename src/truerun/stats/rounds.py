"""Orders in rounds: every setting once in each round, the order of each round drawn by lot on its own.

So no setting is favoured by a bench that warms up or wears: each has its turn early and late.
"""

from __future__ import annotations

import math
from itertools import permutations, product

import numpy as np
from numpy.typing import NDArray

from truerun.stats.orders import ENUMERATED_AT_MOST
from truerun.stats.several import shuffled_rows

__all__ = ["draw_rounds", "every_order", "orders_in_rounds", "sample_rounds"]

Whole = NDArray[np.int64]


def orders_in_rounds(settings: int, rounds: int) -> int:
    """Count the orders: the factorial of the settings, to the power of the rounds.

    Examples
    --------
    >>> orders_in_rounds(6, 1), orders_in_rounds(3, 3)
    (720, 216)
    """
    return int(math.factorial(settings) ** rounds)


def draw_rounds(seed: str, settings: int, rounds: int) -> Whole:
    """Draw the order of a plan: the number of the setting, from 0, in each slot, shape (settings * rounds,).

    Notes
    -----
    Round r (1, 2, ...) is the first row of :func:`truerun.stats.several.shuffled_rows` with the seed
    ``"{seed} round {r}"``.

    Examples
    --------
    >>> draw_rounds("truerun test vector", 4, 2).tolist()
    [0, 2, 1, 3, 3, 0, 2, 1]
    """
    return np.asarray(sample_rounds(seed, settings, rounds, 1)[0])


def sample_rounds(seed: str, settings: int, rounds: int, draws: int) -> Whole:
    """Draw many orders, shape (draws, settings * rounds), each as :func:`draw_rounds` draws one."""
    labels = np.arange(settings, dtype=np.float64)
    parts = [shuffled_rows(f"{seed} round {number}", labels, draws) for number in range(1, rounds + 1)]
    return np.hstack(parts).astype(np.int64)


def every_order(settings: int, rounds: int) -> Whole | None:
    """List every order, shape (m, settings * rounds); None where there are more than can be listed.

    Examples
    --------
    >>> every_order(2, 2).tolist()
    [[0, 1, 0, 1], [0, 1, 1, 0], [1, 0, 0, 1], [1, 0, 1, 0]]
    >>> every_order(24, 2) is None
    True
    """
    if orders_in_rounds(settings, rounds) > ENUMERATED_AT_MOST:
        return None
    each = list(permutations(range(settings)))
    return np.array([sum(parts, ()) for parts in product(each, repeat=rounds)], dtype=np.int64)
