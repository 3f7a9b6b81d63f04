"""Sampled voltages of a sensor, however many, to passes of marks."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from truerun.errors import FitImpossible
from truerun.recordings.coil_pulses import detect_zero_crossings, goes_both_ways
from truerun.recordings.crossings import detect_crossings
from truerun.recordings.layout import Layout
from truerun.recordings.number_columns import Block, Wanted
from truerun.recordings.resolution import digit_step
from truerun.recordings.settled_units import settle_time_unit
from truerun.recordings.signal_headings import SignalRole
from truerun.recordings.signals import Signals
from truerun.series import Passes

__all__ = ["passes_from_waveform"]

R = SignalRole
CLOCK_NAMES = {R.VOLTAGE: "marks", R.TRIGGER: "trigger mark"}


class _EvenTimes:
    """First and last of times that come block by block, in equal steps."""

    def __init__(self, layout: Layout) -> None:
        self.layout = layout
        self.count = 0
        self.first = self.last = self.step = self.slack = 0.0

    def _rounding(self, times: NDArray[np.float64]) -> float:
        """Largest error of a difference by the rounding of the times as written."""
        digit = digit_step(times)
        if digit is None or abs(self.step / digit - round(self.step / digit)) < 1e-3:
            return 0.0
        return digit

    def add(self, line: int, times: NDArray[np.float64]) -> None:
        """Take the times of one block; refuse a gap."""
        if not times.size:
            return
        if not self.count:
            self.first = float(times[0])
            far = max(1, min(50, times.size // 2))  # over so many steps, rounding and a few gaps do not count
            self.step = float(np.median(times[far:] - times[:-far])) / far if times.size > 1 else 0.0
            self.slack = 0.5 * abs(self.step) + self._rounding(times)
        steps = np.diff(times, prepend=self.last if self.count else times[0] - self.step)
        odd = np.flatnonzero(~(np.abs(steps - self.step) <= self.slack))
        if odd.size or self.step <= 0:
            place = int(odd[0]) if odd.size else 0
            found = f"the time goes on by {steps[place]:.6g}, where the steps before were {self.step:.6g}"
            remedy = "A waveform has equal steps. Give the part before or after, or name the columns."
            raise self.layout.unreadable(line + place, f"{found}. {remedy}")
        self.last = float(times[-1])
        self.count += times.size


def passes_from_waveform(signals: Signals, numbers: Iterator[Block], wanted: tuple[Wanted, ...]) -> Passes:
    """Find passes of marks, and of a trigger mark in a second voltage, in a waveform read block by block.

    Parameters
    ----------
    signals : Signals
        With the role voltage, and beside it time and trigger; their values are taken from ``numbers``.
    numbers : iterator of Block
        The waveform.
    wanted : tuple of Wanted
        Columns of the blocks.

    Returns
    -------
    Passes
        With ``ends``, but for a coil.

    Raises
    ------
    RecordingUnreadable
        If the steps are not equal, or no marks pass.

    Notes
    -----
    Only the voltages are kept, in single precision: 4 bytes a sample and channel.
    """
    order = [one.column for one in wanted]
    places = {role: order.index(found[0]) for role, found in signals.assigned.places.items()}
    even = _EvenTimes(signals.layout)
    volts: dict[SignalRole, list[NDArray[np.float32]]] = {role: [] for role in CLOCK_NAMES if role in places}
    count = 0
    for block in numbers:
        if R.TIME in places:
            even.add(block.line, block.columns[places[R.TIME]])
        for role, kept in volts.items():
            kept.append(block.columns[places[role]].astype(np.float32))
        count += block.columns[0].size
    start, step = _start_and_step(signals, even)
    if count < 3:
        raise signals.layout.unreadable(None, f"there are {count} samples; a waveform needs thousands. Record longer.")
    passes = _found(signals, R.VOLTAGE, volts, start, step)
    if R.TRIGGER not in volts:
        return passes
    signals.said.append(f"{signals.called(R.TRIGGER)} as the voltage of the trigger mark.")
    triggers = _found(signals, R.TRIGGER, volts, start, step).times
    return Passes(passes.times, ends=passes.ends, triggers=triggers, timing=passes.timing)


def _start_and_step(signals: Signals, even: _EvenTimes) -> tuple[float, float]:
    """Time of the first sample and step [s], from the times or from the stated rate."""
    if R.TIME in signals.assigned.places:
        ends = np.array([even.first, even.last])
        unit, sentence = settle_time_unit(signals.layout.name, signals.heading(R.TIME), ends, signals.units)
        signals.said.append(sentence or f"{signals.called(R.TIME)} as time in {unit.symbol}.")
        return even.first * unit.factor, (even.last - even.first) / max(1, even.count - 1) * unit.factor
    if signals.rate is None:
        raise signals.layout.unreadable(None, "there is neither a column of times nor a rate. Add one of them.")
    signals.said.append(f'The times follow from "{signals.rate.text}": one sample every {signals.rate.step:.6g} s.')
    return 0.0, signals.rate.step


def _found(
    signals: Signals, role: SignalRole, volts: dict[SignalRole, list[NDArray[np.float32]]], start: float, step: float
) -> Passes:
    """Find the passes in one voltage; its blocks are given up on the way."""
    samples = np.concatenate(volts.pop(role) if role is R.VOLTAGE else volts[role])
    coil = goes_both_ways(samples)
    try:
        passes = detect_zero_crossings(samples, start, step) if coil else detect_crossings(samples, start, step)
    except FitImpossible as refused:
        raise signals.layout.unreadable(None, f"{refused}") from None
    if coil:
        signals.said.append("Pulses go both ways, as those of a coil: a mark passes where they go through zero.")
    signals.said.append(f"{passes.times.size} passes of the {CLOCK_NAMES[role]} were found in {samples.size} samples.")
    return passes
