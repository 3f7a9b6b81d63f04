"""A made-up rotor with a known truth: exact pass times by an adaptive high-order integrator.

It shares nothing with the fit: the equation of motion is handed to ``scipy.integrate``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from truerun.errors import ValueOutOfRange

__all__ = ["Drag", "Motion", "Rotor", "jittered", "mark_places", "simulate_passes", "simulate_speeds"]

Drag = Callable[[NDArray[np.float64], NDArray[np.float64]], NDArray[np.float64]]


@dataclass(frozen=True, slots=True)
class Rotor:
    """A rotor per unit of its inertia.

    ``drag`` gives the specific drag [rad/s^2] from speed [rad/s] and angle since launch [rad], both arrays of
    one shape, so that drag may drift. ``cosine`` and ``sine`` are the harmonics 1, 2, ... of the specific hill
    [rad^2/s^2]. ``marks`` are the true angles of the marks on the rotor, increasing, within one turn [rad].
    """

    drag: Drag
    cosine: tuple[float, ...] = ()
    sine: tuple[float, ...] = ()
    marks: tuple[float, ...] = (0.0,)


@dataclass(frozen=True, slots=True)
class Motion:
    """Instants at which the angle reaches given values.

    ``angles`` [rad], ``times`` [s] and ``speeds`` [rad/s], each of shape (n,); ``finished`` is false where the
    hill or the drag stopped the wheel before the last of the angles asked for.
    """

    angles: NDArray[np.float64]
    times: NDArray[np.float64]
    speeds: NDArray[np.float64]
    finished: bool


def mark_places(rotor: Rotor, passes: int) -> NDArray[np.float64]:
    """Angles since launch of the first passes.

    Parameters
    ----------
    rotor : Rotor
    passes : int

    Returns
    -------
    array, shape (n,)
        [rad].

    Examples
    --------
    >>> rotor = Rotor(lambda speed, angle: 0 * speed + 0.1, marks=(0.0, 3.0))
    >>> mark_places(rotor, 3).round(3)
    array([0.   , 3.   , 6.283])
    """
    count = np.arange(passes)
    marks = np.array(rotor.marks)
    places: NDArray[np.float64] = 2 * np.pi * (count // marks.size) + marks[count % marks.size]
    return places


def simulate_passes(rotor: Rotor, speed: float, passes: int, *, rtol: float = 1e-13) -> Motion:
    """Exact times at which the marks pass, from launch at angle 0 and time 0.

    Parameters
    ----------
    rotor : Rotor
    speed : float
        Instantaneous speed at launch, positive [rad/s].
    passes : int
        How many are wanted.
    rtol : float
        Relative tolerance of the integrator.

    Returns
    -------
    Motion

    Notes
    -----
    Integrates (time, energy) over the angle with an eighth-order Runge-Kutta method; a wheel that comes within
    1e-6 of its launch energy of a halt ends the motion.
    """
    return simulate_speeds(rotor, speed, mark_places(rotor, passes), rtol=rtol)


def simulate_speeds(rotor: Rotor, speed: float, angles: NDArray[np.float64], *, rtol: float = 1e-13) -> Motion:
    """Exact times and speeds at given angles, from launch at angle 0 and time 0.

    Parameters
    ----------
    rotor : Rotor
    speed : float
        Instantaneous speed at launch, positive [rad/s].
    angles : array, shape (n,)
        Increasing, not negative [rad].
    rtol : float
        Relative tolerance of the integrator.

    Returns
    -------
    Motion
        Cut at the last angle that was reached.

    Raises
    ------
    ValueOutOfRange
        If the speed is not positive.
    """
    if speed <= 0:
        raise ValueOutOfRange("launch speed", f"{speed:g} rad/s", "positive")
    launch = speed**2 / 2 + float(_hill(rotor, np.zeros(1))[0])
    halt = 1e-6 * speed**2 / 2

    def rates(angle: float, state: NDArray[np.float64]) -> list[float]:
        moving = np.sqrt(2 * np.maximum(state[1:] - _hill(rotor, np.array([angle])), halt / 4))
        return [1 / float(moving[0]), -float(rotor.drag(moving, np.array([angle]))[0])]

    def spare(angle: float, state: NDArray[np.float64]) -> float:
        return float(state[1] - _hill(rotor, np.array([angle]))[0]) - halt

    spare.terminal = True  # type: ignore[attr-defined]  # how solve_ivp asks for it
    solution = solve_ivp(
        rates,
        (0.0, float(angles[-1])),
        [0.0, launch],
        method="DOP853",
        t_eval=angles,
        events=spare,
        rtol=max(rtol, 3e-14),
        atol=1e-13,
        max_step=np.pi / (8 * max(len(rotor.cosine), len(rotor.sine), 1)),
    )
    reached = solution.t
    speeds = np.sqrt(2 * (solution.y[1] - _hill(rotor, reached)))
    return Motion(reached, solution.y[0], speeds, reached.size == angles.size)


def jittered(times: NDArray[np.float64], sigma: float, rng: np.random.Generator) -> NDArray[np.float64]:
    """Add independent Gaussian reading errors.

    Parameters
    ----------
    times : array, shape (n,)
        [s].
    sigma : float
        Standard deviation [s].
    rng : numpy.random.Generator

    Returns
    -------
    array, shape (n,)
    """
    noisy: NDArray[np.float64] = times + sigma * rng.standard_normal(times.size)
    return noisy


def _hill(rotor: Rotor, angle: NDArray[np.float64]) -> NDArray[np.float64]:
    """Specific potential at some angles."""
    height = np.zeros_like(angle)
    for order, value in enumerate(rotor.cosine, start=1):
        height += value * np.cos(order * angle)
    for order, value in enumerate(rotor.sine, start=1):
        height += value * np.sin(order * angle)
    return height
