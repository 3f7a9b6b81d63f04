"""What a calibration is: a claim about an error rate, how often it was tried, what came out, and its band."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

# not scipy.stats: that import takes seconds; bdtr is its binomial distribution
from scipy.special import bdtr

__all__ = ["Calibration", "Recipe", "binomial_band", "carry_out", "share_at_most", "share_below", "share_near"]

_OUTSIDE = 0.001
_MANY = 1_000


@dataclass(frozen=True, slots=True)
class Calibration:
    """A measured figure beside the band that it must lie in, ends included.

    ``sentence`` says what was done in words for a person, ``repetitions`` how often.
    """

    name: str
    sentence: str
    repetitions: int
    value: float
    low: float
    high: float

    @property
    def within(self) -> bool:
        """Whether the figure lies in its band."""
        return self.low <= self.value <= self.high


@dataclass(frozen=True, slots=True)
class Recipe:
    """How a calibration is made: ``measure(repetitions, rng)``, with its repetitions in a long and a short run."""

    name: str
    measure: Callable[[str, int, np.random.Generator], Calibration]
    long: int
    short: int


def carry_out(recipe: Recipe, *, short: bool = False) -> Calibration:
    """Make one calibration, from a seed that is its name, so that it gives the same figure wherever it is made."""
    rng = np.random.default_rng([20_260_401, crc32(recipe.name.encode())])
    return recipe.measure(recipe.name, recipe.short if short else recipe.long, rng)


def binomial_band(probability: float, repetitions: int, outside: float = _OUTSIDE) -> tuple[float, float]:
    """Give the band in which a share lies by chance.

    Parameters
    ----------
    probability : float
        The true rate, 0 to 1.
    repetitions : int
        Number of independent trials.
    outside : float
        Chance of lying outside, half on each side at most.

    Returns
    -------
    low, high : float
        Shares; lying outside by luck has chance ``outside`` at most.

    Examples
    --------
    >>> binomial_band(10 / 216, 20_000)
    (0.0415, 0.05125)
    """
    counts = np.arange(repetitions + 1)
    up_to = bdtr(counts, repetitions, probability)
    low, high = np.searchsorted(up_to, [outside / 2, 1 - outside / 2])
    return float(counts[low] / repetitions), float(counts[high] / repetitions)


def share_near(name: str, sentence: str, happened: NDArray[np.bool_], rate: float) -> Calibration:
    """Compare a share with the rate that theory gives: it must lie in the binomial band on both sides."""
    low, high = binomial_band(rate, len(happened))
    return Calibration(name, sentence, len(happened), float(happened.mean()), low, high)


def share_at_most(name: str, sentence: str, happened: NDArray[np.bool_], rate: float) -> Calibration:
    """Compare a share with a rate that it must not exceed: above the binomial band of that rate is outside."""
    return Calibration(
        name, sentence, len(happened), float(happened.mean()), 0.0, binomial_band(rate, len(happened))[1]
    )


def share_below(name: str, sentence: str, happened: NDArray[np.bool_], bound: float) -> Calibration:
    """Compare a share with a promise that is kept with room to spare: above the promise itself is outside.

    In fewer than a thousand repetitions luck needs more room: there above its binomial band is outside.
    """
    high = bound if len(happened) >= _MANY else binomial_band(bound, len(happened))[1]
    return Calibration(name, sentence, len(happened), float(happened.mean()), 0.0, high)
