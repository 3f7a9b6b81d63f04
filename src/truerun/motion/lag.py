"""Delays of the sensor, in seconds, beside errors of the marks' places, in radians.

A mark that sits d radians too far shifts its times by d/speed; a sensor that is late by s seconds shifts them by s at
any speed. Over a range of speeds the two can be told apart, but for a delay that all marks share: that is a later
start, and changes nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from truerun.errors import FitImpossible, ValueOutOfRange
from truerun.motion.frame import in_marks
from truerun.motion.prediction import time_slopes
from truerun.motion.rundown import Rundown

__all__ = [
    "DelayFit",
    "coupling_shift",
    "delays_seen",
    "fit_with_delays",
    "fit_with_lag",
    "pass_speeds",
    "slowest_usable_speed",
]

Fit = Callable[[NDArray[np.float64]], Rundown]

MOST = 1e6
ROUNDS = 20
ENOUGH = 0.01
ROUNDING = 1e-12
WEAKEST = 1e-12


def coupling_shift(speed: NDArray[np.float64] | float, corner: float, width: float) -> NDArray[np.float64]:
    r"""Shift of the zero crossing of a coil's pulse behind an input that holds back slow signals.

    Parameters
    ----------
    speed : float or array
        Of the rotor, positive [rad/s].
    corner : float
        Corner frequency of the input's first-order coupling, -3 dB [Hz].
    width : float
        Half width of the pulse: the angle from the zero crossing to either peak [rad].

    Returns
    -------
    array
        Registered less true time, in the shape of the speed [s]. Negative: a coupling capacitor leads, the crossing
        is registered too early.

    Raises
    ------
    ValueOutOfRange
        If one of the three is not positive, or as large as no coil has it.

    Notes
    -----
    The flux through the coil is taken as exp(-x^2/2), x = angle/width, the voltage as its rate -x exp(-x^2/2). With
    r = 2 pi corner width/speed the coupled voltage is zero where

    .. math:: x + r = r^2 \sqrt{\pi/2}\, \mathrm{erfcx}((r - x)/\sqrt 2)

    For fast rotors the shift is -2 pi corner (width/speed)^2. For 5 Hz and a half width of 0.1 rad it is .3 ms at
    30 rad/s, 2.3 ms at 10 and 74 ms at 1.

    References
    ----------
    Own derivation: convolution of the pulse with the step response of a first-order high pass, integrated by parts.

    Examples
    --------
    >>> (1e3 * coupling_shift(np.array([30.0, 10.0, 1.0]), 5.0, 0.1)).round(1)
    array([ -0.3,  -2.3, -74.4])
    """
    from scipy.special import erfcx  # noqa: PLC0415  a tenth of a second, and only coils need it

    turning = np.asarray(speed, dtype=np.float64)
    for name, value in (("speed", turning.min()), ("corner frequency", corner), ("half width of the pulse", width)):
        if not 0 < value < MOST:
            raise ValueOutOfRange(name, f"{value:g}", f"positive and below {MOST:g}")
    ratio = 2 * np.pi * corner * width / turning
    place = -ratio / (1 + ratio)
    for _ in range(6):
        tail = erfcx((ratio - place) / np.sqrt(2))
        gap = place + ratio - ratio**2 * np.sqrt(np.pi / 2) * tail
        # erfcx'(z) = 2 z erfcx(z) - 2/sqrt(pi)
        rise = 1 + ratio**2 * (np.sqrt(np.pi / 2) * (ratio - place) * tail - 1)
        place = place - gap / rise
    return np.asarray(place * width / turning)


def slowest_usable_speed(corner: float, width: float, most: float = 0.2) -> float:
    """Speed below which the coupling shifts a crossing by more than a share of the pulse's half width.

    Parameters
    ----------
    corner, width : float
        As for :func:`coupling_shift` [Hz, rad].
    most : float
        Shift allowed, as a share of the half width.

    Returns
    -------
    float
        [rad/s]. Beyond it the correction leans on the shape of the pulse.

    Examples
    --------
    >>> round(slowest_usable_speed(5.0, 0.1), 1)
    12.0
    """
    speeds = np.geomspace(1e-2, 1e2, 2001) * 2 * np.pi * corner * width
    shares = -coupling_shift(speeds, corner, width) * speeds / width
    return float(np.interp(-most, -shares, speeds))


def pass_speeds(rundown: Rundown) -> NDArray[np.float64]:
    """Speeds at which the marks passed, as fitted.

    Parameters
    ----------
    rundown : Rundown

    Returns
    -------
    array, shape (n,)
        [rad/s].
    """
    motion = rundown.motion
    _, slowness = time_slopes(motion.prediction, np.arange(motion.grid.turns))
    speeds: NDArray[np.float64] = 1 / slowness[motion.grid.rows, motion.grid.columns]
    return speeds


def fit_with_lag(
    fit: Fit, times: NDArray[np.float64], lag: Callable[[NDArray[np.float64]], NDArray[np.float64]]
) -> Rundown:
    """Fit a rundown whose sensor is late by a known amount that depends on speed.

    Parameters
    ----------
    fit : function
        From pass times to a rundown, such as a partial of :func:`truerun.motion.choice.choose_rundown`.
    times : array, shape (n,)
        As registered [s].
    lag : function
        Registered less true time [s] at speeds [rad/s].

    Returns
    -------
    Rundown
        Of the corrected times.

    Raises
    ------
    FitImpossible
        If times and speeds do not settle: the lag is as large as what it is measured against.

    Notes
    -----
    True time = registered time - lag(speed at that pass), the speed from the fit before; repeated until no time moves
    by more than a hundredth of its standard uncertainty. The lag is taken as known exactly. Left in, the shift of
    :func:`coupling_shift` (5 Hz, 0.1 rad; 20 to 2 rad/s in 50 turns) makes drag .08 % too small at 2.5 rad/s and
    .01 % at 15, the third harmonic of a hill at half of capture 5 % too large, and 15 to 4 rad/s .02 % too long.
    """
    moved = np.zeros_like(times)
    for _ in range(ROUNDS):
        rundown = fit(times - moved)
        wanted = lag(pass_speeds(rundown))
        change = float(np.ptp(wanted - moved))
        if change <= ENOUGH * rundown.sigma + ROUNDING * float(np.ptp(times)):
            return rundown
        moved = wanted
    raise FitImpossible(
        f"The sensor's lag does not settle: after {ROUNDS} rounds times still move by {change:.2g} s. Cut off the "
        "slowest turns, where the lag is largest."
    )


@dataclass(frozen=True, slots=True)
class DelayFit:
    """A rundown with a delay for each mark.

    ``delays`` (m,) are in seconds with sum 0, since a delay that all marks share cannot be seen, ``covariance``
    (m, m) [s^2] theirs. ``rundown`` is the fit of the times less delays; its covariances hold what the delays cost.
    ``moved`` (n,) is the delay of each pass [s].
    """

    rundown: Rundown
    delays: NDArray[np.float64]
    covariance: NDArray[np.float64]
    moved: NDArray[np.float64]


def delays_seen(rundown: Rundown) -> bool:
    """Tell whether the marks of a fitted rundown are registered late by times of their own.

    Parameters
    ----------
    rundown : Rundown
        With two marks or more.

    Returns
    -------
    bool
        Where the chi-squared of the delays' first step is above log(n) for each of them; False where the speeds do
        not tell them from errors of the marks' places.

    Notes
    -----
    By residuals of all parameters and delays together; a drag that drifts makes them larger, and the test careful.
    """
    try:
        step, covariance = _joint_step(rundown)
    except FitImpossible:
        return False
    inner = covariance[-step.size :, -step.size :]
    return float(step @ np.linalg.solve(inner, step)) > step.size * float(np.log(rundown.passes))


def fit_with_delays(fit: Fit, times: NDArray[np.float64]) -> DelayFit:
    """Fit a rundown in which each mark may be registered late by its own constant time.

    Parameters
    ----------
    fit : function
        From pass times to a rundown without drift, such as a partial of :func:`truerun.motion.fit.fit_rundown`.
    times : array, shape (n,)
        As registered [s].

    Returns
    -------
    DelayFit

    Raises
    ------
    FitImpossible
        If the speeds do not tell delays from errors of the marks' places, or there is one mark only.

    Notes
    -----
    For video rows that are read one after the other: the mark that stands higher is registered earlier, by the same
    time at any speed. Each round takes the Gauss-Newton step of all parameters and delays together, moves the times
    by the delays and fits again.
    """
    moved = np.zeros_like(times)
    for _ in range(ROUNDS):
        rundown = fit(times - moved)
        step, covariance = _joint_step(rundown)
        delays = step @ _of_marks(rundown).T
        moved = moved + delays[_marks_of(rundown)]
        if np.abs(delays).max() <= ENOUGH * float(np.sqrt(np.diag(covariance)[-step.size :].min())):
            return _delay_fit(fit(times - moved), moved, covariance)
    raise FitImpossible(
        f"The delays of the marks do not settle in {ROUNDS} rounds. Record over a wider range of speeds, or "
        "fit without."
    )


def _marks_of(rundown: Rundown) -> NDArray[np.intp]:
    """Mark of each pass."""
    grid = rundown.motion.grid
    return np.asarray((grid.reference + 1 + grid.columns) % grid.marks, dtype=np.intp)


def _of_marks(rundown: Rundown) -> NDArray[np.float64]:
    """Matrix from the delays of the columns before the reference mark to those of all marks, with sum 0."""
    grid = rundown.motion.grid
    centring = np.zeros((grid.marks, grid.marks))
    centring[(grid.reference + 1 + np.arange(grid.marks)) % grid.marks] = np.eye(grid.marks) - 1 / grid.marks
    return centring[:, :-1]


def _joint_step(rundown: Rundown) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Step of the delays, and the covariance of shared parameters, spacing errors and delays together."""
    motion = rundown.motion
    grid = motion.grid
    if grid.marks < 2:
        raise FitImpossible("With one mark a delay in seconds is a later start; there is nothing to fit.")
    slopes, slowness = time_slopes(motion.prediction, np.arange(grid.turns))
    each = np.eye(grid.marks)[:, :-1]
    own = slowness[:, :, None] * each if motion.free else slopes[..., :0]
    late = np.broadcast_to(each, (grid.turns, *each.shape))
    used = grid.weights[grid.rows, grid.columns]
    columns = np.concatenate([slopes, own, late], axis=2)[grid.rows, grid.columns] * used[:, None]
    scale = np.sqrt((columns**2).sum(axis=0))
    left, size, right = np.linalg.svd(columns / scale, full_matrices=False)
    if size[-1] < np.sqrt(WEAKEST) * size[0]:
        raise FitImpossible(
            "The speeds of this recording do not tell delays from errors of the marks' places. "
            "Record over a wider range of speeds."
        )
    unit = 1.0 if rundown.misfit is not None else rundown.sigma**2
    whole = (right.T / size) / scale[:, None]
    step = whole @ (left.T @ (rundown.residuals * used))
    return step[-each.shape[1] :], unit * whole @ whole.T


def _delay_fit(rundown: Rundown, moved: NDArray[np.float64], covariance: NDArray[np.float64]) -> DelayFit:
    """Write the joint covariance into the record."""
    motion = rundown.motion
    of_marks, marks = _of_marks(rundown), motion.grid.marks
    delays = np.zeros(marks)
    delays[_marks_of(rundown)] = moved
    inner = covariance[: 1 - marks, : 1 - marks]
    wider = replace(motion, covariance=inner, late=inner - motion.covariance)
    hill, spacing, spread = in_marks(wider)
    drags = slice(2, 2 + rundown.drag.weights.size)
    drag = replace(rundown.drag, covariance=inner[drags, drags], reading=inner[drags, drags])
    told = replace(rundown, motion=wider, drag=drag, hill=hill, spacing=spacing, spacing_covariance=spread)
    return DelayFit(told, delays, of_marks @ covariance[1 - marks :, 1 - marks :] @ of_marks.T, moved)
