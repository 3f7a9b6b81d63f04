"""Operators and what they do to a test: peeking, picking, leaning, leaving out, slipping, guessing.

Each habit is a function of arrays over many repetitions at once; orders are +1 (source) and -1 (control).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "best_of",
    "first_look_below",
    "guess_by_chance",
    "guess_knowing",
    "lean_towards",
    "leave_out_bad",
    "set_up_with_slips",
]

Array = NDArray[np.float64]
Orders = NDArray[np.int8]


def first_look_below(p_values: Array, alpha: float = 0.05) -> NDArray[np.int64]:
    """Look after each run and stop at the first p-value at or below ``alpha``.

    Parameters
    ----------
    p_values : array, shape (repetitions, looks)
        NaN where nothing can be said yet.
    alpha : float
        What the operator stops at.

    Returns
    -------
    array of int, shape (repetitions,)
        Number of the look, from 0; -1 where the operator never stopped.

    Examples
    --------
    >>> first_look_below(np.array([[np.nan, 0.2, 0.04, 0.3], [np.nan, 0.2, 0.3, 0.4]])).tolist()
    [2, -1]
    """
    below = p_values <= alpha
    return np.where(below.any(axis=1), below.argmax(axis=1), -1)


def best_of(p_values: Array) -> NDArray[np.int64]:
    """Make several tests and show only the one with the smallest p-value.

    Parameters
    ----------
    p_values : array, shape (repetitions, tests)
        One of each test.

    Returns
    -------
    array of int, shape (repetitions,)
        Number of the test that is shown, from 0.

    Examples
    --------
    >>> best_of(np.array([[0.5, 0.03, 0.2]])).tolist()
    [1]
    """
    return np.asarray(p_values.argmin(axis=1))


def lean_towards(times: Array, orders: Orders, seconds: float = 0.1) -> Array:
    """Stop the watch late for the condition that is hoped for.

    Parameters
    ----------
    times : array, shape (..., n)
        As they would have been read [s].
    orders : array of +1 and -1, shape (..., n)
        The condition that the operator believes in each slot.
    seconds : float
        Added to source runs; negative for an operator who hopes for a brake [s].

    Returns
    -------
    array, shape (..., n)
        [s]

    Examples
    --------
    >>> lean_towards(np.array([60.0, 60.0]), np.array([1, -1], dtype=np.int8)).tolist()
    [60.1, 60.0]
    """
    return times + np.where(orders > 0, seconds, 0.0)


def leave_out_bad(times: Array, orders: Orders, runs: int = 1) -> Array:
    """Leave out the runs that speak most against the source, with the labels in view.

    Parameters
    ----------
    times : array, shape (repetitions, n)
        [s]
    orders : array of +1 and -1, shape (repetitions, n)
        The condition in each slot.
    runs : int
        How many are left out.

    Returns
    -------
    array, shape (repetitions, n)
        NaN where a run was left out: source runs that were short, control runs that were long [s].

    Examples
    --------
    >>> leave_out_bad(np.array([[60.0, 59.0, 63.0, 62.0]]), np.array([[1, 1, -1, -1]], dtype=np.int8)).tolist()
    [[60.0, nan, 63.0, 62.0]]
    """
    against = -orders * (times - np.median(times, axis=1, keepdims=True))
    worst = np.argsort(-against, axis=1, kind="stable")[:, :runs]
    kept = times.copy()
    np.put_along_axis(kept, worst, np.nan, axis=1)
    return kept


def set_up_with_slips(orders: Orders, rng: np.random.Generator, rate: float = 1 / 16) -> Orders:
    """Set up the wrong condition now and then.

    Parameters
    ----------
    orders : array of +1 and -1, any shape
        The conditions as drawn.
    rng : numpy.random.Generator
        Decides which slots slip.
    rate : float
        Chance of a slip in a slot.

    Returns
    -------
    array of +1 and -1, same shape
        The conditions that really stood on the bench.

    Examples
    --------
    >>> set_up_with_slips(np.array([1, -1, 1], dtype=np.int8), np.random.default_rng(1), rate=0.6).tolist()
    [-1, -1, -1]
    """
    slipped = rng.random(orders.shape) < rate
    return np.where(slipped, -orders, orders).astype(np.int8)


def guess_by_chance(orders: Orders, rng: np.random.Generator) -> Orders:
    """Guess without knowing anything but that both conditions are equally frequent.

    Parameters
    ----------
    orders : array of +1 and -1, shape (..., n)
        Only its shape is used.
    rng : numpy.random.Generator
        Source of the guesses.

    Returns
    -------
    array of +1 and -1, shape (..., n)
        As many of one as of the other in each row (n even).

    Examples
    --------
    >>> int(guess_by_chance(np.ones((1, 12), dtype=np.int8), np.random.default_rng(1)).sum())
    0
    """
    ranks = rng.random(orders.shape).argsort(axis=-1).argsort(axis=-1)
    return np.where(2 * ranks < orders.shape[-1], 1, -1).astype(np.int8)


def guess_knowing(orders: Orders, rng: np.random.Generator, share: float) -> Orders:
    """Guess with a leak: know the condition of a share of the runs, toss a coin for the others.

    Parameters
    ----------
    orders : array of +1 and -1, any shape
        The conditions.
    rng : numpy.random.Generator
        Source of what leaks and of the coins.
    share : float
        Chance that a condition is known, 0 to 1.

    Returns
    -------
    array of +1 and -1, same shape

    Examples
    --------
    >>> guess_knowing(np.array([1, -1], dtype=np.int8), np.random.default_rng(1), share=1.0).tolist()
    [1, -1]
    """
    coins = np.where(rng.random(orders.shape) < 0.5, 1, -1)
    return np.where(rng.random(orders.shape) < share, orders, coins).astype(np.int8)
