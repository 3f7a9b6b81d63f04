"""Arrays of a recording as read, with what was said about them, on the way to a series."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from truerun.recordings.layout import Layout
from truerun.recordings.rates import Rate
from truerun.recordings.resolution import digit_step, time_step
from truerun.recordings.settled_units import settle_time_unit, settle_unit
from truerun.recordings.signal_columns import Assigned
from truerun.recordings.signal_headings import SignalHeading, SignalRole
from truerun.series import Clock, Timing
from truerun.units.unit import Dimension, Unit, parse_unit

__all__ = ["Signals"]

MOST_COUNTED = 1e15
SHORTEST_TIME = 1e-20  # s


@dataclass(frozen=True, slots=True, eq=False)
class Signals:
    """Columns as written, by column, with how they were recognised; ``said`` grows while they are understood."""

    layout: Layout
    assigned: Assigned
    values: Mapping[int, NDArray[np.float64]]
    units: Mapping[Dimension, Unit]
    rate: Rate | None = None
    said: list[str] = field(default_factory=list)

    def column(self, role: SignalRole) -> NDArray[np.float64] | None:
        """Values of a role as written, None where there is no such column."""
        place = self.assigned.place(role)
        return None if place is None else self.values[place]

    def heading(self, role: SignalRole) -> SignalHeading:
        """Heading of a role that is there."""
        return self.assigned.heading(role)

    def unit(self, role: SignalRole, dimension: Dimension) -> Unit:
        """Settle and say the unit of a column."""
        heading = self.heading(role)
        unit = settle_unit(self.layout.name, heading, dimension, self.units, self.rate.unit if self.rate else None)
        self.said.append(f"{self.called(role)} as {role.value} in {unit.symbol}.")
        return unit

    def time_unit(self, role: SignalRole, times: NDArray[np.float64] | None = None) -> Unit:
        """Settle and say the unit of a column of times, or of intervals that add up to ``times``."""
        place = self.assigned.places[role][0]
        if place in self.layout.clocks or place in self.layout.stamps:
            kind = (
                "dates with a time, from the first midnight"
                if place in self.layout.stamps
                else "times of a clock (m:ss)"
            )
            self.said.append(f"{self.called(role)} as {kind}.")
            return parse_unit("s")
        written = self.values[place] if times is None else times
        unit, sentence = settle_time_unit(self.layout.name, self.heading(role), written, self.units)
        self.said.append(sentence or f"{self.called(role)} as {role.value} in {unit.symbol}.")
        return unit

    def called(self, role: SignalRole) -> str:
        """Begin the sentence that says how a column was read."""
        text = self.heading(role).text
        return f'"{text}" is read' if text else f"Column {self.assigned.places[role][0] + 1} is read"

    def times(self) -> tuple[NDArray[np.float64], Timing, Unit]:
        """Give the times of the rows [s], from their column or from the stated rate."""
        written = self.column(SignalRole.TIME)
        if written is None:
            return self._rated()
        unit = self.time_unit(SignalRole.TIME)
        times = written * unit.factor
        odd = np.flatnonzero((times != 0) & (np.abs(times) < SHORTEST_TIME))
        if odd.size:
            found = f"time {odd[0] + 1} in the column is {times[odd[0]]:g} s; no clock tells that from 0."
            raise self.layout.unreadable(None, f"{found} Look for a slip of the keys.")
        return times, self.timing(written, unit, sampled=True), unit

    def _rated(self) -> tuple[NDArray[np.float64], Timing, Unit]:
        """Make times at the stated rate, from 0."""
        if self.rate is None:
            raise self.layout.unreadable(None, "there is neither a column of times nor a rate. Add one of them.")
        size = next(iter(self.values.values())).size
        self.said.append(f'The times follow from "{self.rate.text}": one reading every {self.rate.step:.6g} s.')
        return np.arange(size, dtype=np.float64) * self.rate.step, Timing(), parse_unit("s")

    def timing(self, written: NDArray[np.float64], unit: Unit, *, sampled: bool) -> Timing:
        """How finely times were written; ``sampled`` where their differences are steps of sampling."""
        step = digit_step(written) if sampled else time_step(written)
        return Timing(None if step is None else step * unit.factor, self._clock())

    def _clock(self) -> Clock:
        """Clock that the form of the times tells: m:ss is that of a watch worked by hand."""
        place = self.assigned.place(SignalRole.TIME)
        cells = [str(line.cells[place]) for line in self.layout.sample] if place in self.layout.clocks else []
        by_hand = bool(cells) and all(cell.count(":") <= 1 for cell in cells)
        return Clock.HAND if by_hand else Clock.UNKNOWN

    def whole_numbers(self, role: SignalRole) -> NDArray[np.intp] | None:
        """Column of whole numbers, -1 where a cell was empty."""
        values = self.column(role)
        if values is None:
            return None
        filled = np.where(np.isnan(values), -1.0, values)
        odd = np.flatnonzero((filled != np.rint(filled)) | (np.abs(filled) >= MOST_COUNTED))
        if odd.size:
            found = (
                f"{role.value} {odd[0] + 1} in the column is {filled[odd[0]]:g}; it must be a whole number of at most "
                "15 digits."
            )
            raise self.layout.unreadable(None, f"{found} Mend it, or leave the column out.")
        self.said.append(f"{self.called(role)} as {role.value}.")
        return filled.astype(np.intp)
