"""Runs that do not reach the end, near-runners and self-runners: the signed loss of each run at its own speeds."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from truerun.errors import FitImpossible, ValueOutOfRange
from truerun.stats.ratio import Ratio, Reach, fieller

__all__ = ["LossDrive", "SignedLosses", "loss_drive", "pooled_drag", "signed_losses"]

Drag = Callable[[NDArray[np.float64]], NDArray[np.float64]]
STEADY = 0.1
NODES, WEIGHTS = np.polynomial.legendre.leggauss(24)


@dataclass(frozen=True, slots=True, eq=False)
class SignedLosses:
    """What each run lost: ``loss`` (n,) and what the pooled drag loses at its speeds, ``expected`` (n,).

    Both are specific powers [rad^2/s^3], negative where a run gained.
    """

    loss: NDArray[np.float64]
    expected: NDArray[np.float64]

    @property
    def values(self) -> NDArray[np.float64]:
        """The observation of each run: how much less it lost than expected [rad^2/s^3]."""
        return self.expected - self.loss


@dataclass(frozen=True, slots=True)
class LossDrive:
    """Drive fraction at the speeds of the runs, with Fieller's interval: a second opinion.

    ``effect`` is the loss that the source saves and ``control_loss`` what the control loses [rad^2/s^3].
    """

    effect: float
    control_loss: float
    ratio: Ratio


def signed_losses(
    speed_from: NDArray[np.float64],
    speed_to: NDArray[np.float64],
    duration: NDArray[np.float64],
    pooled: Drag,
) -> SignedLosses:
    """Find the signed mean loss of each run, and what it would be with the drag of all runs together.

    Parameters
    ----------
    speed_from, speed_to : array, shape (n,)
        Speeds by energy at the start and at the time limit; the second may be higher [rad/s].
    duration : array, shape (n,)
        Time between them [s].
    pooled : callable
        Specific drag of all runs pooled, whatever their conditions, at an array of speeds [rad/s^2].

    Returns
    -------
    SignedLosses

    Raises
    ------
    ValueOutOfRange
        If a duration or a speed is not positive.

    Notes
    -----
    q = (w_a^2 - w_b^2)/(2 dt). Under a drag f the same change of speed takes the integral of dw/f, so
    q_ref = mean of w / mean of 1/f over the speeds between, which stays finite for a run that keeps its speed. The
    difference of both does not depend on how far a run got; a common time instead of common speeds would. Where
    a strong source brings the pooled drag to less than a tenth of its mean, or below 0, that integral means nothing:
    then every run is taken to change its speed evenly, and q_ref is the mean of w f.

    Examples
    --------
    >>> speeds = np.array([20.0]), np.array([10.0]), np.array([100.0])
    >>> found = signed_losses(*speeds, lambda speed: 0.2 + 0 * speed)
    >>> found.loss.round(9), found.expected.round(9)
    (array([1.5]), array([3.]))
    """
    first, last = np.asarray(speed_from, dtype=float), np.asarray(speed_to, dtype=float)
    if min(first.min(), last.min()) <= 0:
        raise ValueOutOfRange("speed of a run", f"{min(first.min(), last.min()):g} rad/s", "positive")
    if np.min(duration) <= 0:
        raise ValueOutOfRange("time of a run", f"{np.min(duration):g} s", "positive")
    middle, half = (first + last) / 2, (first - last) / 2
    between = middle[:, None] + half[:, None] * NODES
    drag = pooled(between)
    if float(drag.min()) > STEADY * float(drag.mean()) > 0:
        expected = middle / (1 / drag @ WEIGHTS / 2)
    else:
        expected = between * drag @ WEIGHTS / 2
    return SignedLosses((first**2 - last**2) / (2 * np.asarray(duration, dtype=float)), expected)


def pooled_drag(speeds: NDArray[np.float64], drags: NDArray[np.float64], *, beyond: bool = False) -> Drag:
    """Pool drag curves of runs into one, without knowing their conditions.

    Parameters
    ----------
    speeds : array, shape (k,)
        Increasing; at least two [rad/s].
    drags : array, shape (n, k)
        Specific drag of each run there, NaN where a run did not pass [rad/s^2].
    beyond : bool
        Whether it goes on beyond the ends as the straight line through all of it does, never falling with speed.

    Returns
    -------
    callable
        Mean over the runs, in straight lines between speeds; level beyond the ends unless ``beyond``. A speed that no
        run passed is bridged.

    Raises
    ------
    ValueOutOfRange
        If the speeds do not increase, or fewer than two were passed by any run.

    Examples
    --------
    >>> curve = pooled_drag(np.array([1.0, 3.0]), np.array([[0.1, 0.3], [0.3, 0.5]]))
    >>> curve(np.array([2.0])).round(12)
    array([0.3])
    """
    seen = np.isfinite(drags).any(axis=0)
    if int(seen.sum()) < 2 or (np.diff(speeds) <= 0).any():
        raise ValueOutOfRange("list of speeds", speeds.tolist(), "increasing, with two or more that a run passed")
    at = np.asarray(speeds, dtype=float)[seen]
    mean = np.nanmean(drags[:, seen], axis=0)

    slope = max(0.0, float(np.polynomial.Polynomial.fit(at, mean, 1).convert().coef[-1])) if beyond else 0.0

    def curve(speed: NDArray[np.float64]) -> NDArray[np.float64]:
        outside = np.maximum(speed - at[-1], 0) - np.maximum(at[0] - speed, 0)
        return np.asarray(np.interp(speed, at, mean) + slope * outside, dtype=np.float64)

    return curve


def loss_drive(
    losses: SignedLosses, source: NDArray[np.bool_], *, alpha: float = 0.05, at: NDArray[np.bool_] | None = None
) -> LossDrive:
    """Give the drive fraction D = effect / control's loss, with Fieller's interval.

    Parameters
    ----------
    losses : SignedLosses
    source : array of bool, shape (n,)
        Which runs had the source; at least two with it and two without.
    alpha : float
        One minus the coverage.
    at : array of bool, shape (n,), optional
        Runs at whose speeds the control's loss is taken; None: all.

    Returns
    -------
    LossDrive

    Raises
    ------
    ValueOutOfRange
        If a condition has fewer than two runs.
    FitImpossible
        If the control's loss is not clearly above 0.

    Notes
    -----
    effect = mean value with the source - mean value of the control; control's loss = mean expected loss of all runs -
    mean value of the control, that is at the speeds of all runs, or of those that are said. The spread of values is
    taken as equal in both conditions. Which way the difference lies and how likely luck makes it is for the exact
    list of orders to say.
    """
    values, with_source = losses.values, np.asarray(source, dtype=np.bool_)
    groups = values[with_source], values[~with_source]
    if min(group.size for group in groups) < 2:
        raise ValueOutOfRange("number of runs of a condition", min(group.size for group in groups), "2 or more")
    freedom = values.size - 2
    variance = sum(float(((group - group.mean()) ** 2).sum()) for group in groups) / freedom
    effect = float(groups[0].mean() - groups[1].mean())
    expected = losses.expected if at is None else losses.expected[np.asarray(at, dtype=np.bool_)]
    loss = float(expected.mean() - groups[1].mean())
    of_loss = variance / groups[1].size
    ratio = fieller(effect, loss, (variance / groups[0].size + of_loss, of_loss), of_loss, df=freedom, alpha=alpha)
    if loss <= 0 or ratio.reach is not Reach.BOUNDED:
        raise FitImpossible(
            f"The control's loss, {loss:.3g} rad^2/s^3, is not clearly above 0, so nothing can be said as a share of "
            "it. Make more runs of the control, or compare at higher speeds."
        )
    return LossDrive(effect, loss, ratio)
