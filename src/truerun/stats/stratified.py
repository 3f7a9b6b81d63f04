"""Is there anything at all? Several tests together, each compared only with its own orders.

The statistic is the weighted sum, over the tests, of what an order shows divided by its root mean square over
all orders of that test::

    S = sum over tests of  w_i h_ij / sqrt(mean over j of h_ij^2)

h_ij is the effect that order j of test i would have given (the ``heap`` of an exact list). The divisor does not
depend on the order used, so under "no effect in any test" every combination of orders is equally likely,
whatever the noise of each test.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce

import numpy as np
from numpy.typing import NDArray

from truerun.errors import ValueOutOfRange
from truerun.stats.draw import draw_many

__all__ = ["Stratified", "combined_evidence", "stratified_test"]

Array = NDArray[np.float64]

_HALF_AT_MOST = 2_000_000
_TIE = 1e-9


@dataclass(frozen=True, slots=True)
class Stratified:
    """Shares of all combinations of orders that show at least as much as those used.

    ``combinations`` were counted (where ``exact``) or drawn, the one used included. ``statistic`` is S.
    """

    statistic: float
    combinations: int
    exact: bool
    p_plus: float
    p_minus: float
    p: float


def stratified_test(
    heaps: Sequence[Array],
    effects: Sequence[float],
    weights: Sequence[float] | None = None,
    *,
    seed: str = "",
    draws: int = 99_999,
) -> Stratified:
    """Test "no effect in any of these tests" by the orders of all of them together.

    Parameters
    ----------
    heaps : sequence of array, shapes (m_i,)
        For each test the effect under each of its orders, from an exact list.
    effects : sequence of float
        For each test the effect under the order used, which is in its heap.
    weights : sequence of float, optional
        Weight of each test, fixed before its result was seen (for instance the root of its number of runs);
        None: all the same.
    seed : str
        Used only where there are too many combinations to count.
    draws : int
        How many are then drawn.

    Returns
    -------
    Stratified

    Raises
    ------
    ValueOutOfRange
        If the sequences differ in length, or an effect is not in its heap.

    Notes
    -----
    All combinations are counted where they split into two halves of at most two million each (up to four plans
    of 8+8 in blocks of four): one half is sorted, the other looks up its partners.

    References
    ----------
    Statistic of own making, in the manner of P. van Elteren, Bull. Int. Stat. Inst. 37 (1960) 351-361.

    Examples
    --------
    >>> heap = np.array([-2.0, -1.0, 1.0, 2.0])
    >>> found = stratified_test([heap, heap], [2.0, 1.0])
    >>> found.combinations, found.p_plus, found.p
    (16, 0.1875, 0.375)
    """
    if not len(heaps) == len(effects) == len(weights or effects):
        raise ValueOutOfRange("The number of effects", len(effects), f"{len(heaps)}, one for each test")
    parts = [
        _scaled(heap, effect, weight)
        for heap, effect, weight in zip(heaps, effects, weights or [1.0] * len(heaps), strict=True)
    ]
    scaled = [values for values, _ in parts]
    observed = math.fsum(value for _, value in parts)
    tolerance = _TIE * sum(float(np.abs(values).max()) for values in scaled)
    halves = _halves(scaled)
    if halves is None:
        above, below, count = _drawn(scaled, observed, tolerance, seed, draws)
    else:
        above, below, count = _counted(*halves, observed, tolerance)
    p_plus, p_minus = above / count, below / count
    p = min(1.0, 2 * min(p_plus, p_minus))
    return Stratified(observed, count, halves is not None, p_plus, p_minus, p)


def _scaled(heap: Array, effect: float, weight: float) -> tuple[Array, float]:
    """Divide by the root mean square over the orders, times the weight; 0 stays where nothing differs."""
    if np.abs(heap - effect).min() > _TIE * np.abs(heap).max():
        raise ValueOutOfRange("The effect of a test", effect, "one of those that its orders could have given")
    size = math.sqrt(float((heap**2).mean()))
    factor = weight / size if size > 0 else 0.0
    return heap * factor, effect * factor


def _halves(scaled: Sequence[Array]) -> tuple[Array, Array] | None:
    """Split the tests into two groups of like size and sum over all combinations in each, None where too many."""
    groups: tuple[list[Array], list[Array]] = ([], [])
    sizes = [1, 1]
    for values in sorted(scaled, key=len, reverse=True):
        smaller = int(sizes[1] < sizes[0])
        groups[smaller].append(values)
        sizes[smaller] *= len(values)
    if max(sizes) > _HALF_AT_MOST:
        return None
    return _sums(groups[0]), _sums(groups[1])


def _sums(group: Sequence[Array]) -> Array:
    """Sum one value of each test, in every combination."""
    return reduce(lambda sums, values: np.add.outer(sums, values).ravel(), group, np.zeros(1))


def _counted(first: Array, second: Array, observed: float, tolerance: float) -> tuple[int, int, int]:
    """Count the combinations at or above and at or below the one used, and all of them."""
    ordered = np.sort(second)
    partners = observed - first
    lower = int(np.searchsorted(ordered, partners - tolerance, side="left").sum())
    below = int(np.searchsorted(ordered, partners + tolerance, side="right").sum())
    count = len(first) * len(second)
    return count - lower, below, count


def _drawn(scaled: Sequence[Array], observed: float, tolerance: float, seed: str, draws: int) -> tuple[int, int, int]:
    """Count as :func:`_counted` over combinations drawn by lot, the one used added."""
    sums = np.zeros(draws)
    for number, values in enumerate(scaled, start=1):
        sums += values[draw_many(f"{seed} test {number}", len(values), draws)]
    above, below = (sums >= observed - tolerance).sum(), (sums <= observed + tolerance).sum()
    return int(above) + 1, int(below) + 1, draws + 1


def combined_evidence(values: Sequence[float]) -> float:
    """Multiply the E values of independent tests into one.

    Parameters
    ----------
    values : sequence of float
        One for each test, each with mean at most 1 if its source does nothing. All tests of the claim belong in
        it, also those that found nothing.

    Returns
    -------
    float
        Again an E value: it exceeds 1/alpha with a probability of at most alpha if no source does anything.

    Raises
    ------
    ValueOutOfRange
        If a value is negative or not a number.

    References
    ----------
    V. Vovk, R. Wang, Ann. Stat. 49 (2021) 1736-1754, section 4.

    Examples
    --------
    >>> combined_evidence([4.0, 0.5, 12.0])
    24.0
    """
    for value in values:
        if not value >= 0:
            raise ValueOutOfRange("An E value", value, "0 or more")
    return math.prod(values)
