"""How many harmonics releases from rest can carry, and what follows for the wheel."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from truerun.errors import FitImpossible
from truerun.findings.finding import Finding
from truerun.motion.hill import Hill, capture_speed, hill_height
from truerun.motion.release import HillByRelease, absolute_hill, fit_releases
from truerun.series import Releases

__all__ = ["ReleasedHill", "choose_releases", "release_data"]

TURN = 2 * np.pi
MOST_HARMONICS = 4
FINEST = 1e-12


@dataclass(frozen=True, slots=True, eq=False)
class ReleasedHill:
    """A hill from releases: ``turns`` is its height in turns that dry drag takes to use up as much, uncertainty beside.

    ``hill`` is the specific potential [rad^2/s^2] where the dry drag is known, else None.
    """

    releases: Releases
    found: HillByRelease
    turns: float
    turns_uncertainty: float
    hill: Hill | None

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What the fit says against itself."""
        return self.found.findings


def choose_releases(releases: Releases, drag: tuple[float, float] | None = None) -> ReleasedHill:
    """Fit a hill with as many harmonics as the releases ask for.

    Parameters
    ----------
    releases : Releases
    drag : (float, float), optional
        Specific dry drag at low speed with its standard uncertainty [rad/s^2].

    Returns
    -------
    ReleasedHill

    Raises
    ------
    FitImpossible
        If not even one harmonic can be fitted.
    ValueOutOfRange
        If the drag is not positive.

    Notes
    -----
    The number of harmonics, four at most, is that with the least n log(variance) + 2 K log(n).

    Examples
    --------
    >>> from scipy.optimize import brentq
    >>> a = np.linspace(0.3, 2.8, 12)
    >>> b = np.array([brentq(lambda b, a=a: np.cos(b) - np.cos(a) + 0.02 * (b - a), np.pi, 2 * np.pi) for a in a])
    >>> round(choose_releases(Releases(a, b)).turns, 6)  # 100 rad
    15.915494
    """
    best = fit_releases(releases.starts, releases.turnings, harmonics=1)
    for harmonics in range(2, MOST_HARMONICS + 1):
        try:
            more = fit_releases(releases.starts, releases.turnings, harmonics=harmonics)
        except FitImpossible:
            break
        best = min(best, more, key=_criterion)
    height, spread = hill_height(best.shape)
    hill = None if drag is None else absolute_hill(best, *drag)
    return ReleasedHill(releases, best, height / TURN, spread / TURN, hill)


def _criterion(found: HillByRelease) -> float:
    """Give the criterion by which harmonics are chosen: smaller is better."""
    count = int(found.used.sum())
    left = max(float(found.residuals @ found.residuals) / count, FINEST**2)
    return count * float(np.log(left)) + found.shape.coefficients.size * float(np.log(count))


def release_data(released: ReleasedHill) -> dict[str, Any]:
    """Give releases as plain data: the keys ``releases``, ``hill`` and ``capture_speed``.

    Parameters
    ----------
    released : ReleasedHill

    Returns
    -------
    dict
        ``releases`` holds the harmonics in radians of dry drag; ``hill`` and ``capture_speed`` are None where the dry
        drag is not known.
    """
    found, hill = released.found, released.hill
    speed = None if hill is None else capture_speed(hill)
    return {
        "hill": None if hill is None else _hill(hill),
        "capture_speed": None if speed is None else {"value": speed[0], "standard_uncertainty": speed[1]},
        "releases": {
            "count": int(found.used.size),
            "moved": int(found.used.sum()),
            "height_in_turns_of_drag": {"value": released.turns, "standard_uncertainty": released.turns_uncertainty},
            "shape": _hill(found.shape)["harmonics"],
            "angle": {"standard_uncertainty": found.sigma},
        },
    }


def _hill(hill: Hill) -> dict[str, Any]:
    """Give a hill with its height."""
    height, spread = hill_height(hill)
    pairs = zip(hill.cosine.tolist(), hill.sine.tolist(), strict=True)
    return {
        "height": height,
        "standard_uncertainty": spread,
        "harmonics": [{"order": k, "cosine": a, "sine": b} for k, (a, b) in enumerate(pairs, start=1)],
    }
