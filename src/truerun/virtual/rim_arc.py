"""The invented wheel of the demonstration: twelve magnets at its rim, and an arc of five more that can be swung in.

Everything is divided by the inertia of the wheel. The magnets sit in two groups of six. The arc does two things, and
both are put in on purpose: a bump of two periods a turn, which by itself takes no energy, and eddy currents,
which take some. The motion is quadrature over the energy, so that sixteen runs to rest take a moment; tests hold it
against the equation of motion.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from truerun.virtual.drag_laws import Law, PowerLaw, Together
from truerun.virtual.noise import standard_normal

__all__ = [
    "ARC_IN",
    "ARC_OUT",
    "MARKS",
    "MadeRun",
    "RimWheel",
    "WatchedRun",
    "bump_of",
    "simulate_rim_arc",
    "simulate_to_rest",
    "window_time",
]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class RimWheel:
    """A wheel with a regular bump.

    ``drag`` is the specific drag over speed [rad/s^2]. ``bump`` is the specific height from trough to crest
    [rad^2/s^2], ``groups`` how often a turn it comes; the wheel starts in a trough. ``marks`` are the angles at which
    marks pass [rad].
    """

    drag: Law
    bump: float = 0.0
    groups: int = 2
    marks: tuple[float, ...] = (0.050, 1.308, 2.561, 3.823, 5.074)


_BEARING_AND_AIR = PowerLaw(((0, 0.030), (1, 0.0018), (2, 0.00012)))
_EDDY = PowerLaw(((1, 0.00035),))

ARC_OUT = RimWheel(_BEARING_AND_AIR)
ARC_IN = RimWheel(Together((_BEARING_AND_AIR, _EDDY)), bump=1.496)
"""36 mJ on 0.02406 kg m^2: the bump catches the wheel near 12 r/min. From 120 to 40 r/min the arc takes about 5 %."""

MARKS = len(ARC_OUT.marks)
"""Strips of white tape on the rim, set by eye."""


@dataclass(frozen=True, slots=True, eq=False)
class MadeRun:
    """One run from launch: ``passes`` (n,) until the bump catches the wheel, ``caught`` and ``rest`` [s]."""

    passes: Array
    caught: float
    rest: float


@dataclass(frozen=True, slots=True)
class WatchedRun:
    """One run as it was written down: ``passes`` as a sensor stamped them, ``stopwatch`` to final rest [s]."""

    passes: tuple[float, ...]
    stopwatch: float


@dataclass(frozen=True, slots=True, eq=False)
class _Course:
    """A rundown of the wheel at its usual drag: energies falling (n,), angle turned and time since the first."""

    energies: Array
    angles: Array
    times: Array


_LAUNCH = 16.0
_LAUNCH_SCATTER, _DRAG_SCATTER, _TICK, _JITTER = 0.01, 0.011, 1e-6, 2e-5
_LOGGED = (126.0, 37.0)
_STEPS = 20_000
_PHASES = 32


def bump_of(wheel: RimWheel) -> tuple[float, ...]:
    """Give the bump as the cosines of a rig, see :class:`truerun.virtual.rig.Rig`."""
    return (*(0.0,) * (wheel.groups - 1), -wheel.bump / 2)


@cache
def _course(wheel: RimWheel, speed: float) -> _Course:
    """Follow the wheel down from a speed by means over each period of the bump."""
    top, crest = speed**2 / 2, wheel.bump / 2
    energies = crest + (top - crest) * np.linspace(1, 1e-4, _STEPS) ** 2
    phases = (np.arange(_PHASES) + 0.5) * 2 * np.pi / _PHASES
    speeds = np.sqrt(2 * (energies[:, None] + crest * np.cos(phases)))
    lost = wheel.drag(speeds).mean(axis=1)
    return _Course(energies, _summed(1 / lost, energies), _summed((1 / speeds).mean(axis=1) / lost, energies))


def _summed(rate: Array, energies: Array) -> Array:
    """Add up a rate while the energy falls, by the trapezoidal rule."""
    parts = (rate[1:] + rate[:-1]) / 2 * -np.diff(energies)
    return np.concatenate([[0.0], np.cumsum(parts)])


def simulate_to_rest(wheel: RimWheel, speeds: Sequence[float], scales: Sequence[float]) -> list[MadeRun]:
    """Make runs from launch to rest.

    Parameters
    ----------
    wheel : RimWheel
    speeds : sequence of float
        At launch, in a trough [rad/s].
    scales : sequence of float
        The drag of each run over the law of the wheel.

    Returns
    -------
    list of MadeRun

    Notes
    -----
    While the wheel turns, energy and time are means over each period of the bump; within a period a pass is put where
    the speed over the bump takes it. Once it is caught it swings to and fro, and each swing loses what the drag takes
    on its way. Dry friction stops it where a swing would lose more than there is.
    """
    return [_one_run(wheel, speed, scale) for speed, scale in zip(speeds, scales, strict=True)]


def _one_run(wheel: RimWheel, speed: float, scale: float) -> MadeRun:
    """Make one run."""
    course = _course(wheel, 1.2 * max(20.0, speed))
    start = speed**2 / 2 - wheel.bump / 2
    from_angle = float(np.interp(-start, -course.energies, course.angles))
    from_time = float(np.interp(-start, -course.energies, course.times))
    turned, passed = (course.angles - from_angle) / scale, (course.times - from_time) / scale
    places = np.array(wheel.marks) + 2 * np.pi * np.arange(1 + int(turned[-1] / 6.2))[:, None]
    places = places[places < turned[-1]]
    passes = np.interp(places, turned, passed) + _within(wheel, places, np.interp(places, turned, course.energies))
    caught = float(passed[-1])
    return MadeRun(passes, caught, caught + _rocking(wheel, scale))


def _within(wheel: RimWheel, places: Array, energies: Array) -> Array:
    """Give by how much a pass comes later than evenly over the period of the bump that it falls in."""
    period = 2 * np.pi / wheel.groups
    part = places % period
    nodes, weights = np.polynomial.legendre.leggauss(12)
    slow = _slowness(wheel, energies, part[:, None] * (nodes + 1) / 2) @ weights * part / 2
    whole = _slowness(wheel, energies, np.broadcast_to(period * (nodes + 1) / 2, (part.size, nodes.size))) @ weights
    return np.asarray(slow - whole / 2 * part)


def _slowness(wheel: RimWheel, energies: Array, angles: Array) -> Array:
    """Give one over the speed at some angles of some energies."""
    return np.asarray(1 / np.sqrt(2 * (energies[:, None] + wheel.bump / 2 * np.cos(wheel.groups * angles))))


def _rocking(wheel: RimWheel, scale: float) -> float:
    """Give how long the wheel swings to and fro in a trough until it lies still [s]."""
    if not wheel.bump:
        return 0.0
    nodes, weights = np.polynomial.legendre.leggauss(24)
    sines, halves = np.sin(nodes * np.pi / 2), weights * np.pi / 2
    share, time = 0.999, 0.0
    while True:
        speeds = np.sqrt(2 * wheel.bump * share * (1 - sines**2))
        spent = halves / np.sqrt(1 - share * sines**2) / (wheel.groups / 2 * math.sqrt(2 * wheel.bump))
        lost = scale * float((wheel.drag(speeds) * speeds * spent).sum()) / wheel.bump
        if lost >= share:
            return time
        share, time = share - lost, time + float(spent.sum())


def simulate_rim_arc(signs: NDArray[np.int8], rng: np.random.Generator) -> list[WatchedRun]:
    """Make the runs of a test, each with its recording and with the stopwatch of somebody who waits for the end.

    Parameters
    ----------
    signs : array of +1 (arc in) and -1 (arc out), shape (n,)
    rng : numpy.random.Generator

    Returns
    -------
    list of WatchedRun
        Launches at 153 r/min give or take 1 %, drag give or take 1.1 % from run to run. The logger writes from 126 down
        to 37 r/min, in ticks of 1 us, with 20 us of jitter. The hand stops a fifth of a second after the wheel lies
        still, give or take as much.

    Examples
    --------
    >>> with_arc, without = simulate_rim_arc(np.array([1, -1], dtype=np.int8), np.random.default_rng(1))
    >>> with_arc.stopwatch > 1.05 * without.stopwatch
    True
    """
    normal = standard_normal(rng, (3, len(signs)))
    speeds, scales = _LAUNCH * np.exp(_LAUNCH_SCATTER * normal[0]), np.exp(_DRAG_SCATTER * normal[1])
    late = 0.2 * (1 + np.abs(normal[2]))
    runs = []
    for sign, speed, scale, hand in zip(signs, speeds, scales, late, strict=True):
        made = _one_run(ARC_IN if sign > 0 else ARC_OUT, float(speed), float(scale))
        kept = _logged(made.passes)
        stamped = np.rint((kept + _JITTER * standard_normal(rng, kept.shape)) / _TICK) * _TICK
        runs.append(WatchedRun(tuple(stamped.tolist()), round(made.rest + float(hand), 1)))
    return runs


def _logged(passes: Array) -> Array:
    """Keep the passes between the two speeds at which the logger switches itself on and off."""
    speeds = 60 / (passes[MARKS:] - passes[:-MARKS])
    return np.asarray(passes[MARKS:][(speeds < _LOGGED[0]) & (speeds > _LOGGED[1])])


def window_time(wheel: RimWheel, start: float, end: float) -> float:
    """Give the time between two speeds by energy [rad/s], as it was put in [s]."""
    course = _course(wheel, 1.2 * max(20.0, start))
    first, last = (float(np.interp(-(speed**2) / 2, -course.energies, course.times)) for speed in (start, end))
    return last - first
