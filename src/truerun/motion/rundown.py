"""The record of a fitted rundown."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from truerun.motion.drag_curve import DragTerms
from truerun.motion.hill import Hill
from truerun.motion.places import PassGrid
from truerun.motion.prediction import Prediction
from truerun.motion.start import Guess
from truerun.motion.turn_map import Solver

__all__ = ["Drift", "FitDoubt", "FittedMotion", "Rundown"]


class FitDoubt(Enum):
    """What a fit says against itself."""

    MISFIT = "the residuals do not match the stated uncertainty of the times"
    WEAK = "the range of speeds hardly tells some parameters apart"
    ROUNDING = "the last steps were lost in rounding"


@dataclass(frozen=True, slots=True)
class FittedMotion:
    """The fit in its own coordinates, for what is computed from it later.

    Angles count from the reference mark of ``grid``. ``covariance`` has the order start time, start energy, drag
    weights, hill harmonics, spacing errors; it is the reading covariance. ``nominal`` is the nominal angle of the
    reference mark from mark 0 [rad], ``free`` whether spacing errors were fitted. ``late`` is what delays of the
    marks, fitted beside, add to the covariance; None where there are none.
    """

    solver: Solver
    guess: Guess
    grid: PassGrid
    prediction: Prediction
    covariance: NDArray[np.float64]
    nominal: float
    free: bool
    late: NDArray[np.float64] | None = None


@dataclass(frozen=True, slots=True)
class Drift:
    """How the drag wandered within the run.

    ``size`` is the standard deviation of the drag as a share of its mean, ``length`` how long it hangs together as
    a share of the run, ``none`` the share of belief that there is no drift at all. ``mean`` and ``covariance`` hold
    what the drift-aware estimate changes, in the order of the motion's shared parameters (start time, start energy,
    drag weights, hill harmonics), then the extra drag of every block of turns.
    """

    size: float
    length: float
    none: float
    mean: NDArray[np.float64]
    covariance: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Rundown:
    """What one recording of a freely slowing wheel says.

    ``speed_high`` and ``speed_low`` are by energy, sqrt(2 eps), at the first and last pass [rad/s]. ``hill`` is
    None and ``spacing`` is zero where they were not fitted. ``spacing`` (m,) holds each mark's error, with sum 0
    [rad]; the hill's angle counts from nominal mark 0 in the direction of travel. ``sigma`` is the standard
    uncertainty of one time [s]: as stated, or from the scatter. ``misfit`` is chi2 per degree of freedom with the
    stated sigma, None without one. ``residuals`` (n,) are observed less fitted times [s]. ``drift`` is None until
    the drag was allowed to drift; until then all uncertainties are reading errors only.
    """

    passes: int
    marks: int
    turns: float
    speed_high: float
    speed_low: float
    drag: DragTerms
    hill: Hill | None
    spacing: NDArray[np.float64]
    spacing_covariance: NDArray[np.float64]
    sigma: float
    misfit: float | None
    freedom: int
    residuals: NDArray[np.float64]
    doubts: tuple[FitDoubt, ...]
    iterations: int
    motion: FittedMotion
    drift: Drift | None
