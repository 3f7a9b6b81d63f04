"""What slows or drives a made-up wheel, as specific torque over speed [rad/s^2]: one small record for each law.

A law is called with an array of speeds. As drag it gets the amount of the speed and acts against the motion; as
drive it gets the signed speed and acts in the direction of launch, whichever way the wheel turns.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from truerun.errors import ValueOutOfRange
from truerun.virtual.noise import standard_normal

__all__ = [
    "NOTHING",
    "STEADY",
    "DriftingDrag",
    "EddyBrake",
    "Law",
    "PowerLaw",
    "Together",
    "between_turns",
    "draw_drift",
]

Array = NDArray[np.float64]
Law = Callable[[Array], Array]


@dataclass(frozen=True, slots=True)
class PowerLaw:
    """A sum of powers of speed; ``terms`` holds pairs of exponent and coefficient.

    Exponent 0 is dry friction (or a constant drive), 1 viscous, 1.5 laminar air, 2 turbulent air.

    Examples
    --------
    >>> PowerLaw(((0, 0.03), (1, 0.01), (2, 0.0006)))(np.array([0.0, 10.0])).round(6).tolist()
    [0.03, 0.19]
    """

    terms: tuple[tuple[float, float], ...] = ()

    def __call__(self, speed: Array) -> Array:
        """Give the specific torque at some speeds."""
        total = np.zeros_like(speed)
        for exponent, coefficient in self.terms:
            total += coefficient * np.abs(speed) ** exponent
        return total


NOTHING = PowerLaw()
"""No torque at all."""


@dataclass(frozen=True, slots=True)
class EddyBrake:
    """A conductor near magnets: rises in proportion to speed, is largest (``peak``) at ``speed_of_peak``, then falls.

    Notes
    -----
    f = 2 peak r / (1 + r^2) with r = speed / speed_of_peak: the form of a first-order lag.

    Examples
    --------
    >>> EddyBrake(peak=0.2, speed_of_peak=100.0)(np.array([10.0, 100.0])).round(5).tolist()
    [0.0396, 0.2]
    """

    peak: float
    speed_of_peak: float

    def __call__(self, speed: Array) -> Array:
        """Give the specific torque at some speeds."""
        ratio = speed / self.speed_of_peak
        return np.asarray(2 * self.peak * ratio / (1 + ratio**2))


@dataclass(frozen=True, slots=True)
class Together:
    """Several laws that act at once.

    Examples
    --------
    >>> Together((PowerLaw(((0, 0.03),)), EddyBrake(0.2, 100.0)))(np.array([100.0])).round(5).tolist()
    [0.23]
    """

    laws: tuple[Law, ...]

    def __call__(self, speed: Array) -> Array:
        """Give the sum at some speeds."""
        total = np.zeros_like(speed)
        for law in self.laws:
            total += law(speed)
        return total


@dataclass(frozen=True, slots=True)
class DriftingDrag:
    """How the drag of one run wanders: ``factors`` are the drag over its law at the start of turns 0, 1, 2, ...

    Between the turns a curve with a steady slope; after the last turn its factor stays.

    Examples
    --------
    >>> DriftingDrag((1.0, 1.02, 0.99))(np.array([0.0, 2 * np.pi, 100.0])).round(6).tolist()
    [1.0, 1.02, 0.99]
    """

    factors: tuple[float, ...] = (1.0,)

    def __post_init__(self) -> None:
        """Check that drag stays drag."""
        if not self.factors or min(self.factors) <= 0:
            raise ValueOutOfRange("The factor of a drifting drag", min(self.factors, default=None), "positive")

    def __call__(self, turned: Array) -> Array:
        """Give the factor where the wheel has turned through some angles [rad] since its launch."""
        return between_turns(np.array(self.factors), turned)


def between_turns(factors: Array, turned: Array) -> Array:
    """Join values at the start of turns by a curve with a steady slope.

    Parameters
    ----------
    factors : array, shape (..., turns)
        Values at the start of turns 0, 1, 2, ...; the last one stays.
    turned : array, any shape that joins onto the leading shape of ``factors``
        [rad].

    Returns
    -------
    array
        Cubic between the turns, with the slopes of the parabolas through neighbours.

    Examples
    --------
    >>> between_turns(np.array([[1.0, 2.0, 4.0], [1.0, 1.0, 1.0]]), np.array(np.pi)).tolist()
    [1.4375, 1.0]
    """
    turns = factors.shape[-1]
    if turns == 1:
        return np.asarray(factors[..., 0] + 0 * turned)
    place = np.clip(turned / (2 * np.pi), 0, turns - 1)
    left = np.minimum(place.astype(np.intp), turns - 2)
    share = place - left
    slopes = np.gradient(factors, axis=-1)
    rise = factors[..., left + 1] - factors[..., left]
    bends = (1 - share) * slopes[..., left] - share * slopes[..., left + 1] + (2 * share - 1) * rise
    return np.asarray(factors[..., left] + share * rise + share * (1 - share) * bends)


STEADY = DriftingDrag()
"""No drift within a run."""


def draw_drift(turns: int, size: float, length: float, rng: np.random.Generator) -> DriftingDrag:
    """Draw how the drag wanders in one run.

    Parameters
    ----------
    turns : int
        For how many turns, 1 or more; longer runs keep the last factor.
    size : float
        Standard deviation of ln(drag / its law).
    length : float
        Over how many turns it hangs together (the correlation falls to 1/e); infinite: a walk that starts at
        the law and reaches ``size`` at the last turn.
    rng : numpy.random.Generator

    Returns
    -------
    DriftingDrag

    Examples
    --------
    >>> drift = draw_drift(2, 0.01, 20.0, np.random.default_rng(1))
    >>> [round(factor, 4) for factor in drift.factors]
    [1.0003, 1.0054, 1.0018]
    """
    fresh = standard_normal(rng, (turns + 1,))
    if np.isinf(length):
        fresh[0] = 0.0
        path = np.cumsum(fresh) * size / np.sqrt(turns)
    else:
        keep = float(np.exp(-1 / length))
        path = size * fresh
        path[1:] *= np.sqrt(1 - keep**2)
        for turn in range(1, turns + 1):
            path[turn] += keep * path[turn - 1]
    return DriftingDrag(tuple(float(factor) for factor in np.exp(path)))
