"""What every measured rundown offers, whether it came from passes, speeds or angles."""

from __future__ import annotations

import numpy as np

from truerun.motion.hill import Hill
from truerun.motion.rundown import Rundown
from truerun.motion.speed_fit import SpeedRundown, speed_window
from truerun.motion.track_fit import TrackRundown, track_window
from truerun.motion.window import Window, fit_window

__all__ = ["Measured", "defined_by", "hill_of", "measured_window", "turns_of"]

Measured = Rundown | SpeedRundown | TrackRundown


def measured_window(found: Measured, speed_from: float, speed_to: float) -> Window:
    """Find time and turns between two speeds.

    Parameters
    ----------
    found : Rundown, SpeedRundown or TrackRundown
    speed_from, speed_to : float
        By energy for passes and angles, as read for speeds; the first one higher [rad/s].

    Returns
    -------
    Window

    Raises
    ------
    ValueOutOfRange
        If the speeds are not in falling order.
    FitImpossible
        If the recording does not hold both.

    Notes
    -----
    The turns of a table of speeds are the mean of time over the window by speed: N = int w dt / 2 pi; their
    uncertainty follows from that of the time at the mean speed.
    """
    if isinstance(found, Rundown):
        return fit_window(found, speed_from, speed_to)
    if isinstance(found, TrackRundown):
        return track_window(found, speed_from, speed_to)
    by_speed = speed_window(found, speed_from, speed_to)
    speeds, times = found.motion.speeds, found.motion.times
    inside = np.linspace(speed_from, speed_to, 400)
    at = np.interp(-inside, -speeds, times)
    turns = float(np.trapezoid(inside, at)) / (2 * np.pi)
    per_second = turns / by_speed.time
    return Window(
        speed_from, speed_to, by_speed.time, by_speed.time_uncertainty, turns, by_speed.time_uncertainty * per_second
    )


def defined_by(found: Measured) -> str:
    """Say what the speeds of a window mean: "energy", "turn-time" (one mark a turn) or "speed"."""
    if isinstance(found, SpeedRundown):
        return "speed"
    return "turn-time" if isinstance(found, Rundown) and found.marks == 1 else "energy"


def turns_of(found: Measured) -> float:
    """Give the turns that a recording covers."""
    if not isinstance(found, SpeedRundown):
        return found.turns
    return float(np.trapezoid(found.motion.speeds, found.motion.times)) / (2 * np.pi)


def hill_of(found: Measured) -> Hill | None:
    """Give the bump where one was fitted; speeds without angles show none."""
    return None if isinstance(found, SpeedRundown) else found.hill
