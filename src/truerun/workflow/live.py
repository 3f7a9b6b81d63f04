"""A sensor while it runs: opened, watched, checked, armed for a run, lost and found again. Both doors use this.

What comes in is kept in pieces that are on the disk before they are counted as kept; where the sensor is lost, the
segment ends as interrupted, and whatever comes after begins a new one.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from enum import Enum
from typing import Protocol

from truerun.errors import TruerunError, ValueOutOfRange
from truerun.sensing.capture import Capture, Pass
from truerun.sensing.check import CheckNow, SensorCheck
from truerun.sensing.counter import Arrival
from truerun.sensing.lines import Clockwork
from truerun.sensing.ports import Opener, Source
from truerun.sensing.speed import SpeedNow

__all__ = ["EVERY", "Keeper", "Live", "LiveNow", "State", "watched"]

EVERY = 0.5
"""Longest time that passes wait before they are on the disk [s]."""

_AGAIN = 0.5  # s between attempts at opening a port that was lost
_MOST_PIECE = 5000  # passes in one piece


class Keeper(Protocol):
    """Keeps the passes of one run."""

    def keep(self, segment: int, passes: Sequence[Pass], places: int) -> None:
        """Keep further passes of a segment; they are on the disk when this returns."""

    def interrupted(self, segment: int, why: str) -> None:
        """End a segment that broke off."""


class State(Enum):
    """How a sensor is."""

    WAITING = "nothing has passed yet"
    RUNNING = "marks pass"
    LOST = "the sensor is gone"


@dataclass(frozen=True, slots=True)
class LiveNow:
    """What stands at one moment.

    ``passes`` came in since the port was opened, ``kept`` of this run are on the disk. ``speed`` [rad/s], None before
    two passes. ``silent`` is the time since the last pass came in [s], None before the first. ``segment`` counts from
    1, ``interruptions`` is why each one before it ended. ``unreadable`` lines were left out, ``doubt`` says what they
    may mean. ``check`` is None unless a check is under way.
    """

    state: State
    passes: int
    kept: int
    speed: float | None
    silent: float | None
    segment: int
    interruptions: tuple[str, ...]
    unreadable: int
    doubt: str | None
    check: CheckNow | None
    armed: bool


class Live:
    """A sensor while it runs.

    Parameters
    ----------
    opener : callable
        Opens the port or the growing file; called again after it was lost.
    marks : int
        Marks a turn.
    clock : callable
        Gives the time of this computer [s].
    pause : callable
        Waits a moment, between attempts at a port that was lost.
    clockwork : Clockwork, optional
        How the sensor counts, unless it says so itself.

    Raises
    ------
    RecordingUnreadable
        If the port does not open.
    """

    def __init__(
        self,
        opener: Opener,
        *,
        marks: int,
        clock: Callable[[], float],
        pause: Callable[[], None],
        clockwork: Clockwork | None = None,
    ) -> None:
        if marks < 1:
            raise ValueOutOfRange("The number of marks", marks, "at least 1")
        self._opener, self._marks, self._clockwork = opener, marks, clockwork
        self._clock, self._pause = clock, pause
        self._lock = threading.RLock()
        self._keeper: Keeper | None = None
        self._waiting: list[Pass] = []
        self._passes = self._kept = self._unreadable = 0
        self._segment = 1
        self._interruptions: list[str] = []
        self._last: float | None = None
        self._check: SensorCheck | None = None
        self._speed = SpeedNow(marks)
        self._source: Source | None = None
        self._closed = False
        self._broke_off: str | None = None
        self._read_until = 0.0
        self._tried = self._flushed = clock()
        self._open()

    def step(self) -> None:
        """Read once, for a moment, and take in what came; opens a lost port again."""
        source = self._source
        if source is None:
            self._open_again()
            return
        before = self._read_until
        try:
            data = source.read()
        except OSError:
            with self._lock:
                self._lose("the sensor was unplugged, or its line broke")
            return
        now = self._clock()
        with self._lock:
            if self._closed:
                return
            self._take(data, Arrival(before, now), now)
            if not data or before != float("-inf"):
                self._read_until = now
            if self._waiting and (now - self._flushed >= EVERY or len(self._waiting) >= _MOST_PIECE):
                self._flush(now)

    def now(self) -> LiveNow:
        """Tell what stands."""
        with self._lock:
            time = self._clock()
            silent = None if self._last is None else time - self._last
            state = State.LOST if self._source is None else State.WAITING if self._last is None else State.RUNNING
            return LiveNow(
                state=state,
                passes=self._passes,
                kept=self._kept,
                speed=None if silent is None else self._speed.value(silent),
                silent=silent,
                segment=self._segment,
                interruptions=tuple(self._interruptions),
                unreadable=self._unreadable + self._capture.unreadable,
                doubt=self._doubt(),
                check=None if self._check is None else self._check.now(time),
                armed=self._keeper is not None,
            )

    def begin_check(self) -> None:
        """Begin the check of the sensor: a mark by hand, then one turn by hand."""
        with self._lock:
            self._check = SensorCheck(self._marks)

    def arm(self, keeper: Keeper) -> None:
        """Keep every pass from now on as the passes of one run, from segment 1."""
        with self._lock:
            if self._keeper is not None:
                raise ValueOutOfRange("The sensor", "armed for a run already", "free", "End that run first.")
            self._keeper, self._kept, self._segment, self._interruptions = keeper, 0, 1, []
            self._check, self._flushed = None, self._clock()

    def break_off(self, why: str) -> None:
        """Note that nobody reads any more; a run that is armed then ends as interrupted, however it is ended."""
        with self._lock:
            self._broke_off = why

    def stop(self) -> LiveNow:
        """End the run: what still waits is kept; gives what then stands."""
        with self._lock:
            if self._broke_off is None:
                self._flush(self._clock())
            elif self._keeper is not None:
                self._begin_segment(self._broke_off)
            ended = self.now()
            self._keeper = None
            return ended

    def close(self) -> None:
        """Let the port go; what still waits is kept."""
        with self._lock:
            self._closed = True
            try:
                self._flush(self._clock())
            finally:
                if self._source is not None:
                    self._source.close()

    def _open(self) -> None:
        """Open the port and begin a reader on it."""
        self._source = self._opener()
        self._capture = Capture(self._clockwork, mid_line=self._source.mid_line)
        self._read_until = self._clock() if self._source.mid_line else float("-inf")

    def _open_again(self) -> None:
        """Try a lost port again, not too often; each try takes its moment."""
        now = self._clock()
        if now - self._tried < _AGAIN:
            self._pause()
            return
        self._tried = now
        with self._lock:
            if self._closed:
                return
            try:
                self._open()
            except TruerunError:
                return

    def _lose(self, why: str) -> None:
        """Note that the sensor is gone."""
        if self._source is not None:
            self._source.close()
        self._source, self._tried = None, self._clock()
        self._unreadable += self._capture.unreadable + self._capture.half_line
        self._begin_segment(why)

    def _begin_segment(self, why: str) -> None:
        """End the segment as interrupted, and begin the next."""
        self._flush(self._clock())
        if self._keeper is not None:
            self._keeper.interrupted(self._segment, why)
        self._interruptions.append(why)
        self._segment += 1
        self._speed.forget()

    def _take(self, data: bytes, arrival: Arrival, now: float) -> None:
        """Take in what came."""
        pieces = self._capture.feed(data, arrival)
        for number, each in enumerate(pieces.passes):
            if number == pieces.restarted:
                self._begin_segment("the sensor started again")
            self._passes += 1
            self._last = now
            self._speed.note(each.time)
            if self._check is not None:
                self._check.note(each, now)
            if self._keeper is not None:
                self._waiting.append(each)

    def _flush(self, now: float) -> None:
        """Put on the disk what waits."""
        self._flushed = now
        if self._keeper is not None and self._waiting:
            places = self._capture.places
            self._keeper.keep(
                self._segment, tuple(self._waiting), self._capture.clockwork.places if places is None else places
            )
            self._kept += len(self._waiting)
        self._waiting.clear()

    def _doubt(self) -> str | None:
        """Say what much unreadable text may mean."""
        if not self._capture.mostly_unreadable:
            return None
        return "What comes in is no list of stamps. Most often the speed of the line (--baud) is wrong."


@contextmanager
def watched(live: Live, trouble: Callable[[TruerunError], None]) -> Iterator[None]:
    """Read a sensor from a thread of its own, until the block is left; for doors that ask now and then.

    Parameters
    ----------
    live : Live
    trouble : callable
        Called with what ended the reading before its time, such as a full disk.
    """
    over = threading.Event()

    def read() -> None:
        try:
            while not over.is_set():
                live.step()
        except TruerunError as error:
            live.break_off(f"what came was not kept: {error}")
            trouble(error)

    thread = threading.Thread(target=read, daemon=True)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join()
        live.close()
