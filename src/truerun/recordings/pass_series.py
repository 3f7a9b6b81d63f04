"""Columns of times, or of intervals, to passes of marks."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from truerun.errors import ChoiceNeeded
from truerun.recordings.signal_columns import Kind
from truerun.recordings.signal_headings import SignalRole
from truerun.recordings.signals import Signals
from truerun.series import Clock, Passes
from truerun.units.unit import Unit

__all__ = ["bare_kind", "passes_from_intervals", "passes_from_times"]

R = SignalRole
WIDEST_RATIO = 30.0  # of the longest interval of a run to its shortest; above it, rising numbers are times


def bare_kind(name: str, values: NDArray[np.float64]) -> Kind:
    """Tell whether a bare column of numbers holds times or intervals.

    Parameters
    ----------
    name : str
        Of the file, for the question.
    values : array, shape (n,)
        As written.

    Returns
    -------
    Kind
        Passes where the numbers rise throughout, to more than 30 times the first one above 0.

    Raises
    ------
    ChoiceNeeded
        If they could be something else.

    Examples
    --------
    >>> bare_kind("run.txt", np.array([0.12, 0.25, 99.0])).value
    'passes'
    """
    positive = values[values > 0]
    rising = bool(np.all(np.diff(values) > 0)) and values.size > 1
    if rising and positive.size and values[0] >= 0 and positive[-1] > WIDEST_RATIO * positive[0]:
        return Kind.PASSES
    could_be = ("angles", "waveform") if np.any(values < 0) else ("passes", "intervals")
    remedy = 'Say with "kind" what it holds.'
    if np.any(values < 0):
        remedy += ' Add a column of times, or a line such as "sample rate: 1000 Hz" above the numbers.'
    raise ChoiceNeeded(f"{name}: its one column of numbers", could_be, remedy)


def passes_from_times(signals: Signals) -> Passes:
    """Make passes from one column of times, or from one column for each mark.

    Parameters
    ----------
    signals : Signals
        With the role time, and beside it mark, end, count, trigger or edge.

    Returns
    -------
    Passes
        In the order of the file.
    """
    if len(signals.assigned.places[R.TIME]) > 1:
        return _one_column_a_mark(signals)
    times, timing, unit = signals.times()
    timing = replace(timing, resolution=_pass_step(signals, unit))
    if R.EDGE in signals.assigned.places:
        return _from_edges(signals, times, Passes(times, timing=timing))
    ends = signals.column(R.END)
    if ends is not None:
        signals.said.append(f"{signals.called(R.END)} as the times at which the marks leave in {unit.symbol}.")
    if timing.clock is Clock.HAND:
        signals.said.append("They were taken by hand: the passes of one mark.")
    return Passes(
        times,
        signals.whole_numbers(R.MARK),
        None if ends is None else ends * unit.factor,
        _triggers(signals, times, unit),
        signals.whole_numbers(R.COUNT),
        timing,
    )


def _pass_step(signals: Signals, unit: Unit) -> float | None:
    """Step of the clock [s]."""
    written = signals.column(R.TIME)
    return None if written is None else signals.timing(written, unit, sampled=False).resolution


def _triggers(signals: Signals, times: NDArray[np.float64], unit: Unit) -> NDArray[np.float64] | None:
    """Take the passes of a trigger mark: a column of times of their own, or of 0 and 1 beside the times."""
    written = signals.column(R.TRIGGER)
    if written is None:
        return None
    filled = written[~np.isnan(written)]
    if np.all((filled == 0) | (filled == 1)):
        signals.said.append(f"{signals.called(R.TRIGGER)} as 1 where the trigger mark passed.")
        return np.asarray(times[written == 1])
    signals.said.append(f"{signals.called(R.TRIGGER)} as the times of the trigger mark in {unit.symbol}.")
    return np.asarray(filled * unit.factor)


def _from_edges(signals: Signals, times: NDArray[np.float64], passes: Passes) -> Passes:
    """Take passes out of both edges in one column: 1 where a mark comes, 0 where it leaves."""
    edges = signals.column(R.EDGE)
    levels = np.unique(edges) if edges is not None else np.array([])
    if edges is None or levels.size != 2:
        found = f"the column of edges holds {levels.size} different numbers; it must hold two, such as 1 and 0."
        raise signals.layout.unreadable(None, f"{found} Mend it, or leave the column out.")
    signals.said.append(
        f"{signals.called(R.EDGE)} as {levels[1]:g} where a mark comes and {levels[0]:g} where it leaves."
    )
    come = np.flatnonzero(edges == levels[1])
    following = np.minimum(come + 1, times.size - 1)
    left = (following > come) & (edges[following] == levels[0])
    return replace(passes, times=times[come], ends=np.where(left, times[following], np.nan))


def _one_column_a_mark(signals: Signals) -> Passes:
    """Take passes row by row, each column being the passes of one mark; empty cells are left out."""
    unit = signals.time_unit(R.TIME)
    places = signals.assigned.places[R.TIME]
    signals.said.append(f"Each of {len(places)} columns holds the passes of one mark.")
    table = np.column_stack([signals.values[place] for place in places])
    filled = ~np.isnan(table)
    mark = np.broadcast_to(np.arange(len(places)), table.shape)[filled]
    written = table[filled]
    return Passes(written * unit.factor, mark, timing=signals.timing(written, unit, sampled=False))


def passes_from_intervals(signals: Signals) -> Passes:
    """Make passes from the times between them: the first one at 0, so one more than there are intervals.

    Parameters
    ----------
    signals : Signals
        With the role interval, and beside it mark or count.

    Returns
    -------
    Passes

    Raises
    ------
    RecordingUnreadable
        If an interval is not positive.
    """
    written = signals.values[signals.assigned.places[R.INTERVAL][0]]
    total = np.concatenate(([0.0], np.cumsum(written)))
    odd = np.flatnonzero(written <= 0)
    if odd.size:
        found = f"interval {odd[0] + 1} is {written[odd[0]]:g}; it must be positive."
        raise signals.layout.unreadable(None, f'{found} If the numbers are times, say so with "kind".')
    unit = signals.time_unit(R.INTERVAL, total)
    before = np.array([-1], np.intp)
    mark, counts = signals.whole_numbers(R.MARK), signals.whole_numbers(R.COUNT)
    return Passes(
        total * unit.factor,
        None if mark is None else np.concatenate((before, mark)),
        counts=None if counts is None else np.concatenate((before, counts)),
        timing=signals.timing(written, unit, sampled=False),
    )
