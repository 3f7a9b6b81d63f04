"""A virtual bench: what is true of a wheel, its source, its scatter and the watch it is timed with."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from truerun.errors import ValueOutOfRange
from truerun.virtual.noise import Drift, standard_normal

__all__ = ["HAND_WATCH", "SENSOR_WATCH", "Bench", "Watch", "read_watch", "simulate_taps", "true_times"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Watch:
    """What times a run.

    ``reading_error`` is the standard deviation of start and stop together [s], ``resolution`` the step of the last
    digit [s], None where every digit is kept.
    """

    reading_error: float
    resolution: float | None


HAND_WATCH = Watch(reading_error=0.10, resolution=0.01)
"""A stopwatch in the hand; .10 s for start and stop together is common practice, no source."""

SENSOR_WATCH = Watch(reading_error=0.0, resolution=0.001)
"""Start and stop by a sensor, read to a millisecond."""


@dataclass(frozen=True, slots=True)
class Bench:
    """The truth about a bench.

    ``mean_time`` is the time over the window with the control, without drift or scatter [s]; ``drive_fraction`` is
    D = 1 - T_control / T_source, at 1 or more a source run never ends. ``spread`` is the run-to-run standard
    deviation of ln T with the control, ``spread_ratio`` times that with the source. ``drifts`` are added to ln T
    of both. ``time_limit`` is when an unfinished run is broken off [s], None for never.
    """

    mean_time: float = 60.0
    drive_fraction: float = 0.0
    spread: float = 0.02
    spread_ratio: float = 1.0
    drifts: tuple[Drift, ...] = ()
    watch: Watch = HAND_WATCH
    time_limit: float | None = None

    def __post_init__(self) -> None:
        """Check what would make times meaningless."""
        if not self.mean_time > 0:
            raise ValueOutOfRange("The mean time", f"{self.mean_time:g} s", "positive")
        if self.spread < 0 or self.spread_ratio < 0:
            raise ValueOutOfRange("The spread", f"{self.spread:g} times {self.spread_ratio:g}", "0 or more")
        if self.drive_fraction >= 1 and self.time_limit is None:
            raise ValueOutOfRange(
                "The time limit", "none", "given where the source runs by itself", "State when a run is broken off."
            )


def true_times(bench: Bench, orders: NDArray[np.int8], rng: np.random.Generator) -> Array:
    """Give the times that the wheel really takes, before a watch or a limit.

    Parameters
    ----------
    bench : Bench
        The truth.
    orders : array of +1 (source) and -1 (control), shape (n,) or (repetitions, n)
        The condition in each slot.
    rng : numpy.random.Generator
        Source of the scatter.

    Returns
    -------
    array, shape of ``orders``
        [s], infinite where a run never ends.

    Notes
    -----
    ln T = ln(mean time) + [source] (-ln(1 - D)) + drift + scatter: a source changes the time by a factor.

    Examples
    --------
    >>> still = Bench(mean_time=60.0, drive_fraction=0.25, spread=0.0)
    >>> true_times(still, np.array([1, -1], dtype=np.int8), np.random.default_rng(1)).round(6).tolist()
    [80.0, 60.0]
    """
    rows = np.atleast_2d(orders)
    source = rows > 0
    gain = np.inf if bench.drive_fraction >= 1 else -np.log1p(-bench.drive_fraction)
    scatter = bench.spread * np.where(source, bench.spread_ratio, 1.0)
    log_time = np.log(bench.mean_time) + np.where(source, gain, 0.0) + scatter * standard_normal(rng, rows.shape)
    for drift in bench.drifts:
        log_time = log_time + drift.draw(rng, *rows.shape)
    return np.asarray(np.exp(log_time).reshape(orders.shape))


def read_watch(times: Array, watch: Watch, rng: np.random.Generator) -> Array:
    """Give the times as they are read off a watch.

    Parameters
    ----------
    times : array, any shape
        True times [s].
    watch : Watch
        Reading error and resolution.
    rng : numpy.random.Generator
        Source of the reading error.

    Returns
    -------
    array of the same shape
        Rounded to the resolution, never less than one step of it [s].

    Examples
    --------
    >>> read_watch(np.array([60.04, 61.26]), Watch(0.0, 0.1), np.random.default_rng(1)).tolist()
    [60.0, 61.3]
    """
    read = times + watch.reading_error * standard_normal(rng, times.shape) if watch.reading_error else times
    if watch.resolution is None:
        return np.asarray(read)
    steps = np.maximum(np.rint(read / watch.resolution), 1.0)
    decimals = max(0, int(np.ceil(-np.log10(watch.resolution) - 1e-9)) + 2)
    return np.asarray(np.round(steps * watch.resolution, decimals))


def simulate_taps(
    passes: Array, rng: np.random.Generator, scatter: float = 0.07, resolution: float = 0.01, missed: float = 0.0
) -> Array:
    """Tap a stopwatch at every pass of one mark.

    Parameters
    ----------
    passes : array, shape (n,)
        True times of the passes, rising [s].
    rng : numpy.random.Generator
        Source of the scatter.
    scatter : float
        Standard deviation of one tap [s].
    resolution : float
        Step of the last digit [s].
    missed : float
        Chance that a pass is not tapped, 0 to 1.

    Returns
    -------
    array, shape (n,) or shorter
        Times of the taps, rising: two taps never share a digit [s].

    Examples
    --------
    >>> simulate_taps(np.array([1.0, 2.0, 3.5]), np.random.default_rng(1)).tolist()
    [1.0, 2.12, 3.43]
    """
    tapped = passes[rng.random(passes.shape) >= missed] if missed else passes
    steps = np.rint((tapped + scatter * standard_normal(rng, tapped.shape)) / resolution)
    count = np.arange(len(steps))
    rising = np.maximum.accumulate(steps - count) + count  # a finger cannot tap before its last tap
    return np.asarray(np.round(rising * resolution, 9))
