"""Shapes of what moves from run to run: white noise, warm-up, drift, steps, as arrays in ln T.

Each shape is a frozen record of its size; ``draw(rng, repetitions, runs)`` gives an array of shape
(repetitions, runs), or (1, runs) where the shape is the same in every repetition. To add a shape: one record
with such a method, and its law in the tests.

Random numbers come from ``Generator.random`` alone: its 53 bits a number are the same on every platform and in
every version of numpy, while the library keeps the right to change its other draws.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

# not scipy.stats: that import takes seconds; ndtri is its normal quantile
from scipy.special import ndtri

from truerun.errors import ValueOutOfRange

__all__ = [
    "Autoregressive",
    "Drift",
    "LevelStep",
    "Line",
    "RandomWalk",
    "SessionSteps",
    "WarmUp",
    "standard_normal",
]

Array = NDArray[np.float64]


class Drift(Protocol):
    """A shape of drift with its size."""

    def draw(self, rng: np.random.Generator, repetitions: int, runs: int) -> Array:
        """Give the drift of ln T, shape (repetitions, runs) or (1, runs)."""


def standard_normal(rng: np.random.Generator, shape: tuple[int, ...]) -> Array:
    """Draw normal numbers of mean 0 and standard deviation 1, the same on every platform to printed digits.

    Parameters
    ----------
    rng : numpy.random.Generator
        Only its ``random`` is used.
    shape : tuple of int
        Of the result.

    Returns
    -------
    array of that shape

    Notes
    -----
    The normal quantile of uniform numbers; 0, which has chance 2**-53, is moved to 2**-54.

    Examples
    --------
    >>> standard_normal(np.random.default_rng(1), (3,)).round(6).tolist()
    [0.029637, 1.649366, -1.061816]
    """
    return np.asarray(ndtri(np.maximum(rng.random(shape), 2.0**-54)))


@dataclass(frozen=True, slots=True)
class Line:
    """A straight drift: ln T grows by ``total`` from the first run to the last."""

    total: float

    def draw(self, rng: np.random.Generator, repetitions: int, runs: int) -> Array:  # noqa: ARG002
        """Give the line, shape (1, runs), 0 on average.

        Examples
        --------
        >>> Line(0.06).draw(np.random.default_rng(1), 1, 4).round(3).tolist()
        [[-0.03, -0.01, 0.01, 0.03]]
        """
        return self.total * np.linspace(-0.5, 0.5, runs)[None, :]


@dataclass(frozen=True, slots=True)
class WarmUp:
    """A bearing that runs in: ln T begins ``total`` below where it settles and closes the gap by 1/e in ``runs``."""

    total: float
    runs: float

    def __post_init__(self) -> None:
        """Check the time constant."""
        if not self.runs > 0:
            raise ValueOutOfRange("The number of runs of a warm-up", self.runs, "positive")

    def draw(self, rng: np.random.Generator, repetitions: int, runs: int) -> Array:  # noqa: ARG002
        """Give the warm-up, shape (1, runs), -``total`` in the first run.

        Examples
        --------
        >>> WarmUp(0.1, 2.0).draw(np.random.default_rng(1), 1, 3).round(4).tolist()
        [[-0.1, -0.0607, -0.0368]]
        """
        return -self.total * np.exp(-np.arange(runs) / self.runs)[None, :]


@dataclass(frozen=True, slots=True)
class Autoregressive:
    """Noise that remembers: each run keeps the share ``correlation`` of the last; ``spread`` is its own sd."""

    correlation: float
    spread: float

    def __post_init__(self) -> None:
        """Check that the noise settles."""
        if not -1 < self.correlation < 1:
            raise ValueOutOfRange("The correlation of neighbouring runs", self.correlation, "between -1 and 1")

    def draw(self, rng: np.random.Generator, repetitions: int, runs: int) -> Array:
        """Give stationary noise, shape (repetitions, runs).

        Examples
        --------
        >>> Autoregressive(0.8, 0.02).draw(np.random.default_rng(1), 2, 3).shape
        (2, 3)
        """
        fresh = standard_normal(rng, (repetitions, runs))
        fresh[:, 1:] *= np.sqrt(1 - self.correlation**2)
        for run in range(1, runs):
            fresh[:, run] += self.correlation * fresh[:, run - 1]
        return self.spread * fresh


@dataclass(frozen=True, slots=True)
class RandomWalk:
    """A level that wanders: ``step`` is the standard deviation of its move between neighbouring runs."""

    step: float

    def draw(self, rng: np.random.Generator, repetitions: int, runs: int) -> Array:
        """Give the walk, shape (repetitions, runs), 0 in the first run.

        Examples
        --------
        >>> RandomWalk(0.01).draw(np.random.default_rng(1), 1, 3).round(4).tolist()
        [[0.0, 0.0165, 0.0059]]
        """
        moves = standard_normal(rng, (repetitions, runs))
        moves[:, 0] = 0.0
        return self.step * np.cumsum(moves, axis=1)


@dataclass(frozen=True, slots=True)
class LevelStep:
    """A bench that was knocked: ln T is ``size`` higher in every run after the first ``after``."""

    size: float
    after: int

    def draw(self, rng: np.random.Generator, repetitions: int, runs: int) -> Array:  # noqa: ARG002
        """Give the step, shape (1, runs).

        Examples
        --------
        >>> LevelStep(0.05, 2).draw(np.random.default_rng(1), 1, 4).tolist()
        [[0.0, 0.0, 0.05, 0.05]]
        """
        return np.where(np.arange(runs) >= self.after, self.size, 0.0)[None, :]


@dataclass(frozen=True, slots=True)
class SessionSteps:
    """Days: every ``runs`` runs a new level is drawn with standard deviation ``spread``."""

    spread: float
    runs: int

    def __post_init__(self) -> None:
        """Check the length of a session."""
        if self.runs < 1:
            raise ValueOutOfRange("The number of runs in a session", self.runs, "1 or more")

    def draw(self, rng: np.random.Generator, repetitions: int, runs: int) -> Array:
        """Give the levels, shape (repetitions, runs).

        Examples
        --------
        >>> SessionSteps(0.1, 4).draw(np.random.default_rng(1), 1, 6).round(4).tolist()
        [[0.003, 0.003, 0.003, 0.003, 0.1649, 0.1649]]
        """
        sessions = -(-runs // self.runs)
        levels = self.spread * standard_normal(rng, (repetitions, sessions))
        return np.repeat(levels, self.runs, axis=1)[:, :runs]
