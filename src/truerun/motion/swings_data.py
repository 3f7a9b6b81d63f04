"""Swings as plain data, keys as in the JSON results."""

from __future__ import annotations

from typing import Any

import numpy as np

from truerun.motion.rocking import Decay, Friction
from truerun.motion.swings import Part, Swings

__all__ = ["decays_of", "swings_data"]

_FRICTION = {Friction.DRY: "dry", Friction.VISCOUS: "viscous", Friction.UNDECIDED: "not told apart"}


def swings_data(swings: Swings) -> dict[str, Any]:
    """Give swings as plain data.

    Parameters
    ----------
    swings : Swings

    Returns
    -------
    dict
        Keys ``of``, ``unit``, ``after_rundown``, ``times``, ``turning_points``, ``period`` [s], ``stiffness``
        [1/s^2], ``friction``, ``drag``, ``decay``, ``half_swing``, ``catching_speed`` [rad/s], ``swings``. ``drag``
        holds ``dry`` [rad/s^2, for places their unit/s^2] and ``viscous`` [1/s].
    """
    rocking = swings.rocking
    return {
        "of": swings.of.name.lower(),
        "unit": swings.unit,
        "after_rundown": swings.after,
        "times": {"from": float(swings.times[0]), "to": float(swings.times[-1])},
        "turning_points": swings.turning_points,
        "by": "sine" if swings.sine is not None else "turning points",
        "period": _measured(swings.period),
        "stiffness": _measured(swings.stiffness),
        "friction": _FRICTION[swings.friction],
        "drag": {"dry": _measured(swings.dry), "viscous": _measured(swings.viscous)},
        "decay": {name: _decay(decay) for name, decay in decays_of(swings).items()},
        "half_swing": None
        if rocking is None
        else {
            "kept": _measured(Part(rocking.kept, rocking.kept_uncertainty)),
            "lost": _measured(Part(rocking.lost, rocking.lost_uncertainty)),
            "dead_band": _measured(Part(rocking.dead_band, rocking.dead_band_uncertainty)),
        },
        "catching_speed": _measured(swings.catching()),
        "swings": [
            {"time": float(at), "swing": float(size)} for at, size in zip(swings.peak_times, swings.peaks, strict=True)
        ],
    }


def decays_of(swings: Swings) -> dict[str, Decay]:
    """Give the forms of decay that were fitted, by name: "straight" and "exponential".

    Parameters
    ----------
    swings : Swings

    Returns
    -------
    dict
        The exponential is that of the sine where there is one; the straight line needs six turning points.
        ``start`` is the swing at the first of ``peak_times``.
    """
    rocking, sine = swings.rocking, swings.sine
    found = {} if rocking is None else {"straight": rocking.straight, "exponential": rocking.exponential}
    if sine is None:
        return found
    first = float(swings.peak_times[0] - swings.times[0])
    wide = sine.rate_uncertainty
    start = sine.amplitude * float(np.exp(-sine.rate * first))
    return found | {"exponential": Decay(sine.rate, wide, wide / sine.widened, start, sine.rms)}


def _measured(part: Part | None) -> dict[str, float] | None:
    """Give a value with its uncertainty."""
    if part is None:
        return None
    return {"value": float(part.value), "standard_uncertainty": float(part.uncertainty)}


def _decay(decay: Decay) -> dict[str, float]:
    """Give one form of decay."""
    return {"rate": decay.rate, "standard_uncertainty": decay.uncertainty, "start": decay.start, "rms": decay.rms}
