"""Did somebody who should not know the condition know it? Guesses, judged by the plan's own orders.

A guess is +1 (source), -1 (control) or 0 (don't know), one for each slot. In a plan of balanced blocks a good
count of matches comes more easily than by tossing coins, so matches are counted against every order that could
have been drawn.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri  # scipy.stats takes seconds to import

from truerun.errors import FitImpossible, ValueOutOfRange

__all__ = ["BlindingIndex", "GuessTest", "bang_by_condition", "bang_index", "guess_test"]

Signs = NDArray[np.int8]


@dataclass(frozen=True, slots=True)
class GuessTest:
    """How many guesses match the order used; ``p`` is the share of orders that match at least as many."""

    matches: int
    answered: int
    orders: int
    p: float


@dataclass(frozen=True, slots=True)
class BlindingIndex:
    """Bang's index of one condition: 1 all know it, 0 luck, -1 all guess the opposite."""

    index: float
    standard_error: float
    low: float
    high: float


def guess_test(guesses: Signs, used: Signs, orders: Signs) -> GuessTest:
    """Count the matches with the order used, and with every order that could have been drawn.

    Parameters
    ----------
    guesses : array of +1, -1 and 0, shape (n,)
        0: don't know, which matches nothing.
    used : array of +1 and -1, shape (n,)
        The order that was drawn.
    orders : array of +1 and -1, shape (m, n)
        All orders of the plan, or a sample of them by lot with the one used.

    Returns
    -------
    GuessTest

    Raises
    ------
    ValueOutOfRange
        If the lengths differ, or the order used is not among the orders.

    Notes
    -----
    Guesses are given before the run's time is seen: later the time itself may tell.

    References
    ----------
    The reasoning of R. A. Fisher's lady tasting tea, The Design of Experiments (1935), chapter II.

    Examples
    --------
    >>> from truerun.stats.orders import orders_for
    >>> allowed = orders_for("blocks-of-four", 12).all()
    >>> guesses = allowed[0].copy()
    >>> guesses[[1, 2]] = guesses[[2, 1]]
    >>> found = guess_test(guesses, allowed[0], allowed)
    >>> found.matches, found.answered, round(found.p, 3)
    (10, 12, 0.06)
    """
    if guesses.shape != used.shape or orders.shape[1:] != used.shape:
        raise ValueOutOfRange("The number of guesses", len(guesses), f"{len(used)}, one for each slot")
    if not (orders == used).all(axis=1).any():
        raise ValueOutOfRange("The order used", "not among the orders", "one of those that could have been drawn")
    given = guesses.astype(np.int64)
    answered = int(np.abs(given).sum())
    matches = (answered + orders @ given) // 2
    reached = (answered + int(used @ given)) // 2
    return GuessTest(reached, answered, len(orders), float((matches >= reached).mean()))


def bang_index(right: int, wrong: int, unsure: int, alpha: float = 0.05) -> BlindingIndex:
    """Give Bang's blinding index of one condition.

    Parameters
    ----------
    right, wrong, unsure : int
        Numbers of guesses; ``unsure`` said that they don't know.
    alpha : float
        One minus the coverage of the interval.

    Returns
    -------
    BlindingIndex

    Raises
    ------
    FitImpossible
        If nobody was asked.

    Notes
    -----
    index = (right - wrong) / n, with the multinomial variance (r + w - (r - w)^2) / n for shares r and w. The
    interval is a normal one, meant for many guesses: with a dozen :func:`guess_test` is the judge.

    References
    ----------
    H. Bang, L. Ni, C. E. Davis, Control. Clin. Trials 25 (2004) 143-156.

    Examples
    --------
    >>> found = bang_index(48, 4, 330)
    >>> round(found.index, 3), round(found.standard_error, 3)
    (0.115, 0.018)
    """
    asked = right + wrong + unsure
    if asked < 1:
        raise FitImpossible("There are no guesses for this condition; ask before each run's time is shown.")
    index = (right - wrong) / asked
    error = math.sqrt(((right + wrong) / asked - index**2) / asked)
    reach = float(ndtri(1 - alpha / 2)) * error
    return BlindingIndex(index, error, index - reach, index + reach)


def bang_by_condition(guesses: Signs, used: Signs, alpha: float = 0.05) -> tuple[BlindingIndex, BlindingIndex]:
    """Give Bang's index of the source runs and of the control runs.

    Parameters
    ----------
    guesses, used
        As in :func:`guess_test`.
    alpha : float
        One minus the coverage of the interval.

    Returns
    -------
    source, control : BlindingIndex

    Examples
    --------
    >>> guesses, used = np.array([1, 1, -1, 0], np.int8), np.array([1, 1, -1, -1], np.int8)
    >>> [part.index for part in bang_by_condition(guesses, used)]
    [1.0, 0.5]
    """
    source, control = (
        bang_index(
            int((guesses[used == sign] == sign).sum()),
            int((guesses[used == sign] == -sign).sum()),
            int((guesses[used == sign] == 0).sum()),
            alpha,
        )
        for sign in (1, -1)
    )
    return source, control
