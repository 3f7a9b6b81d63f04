"""From the angle of the fit, which counts from the last pass, to that of nominal mark 0."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from truerun.motion.hill import Hill, turned_hill
from truerun.motion.rundown import FittedMotion

__all__ = ["in_marks"]


def in_marks(motion: FittedMotion) -> tuple[Hill | None, NDArray[np.float64], NDArray[np.float64]]:
    """Give hill and spacing in the angle of nominal mark 0, with spacing errors that add to zero.

    Parameters
    ----------
    motion : FittedMotion

    Returns
    -------
    hill : Hill or None
    spacing : array, shape (m,)
        Error of every mark [rad].
    covariance : array, shape (m, m)
        Of the spacing [rad^2].

    Notes
    -----
    A common shift of all marks cannot be told from a turned hill. The fit holds the reference mark at 0; here the
    mean is 0 instead, and the hill's phases turn by the mean error.
    """
    marks = motion.grid.marks
    errors = np.append(motion.guess.spacing, 0.0)
    ordered = (motion.grid.reference + 1 + np.arange(marks)) % marks
    centring = np.zeros((marks, marks))
    centring[ordered] = np.eye(marks) - 1 / marks
    first_own = motion.covariance.shape[0] - (marks - 1 if motion.free else 0)
    spread = np.zeros((marks, marks))
    if motion.free:
        spread[:-1, :-1] = motion.covariance[first_own:, first_own:]
    spacing, covariance = centring @ errors, centring @ spread @ centring.T
    if not motion.guess.hill.size:
        return None, spacing, covariance
    turned, turning = turned_hill(motion.guess.hill, motion.nominal - float(errors.mean()))
    change = np.zeros((turned.size, motion.covariance.shape[0]))
    change[:, 2 + motion.guess.drag.size : first_own] = turning
    if motion.free:
        orders = np.repeat(np.arange(1, turned.size // 2 + 1), 2)
        swapped = turned.reshape(-1, 2)[:, ::-1] * np.array([1.0, -1.0])
        change[:, first_own:] = (orders * swapped.ravel())[:, None] / marks
    return Hill(turned[0::2], turned[1::2], change @ motion.covariance @ change.T), spacing, covariance
