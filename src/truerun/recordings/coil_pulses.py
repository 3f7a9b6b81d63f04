"""Passes of magnets past a coil: a pulse goes one way, through zero, and the other way, the higher the faster."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from truerun.errors import FitImpossible
from truerun.series import Passes

__all__ = ["detect_zero_crossings", "goes_both_ways"]

LOOKED_AT = 200_000  # samples from which the level at rest and the noise are told
WINDOWS = 64  # of the signal, for a drift of its level at rest
EVEN = 0.4  # the smaller swing over the larger one; less is a pulse to one side
CLEAR = 3.0  # how far beyond the unrest between pulses one must go, in its standard deviations
LEAST = 0.01  # the least swing that counts, in parts of the largest one


def goes_both_ways(values: NDArray[np.floating]) -> bool:
    """Whether a signal rests in the middle and its pulses go to both sides alike.

    Parameters
    ----------
    values : array, shape (n,)
        Samples [V].

    Returns
    -------
    bool

    Examples
    --------
    >>> coil, light = [0, 0, 0, 0, 1, 2, -2, -1, 0, 0, 0, 0], [0, 0, 0, 1, 2, 1, 0, 0]
    >>> goes_both_ways(np.array(coil)), goes_both_ways(np.array(light))
    (True, False)
    """
    chosen = values[:: max(1, values.size // LOOKED_AT)]
    rest = float(np.median(chosen))
    up, down = float(chosen.max()) - rest, rest - float(chosen.min())
    at_rest = np.mean(np.abs(chosen - rest) < (up + down) / 8) > 0.5
    return bool(at_rest) and min(up, down) > EVEN * max(up, down)


def detect_zero_crossings(values: NDArray[np.floating], start: float, step: float) -> Passes:
    """Find the passes of magnets where their pulses go through zero.

    Parameters
    ----------
    values : array, shape (n,)
        Samples at equal steps [V], either side first.
    start : float
        Time of the first sample [s].
    step : float
        From sample to sample [s].

    Returns
    -------
    Passes
        At the zero in the middle of a pulse, which does not move with its height as a set level would.

    Raises
    ------
    FitImpossible
        If fewer than two magnets pass.

    Notes
    -----
    A pulse swings beyond a level on one side and then on the other. The level is three standard deviations of what
    the signal does between pulses (noise and hum, from the median of its magnitude, and twice that of the noise
    alone), and at least 1 % of the largest swing. Which side comes first is told by time: inside a pulse the signal
    changes sides faster than from one pulse to the next. The time is where a straight line between samples goes
    through zero, the mean of the first and the last place where noise makes several. Medians of 64 windows, joined
    by straight lines, are subtracted first. Valid where pulses take up less than half of the time.

    Examples
    --------
    >>> pulse = [*[0.0] * 20, 1.0, 3.0, -1.0, -2.0, *[0.0] * 20]
    >>> detect_zero_crossings(np.tile(pulse, 3), 0.0, 1.0).times
    array([ 21.75,  65.75, 109.75])
    """
    flat = _without_drift(values)
    level = _level(flat)
    sides = np.flatnonzero(np.abs(flat) >= level)
    changes = np.flatnonzero(np.diff(np.sign(flat[sides])) != 0)
    before, after = sides[changes], sides[changes + 1]
    downward = flat[before] > 0
    inside = _quicker(after - before, downward)
    before, after, sign = before[inside], after[inside], 1.0 if downward[inside].any() else -1.0
    if before.size < 2:
        raise FitImpossible(
            f"{before.size} pulses go to both sides by more than {level:.3g}. Record with the coil nearer to the "
            "magnets, or with a larger signal."
        )
    above = sign * flat > 0
    through = np.flatnonzero(above[:-1] & ~above[1:])
    first = _zero(flat, through[np.searchsorted(through, before, side="left")])
    last = _zero(flat, through[np.searchsorted(through, after, side="left") - 1])
    return Passes(start + step * (first + last) / 2)


def _without_drift(values: NDArray[np.floating]) -> NDArray[np.floating]:
    """Signal less its level at rest, which may wander."""
    size = values.size // WINDOWS
    if size < 100:  # too few for medians of windows
        return np.asarray(values - np.median(values))
    medians = np.array([np.median(values[i * size : (i + 1) * size]) for i in range(WINDOWS)])
    centres = (np.arange(WINDOWS) + 0.5) * size
    flat = values.copy()
    for i in range(0, values.size, LOOKED_AT):
        stretch = flat[i : i + LOOKED_AT]
        stretch -= np.interp(np.arange(i, i + stretch.size), centres, medians).astype(stretch.dtype)
    return flat


def _level(flat: NDArray[np.floating]) -> float:
    """Swing that noise and hum between pulses do not reach."""
    chosen = np.abs(flat[:: max(1, flat.size // LOOKED_AT)])
    bends = np.abs(np.diff(flat[:LOOKED_AT].astype(np.float64), 2))
    # 1.4826 makes a standard deviation of a median of magnitudes, sqrt(6) is that of 1, -2, 1
    unrest, noise = 1.4826 * float(np.median(chosen)), 1.4826 * float(np.median(bends)) / 6**0.5
    return max(CLEAR * unrest, 2 * CLEAR * noise, LEAST * float(chosen.max()))


def _quicker(gaps: NDArray[np.intp], downward: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Choose the direction in which the signal changes sides inside a pulse."""
    if downward.all() or not downward.any():
        return np.ones(gaps.size, dtype=np.bool_)
    chosen: NDArray[np.bool_] = downward == (np.median(gaps[downward]) <= np.median(gaps[~downward]))
    return chosen


def _zero(flat: NDArray[np.floating], before: NDArray[np.intp]) -> NDArray[np.float64]:
    """Place of the zero behind a sample, in steps."""
    here, there = flat[before].astype(np.float64), flat[before + 1].astype(np.float64)
    return np.asarray(before + here / (here - there))
