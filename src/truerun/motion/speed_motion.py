"""Free slowing down without a hill: speed over time, and what every parameter does to it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from truerun.motion.drag_curve import DragBasis, basis_slopes, basis_values

__all__ = ["SpeedMotion", "fine_times", "push_slopes", "running_integral", "speed_motion"]

NODES = 1000
RUNAWAY = 100.0


@dataclass(frozen=True, slots=True, eq=False)
class SpeedMotion:
    """A motion at many times: ``times`` (m,) [s], ``speeds`` (m,) [rad/s], 0 once stopped.

    ``slopes`` (m, 1 + p) are derivatives of speed with respect to the start speed and the weights of the drag;
    ``rise`` (m,) is the integral of the drag's own slope, by which a push dies away.
    """

    times: NDArray[np.float64]
    speeds: NDArray[np.float64]
    slopes: NDArray[np.float64]
    rise: NDArray[np.float64]


def fine_times(times: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.intp]]:
    """Put further times between given ones.

    Parameters
    ----------
    times : array, shape (n,)
        Increasing [s].

    Returns
    -------
    fine : array, shape (m,)
        At least a thousand steps.
    places : array of int, shape (n,)
        Where the given times stand in it.

    Examples
    --------
    >>> fine, places = fine_times(np.array([0.0, 1.0, 5.0]))
    >>> fine.size, fine[places].tolist()
    (1001, [0.0, 1.0, 5.0])
    """
    gaps = np.diff(times)
    parts = np.maximum(np.ceil(gaps / (times[-1] - times[0]) * NODES - 1e-9), 1).astype(np.intp)
    places = np.concatenate([[0], np.cumsum(parts)])
    owner = np.repeat(np.arange(gaps.size), parts)
    inside = np.arange(owner.size) - places[owner]
    fine = np.append(times[owner] + gaps[owner] * inside / parts[owner], times[-1])
    fine[places] = times
    return fine, places


def speed_motion(
    basis: DragBasis, weights: NDArray[np.float64], start: float, times: NDArray[np.float64]
) -> SpeedMotion:
    """Follow a wheel that slows down freely.

    Parameters
    ----------
    basis : DragBasis
    weights : array, shape (p,)
        Of the specific drag.
    start : float
        Speed at the first time [rad/s].
    times : array, shape (m,)
        Increasing, close together [s].

    Returns
    -------
    SpeedMotion

    Raises
    ------
    OverflowError
        If the speed runs away.

    Notes
    -----
    Fourth-order Runge-Kutta for dw/dt = -f(w). A change of a parameter obeys y' = -f'(w) y - phi, so y is
    exp(-G) (y0 - int exp(G) phi dt) with G = int f'(w) dt: plain integrals along the motion, by trapezoids.
    """
    drag = _scalar_drag(basis, weights)
    speeds = np.array(_followed(drag, start, np.diff(times).tolist()))
    moving = speeds > 1e-9 * abs(start)
    held = np.where(moving, speeds, abs(start))
    bend = np.where(moving, basis_slopes(basis, held) @ weights, 0.0)
    rise = running_integral(times, bend)
    grown = np.exp(rise)[:, None]
    pushes = running_integral(times, grown * basis_values(basis, held))
    slopes = np.where(moving[:, None], np.column_stack([np.ones_like(speeds), -pushes]) / grown, 0.0)
    return SpeedMotion(times, speeds, slopes, rise)


def push_slopes(motion: SpeedMotion, edges: NDArray[np.float64]) -> NDArray[np.float64]:
    """Differentiate the speed with respect to an extra drag in each of several blocks of time.

    Parameters
    ----------
    motion : SpeedMotion
    edges : array, shape (b + 1,)
        Times at which blocks begin and end [s].

    Returns
    -------
    array, shape (m, b)
    """
    grown = np.exp(motion.rise)
    total = running_integral(motion.times, grown)
    at_edges = np.interp(edges, motion.times, total)
    inside = np.clip(total[:, None], at_edges[:-1], at_edges[1:]) - at_edges[:-1]
    pushes: NDArray[np.float64] = np.where(motion.speeds[:, None] > 0, -inside / grown[:, None], 0.0)
    return pushes


def running_integral(times: NDArray[np.float64], values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Integrate from the first time to each, by trapezoids.

    Parameters
    ----------
    times : array, shape (m,)
    values : array, shape (m, ...)

    Returns
    -------
    array, shape (m, ...)
    """
    steps = np.diff(times).reshape(-1, *(1,) * (values.ndim - 1))
    parts = (values[1:] + values[:-1]) / 2 * steps
    return np.concatenate([np.zeros_like(values[:1]), np.cumsum(parts, axis=0)])


def _scalar_drag(basis: DragBasis, weights: NDArray[np.float64]) -> Callable[[float], float]:
    """Give the drag as a function of one plain float, which is much faster than arrays of one."""
    if basis.powers is None:
        low, high = basis.low**0.5, basis.high**0.5
        series = weights.tolist()[::-1]

        def by_series(speed: float) -> float:
            place = 2 * (speed**0.5 - low) / (high - low) - 1
            now = later = 0.0
            for weight in series[:-1]:
                now, later = weight + 2 * place * now - later, now
            return float(series[-1] + place * now - later)

        return by_series
    named = list(zip((basis.mixing @ weights).tolist(), basis.powers, strict=True))

    def by_powers(speed: float) -> float:
        return float(sum(weight * speed**power for weight, power in named))

    return by_powers


def _followed(drag: Callable[[float], float], start: float, steps: list[float]) -> list[float]:
    """Speeds after each step; a wheel that has stopped stays at 0."""
    speed, most = max(start, 0.0), RUNAWAY * abs(start)
    speeds = [speed]
    for step in steps:
        if speed > 0:
            first = drag(speed)
            second = drag(max(speed - step / 2 * first, 0.0))
            third = drag(max(speed - step / 2 * second, 0.0))
            fourth = drag(max(speed - step * third, 0.0))
            speed = max(speed - step / 6 * (first + 2 * second + 2 * third + fourth), 0.0)
        if not speed < most:
            raise OverflowError
        speeds.append(speed)
    return speeds
