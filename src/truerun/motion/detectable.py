"""How small a hill a recording can show, before it is made: from timing, marks, speeds and turns."""

from __future__ import annotations

import numpy as np

from truerun.errors import ValueOutOfRange
from truerun.motion.closed_forms import angle_between_speeds
from truerun.motion.drag_curve import power_basis
from truerun.motion.normal import normal_blocks, parameter_covariance
from truerun.motion.panels import TURN, turn_grid
from truerun.motion.places import even_marks
from truerun.motion.prediction import predict, time_slopes
from truerun.motion.start import Guess
from truerun.motion.turn_map import Solver

__all__ = ["detectable_hill"]

DRAG_SHAPE = (0.03, 0.01, 0.0006)


def detectable_hill(
    timing: float,
    marks: int,
    speeds: tuple[float, float],
    turns: int,
    *,
    harmonics: int = 1,
    spacing: bool = True,
    sigmas: float = 3.0,
) -> float:
    """Smallest amplitude of the hill's first harmonic that a rundown shows.

    Parameters
    ----------
    timing : float
        Standard uncertainty of one time [s].
    marks : int
        Evenly spaced, at least 3.
    speeds : (float, float)
        At launch and at the end [rad/s].
    turns : int
        Between the two.
    harmonics : int
        How many are fitted, at most (marks - 1)/2.
    spacing : bool
        Whether errors of the marks' places are fitted along.
    sigmas : float
        How many standard uncertainties count as shown.

    Returns
    -------
    float
        As a share of the specific launch energy speed^2/2.

    Raises
    ------
    ValueOutOfRange
        If the marks cannot carry the harmonics, or the speeds do not fall.

    Notes
    -----
    The Cramer-Rao bound: the fit's own derivatives on a wheel without a hill, with start, three terms of drag, hill
    and spacing free. The split of the drag into dry, viscous and quadratic parts hardly matters.

    Examples
    --------
    >>> fine, coarse = (detectable_hill(timing, 4, (20.0, 2.0), 150) for timing in (1e-5, 2e-5))
    >>> round(coarse / fine, 6)
    2.0
    """
    launch, last = speeds
    if not launch > last > 0:
        raise ValueOutOfRange("pair of speeds", f"{launch:g} and {last:g} rad/s", "falling and positive")
    if not 1 <= harmonics <= (marks - 1) // 2:
        raise ValueOutOfRange("number of harmonics", harmonics, f"1 to {(marks - 1) // 2} with {marks} marks")
    dry, viscous, quadratic = DRAG_SHAPE
    angle = angle_between_speeds(1.0, launch, last, dry=dry, viscous=viscous, quadratic=quadratic)
    drag = np.array(DRAG_SHAPE) * float(angle) / (TURN * turns)
    basis = power_basis((0, 1, 2), 0.9 * last, launch)
    weights = np.asarray(np.linalg.solve(basis.mixing, drag), dtype=np.float64)
    guess = Guess(0.0, launch**2 / 2, weights, np.zeros(2 * harmonics), np.zeros(marks - 1))
    solver = Solver(turn_grid(4 * harmonics), 32, basis)
    angles = np.append(even_marks(marks)[1:], TURN)
    prediction = predict(solver, guess, angles, turns, last**2 / 2)
    slopes, slowness = time_slopes(prediction, np.arange(turns))
    even = np.full((turns, marks), 1 / timing)
    blocks = normal_blocks(slopes, slowness, np.zeros_like(even), even, spacing=spacing)
    covariance, _ = parameter_covariance(blocks)
    first = 2 + weights.size
    return sigmas * float(np.sqrt(covariance[first, first])) / (launch**2 / 2)
