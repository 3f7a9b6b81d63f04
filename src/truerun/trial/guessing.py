"""Guesses about the condition, where somebody was not to know it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from truerun.errors import ValueOutOfRange
from truerun.stats.draw import draw_many
from truerun.stats.guesses import BlindingIndex, GuessTest, bang_by_condition, guess_test
from truerun.stats.orders import OrderSet, orders_for
from truerun.trial.observations import Observations
from truerun.trial.rules import Rules

__all__ = ["COLUMN", "Guesses", "judge_guesses"]

COLUMN = "guess"
"""Heading of the column of guesses: the name of a condition, or anything else for "don't know"."""

_SAMPLED = 20_000
_UNSURE = frozenset(("", "?", "-", "don't know", "dont know", "unsure", "none"))


@dataclass(frozen=True, slots=True)
class Guesses:
    """How often the condition was guessed, against all orders of the plan; Bang's index of both conditions."""

    test: GuessTest
    source: BlindingIndex
    control: BlindingIndex

    def document(self) -> dict[str, Any]:
        """Give the guesses as plain data."""
        return {
            "matches": self.test.matches,
            "answered": self.test.answered,
            "orders": self.test.orders,
            "p": self.test.p,
            "index": {
                name: {"value": index.index, "standard_error": index.standard_error}
                for name, index in (("source", self.source), ("control", self.control))
            },
        }


def judge_guesses(seen: Observations, rules: Rules) -> Guesses | None:
    """Judge the guesses in a table; None where nobody was asked, or the order came from no known set.

    Parameters
    ----------
    seen : Observations
        One entry a slot.
    rules : Rules
        For the names and the set of orders.

    Returns
    -------
    Guesses or None

    Raises
    ------
    ValueOutOfRange
        If a guess is neither a condition nor "don't know".
    """
    if rules.orders is None or not any(COLUMN in run.extra for run in seen.runs):
        return None
    kept = ~seen.missing & (seen.places < seen.planned)
    guesses = np.array([_sign(run.slot, run.extra.get(COLUMN), rules) for run in seen.runs], dtype=np.int8)[kept]
    if not guesses.any():
        return None
    used = seen.used[kept]
    orders = _orders(orders_for(rules.orders, seen.planned), seen.places[kept], used, rules)
    source, control = bang_by_condition(guesses, used, rules.alpha)
    return Guesses(guess_test(guesses, used, orders), source, control)


def _orders(allowed: OrderSet, places: NDArray[np.int64], used: NDArray[np.int8], rules: Rules) -> NDArray[np.int8]:
    """Give all orders at the places that were run, or a sample of them with the one used."""
    if allowed.listed:
        return allowed.all()[:, places]
    drawn = draw_many(f"{rules.seed or allowed.name}|guesses", allowed.count, _SAMPLED)
    return np.vstack([allowed.unrank(np.array(drawn, dtype=np.int64))[:, places], used[None, :]])


def _sign(slot: int, guess: float | str | None, rules: Rules) -> int:
    """Read one guess."""
    text = "" if guess is None else str(guess).strip()
    if text.casefold() in _UNSURE:
        return 0
    for name, sign in ((rules.conditions.source, 1), (rules.conditions.control, -1)):
        if text.casefold() == name.casefold():
            return sign
    allowed = f'"{rules.conditions.source}", "{rules.conditions.control}" or "?"'
    raise ValueOutOfRange(f"The guess in run {slot}", f'"{text}"', allowed)
