"""A wheel that keeps its speed or gains: no rundown, but speeds at two ends and the time between them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from truerun.errors import FitImpossible
from truerun.findings.catalogue import finding
from truerun.findings.finding import Finding
from truerun.motion.clocks import ordered_passes
from truerun.motion.free_part import turn_rates
from truerun.motion.numbering import number_passes
from truerun.motion.track_angles import MOST_TURNS, growing_angles
from truerun.motion.track_rows import first_of_each_time
from truerun.series import AngleTrack, Clock, Passes, Series, SpeedTable

__all__ = ["SustainedRun", "sustained_run"]

Array = NDArray[np.float64]

LEAST_TURNS = 8
"""Turns, or lines of a table of speeds, below which nothing is said."""

STILL_PUSHED = 5.0
"""A turn at the beginning that gains more than so many times as fast as any turn of the second half is the launch."""

FALLS = 0.01
"""A speed that falls by more than this share is that of a rundown."""

_SHAPES = 4
"""Coefficients of the smooth speed over time."""


@dataclass(frozen=True, slots=True, eq=False)
class SustainedRun:
    """A run whose speed does not fall.

    ``times`` (n,) from its first turn [s] and ``speeds`` (n,) [rad/s] are smooth; the speed is that of whole turns,
    or as read. ``findings`` say what was noticed.
    """

    times: Array
    speeds: Array
    findings: tuple[Finding, ...]

    @property
    def speed_first(self) -> float:
        """Speed at the beginning [rad/s]."""
        return float(self.speeds[0])

    @property
    def speed_last(self) -> float:
        """Speed at the end [rad/s]."""
        return float(self.speeds[-1])

    @property
    def speed_low(self) -> float:
        """Lowest speed [rad/s]."""
        return float(self.speeds.min())

    @property
    def speed_high(self) -> float:
        """Highest speed [rad/s]."""
        return float(self.speeds.max())

    @property
    def duration(self) -> float:
        """Time between the ends [s]."""
        return float(self.times[-1] - self.times[0])

    def drag(self, speeds: Array) -> Array:
        """Give the specific drag: what slowed the wheel where it passed a speed, less than 0 where it gained.

        Parameters
        ----------
        speeds : array, shape (k,)
            [rad/s].

        Returns
        -------
        array, shape (k,)
            The mean deceleration of the run at speeds it passed [rad/s^2], NaN elsewhere.
        """
        mean = (self.speed_first - self.speed_last) / self.duration
        inside = (speeds >= self.speed_low) & (speeds <= self.speed_high)
        return np.where(inside, mean, np.nan)


def sustained_run(series: Series, marks: int | None) -> SustainedRun | None:
    """Read a recording of a wheel that keeps its speed or gains.

    Parameters
    ----------
    series : Passes, SpeedTable or AngleTrack
    marks : int or None
        Marks a turn, for passes.

    Returns
    -------
    SustainedRun or None
        None where the speed falls on the whole, or the recording is too short to tell.

    Notes
    -----
    Speeds of whole turns (between two passes of the same mark) at the middle of each; a Chebyshev series of four
    terms over time smooths them. Turns at the beginning that gain five times as fast as any turn of the second half
    are taken for the launch and left out. A wheel that gains by itself and one that somebody still pushes look alike
    in a recording: that is said.

    Examples
    --------
    >>> passes = Passes(100 * (np.sqrt(1 + np.arange(60) / 100) - 1))  # the speed rises evenly
    >>> found = sustained_run(passes, 1)
    >>> found is not None and round((found.speed_last - found.speed_first) / found.duration, 5)
    0.12566
    """
    seen = _speeds(series, marks)
    if seen is None:
        return None
    times, speeds = _after_launch(*seen)
    if times.size < LEAST_TURNS:
        return None
    shape = np.polynomial.Chebyshev.fit(times, speeds, _SHAPES - 1)
    smooth = np.asarray(shape(times), dtype=np.float64)
    if smooth[-1] < (1 - FALLS) * smooth[0] or smooth.min() <= 0:
        return None
    left = seen[0].size - times.size
    launch = () if not left else (finding("launch-left-out", turns=str(left)),)
    rises = finding("speed-sustained", first=f"{smooth[0]:.4g}", last=f"{smooth[-1]:.4g}")
    return SustainedRun(times - times[0], smooth, (*launch, rises))


def _speeds(series: Series, marks: int | None) -> tuple[Array, Array] | None:
    """Give times [s] and speeds [rad/s], from whole turns where there are passes."""
    if isinstance(series, SpeedTable):
        return _of_table(series)
    if isinstance(series, AngleTrack):
        return _of_angles(series)
    return _of_passes(series, marks) if isinstance(series, Passes) else None


def _of_passes(series: Passes, marks: int | None) -> tuple[Array, Array] | None:
    """Give the speeds of whole turns between passes of the same mark."""
    many = 1 if marks is None and series.timing.clock is Clock.HAND else marks
    if many is None or series.times.size <= LEAST_TURNS * many:
        return None
    try:
        raw = ordered_passes(series, many)
    except FitImpossible:
        return None
    if raw.times.size <= LEAST_TURNS * many:
        return None
    numbered = number_passes(raw.times, many)
    times = raw.times[numbered.index]
    first, last, rates = turn_rates(times, numbered.counts, many)
    if rates.size < LEAST_TURNS:
        return None
    return (times[first] + times[last]) / 2, 2 * np.pi * np.sqrt(rates)


def _of_table(series: SpeedTable) -> tuple[Array, Array] | None:
    """Give the speeds of a table, the first of each time, positive in the direction of travel."""
    rows = first_of_each_time(series.times)
    if rows.size < LEAST_TURNS or (np.diff(series.times) < 0).any():
        return None
    speeds = series.speeds[rows]
    return series.times[rows], np.sign(np.median(speeds)) * speeds


def _of_angles(series: AngleTrack) -> tuple[Array, Array] | None:
    """Give the speeds of whole turns of a track of angles."""
    try:
        angles, _ = growing_angles(series)
    except FitImpossible:
        return None
    if (np.diff(angles) <= 0).any() or angles[-1] - angles[0] > 2 * np.pi * MOST_TURNS:
        return None
    turns = np.arange(angles[0], angles[-1], 2 * np.pi)
    at = np.interp(turns, angles, series.times)
    return ((at[1:] + at[:-1]) / 2, 2 * np.pi / np.diff(at)) if turns.size > LEAST_TURNS else None


def _after_launch(times: Array, speeds: Array) -> tuple[Array, Array]:
    """Leave out turns at the beginning in which the wheel was still being launched."""
    gains = np.diff(speeds) / np.maximum(np.diff(times), np.finfo(float).tiny)
    later = np.abs(gains[gains.size // 2 :])
    if not later.size:
        return times, speeds
    most = STILL_PUSHED * float(later.max())
    begun = next((place for place, gain in enumerate(gains[: gains.size // 2]) if gain <= most), 0)
    return times[begun:], speeds[begun:]
