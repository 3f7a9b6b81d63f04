"""Columns of speeds, angles or places beside their times, to series."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from truerun.recordings.resolution import value_step
from truerun.recordings.signal_headings import SignalRole
from truerun.recordings.signals import Signals
from truerun.series import AngleTrack, PositionTrack, Releases, SpeedTable
from truerun.units.unit import Dimension, Unit

__all__ = ["angle_track", "position_track", "releases", "speed_table"]

R = SignalRole


def speed_table(signals: Signals) -> SpeedTable:
    """Speeds at times, with the error that is stated in a column or in the heading.

    Parameters
    ----------
    signals : Signals
        With the roles time and speed, and beside them error or count.

    Returns
    -------
    SpeedTable
    """
    times, timing, _ = signals.times()
    unit = signals.unit(R.SPEED, Dimension.SPEED)
    written = signals.values[signals.assigned.places[R.SPEED][0]]
    return SpeedTable(
        times,
        written * unit.factor,
        _stated_error(signals, unit, written.size),
        _sized(value_step(written), unit),
        signals.whole_numbers(R.COUNT),
        timing,
    )


def _sized(step: float | None, unit: Unit) -> float | None:
    """Step in SI."""
    return None if step is None else step * unit.factor


def _stated_error(signals: Signals, unit: Unit, size: int) -> NDArray[np.float64] | None:
    """Error of each speed [rad/s], None where none is stated."""
    column, stated = signals.column(R.ERROR), signals.heading(R.SPEED).error
    if column is not None:
        own = signals.heading(R.ERROR).unit or unit
        own = own if own.dimension is Dimension.SPEED else unit
        signals.said.append(f"{signals.called(R.ERROR)} as the standard uncertainty of the speeds in {own.symbol}.")
        return column * own.factor
    if stated is None:
        return None
    signals.said.append(f"The heading states an error of {stated:g} {unit.symbol}: read as standard uncertainty.")
    return np.full(size, stated * unit.factor)


def angle_track(signals: Signals) -> AngleTrack:
    """Angles at times, or at a stated rate.

    Parameters
    ----------
    signals : Signals
        With the role angle, and time where there is no rate.

    Returns
    -------
    AngleTrack
    """
    times, timing, _ = signals.times()
    unit = signals.unit(R.ANGLE, Dimension.ANGLE)
    written = signals.values[signals.assigned.places[R.ANGLE][0]]
    return AngleTrack(times, written * unit.factor, _sized(value_step(written), unit), timing)


def position_track(signals: Signals) -> PositionTrack:
    """Places x and y at times; they stay in their unit where none is named.

    Parameters
    ----------
    signals : Signals
        With the roles time, x and y.

    Returns
    -------
    PositionTrack
    """
    times, timing, _ = signals.times()
    x, y = (signals.values[signals.assigned.places[role][0]] for role in (R.X, R.Y))
    unit = signals.units.get(Dimension.LENGTH) or signals.heading(R.X).unit
    if unit is None:
        signals.said.append("Nothing names the unit of x and y: they stay in their own.")
        return PositionTrack(times, x, y, timing=timing)
    signals.said.append(f"x and y are read in {unit.symbol}.")
    return PositionTrack(times, x * unit.factor, y * unit.factor, "m", timing)


def releases(signals: Signals) -> Releases:
    """Angles at which a wheel was let go from rest, and at which it first turned back.

    Parameters
    ----------
    signals : Signals
        With the roles released and turned.

    Returns
    -------
    Releases
    """
    angles = []
    for role in (R.RELEASED, R.TURNED):
        unit = signals.unit(role, Dimension.ANGLE)
        angles.append(signals.values[signals.assigned.places[role][0]] * unit.factor)
    return Releases(*angles)
