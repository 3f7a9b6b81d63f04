"""Instruments beside a made-up run that give no passes: speed display, film, coil on a sound input."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from truerun.series import AngleTrack, Clock, SpeedTable, Timing, Trace
from truerun.virtual.course import Course, course_angles, course_speeds, true_passes
from truerun.virtual.noise import standard_normal

__all__ = [
    "Film",
    "Pickup",
    "Pulse",
    "SpeedDisplay",
    "record_display",
    "record_film",
    "record_waveform",
    "waveform_blocks",
]

Array = NDArray[np.float64]

_RPM = 2 * np.pi / 60


@dataclass(frozen=True, slots=True)
class SpeedDisplay:
    """A tachometer that shows the speed of the last two passes.

    It is read off every ``every`` [s]; its last digit is ``step`` [rad/s]; it shows 0 when no mark has passed for
    ``time_out`` [s]; what it shows is ``delay`` [s] old. ``error`` is the standard deviation of a reading [rad/s],
    ``stated`` the uncertainty that a column beside it claims, None for no column. With ``counted`` a column counts
    passes, ``rows_late`` rows behind.
    """

    every: float = 1.0
    step: float = _RPM
    time_out: float = 2.0
    delay: float = 0.0
    error: float = 0.0
    stated: float | None = None
    counted: bool = False
    rows_late: int = 0


@dataclass(frozen=True, slots=True)
class Film:
    """A film in which the place of a dot on the wheel is followed.

    ``rate`` frames a second; the lowest row of a frame is read ``readout`` [s] after the highest one; ``error`` is
    the standard deviation of an angle and ``step`` its last digit [rad], None for all digits. With ``wrapped`` angles
    stay within one turn.
    """

    rate: float = 60.0
    readout: float = 0.0
    error: float = 0.0
    step: float | None = None
    wrapped: bool = False


class Pulse(Enum):
    """What one pass looks like."""

    COIL = "a magnet past a coil: up, through zero, down, higher the faster"
    LIGHT = "a bright mark past a light sensor: one hump"


@dataclass(frozen=True, slots=True)
class Pickup:
    """A coil or a light sensor whose signal is sampled.

    ``rate`` samples a second; ``width`` is the half width of a pass [rad]; ``size`` the height of a pass at 10 rad/s
    [V]. ``noise`` is the standard deviation of a sample, ``hum`` the height of the mains hum at ``mains`` [Hz],
    ``drift`` how far the zero line wanders in one run, all [V].
    """

    rate: float = 44_100.0
    pulse: Pulse = Pulse.COIL
    width: float = 0.05
    size: float = 0.5
    noise: float = 0.0
    hum: float = 0.0
    mains: float = 50.0
    drift: float = 0.0


def record_display(course: Course, display: SpeedDisplay, rng: np.random.Generator) -> tuple[SpeedTable, Array]:
    """Read a speed display off at equal steps.

    Parameters
    ----------
    course : Course
        The true motion.
    display : SpeedDisplay
    rng : numpy.random.Generator

    Returns
    -------
    SpeedTable
        As read, from launch to rest.
    array, shape (n,)
        True signed speeds at the same times [rad/s].
    """
    times = np.arange(0.0, course.stop, display.every)
    passes = true_passes(course).times
    behind = times - display.delay
    seen = np.searchsorted(passes, behind, side="right")
    known = seen >= 2
    late, early = passes[np.maximum(seen - 1, 1)], passes[np.maximum(seen - 2, 0)]
    shows = known & (behind - late <= display.time_out)
    gaps = np.where(shows, late - early, np.inf)
    speeds = 2 * np.pi / len(course.rig.marks) / gaps
    read = np.where(shows, speeds + display.error * standard_normal(rng, times.shape), 0.0)
    counts = np.concatenate([np.zeros(display.rows_late), seen])[: times.size].astype(np.intp)
    table = SpeedTable(
        times,
        np.rint(read / display.step) * display.step,
        None if display.stated is None else np.full(times.size, display.stated),
        display.step,
        counts if display.counted else None,
        Timing(display.every, Clock.HOST),
    )
    return table, course_speeds(course, times)


def record_film(course: Course, film: Film, rng: np.random.Generator) -> tuple[AngleTrack, Array]:
    """Follow a dot on the wheel in a film.

    Parameters
    ----------
    course : Course
        The true motion.
    film : Film
    rng : numpy.random.Generator

    Returns
    -------
    AngleTrack
        One angle a frame.
    array, shape (n,)
        True angles at the time of the frame's highest row [rad].

    Notes
    -----
    The dot is seen when its row is read: at t + readout (1 - sin angle)/2, with the angle at that moment.
    """
    times = np.arange(0.0, course.stop, 1 / film.rate)
    true = course_angles(course, times)
    seen = true
    for _ in range(25):
        seen = course_angles(course, times + film.readout * (1 - np.sin(seen)) / 2)
    read = seen + film.error * standard_normal(rng, times.shape)
    if film.wrapped:
        read = read % (2 * np.pi)
    if film.step is not None:
        read = np.rint(read / film.step) * film.step
    return AngleTrack(times, np.asarray(read), film.step, Timing(1 / film.rate, Clock.FRAMES)), true


def waveform_blocks(
    course: Course, pickup: Pickup, rng: np.random.Generator, block: int = 65_536, tail: float = 0.0
) -> Iterator[Array]:
    """Sample the signal of a pick-up, a block at a time, so that a long recording need not be held whole.

    Parameters
    ----------
    course : Course
        The true motion.
    pickup : Pickup
    rng : numpy.random.Generator
    block : int
        Samples a block.
    tail : float
        How long the recording goes on after the wheel rests [s].

    Yields
    ------
    array, shape (block,) or shorter
        [V].
    """
    total = int((course.stop + tail) * pickup.rate) + 1
    phase = 2 * np.pi * rng.random()
    wander = standard_normal(rng, (4,)) * pickup.drift / 2
    for begin in range(0, total, block):
        times = np.arange(begin, min(begin + block, total)) / pickup.rate
        share = times * pickup.rate / total
        zero = sum(size * np.sin((order + 1) * np.pi * share) for order, size in enumerate(wander))
        hum = pickup.hum * np.sin(2 * np.pi * pickup.mains * times + phase)
        yield _pulses(course, pickup, times) + zero + hum + pickup.noise * standard_normal(rng, times.shape)


def record_waveform(course: Course, pickup: Pickup, rng: np.random.Generator, tail: float = 0.0) -> Trace:
    """Sample the signal of a pick-up over a whole run.

    Parameters
    ----------
    course : Course
        The true motion.
    pickup : Pickup
    rng : numpy.random.Generator
    tail : float
        How long the recording goes on after the wheel rests [s].

    Returns
    -------
    Trace
        Beside it, :func:`truerun.virtual.course.true_passes` tells when the marks passed.
    """
    values = np.concatenate(list(waveform_blocks(course, pickup, rng, tail=tail)))
    return Trace(values, 0.0, 1 / pickup.rate, Timing(1 / pickup.rate, Clock.SENSOR))


def _pulses(course: Course, pickup: Pickup, times: Array) -> Array:
    """Give the signal without noise: Gaussian humps, or their slope times the speed."""
    angle = course_angles(course, times)
    marks = np.array(course.rig.marks)
    away = (angle[:, None] - marks + np.pi) % (2 * np.pi) - np.pi
    nearest = away[np.arange(angle.size), np.abs(away).argmin(axis=1)] / pickup.width
    hump = np.exp(-(nearest**2) / 2)
    if pickup.pulse is Pulse.LIGHT:
        return np.asarray(pickup.size * hump)
    speed = course_speeds(course, times) / 10
    return np.asarray(-pickup.size * speed * nearest * hump * np.exp(0.5))
