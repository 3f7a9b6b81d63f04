"""A fitted rundown as plain data, keys as in the JSON results."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import numpy as np

from truerun.errors import ValueOutOfRange
from truerun.motion.capture_bound import CaptureBound, capture_bound_of_hill
from truerun.motion.drag_curve import NamedTerms, drag_at, named_terms
from truerun.motion.hill import capture_speed, hill_height
from truerun.motion.measured import Measured, defined_by, hill_of, turns_of
from truerun.motion.rundown import Rundown
from truerun.motion.speed_fit import SpeedRundown
from truerun.motion.track_fit import TrackRundown
from truerun.motion.window import Window

__all__ = ["COVERAGE", "HALF_WIDTH", "TERM_NAMES", "rundown_data", "standstill_bound", "usual_terms", "window_data"]

COVERAGE = 0.95
HALF_WIDTH = 1.959964
"""Of a band that covers 95 times in 100, in standard uncertainties."""

TERM_NAMES = {0.0: "dry", 1.0: "viscous", 1.5: "laminar air", 2.0: "air"}
"""Names of powers of speed in a drag."""

_CURVE_POINTS = 25
_READING_UNITS = {Rundown: "s", SpeedRundown: "rad/s", TrackRundown: "rad"}
_USUAL = (0.0, 1.0, 2.0)
_NARROW = 1.02
"""A range of speeds narrower than this ratio tells no terms apart."""


def usual_terms(rundown: Measured) -> NamedTerms | None:
    """Summarise the drag as dry, viscous and air drag; None where the speeds hardly change.

    Parameters
    ----------
    rundown : Rundown or SpeedRundown

    Returns
    -------
    NamedTerms or None
        A drag that was fitted with fewer terms is summarised by as many.
    """
    if rundown.speed_high < _NARROW * rundown.speed_low:
        return None
    powers = _USUAL[: min(len(_USUAL), rundown.drag.weights.size)]
    return named_terms(rundown.drag, powers, rundown.speed_low, rundown.speed_high)


def standstill_bound(rundown: Measured) -> CaptureBound | None:
    """Bound what the bump alone could change in a time to standstill from this launch.

    Parameters
    ----------
    rundown : Rundown or SpeedRundown

    Returns
    -------
    CaptureBound or None
        With the measured drag where all its parts slow the wheel, else over the drags that real wheels have. None
        where no bump was fitted, or the launch was not above capture.
    """
    hill, terms = hill_of(rundown), usual_terms(rundown)
    if hill is None:
        return None
    drags: list[tuple[float, float, float]] | None = None
    if terms is not None and terms.coefficients.size == len(_USUAL):
        dry, viscous, air = (float(size) for size in terms.coefficients)
        drags = [(dry, viscous, air)] if dry > 0 and min(viscous, air) >= 0 else None
    try:
        return capture_bound_of_hill(rundown.speed_high, hill, drags)
    except ValueOutOfRange:
        return None


def window_data(window: Window | None, rundown: Measured) -> dict[str, Any] | None:
    """Give a window as plain data."""
    if window is None:
        return None
    return {
        "from": window.speed_from,
        "to": window.speed_to,
        "defined_by": defined_by(rundown),
        "time": {"value": window.time, "standard_uncertainty": window.time_uncertainty},
        "turns": {"value": window.turns, "standard_uncertainty": window.turns_uncertainty},
    }


def rundown_data(rundown: Measured) -> dict[str, Any]:
    """Give a rundown as plain data, without its window.

    Parameters
    ----------
    rundown : Rundown or SpeedRundown

    Returns
    -------
    dict
        Keys ``passes``, ``turns``, ``marks``, ``speeds``, ``drag``, ``hill``, ``capture_speed``,
        ``standstill_bound``, ``spacing``, ``reading``, ``drift``; SI units, specific quantities for drag and hill.
    """
    drift = rundown.drift
    return {
        "passes": rundown.passes if isinstance(rundown, Rundown) else None,
        "turns": turns_of(rundown),
        "marks": rundown.marks if isinstance(rundown, Rundown) else None,
        "readings": int(rundown.residuals.size),
        "speeds": {"from": rundown.speed_high, "to": rundown.speed_low},
        "drag": _drag(rundown),
        "hill": _hill(rundown),
        "capture_speed": _capture(rundown),
        "standstill_bound": None if (bound := standstill_bound(rundown)) is None else asdict(bound),
        "spacing": rundown.spacing.tolist() if isinstance(rundown, Rundown) and rundown.spacing.any() else None,
        "reading": {
            "standard_uncertainty": rundown.sigma,
            "unit": _READING_UNITS[type(rundown)],
            "misfit": rundown.misfit,
        },
        "drift": None if drift is None else {"size": drift.size, "length": drift.length, "none": drift.none},
    }


def _drag(rundown: Measured) -> dict[str, Any]:
    """Give the drag: named terms, curve with both bands, series."""
    speeds = np.linspace(rundown.speed_high, rundown.speed_low, _CURVE_POINTS)
    value, honest, reading = drag_at(rundown.drag, speeds)
    terms = usual_terms(rundown)
    basis = rundown.drag.basis
    return {
        "terms": [] if terms is None else _terms(terms),
        "terms_misfit": None if terms is None else terms.misfit,
        "curve": [
            {
                "speed": float(w),
                "value": float(f),
                "low": float(f - HALF_WIDTH * u),
                "high": float(f + HALF_WIDTH * u),
                "reading_low": float(f - HALF_WIDTH * r),
                "reading_high": float(f + HALF_WIDTH * r),
            }
            for w, f, u, r in zip(speeds, value, honest, reading, strict=True)
        ],
        "coverage": COVERAGE,
        "series": {"coefficients": rundown.drag.weights.tolist(), "from": basis.high, "to": basis.low},
    }


def _terms(terms: NamedTerms) -> list[dict[str, Any]]:
    """Give the named terms."""
    spread = np.sqrt(np.diag(terms.covariance))
    return [
        {"name": TERM_NAMES[power], "power": power, "value": float(value), "standard_uncertainty": float(uncertainty)}
        for power, value, uncertainty in zip(terms.powers, terms.coefficients, spread, strict=True)
    ]


def _hill(rundown: Measured) -> dict[str, Any] | None:
    """Give the bump."""
    hill = hill_of(rundown)
    if hill is None:
        return None
    height, uncertainty = hill_height(hill)
    pairs = zip(hill.cosine.tolist(), hill.sine.tolist(), strict=True)
    return {
        "height": height,
        "standard_uncertainty": uncertainty,
        "harmonics": [{"order": k, "cosine": a, "sine": b} for k, (a, b) in enumerate(pairs, start=1)],
    }


def _capture(rundown: Measured) -> dict[str, float] | None:
    """Give the capture speed."""
    hill = hill_of(rundown)
    if hill is None:
        return None
    speed, uncertainty = capture_speed(hill)
    return {"value": speed, "standard_uncertainty": uncertainty}
