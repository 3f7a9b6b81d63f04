"""What a sealed list can find: its power against runs that scatter, by seeded simulation.

The effect added to pure noise moves every tie by itself, so one simulation of noise alone gives the whole power
curve: an effect is found exactly where it exceeds minus the low end of the interval that the noise gave.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from truerun.errors import PlanBroken
from truerun.stats.orders import OrderSet, orders_for, rejecting_orders

__all__ = ["detectable_effect", "effects_found", "power_of"]

Array = NDArray[np.float64]

_REPETITIONS = 10_000
_ORDERS_AT_MOST = 2_000  # at the usual levels a whole number of them rejects, as nearly of the set they stand for
_CELLS = 500_000


def effects_found(orders: OrderSet, columns: Array, alpha: float, rng: np.random.Generator, repetitions: int) -> Array:
    """Simulate noise and give, for each repetition, the smallest effect that would have been found in it.

    Parameters
    ----------
    orders : OrderSet
        The sealed set; a set of more than 2 000 orders is represented by 2 000 drawn from it.
    columns : array, shape (n, q)
        Adjusted columns.
    alpha : float
        Two-sided level.
    rng : numpy.random.Generator
        Source of the noise.
    repetitions : int
        How many sets of runs.

    Returns
    -------
    array, shape (repetitions, 2)
        Smallest drive and largest brake (negative) that would have been found, in run-to-run standard deviations.

    Raises
    ------
    PlanBroken
        If the set can never reject at this level.
    """
    if orders.count <= _ORDERS_AT_MOST:
        rows = orders.all()
    else:
        rows = orders.unrank(rng.integers(0, orders.count, _ORDERS_AT_MOST))
    rank = rejecting_orders(len(rows), alpha)
    if rejecting_orders(orders.count, alpha) < 1:
        raise PlanBroken(
            f"A plan must be able to decide at {alpha:g}",
            f"{orders.name} with {orders.runs} runs has only {orders.count} orders",
            "Choose more runs or another set of orders.",
        )
    unit, basis = _unit_rows(rows, columns)
    per_turn = max(1, _CELLS // len(rows))
    found = np.empty((repetitions, 2))
    for start in range(0, repetitions, per_turn):
        count = min(per_turn, repetitions - start)
        noise = rng.standard_normal((count, orders.runs))
        used = rng.integers(0, len(rows), count)
        found[start : start + count] = _ends(unit, rows[used], noise, basis, rank)
    return found


def _unit_rows(rows: NDArray[np.int8], columns: Array) -> tuple[Array, Array]:
    """Give r_j / |r_j| of every order (0 where nothing is left) and the basis of the adjusted columns."""
    n = rows.shape[1]
    centred = columns - columns.mean(axis=0)
    basis = np.linalg.qr(np.column_stack([np.ones(n), centred]))[0]
    rest = rows - (rows @ basis) @ basis.T
    length = np.sqrt((rest**2).sum(axis=1, keepdims=True))
    return np.where(length > 1e-6, rest / np.maximum(length, 1e-6), 0.0), basis


def _ends(unit: Array, used: NDArray[np.int8], noise: Array, basis: Array, rank: int) -> Array:
    """Give the effects at which each simulated test would just have found something, shape (count, 2)."""
    drawn = used - (used @ basis) @ basis.T
    length = np.sqrt((drawn**2).sum(axis=1))
    a_used = (drawn * noise).sum(axis=1) / length
    gain = length[:, None] - drawn @ unit.T
    same = gain <= 1e-9 * length[:, None]
    ties = 2 * (a_used[:, None] - noise @ unit.T) / np.where(same, 1.0, gain)
    place = rank - same.sum(axis=1)  # k - 1 of the exact list
    low, high = _ranked(np.where(same, np.inf, ties), place, len(unit) - 1 - rank)
    return np.column_stack([-low, -high])


def _ranked(rows: Array, place: NDArray[np.int64], top: int) -> tuple[Array, Array]:
    """Give element number ``place`` of each sorted row, and the one as far from the largest finite one (``top``).

    Every row holds as many infinities as its ``place`` is below the rank, so that ``top`` is the same for all. Where
    ``place`` is negative both are infinite. One partition serves both ends.
    """
    low, high = np.full(len(rows), -np.inf), np.full(len(rows), np.inf)
    for number in np.unique(place[place >= 0]):
        those = place == number
        parted = np.partition(rows[those], (number, top), axis=1)
        low[those], high[those] = parted[:, number], parted[:, top]
    return low, high


@lru_cache(maxsize=64)
def _simulated(name: str, runs: int, adjust: str, alpha: float) -> Array:
    """Smallest effects found, for the planning figures, from a fixed seed; noise and its negative both serve."""
    columns = np.arange(runs, dtype=np.float64)[:, None] if adjust == "run-number" else np.zeros((runs, 0))
    rng = np.random.default_rng([20260314, runs])
    found = effects_found(orders_for(name, runs), columns, alpha, rng, _REPETITIONS)
    return np.concatenate([found[:, 0], -found[:, 1]])


def power_of(effect: float, name: str, runs: int, adjust: str, alpha: float) -> float:
    """Give the probability that a sealed plan finds an effect.

    Parameters
    ----------
    effect : float
        Effect on the scale of the observations divided by their run-to-run standard deviation.
    name, runs, adjust, alpha
        The plan: set of orders, number of runs, ``"run-number"`` or ``"none"``, two-sided level.

    Returns
    -------
    float
        0 to 1, standard error at most .0035 (20 000 values from a fixed seed).

    Examples
    --------
    >>> round(power_of(1.93, "blocks-of-four", 12, "run-number", 0.05), 1)
    0.8
    """
    found = _simulated(name, runs, adjust, alpha)
    return float((found < effect).mean() + (found < -effect).mean())


def detectable_effect(power: float, name: str, runs: int, adjust: str, alpha: float) -> float:
    """Give the effect that a sealed plan finds with probability ``power``, in run-to-run standard deviations.

    Parameters
    ----------
    power : float
        0 to 1, usually 0.8.
    name, runs, adjust, alpha
        As in :func:`power_of`.

    Returns
    -------
    float
        Infinite where the plan can never reach this power.

    Notes
    -----
    A quantile of the simulated smallest effects; the chance of finding the opposite sign is left out, as it is below
    .001 at any useful power.

    Examples
    --------
    >>> round(detectable_effect(0.8, "blocks-of-four", 12, "run-number", 0.05), 1)
    1.9
    """
    return float(np.quantile(_simulated(name, runs, adjust, alpha), power, method="higher"))
