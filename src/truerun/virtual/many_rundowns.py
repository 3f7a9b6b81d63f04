"""The free rundowns of many runs of one rig at once: the same angles, every run with its own energy and drag."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from truerun.virtual.course import place_angles
from truerun.virtual.drag_laws import between_turns
from truerun.virtual.rig import Launch, Rig, height

__all__ = ["ManyRundowns", "simulate_many"]

Array = NDArray[np.float64]

_SLOWEST = 1e-3
"""Share of the highest launch energy below which, on top of the bump, a run is no longer followed."""


@dataclass(frozen=True, slots=True, eq=False)
class ManyRundowns:
    """When the marks of every run passed: ``times`` [s] and ``speeds`` by energy, sqrt(2 eps) [rad/s], (runs, n).

    NaN where a run may have been caught by its bump, or is about to be.
    """

    times: Array
    speeds: Array


def simulate_many(rig: Rig, launches: Sequence[Launch], places: int) -> ManyRundowns:
    """Follow many runs of one rig over the same places.

    Parameters
    ----------
    rig : Rig
        The truth about the wheel.
    launches : sequence of Launch
        Speeds are by energy, sqrt(2 eps); every run starts where mark 0 is at the sensor: where it was launched does
        not show in passes, only with which energy it came to the first of them. Their drifts are of one length.
    places : int
        How many passes, the first one at the start.

    Returns
    -------
    ManyRundowns

    Notes
    -----
    Time and energy of all runs over the angle, by the eighth-order Runge-Kutta method of ``scipy.integrate`` with
    relative tolerance 1e-12.

    Examples
    --------
    >>> from truerun.virtual.drag_laws import PowerLaw
    >>> made = simulate_many(Rig(PowerLaw(((0, 0.5),))), [Launch(10.0), Launch(9.0)], 3)
    >>> made.times.round(4).tolist()  # angle = w t - t^2/4
    [[0.0, 0.6385, 1.2988], [0.0, 0.7122, 1.4551]]
    """
    runs = len(launches)
    scales = np.array([launch.scale for launch in launches])
    factors = np.array([launch.drift.factors for launch in launches])
    start = np.concatenate([np.zeros(runs), [launch.speed**2 / 2 for launch in launches]])

    least = _SLOWEST * start[runs:].max()

    def rates(angle: float, state: Array) -> Array:
        moving = state[runs:] - height(rig, np.array([angle]))
        speed = np.sqrt(2 * np.maximum(moving, least))
        drag = scales * between_turns(factors, np.array(angle)) * rig.drag(speed)
        return np.concatenate([1 / speed, rig.drive(speed) - drag])

    angles = place_angles(rig, np.arange(places))
    span = (0.0, float(angles[-1]))
    # the tolerance is on the norm of all runs together, so each alone may be off by its root
    found = solve_ivp(rates, span, start, "DOP853", angles, rtol=1e-12, atol=1e-12)
    energy = found.y[runs:]
    top = float(height(rig, np.linspace(0, 2 * np.pi, 2000)).max())
    free = np.minimum.accumulate(energy > top + least, axis=1)
    return ManyRundowns(
        np.where(free, found.y[:runs], np.nan), np.where(free, np.sqrt(2 * np.maximum(energy, 0)), np.nan)
    )
