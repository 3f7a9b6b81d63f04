"""What comes down a line, piece by piece, becomes passes; whatever is no stamp is counted and left out."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, replace
from typing import NamedTuple

from truerun.sensing.counter import Arrival, following_ticks, require_clockwork
from truerun.sensing.lines import Clockwork, Stamp, parse_clockwork, parse_stamp

__all__ = ["Capture", "Pass", "Pieces"]

LONGEST_LINE = 200
RECENT = 30  # lines by which it is told whether the line speaks at the right speed
MOSTLY = 0.5


class Pass(NamedTuple):
    """A mark passed: ``time`` on the sensor's own clock, counted on [s]; ``indexed``: whether it was the index mark."""

    time: float
    indexed: bool | None = None


@dataclass(frozen=True, slots=True)
class Pieces:
    """What one reading brought: the passes, and whether the sensor itself had started again before ``restarted``."""

    passes: tuple[Pass, ...] = ()
    restarted: int | None = None


@dataclass(frozen=True, slots=True)
class _Last:
    """The pass before: counted-on ticks or seconds, when it arrived, and the interval before it [s]."""

    ticks: int
    arrival: Arrival
    interval: float | None = None


class Capture:
    """The reader of one sensor between plugging in and unplugging.

    Parameters
    ----------
    clockwork : Clockwork
        How the sensor counts, unless it says so itself.
    mid_line : bool
        Whether reading began somewhere inside a line: the first line is then not believed.

    Notes
    -----
    A stamp that does not fit the one before is held back: where the next one fits it, the sensor started again; where
    the next one fits what was before, it was garbled. So one wrong digit costs one pass, not the run.
    """

    def __init__(self, clockwork: Clockwork | None = None, *, mid_line: bool = True) -> None:
        self.clockwork = require_clockwork(clockwork or Clockwork())
        self.places: int | None = None
        self.unreadable = 0
        self._half = b""
        self._skip = mid_line
        self._last: _Last | None = None
        self._suspect: tuple[Stamp, _Last] | None = None
        self._recent: deque[bool] = deque(maxlen=RECENT)

    @property
    def mostly_unreadable(self) -> bool:
        """Whether most of what came lately was no stamp, as when the line speaks at another speed."""
        return len(self._recent) == RECENT and sum(self._recent) < MOSTLY * RECENT

    @property
    def half_line(self) -> bool:
        """Whether a line was begun that has not ended."""
        return bool(self._half)

    def feed(self, data: bytes, arrival: Arrival) -> Pieces:
        r"""Take what came.

        Parameters
        ----------
        data : bytes
            As read, lines cut anywhere. Empty: the line was quiet for a moment, so that the next sign begins a line.
        arrival : Arrival
            When.

        Returns
        -------
        Pieces
            Passes in the order of the line. From ``restarted`` on they are on a clock that began anew.

        Examples
        --------
        >>> reader = Capture(mid_line=False)
        >>> reader.feed(b"1000000\n15000", Arrival(0, 0.01)).passes
        (Pass(time=1.0, indexed=None),)
        >>> reader.feed(b"00\n", Arrival(0.4, 0.5)).passes
        (Pass(time=1.5, indexed=None),)
        """
        if not data:
            self._skip = self._skip and bool(self._half)
            return Pieces()
        *lines, self._half = (self._half + data).split(b"\n")
        if len(self._half) > LONGEST_LINE:
            self._count_unreadable(len(self._half) // LONGEST_LINE)
            self._half, self._skip = b"", True
        passes: list[Pass] = []
        restarted: int | None = None
        for line in lines:
            stamp = self._stamp(line)
            if stamp is None:
                continue
            found, began = self._placed(stamp, arrival)
            if began and restarted is None:
                restarted = len(passes)
            passes += found
        return Pieces(tuple(passes), restarted)

    def _count_unreadable(self, count: int) -> None:
        """Count what was no stamp."""
        self.unreadable += count
        self._recent.extend([False] * min(count, RECENT))

    def _stamp(self, line: bytes) -> Stamp | None:
        """Read one line; remarks and empty lines are none, the first half line is not believed."""
        if self._skip:
            self._skip = False
            return None
        if not line.strip():
            return None
        if line.startswith(b"#"):
            told = parse_clockwork(line)
            if told is not None and self._last is None:
                self.clockwork = require_clockwork(told)
            return None
        stamp = parse_stamp(line)
        if stamp is None:
            self._count_unreadable(1)
        else:
            self._recent.append(True)
        return stamp

    def _placed(self, stamp: Stamp, arrival: Arrival) -> tuple[list[Pass], bool]:
        """Put a stamp behind the pass before; tell whether the sensor had started again."""
        if self._last is None:
            return [self._taken(stamp, self._first(stamp, arrival))], False
        following = self._following(self._last, stamp, arrival)
        if following is not None:
            if self._suspect is not None:
                self._count_unreadable(1)
                self._suspect = None
            return [self._taken(stamp, following)], False
        if self._suspect is not None:
            held, first = self._suspect
            second = self._following(first, stamp, arrival)
            if second is not None:
                self._suspect = None
                return [self._taken(held, first), self._taken(stamp, second)], True
            self._count_unreadable(1)
        self._suspect = (stamp, self._first(stamp, arrival))
        return [], False

    def _first(self, stamp: Stamp, arrival: Arrival) -> _Last:
        """Begin to count at a stamp."""
        return _Last(self._ticks(stamp), arrival)

    def _ticks(self, stamp: Stamp) -> int:
        """Give a stamp as whole ticks; seconds count in billionths."""
        return round(stamp.value * 1e9) if stamp.places is not None else int(stamp.value)

    def _following(self, last: _Last, stamp: Stamp, arrival: Arrival) -> _Last | None:
        """Count on to a stamp; None where it does not fit."""
        if (stamp.places is None) != (self.places is None):
            return None
        clockwork = self.clockwork if stamp.places is None else Clockwork(10**9, 64)
        ticks = following_ticks(last.ticks, self._ticks(stamp), clockwork, (last.arrival, arrival), last.interval)
        if ticks is None or ticks == last.ticks:
            return None
        return _Last(ticks, arrival, (ticks - last.ticks) / clockwork.rate)

    def _taken(self, stamp: Stamp, place: _Last) -> Pass:
        """Make it the last pass."""
        if self._last is None:
            self.places = stamp.places
        self._last = replace(place)
        rate = self.clockwork.rate if stamp.places is None else 10**9
        return Pass(place.ticks / rate, stamp.index)
