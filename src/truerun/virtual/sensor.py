"""What a sensor of passes makes of the true passes, with everything that can go wrong, and the truth beside it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from truerun.series import Clock, Passes, Timing
from truerun.virtual.course import Course, TruePasses, true_passes
from truerun.virtual.noise import standard_normal

__all__ = [
    "HAND",
    "Bounces",
    "Dirt",
    "FalseMark",
    "Jitter",
    "Missed",
    "SensorClock",
    "Strip",
    "Truth",
    "record_passes",
    "true_strip",
]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class SensorClock:
    """A clock and its faults.

    It runs ``ppm`` millionths fast, shows ``start`` at launch, starts again from 0 at ``wrap`` and, where it loses
    power, at the true time ``restart``; it counts in steps of ``resolution``. All [s]; None for a fault it has not.
    """

    resolution: float | None = None
    ppm: float = 0.0
    start: float = 0.0
    wrap: float | None = None
    restart: float | None = None
    kind: Clock = Clock.SENSOR

    def read(self, times: Array) -> Array:
        """Give what the clock shows at some times since launch [s].

        Examples
        --------
        >>> SensorClock(resolution=0.01, start=9.0, wrap=10.0).read(np.array([0.123, 1.5])).round(6).tolist()
        [9.12, 0.5]
        """
        since = np.asarray(times, dtype=np.float64) + self.start
        if self.restart is not None:
            since = np.where(times >= self.restart, times - self.restart, since)
        shown = since * (1 + 1e-6 * self.ppm)
        if self.wrap is not None:
            shown = shown % self.wrap
        return np.asarray(shown if self.resolution is None else np.floor(shown / self.resolution) * self.resolution)

    def timing(self) -> Timing:
        """Give what a reader may know of the clock."""
        return Timing(self.resolution, self.kind, self.wrap)


@dataclass(frozen=True, slots=True, eq=False)
class Truth:
    """What is true of each recorded pass.

    ``times`` (n,) are the true times since launch [s], ``places`` (n,) turn times marks plus mark, ``speeds`` (n,)
    signed [rad/s], ``real`` (n,) is false where nothing passed (a bounce, a scratch that looks like a mark):
    there the other arrays are those of the pass before it. ``missing`` are passes that were not recorded.
    ``breaks`` are the numbers of the passes at which the clock began again. ``free_from`` is when the wheel began to
    run freely [s].
    """

    times: Array
    places: NDArray[np.intp]
    speeds: Array
    real: NDArray[np.bool_]
    missing: TruePasses
    breaks: tuple[int, ...] = ()
    free_from: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Strip:
    """Events at a sensor, in order: ``times`` (n,) and, with both edges, ``ends`` (n,), by a perfect clock [s]."""

    times: Array
    ends: Array | None
    truth: Truth


class Dirt(Protocol):
    """Something that goes wrong at a sensor."""

    def spoil(self, strip: Strip, rng: np.random.Generator) -> Strip:
        """Give the strip with it."""


@dataclass(frozen=True, slots=True)
class Jitter:
    """Reading error of each edge, standard deviation ``sigma``, and a ``lag`` of every one [s]."""

    sigma: float
    lag: float = 0.0

    def spoil(self, strip: Strip, rng: np.random.Generator) -> Strip:
        """Move every edge."""
        times = strip.times + self.lag + self.sigma * standard_normal(rng, strip.times.shape)
        if strip.ends is None:
            return replace(strip, times=times)
        return replace(
            strip, times=times, ends=strip.ends + self.lag + self.sigma * standard_normal(rng, strip.ends.shape)
        )


@dataclass(frozen=True, slots=True)
class Missed:
    """Passes that are not seen: each with ``chance``, and those whose numbers in the strip are in ``at``."""

    chance: float = 0.0
    at: tuple[int, ...] = ()

    def spoil(self, strip: Strip, rng: np.random.Generator) -> Strip:
        """Take passes out."""
        gone = _chosen(strip, self.chance, self.at, rng)
        truth, before = strip.truth, strip.truth.missing
        lost = TruePasses(
            np.concatenate([before.times, truth.times[gone & truth.real]]),
            np.concatenate([before.places, truth.places[gone & truth.real]]),
            np.concatenate([before.speeds, truth.speeds[gone & truth.real]]),
        )
        kept = np.flatnonzero(~gone)
        return _picked(replace(strip, truth=replace(truth, missing=lost)), kept)


@dataclass(frozen=True, slots=True)
class Bounces:
    """A contact or comparator that fires again within ``delay`` [s]: with ``chance``, and after those in ``at``."""

    chance: float = 0.0
    delay: float = 3e-4
    at: tuple[int, ...] = ()

    def spoil(self, strip: Strip, rng: np.random.Generator) -> Strip:
        """Put false passes in."""
        first = np.flatnonzero(_chosen(strip, self.chance, self.at, rng))
        return _with_false(strip, first, self.delay * (0.2 + 0.8 * rng.random(first.size)))


@dataclass(frozen=True, slots=True)
class FalseMark:
    """A scratch ``angle`` [rad] behind mark number ``mark`` that the sensor takes for a mark, every turn."""

    mark: int
    angle: float
    marks: int

    def spoil(self, strip: Strip, rng: np.random.Generator) -> Strip:
        """Put a false pass in behind every pass of one mark."""
        del rng
        first = np.flatnonzero((strip.truth.places % self.marks == self.mark) & (strip.truth.speeds != 0))
        return _with_false(strip, first, self.angle / np.abs(strip.truth.speeds[first]))


HAND: tuple[Dirt, ...] = (Jitter(0.07),)
"""A finger on a stopwatch: .07 s from tap to tap is common practice, no source."""


def true_strip(course: Course, pulse: float | None = None) -> Strip:
    """Give the events at a sensor without any fault.

    Parameters
    ----------
    course : Course
        The true motion.
    pulse : float, optional
        Width of a mark [rad]: both edges are logged. None: the leading edge only.

    Returns
    -------
    Strip
        With both edges, a mark that stands at the sensor at launch or at rest is left out.
    """
    passes = true_passes(course)
    nothing = TruePasses(np.empty(0), np.empty(0, dtype=np.intp), np.empty(0))
    ends = None
    if pulse is not None:
        passes, ends = _both_edges(course, passes, pulse)
    real = np.ones(passes.times.size, dtype=np.bool_)
    truth = Truth(passes.times, passes.places, passes.speeds, real, nothing, free_from=course.free_from)
    return Strip(passes.times, ends, truth)


def _both_edges(course: Course, leading: TruePasses, pulse: float) -> tuple[TruePasses, Array]:
    """Pair the times at which marks come to the sensor with those at which they leave it, in either direction."""
    shifted = replace(course.rig, marks=tuple(mark + pulse for mark in course.rig.marks))
    trailing = true_passes(replace(course, rig=shifted))
    times, places, speeds = (
        np.concatenate([getattr(edge, name) for edge in (leading, trailing)]) for name in ("times", "places", "speeds")
    )
    comes = (speeds > 0) == (np.arange(times.size) < leading.times.size)
    order = np.argsort(times, kind="stable")
    come, leave = order[comes[order]], order[~comes[order]]
    if come.size and leave.size and times[leave[0]] < times[come[0]]:
        leave = leave[1:]
    pairs = min(come.size, leave.size)
    come, leave = come[:pairs], leave[:pairs]
    return TruePasses(times[come], np.asarray(places[come], dtype=np.intp), speeds[come]), times[leave]


def _chosen(strip: Strip, chance: float, at: tuple[int, ...], rng: np.random.Generator) -> NDArray[np.bool_]:
    """Choose events by chance and by number."""
    chosen = rng.random(strip.times.size) < chance
    chosen[list(at)] = True
    return chosen


def _picked(strip: Strip, rows: NDArray[np.intp]) -> Strip:
    """Give some events, in the order asked for."""
    truth = strip.truth
    return Strip(
        strip.times[rows],
        None if strip.ends is None else strip.ends[rows],
        replace(
            truth, times=truth.times[rows], places=truth.places[rows], speeds=truth.speeds[rows], real=truth.real[rows]
        ),
    )


def _with_false(strip: Strip, first: NDArray[np.intp], delays: Array) -> Strip:
    """Repeat some events a little later, as false ones."""
    count = strip.times.size
    doubled = _picked(strip, np.concatenate([np.arange(count), first]))
    false = np.arange(doubled.times.size) >= count
    shift = np.zeros(doubled.times.size)
    shift[count:] = delays
    times = doubled.times + shift
    ends = None if doubled.ends is None else doubled.ends + shift
    truth = replace(doubled.truth, real=doubled.truth.real & ~false)
    return _picked(Strip(times, ends, truth), np.argsort(times, kind="stable"))


def record_passes(
    course: Course,
    rng: np.random.Generator,
    *,
    dirt: tuple[Dirt, ...] = (),
    clock: SensorClock | None = None,
    pulse: float | None = None,
    numbered: bool = False,
    counted: bool = False,
    trigger: float | None = None,
) -> tuple[Passes, Truth]:
    """Record the passes of one run.

    Parameters
    ----------
    course : Course
        The true motion.
    rng : numpy.random.Generator
    dirt : tuple of Dirt
        What goes wrong, in this order.
    clock : SensorClock, optional
        None: one without faults.
    pulse : float, optional
        Width of a mark where both edges are logged [rad].
    numbered : bool
        Whether a column tells which mark passed.
    counted : bool
        Whether a counter stands beside the times: it counts whatever the sensor takes for a pass.
    trigger : float, optional
        Angle of a trigger mark with a sensor of its own, once a turn [rad].

    Returns
    -------
    Passes
        As recorded.
    Truth
        What was true of each.

    Examples
    --------
    >>> from truerun.virtual.course import simulate_run
    >>> from truerun.virtual.drag_laws import PowerLaw
    >>> from truerun.virtual.rig import Launch, Rig
    >>> course = simulate_run(Rig(PowerLaw(((0, 0.5),))), Launch(10.0))
    >>> clock = SensorClock(resolution=1e-3)
    >>> passes, truth = record_passes(course, np.random.default_rng(1), dirt=(Missed(at=(1,)),), clock=clock)
    >>> passes.times[:3].round(6).tolist(), truth.places[:3].tolist(), truth.missing.places.tolist()
    ([0.638, 1.983, 2.694], [1, 3, 4], [2])
    """
    chosen = clock or SensorClock()
    strip = true_strip(course, pulse)
    for fault in dirt:
        strip = fault.spoil(strip, rng)
    times = chosen.read(strip.times)
    marks = len(course.rig.marks)
    passes = Passes(
        times,
        mark=np.where(strip.truth.real, strip.truth.places % marks, -1) if numbered else None,
        ends=None if strip.ends is None else chosen.read(strip.ends),
        triggers=None if trigger is None else chosen.read(_trigger_times(course, trigger)),
        counts=np.arange(1, times.size + 1) if counted else None,
        timing=chosen.timing(),
    )
    return passes, replace(strip.truth, breaks=_breaks(chosen, strip.times))


def _trigger_times(course: Course, angle: float) -> Array:
    """Give the true times of the passes of a trigger mark."""
    return true_passes(replace(course, rig=replace(course.rig, marks=(angle,)))).times


def _breaks(clock: SensorClock, times: Array) -> tuple[int, ...]:
    """Find the passes at which the clock began again, from what the clock does and not from what it shows."""
    since = times + clock.start
    epoch = np.zeros(times.size)
    if clock.restart is not None:
        epoch = np.where(times >= clock.restart, 1e6, 0.0)
        since = np.where(times >= clock.restart, times - clock.restart, since)
    if clock.wrap is not None:
        epoch += np.floor(since * (1 + 1e-6 * clock.ppm) / clock.wrap)
    return tuple(int(number) for number in np.flatnonzero(np.diff(epoch)) + 1)
