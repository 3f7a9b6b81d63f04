"""Passes of marks in a sampled signal: two levels, a hysteresis between them, crossings between samples."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from truerun.errors import FitImpossible
from truerun.series import Passes, Timing

__all__ = ["Levels", "detect_crossings", "find_levels"]

LOOKED_AT = 200_000  # samples from which the level at rest and the noise are told
WINDOWS = 64  # of the signal, for a drift of its level at rest
LEAST_FOR_DRIFT = 20 * WINDOWS  # samples
CLEAREST = 6.0  # the step between the levels in standard deviations of the noise; less is no two levels
NARROWEST, WIDEST = 0.1, 0.3  # half-width of the hysteresis in parts of the step
SHARP = 0.9  # an edge that makes this part of the step between two samples has no samples on it
NO_LEVELS = (
    "The signal does not go back and forth between two levels: {found}. "
    "Record with the sensor nearer to the marks, or with a larger signal."
)


@dataclass(frozen=True, slots=True)
class Levels:
    """Two levels of a signal: where it rests, where the marks bring it, and the standard deviation of its noise."""

    rest: float
    mark: float
    noise: float

    @property
    def step(self) -> float:
        """From rest to mark, negative for marks that pull the signal down."""
        return self.mark - self.rest

    @property
    def half_width(self) -> float:
        """Half-width of the hysteresis: three standard deviations of noise, within a tenth and three of the step."""
        size = abs(self.step)
        return min(max(3 * self.noise, NARROWEST * size), WIDEST * size)


def find_levels(values: NDArray[np.floating]) -> Levels:
    """Level at rest and level of the marks.

    Parameters
    ----------
    values : array, shape (n,)
        Samples [V], without drift.

    Returns
    -------
    Levels

    Raises
    ------
    FitImpossible
        If the step between the levels is less than 6 standard deviations of the noise.

    Notes
    -----
    A running median of three takes out single odd samples. The samples are parted halfway between the lowest and the
    highest of them, and once more halfway between the medians of both parts; those medians are the levels. The
    signal rests on the upper one if less than 4 samples in 10 are below. Where most samples are near the middle
    (a coil, whose pulses go up and down), the median is the level at rest, and the marks are the pulses upward.
    The noise is told by second differences, which a slow change does not reach.

    Examples
    --------
    >>> find_levels(np.tile([0.0, 0.0, 0.0, 0.0, 0.0, 5.0, 5.0], 9))
    Levels(rest=0.0, mark=5.0, noise=0.0)
    """
    if values.size < 3:
        raise FitImpossible(NO_LEVELS.format(found=f"it has {values.size} samples"))
    chosen, lowest, highest = _smoothed(values)
    middle = (lowest + highest) / 2
    if np.mean(np.abs(chosen - middle) < (highest - lowest) / 8) > 0.5:
        rest = float(np.median(chosen))
        mark = _median(chosen[chosen > (rest + highest) / 2], highest)
    else:
        rest, mark = _two_medians(chosen, lowest, highest)
    noise = _noise(values, rest, abs(mark - rest))
    if abs(mark - rest) <= CLEAREST * noise or mark == rest:
        found = f"it departs by {abs(mark - rest):.3g} from {rest:.3g}, with a noise of {noise:.2g}"
        raise FitImpossible(NO_LEVELS.format(found=found))
    return Levels(rest, mark, noise)


def _smoothed(values: NDArray[np.floating]) -> tuple[NDArray[np.floating], float, float]:
    """Give some of the middle ones of every three samples in a row, and the lowest and highest of them all."""
    every = max(1, values.size // LOOKED_AT)
    kept, lowest, highest = [], np.inf, -np.inf
    for i in range(0, values.size - 2, LOOKED_AT):
        stretch = values[i : i + LOOKED_AT + 2]
        low, high = np.minimum(stretch[:-2], stretch[1:-1]), np.maximum(stretch[:-2], stretch[1:-1])
        middle = np.maximum(low, np.minimum(high, stretch[2:]))
        kept.append(middle[::every])
        lowest, highest = min(lowest, float(middle.min())), max(highest, float(middle.max()))
    return np.concatenate(kept), lowest, highest


def _two_medians(chosen: NDArray[np.floating], lowest: float, highest: float) -> tuple[float, float]:
    """Level at rest and level of the marks of a signal that keeps to two levels."""
    low, high = lowest, highest
    for _ in range(2):
        below = chosen < (low + high) / 2
        low, high = _median(chosen[below], lowest), _median(chosen[~below], highest)
    return (low, high) if np.mean(chosen < (low + high) / 2) >= 0.4 else (high, low)


def _median(values: NDArray[np.floating], otherwise: float) -> float:
    """Median, or another number where there are no values."""
    return float(np.median(values)) if values.size else otherwise


def _noise(values: NDArray[np.floating], rest: float, size: float) -> float:
    """Give the standard deviation of white noise near the level at rest, by second differences."""
    whole = values[: max(3, LOOKED_AT)].astype(np.float64)
    if values.size > 4 * LOOKED_AT:
        starts = np.linspace(0, values.size - LOOKED_AT // 20, 20).astype(np.intp)
        whole = np.concatenate([values[i : i + LOOKED_AT // 20] for i in starts]).astype(np.float64)
    near = np.abs(whole - rest) < max(size, 1e-300)
    bend = np.diff(whole, 2)[near[:-2] & near[1:-1] & near[2:]]
    # 1.4826 makes a standard deviation of a median of magnitudes, sqrt(6) is that of 1, -2, 1
    return float(1.4826 * np.median(np.abs(bend)) / np.sqrt(6.0)) if bend.size else 0.0


def detect_crossings(values: NDArray[np.floating], start: float, step: float) -> Passes:
    """Find the passes of marks in a sampled signal.

    Parameters
    ----------
    values : array, shape (n,)
        Samples at equal steps [V]. Pulses may go up or down.
    start : float
        Time of the first sample [s].
    step : float
        From sample to sample [s].

    Returns
    -------
    Passes
        ``times`` where a mark comes, ``ends`` where it leaves (NaN where the signal ends before). A mark that was
        there at the start is left out.

    Raises
    ------
    FitImpossible
        If the signal has no two levels, or fewer than two marks pass.

    Notes
    -----
    A mark has come when the signal was below the lower and is above the upper of two thresholds, halfway between the
    levels (:func:`find_levels`) minus and plus the half-width of the hysteresis. Its time is where the straight line
    between two samples crosses halfway: the last such place before the upper threshold, and for the end the first
    after it. Where more than one sample in ten is far from both levels, the medians of 64 windows, joined by straight
    lines, are subtracted if that halves their number: so a level at rest may drift by many steps as long as each
    window is mostly at rest. Valid where a pulse lasts at least two samples and its edge is nearly
    straight over one step; on an edge without samples the time is uncertain by one step, which is then the
    ``resolution``.

    Examples
    --------
    >>> ramp = [0.0, 0.0, 0.0, 1.0, 4.0, 4.0, 4.0, 1.0, 0.0, 0.0]
    >>> passes = detect_crossings(np.tile(ramp, 3), 0.0, 0.3)
    >>> passes.times.round(6), passes.ends.round(6)
    (array([1., 4., 7.]), array([2., 5., 8.]))
    """
    levels, flat = _levelled(values)
    sign = 1.0 if levels.step > 0 else -1.0
    middle = levels.rest + levels.step / 2
    if sign < 0:
        flat, middle = -flat, -middle
    rises, falls = _edges(flat, middle, levels.half_width)
    if rises.size < 2:
        raise FitImpossible(NO_LEVELS.format(found=f"{rises.size} marks pass"))
    times = start + step * _between(flat, rises, middle)
    left = np.append(start + step * _between(flat, falls, middle), np.nan)
    ends = left[np.searchsorted(falls, rises, side="right")]
    jumps = np.abs(flat[rises + 1] - flat[rises]) >= SHARP * abs(levels.step)
    return Passes(times, ends=ends, timing=Timing(step if np.mean(jumps) > 0.5 else None))


def _levelled(values: NDArray[np.floating]) -> tuple[Levels, NDArray[np.floating]]:
    """Levels, and the signal without a drift of its level at rest where that keeps it nearer to two levels."""
    try:
        levels = find_levels(values)
        astray = _astray(values, levels)
    except FitImpossible:
        if values.size < LEAST_FOR_DRIFT:
            raise
        flat = _without_drift(values)
        return find_levels(flat), flat
    if astray < 0.1 or values.size < LEAST_FOR_DRIFT:
        return levels, values
    flat = _without_drift(values)
    try:
        others = find_levels(flat)
    except FitImpossible:
        return levels, values
    return (others, flat) if _astray(flat, others) < astray / 2 else (levels, values)


def _astray(values: NDArray[np.floating], levels: Levels) -> float:
    """Share of the samples that are more than a quarter of the step from both levels."""
    chosen = values[:: max(1, values.size // LOOKED_AT)]
    apart = np.minimum(np.abs(chosen - levels.rest), np.abs(chosen - levels.mark))
    return float(np.mean(apart > 0.25 * abs(levels.step)))


def _without_drift(values: NDArray[np.floating]) -> NDArray[np.floating]:
    """Signal minus the medians of windows, joined by straight lines."""
    size = values.size // WINDOWS
    parts = [values[i * size : (i + 1) * size] for i in range(WINDOWS)]
    medians = np.array([float(np.median(part[:: max(1, size // 4000)])) for part in parts])
    centres = (np.arange(WINDOWS, dtype=np.float64) + 0.5) * size
    flat = values.copy()
    for i in range(0, values.size, LOOKED_AT):
        stretch = flat[i : i + LOOKED_AT]
        stretch -= _joined(np.arange(i, i + stretch.size, dtype=np.float64), centres, medians).astype(stretch.dtype)
    return flat


def _joined(
    places: NDArray[np.float64], centres: NDArray[np.float64], medians: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Level at rest at any place: straight lines from window to window, going on beyond the outer ones."""
    level = np.interp(places, centres, medians)
    first = (medians[1] - medians[0]) / (centres[1] - centres[0])
    last = (medians[-1] - medians[-2]) / (centres[-1] - centres[-2])
    level += np.minimum(places - centres[0], 0.0) * first
    level += np.maximum(places - centres[-1], 0.0) * last
    return level


def _edges(flat: NDArray[np.floating], middle: float, half_width: float) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Find the samples just before the rises and the falls through the middle that reach the other threshold."""
    high, low = flat >= middle + half_width, flat <= middle - half_width
    up = np.flatnonzero(high[1:] & ~high[:-1]) + 1
    down = np.flatnonzero(low[1:] & ~low[:-1]) + 1
    places = np.concatenate((up, down))
    order = np.argsort(places, kind="stable")
    places, rising = places[order], (np.arange(places.size) < up.size)[order]
    began_high = bool(high[0]) if high[0] or low[0] else not rising[:1].all()
    changed = rising != np.concatenate(([began_high], rising[:-1]))
    reached_high, reached_low = places[changed & rising], places[changed & ~rising]
    above = flat >= middle
    upward = np.flatnonzero(~above[:-1] & above[1:])
    downward = np.flatnonzero(above[:-1] & ~above[1:])
    tops = np.flatnonzero(high[:-1] & ~high[1:])
    rises = upward[np.searchsorted(upward, reached_high, side="left") - 1]
    left_top = tops[np.searchsorted(tops, reached_low, side="left") - 1] if tops.size else reached_low[:0]
    falls = downward[np.searchsorted(downward, left_top, side="left")]
    return rises, falls


def _between(flat: NDArray[np.floating], before: NDArray[np.intp], middle: float) -> NDArray[np.float64]:
    """Place of the crossing behind a sample, in steps."""
    here, after = flat[before].astype(np.float64), flat[before + 1].astype(np.float64)
    return before + (middle - here) / (after - here)
