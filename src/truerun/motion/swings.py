"""What swings say, found in any recording that holds some: angles, places along a line, or speeds to both sides."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from truerun.errors import FitImpossible
from truerun.findings.catalogue import finding
from truerun.findings.finding import Finding
from truerun.motion.panels import TURN
from truerun.motion.rocking import FEWEST, Friction, Rocking, fit_rocking, principal_axis
from truerun.motion.swing import FEWEST_TURNINGS, Swing, fit_swing
from truerun.motion.track_rows import first_of_each_time, require_forward
from truerun.motion.turnings import Turnings, turning_points
from truerun.series import AngleTrack, PositionTrack, SpeedTable

__all__ = ["Part", "SwingOf", "Swings", "find_swings", "only_swings", "swings_after"]

Array = NDArray[np.float64]

LONGER = 1.1
"""Half swings that take longer than this many small ones are too large for a well that is taken as a parabola."""

SINE_LEAVES = 0.03
"""What a decaying sine may leave, as a share of its swing, to count as the motion."""

BOTH_SIDES = 0.5
"""Speeds that swing about rest: the smaller side is at least this share of the larger one."""

CLEARLY = 3.0
SMALLEST = 1e-9


class SwingOf(Enum):
    """What was recorded of the swings; the value is the unit."""

    ANGLE = "rad"
    PLACE = "m"
    SPEED = "rad/s"


@dataclass(frozen=True, slots=True)
class Part:
    """A value with its standard uncertainty."""

    value: float
    uncertainty: float


@dataclass(frozen=True, slots=True, eq=False)
class Swings:
    """Swings of a wheel about a place of rest, and the drag and the stiffness that follow from them.

    ``unit`` is that of the swings, None where the recording names none. ``times`` [s] and ``values`` (n,) are the
    readings, ``peaks`` and ``peak_times`` (k,) half the differences of successive turning points. ``rocking`` is None
    where there were fewer than six turning points, ``sine`` None where a decaying sine does not describe the motion.
    ``period`` [s] is that of a small swing; ``stiffness`` [1/s^2] the curvature of the hill at its bottom over the
    inertia. ``dry`` [rad/s^2; unit/s^2 of places] and ``viscous`` [1/s] are specific drags, None where they cannot be
    given: a sine has its whole drag in the viscous one. ``after`` is whether a rundown came before.
    """

    of: SwingOf
    unit: str | None
    times: Array
    values: Array
    peak_times: Array
    peaks: Array
    turning_points: int
    rocking: Rocking | None
    sine: Swing | None
    friction: Friction
    period: Part
    stiffness: Part
    dry: Part | None
    viscous: Part | None
    after: bool
    findings: tuple[Finding, ...]

    def followed(self) -> Array | None:
        """Swings as they follow from one another when dry and viscous drag act together, at ``peak_times``."""
        if self.rocking is None:
            return None
        kept, lost = self.rocking.kept, self.rocking.lost
        share, steps = kept ** np.arange(self.peaks.size), np.arange(self.peaks.size)
        gone = lost * (steps if abs(1 - kept) < SMALLEST else (1 - share) / (1 - kept))
        first = float(share @ (self.peaks + gone) / (share @ share))
        return np.asarray(first * share - gone, dtype=np.float64)

    def catching(self) -> Part | None:
        """Speed below which one smooth bump a turn of this stiffness catches the wheel [rad/s]; None for places.

        u = -k cos(angle) has the curvature k at its bottom and is k above its mean at its top: w = sqrt(2 k). With n
        equal bumps a turn it is an nth of that.
        """
        if self.of is SwingOf.PLACE:
            return None
        speed = float(np.sqrt(2 * self.stiffness.value))
        return Part(speed, self.stiffness.uncertainty / speed)


def only_swings(series: AngleTrack | PositionTrack | SpeedTable) -> bool:
    """Tell whether a recording holds swings and nothing else.

    Parameters
    ----------
    series : AngleTrack, PositionTrack or SpeedTable
        Places must not lie on a circle (see :func:`truerun.motion.round_track.round_track`).

    Returns
    -------
    bool
        Three turning points or more, and never a whole turn one way; speeds to both sides alike.

    Examples
    --------
    >>> times = np.linspace(0, 9, 900)
    >>> only_swings(AngleTrack(times, np.exp(-0.1 * times) * np.cos(5 * times))), only_swings(AngleTrack(times, times))
    (True, False)
    """
    times, values, of, _ = _read(series)
    if times.size < 2 * FEWEST_TURNINGS:
        return False
    if of is SwingOf.ANGLE and float(np.ptp(values)) >= TURN:
        return False
    if of is SwingOf.SPEED:
        sides = sorted((abs(float(values.min())), abs(float(values.max()))))
        if not values.min() < 0 < values.max() or sides[0] < BOTH_SIDES * sides[1]:
            return False
    return turning_points(times, values).times.size >= FEWEST_TURNINGS


def swings_after(series: AngleTrack | SpeedTable) -> Swings | None:
    """Find the swings of a wheel that ran down and was caught.

    Parameters
    ----------
    series : AngleTrack or SpeedTable
        The whole recording.

    Returns
    -------
    Swings or None
        None where there are none, or nothing can be said from them.
    """
    tail = _tail(series)
    if tail is None or not only_swings(tail):
        return None
    try:
        return find_swings(tail, after=True)
    except FitImpossible:
        return None


def _tail(series: AngleTrack | SpeedTable) -> AngleTrack | SpeedTable | None:
    """Give what follows the first turn-back, from a little before it, so that this counts as a turning point."""
    times, values, of, _ = _read(series)
    if of is SwingOf.ANGLE:
        ahead = values if values[-1] >= values[0] else -values
        end = int(np.argmax(ahead))
        swing = float(ahead[end] - ahead[end:].min())
        if swing <= 0:
            return None
        back = np.flatnonzero(ahead[: end + 1] < ahead[end] - swing / 2)
        rows = slice(int(back[-1]) + 1 if back.size else 0, None)
    else:
        ahead = values if values[0] >= 0 else -values
        below = np.flatnonzero(ahead < 0)
        if not below.size:
            return None
        rows = slice(int(below[0]), None)
    if times[rows].size < 2 * FEWEST_TURNINGS:
        return None
    made = AngleTrack if of is SwingOf.ANGLE else SpeedTable
    return made(times[rows], ahead[rows])


def find_swings(series: AngleTrack | PositionTrack | SpeedTable, *, after: bool = False) -> Swings:
    """Find what swings say about drag and stiffness.

    Parameters
    ----------
    series : AngleTrack, PositionTrack or SpeedTable
        Nothing but swings.
    after : bool
        Whether it is the tail of a rundown.

    Returns
    -------
    Swings

    Raises
    ------
    FitImpossible
        If there are fewer than three turning points, or neither a sine nor rocking describes them.

    Notes
    -----
    Angles and speeds: swings whose half takes over 1.1 times as long as a small one are left out (72 degrees on a
    pendulum). Where a decaying sine leaves less than .03 of its swing and the swings do not fall along a straight line,
    period, stiffness and viscous drag are the sine's, from every reading; else those of the turning points. Speeds are
    those of a swing of the same period; their peaks fall by (1 + q) c0/W each half swing, where angles fall by (1 + q)
    c0/W^2.

    Examples
    --------
    >>> times = np.linspace(0, 9, 900)
    >>> found = find_swings(AngleTrack(times, 0.3 * np.exp(-0.1 * times) * np.cos(5 * times)))
    >>> round(found.period.value, 6), round(found.viscous.value, 6)
    (1.256637, 0.2)
    """
    times, values, of, unit = _read(series)
    turnings = turning_points(times, values)
    if turnings.times.size < FEWEST_TURNINGS:
        raise FitImpossible(
            f"The recording has {turnings.times.size} turning points; it must have at least {FEWEST_TURNINGS}, better "
            "twelve. Record more swings."
        )
    times, values, turnings, said = _small_ones(times, values, turnings, of)
    rocking, sine = _rocked(times, values, of), _sine(times, values)
    friction = Friction.UNDECIDED if rocking is None else rocking.friction
    if sine is not None and friction is Friction.DRY:
        sine = None
    period, stiffness, viscous = _pace(rocking, sine)
    peaks = np.abs(np.diff(turnings.values)) / 2
    dry = None if sine is not None else _dry(rocking, of)
    found = Swings(
        of=of,
        unit=unit,
        times=times,
        values=values,
        peak_times=(turnings.times[1:] + turnings.times[:-1]) / 2,
        peaks=peaks,
        turning_points=int(turnings.times.size),
        rocking=rocking,
        sine=sine,
        friction=friction,
        period=period,
        stiffness=stiffness,
        dry=dry,
        viscous=viscous,
        after=after,
        findings=(),
    )
    return replace(
        found, findings=(*said, *(rocking.findings if rocking is not None and sine is None else ()), *_doubts(found))
    )


def _read(series: AngleTrack | PositionTrack | SpeedTable) -> tuple[Array, Array, SwingOf, str | None]:
    """Give times, what swings, what that is, and its unit."""
    if isinstance(series, AngleTrack):
        wound = float(np.ptp(series.angles)) <= 1.02 * TURN
        values = np.unwrap(series.angles) if wound else series.angles
        return series.times, np.asarray(values, dtype=np.float64), SwingOf.ANGLE, "rad"
    if isinstance(series, PositionTrack):
        return series.times, principal_axis(series.x, series.y), SwingOf.PLACE, series.unit
    require_forward(series.times)
    rows = first_of_each_time(series.times)
    return series.times[rows], series.speeds[rows], SwingOf.SPEED, "rad/s"


def _small_ones(
    times: Array, values: Array, turnings: Turnings, of: SwingOf
) -> tuple[Array, Array, Turnings, list[Finding]]:
    """Leave out the first swings of angles or speeds where they are large."""
    halves = np.diff(turnings.times)
    if of is SwingOf.PLACE or halves.size < FEWEST:
        return times, values, turnings, []
    usual = float(np.median(halves[-max(halves.size // 3, 3) :]))
    large = np.flatnonzero(halves > LONGER * usual)
    first = int(large[-1]) + 1 if large.size else 0
    if first == 0 or halves.size - first < FEWEST:
        return times, values, turnings, []
    rows = times >= (turnings.times[first - 1] + turnings.times[first]) / 2
    kept = turning_points(times[rows], values[rows])
    if kept.times.size < FEWEST:
        return times, values, turnings, []
    said = finding("large-swings", count=first, longer=f"{100 * (halves[0] / usual - 1):.0f} %")
    return times[rows], values[rows], kept, [said]


def _rocked(times: Array, values: Array, of: SwingOf) -> Rocking | None:
    """Fit turning points where there are enough of them."""
    try:
        return fit_rocking(times, values, speeds=of is SwingOf.SPEED)
    except FitImpossible:
        return None


def _sine(times: Array, values: Array) -> Swing | None:
    """Fit a decaying sine where that is what the readings are."""
    try:
        found = fit_swing(times, values)
    except FitImpossible:
        return None
    return (
        found if found.rms < SINE_LEAVES * found.amplitude and found.rate > -CLEARLY * found.rate_uncertainty else None
    )


def _pace(rocking: Rocking | None, sine: Swing | None) -> tuple[Part, Part, Part]:
    """Period, stiffness and viscous drag, from the sine where there is one, else from the turning points."""
    if sine is not None:
        spread = 2 * (2 * np.pi / sine.period) ** 2 * sine.period_uncertainty / sine.period
        return (
            Part(sine.period, sine.period_uncertainty),
            Part(sine.curvature, float(np.hypot(spread, 2 * sine.rate * sine.rate_uncertainty))),
            Part(2 * sine.rate, 2 * sine.rate_uncertainty),
        )
    if rocking is None:
        raise FitImpossible(
            f"These swings are no decaying sine, and they are too few for their turning points alone. Record at least "
            f"{FEWEST} turning points, better twelve."
        )
    period = 2 * np.pi / np.sqrt(rocking.curvature)
    return (
        Part(float(period), float(period) * rocking.curvature_uncertainty / (2 * rocking.curvature)),
        Part(rocking.curvature, rocking.curvature_uncertainty),
        Part(rocking.viscous, rocking.viscous_uncertainty),
    )


def _dry(rocking: Rocking | None, of: SwingOf) -> Part | None:
    """Dry drag from the turning points; from peaks of speed they are larger by the pace of the swing."""
    if rocking is None:
        return None
    pace = float(np.sqrt(rocking.curvature)) if of is SwingOf.SPEED else 1.0
    return Part(rocking.dry / pace, rocking.dry_uncertainty / pace)


def _doubts(found: Swings) -> tuple[Finding, ...]:
    """Say what the swings leave open, and what cannot be."""
    said = []
    if found.rocking is None:
        said.append(finding("few-swings", count=found.turning_points, least=FEWEST))
    elif found.friction is Friction.UNDECIDED:
        said.append(finding("friction-open", count=found.turning_points))
    parts = (("dry", found.dry), ("viscous", found.viscous))
    negative = [name for name, part in parts if part is not None and part.value < -CLEARLY * part.uncertainty]
    if negative:
        said.append(finding("swings-negative-drag", part=negative[0]))
    return tuple(said)
