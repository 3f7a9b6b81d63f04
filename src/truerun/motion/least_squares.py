"""Small dense least squares: Gauss-Newton steps, damped only after a step that did not keep its promise."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum, auto

import numpy as np
from numpy.typing import NDArray

from truerun.errors import FitImpossible

__all__ = ["Ending", "LeastSquares", "Misses", "fit_least_squares"]

Misses = Callable[[NDArray[np.float64]], tuple[NDArray[np.float64], NDArray[np.float64]]]
"""Parameters (p,) to weighted residuals (n,), observed less predicted, and weighted slopes (n, p) of the prediction."""

MOST_STEPS = 40
TRIES = 5
ENOUGH = 1e-4
FINE = 1e-11
WEAKEST = 1e-12
POOR, GOOD = 0.25, 0.75
LEAST_DAMPING = 1e-25
LEAST_STEP = 1e-15


class Ending(Enum):
    """Why the steps ended."""

    SETTLED = auto()
    ROUNDING = auto()


@dataclass(frozen=True, slots=True, eq=False)
class LeastSquares:
    """Where the steps ended.

    ``covariance`` (p, p) is (J'J)^-1: for residuals of unit variance. ``weakest`` is the smallest singular value of J
    with columns of unit length: at 1e-15 nothing but rounding is left of that direction. ``slopes`` (n, p) is J.
    """

    parameters: NDArray[np.float64]
    covariance: NDArray[np.float64]
    weakest: float
    chi2: float
    residuals: NDArray[np.float64]
    slopes: NDArray[np.float64]
    steps: int
    ending: Ending

    @property
    def freedom(self) -> int:
        """Residuals less parameters."""
        return self.residuals.size - self.parameters.size

    @property
    def variance(self) -> float:
        """Variance of a weighted residual, from the scatter."""
        return self.chi2 / max(self.freedom, 1)


@dataclass(frozen=True, slots=True, eq=False)
class _Point:
    """One evaluated set of parameters, with the triangle of its scaled slopes."""

    parameters: NDArray[np.float64]
    residuals: NDArray[np.float64]
    slopes: NDArray[np.float64]
    chi2: float
    scale: NDArray[np.float64]
    singular: NDArray[np.float64]
    turned: NDArray[np.float64]
    pull: NDArray[np.float64]

    def damping(self, reach: float) -> float:
        """Damping with which the step goes about as far as ``reach``; 0 if the plain one goes no further."""
        if self.length(0.0) <= reach:
            return 0.0
        low, high = 0.0, float(np.linalg.norm(self.singular * self.pull)) / reach
        while high > 1.1 * low and high > LEAST_DAMPING:
            middle = float(np.sqrt(low * high)) if low else 1e-6 * high
            low, high = (middle, high) if self.length(middle) > reach else (low, middle)
        return high

    def length(self, damping: float) -> float:
        """How far a step goes, with every parameter in units of its scale."""
        return float(np.linalg.norm(self.singular / (self.singular**2 + damping) * self.pull))

    def change(self, damping: float) -> NDArray[np.float64]:
        """Change of the parameters; damping is a share of each (scaled) diagonal element."""
        shrunk = self.singular / (self.singular**2 + damping)
        return self.scale * (self.turned.T @ (shrunk * self.pull))

    @property
    def decrement(self) -> float:
        """By how much the undamped step would bring the sum of squares down: g'H^-1 g."""
        return float(self.pull @ self.pull)

    def gain(self, damping: float) -> float:
        """By how much the sum of squares would fall if the prediction were straight."""
        kept = damping / (self.singular**2 + damping)
        return float(np.sum((1 - kept**2) * self.pull**2))


def fit_least_squares(
    misses: Misses,
    start: NDArray[np.float64],
    *,
    enough: float = ENOUGH,
    stated: bool = False,
    floor: float = 0.0,
    most: int = MOST_STEPS,
) -> LeastSquares:
    """Make a sum of squares small.

    Parameters
    ----------
    misses : callable
        From parameters to weighted residuals and slopes; raises ``ArithmeticError`` where there is no prediction.
    start : array, shape (p,)
    enough : float
        Steps end when g'H^-1 g, undamped and in units of the variance, is below this. 0: only at rounding.
    stated : bool
        Whether the weights hold a stated uncertainty, so that the variance of a residual is 1.
    floor : float
        Least variance of a residual that matters: what it falls below may be rounding.
    most : int
        Most accepted steps.

    Returns
    -------
    LeastSquares

    Raises
    ------
    FitImpossible
        If there are fewer residuals than parameters, the start cannot be evaluated, the steps do not settle, or one
        combination of the parameters is lost in rounding; the sentence says which.

    Notes
    -----
    Slopes are scaled to columns of unit length and brought to a triangle (QR), never squared: a condition number of
    1e7 costs 7 digits and not 14. Steps are plain until one brings less than a quarter of what it promised; then
    Marquardt's damping holds the next one to a quarter of its length, and lets go as steps keep their promise. A
    parameter's unit of length is the largest that its column of slopes has had (J. J. More's rule, from memory).

    Examples
    --------
    >>> x = np.arange(5.0)
    >>> line = fit_least_squares(lambda p: (2 * x + 1 - p[0] * x - p[1], np.stack([x, x**0], axis=1)), np.zeros(2))
    >>> line.parameters.round(12)
    array([2., 1.])
    """
    best = _start(misses, np.asarray(start, dtype=float))
    reach, steps = np.inf, 0
    for _ in range(TRIES * most):
        unit = 1.0 if stated else max(best.chi2 / max(best.residuals.size - best.parameters.size, 1), floor)
        small = best.decrement <= enough * unit
        damping = best.damping(reach)
        trial = _evaluated(misses, best.parameters + best.change(damping), best.scale)
        fine = best.decrement <= FINE * best.chi2  # gains are lost in rounding from here on
        share, far = -np.inf, best.length(damping)
        if trial is not None and (trial.chi2 <= best.chi2 or (fine and trial.decrement < best.decrement)):
            promised = best.gain(damping)
            share = 1.0 if fine or promised == 0 else (best.chi2 - trial.chi2) / promised
            best, steps = trial, steps + 1
        still = far <= LEAST_STEP * float(np.linalg.norm(best.parameters / best.scale))
        if small or (fine and share < 0) or (still and damping == 0.0):
            return _settled(best, steps, Ending.SETTLED if small else Ending.ROUNDING)
        reach = _reach(reach, far, share)
        if steps >= most or still:
            break
    raise FitImpossible(
        f"The fit did not settle in {steps} steps. Ask for fewer terms, or leave out what does not belong to the "
        "motion."
    )


def _reach(reach: float, far: float, share: float) -> float:
    """How far the next step may go, after one that went so far and brought this share of what it promised."""
    if share < POOR:
        return far / 4
    return max(reach, 2 * far) if share > GOOD else reach


def _start(misses: Misses, start: NDArray[np.float64]) -> _Point:
    """Evaluate the start, and refuse what cannot be fitted from it."""
    first = _evaluated(misses, start, np.full(start.size, np.inf))
    if first is None:
        raise FitImpossible("The motion cannot be computed from the first guess. Cut off what is not a free motion.")
    if first.residuals.size < start.size:
        raise FitImpossible(
            f"There are {first.residuals.size} readings for {start.size} unknowns; it must be at least as many. "
            "Ask for fewer terms, or record longer."
        )
    return first


def _evaluated(misses: Misses, parameters: NDArray[np.float64], scale: NDArray[np.float64]) -> _Point | None:
    """Evaluate; None where there is no prediction. A scale never grows, so that damping keeps holding."""
    try:
        with np.errstate(over="raise", divide="raise", invalid="raise"):
            residuals, slopes = misses(parameters)
    except ArithmeticError:
        return None
    with np.errstate(over="ignore", invalid="ignore"):
        chi2 = float(residuals @ residuals)
    if not (np.isfinite(chi2) and np.isfinite(slopes).all()):
        return None
    lengths = np.linalg.norm(slopes, axis=0)
    scale = np.minimum(scale, 1 / np.where(lengths > 0, lengths, np.finfo(float).tiny))
    stacked = np.column_stack([slopes * scale, residuals])
    corner = np.asarray(np.linalg.qr(stacked, mode="r"), dtype=np.float64)
    size = parameters.size
    left, singular, turned = np.linalg.svd(corner[:size, :size])
    safe = np.maximum(singular, np.finfo(float).eps * singular[0])
    return _Point(parameters, residuals, slopes, chi2, scale, safe, turned, left.T @ corner[:size, size])


def _settled(point: _Point, steps: int, ending: Ending) -> LeastSquares:
    """Turn the last point into the record; refuse a direction that is lost in rounding."""
    lengths = np.linalg.norm(point.slopes, axis=0)
    weakest = float(np.linalg.svd(point.slopes / np.where(lengths > 0, lengths, 1.0), compute_uv=False)[-1])
    if weakest < WEAKEST:
        raise FitImpossible(
            "These readings cannot tell the wanted terms apart: one combination is lost in rounding. "
            "Ask for fewer terms, or record over a wider range."
        )
    half = (point.turned.T / point.singular) * point.scale[:, None]
    return LeastSquares(
        point.parameters, half @ half.T, weakest, point.chi2, point.residuals, point.slopes, steps, ending
    )
