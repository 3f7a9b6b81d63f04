"""A made-up sensor on a made-up wheel: it prints the lines of a real one, on a line of its own that can be plugged."""

from __future__ import annotations

import math
import os
import threading
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from truerun.errors import ValueOutOfRange
from truerun.virtual.course import simulate_run
from truerun.virtual.drag_laws import PowerLaw
from truerun.virtual.rig import Launch, Rig
from truerun.virtual.sensor import Jitter, SensorClock, record_passes

__all__ = ["MadeUpSensor", "hand_lines", "sensor_lines"]

try:
    from tty import setraw
except ImportError:  # on Windows there are no such lines
    setraw = None  # type: ignore[assignment]

# from 14 rad/s to rest in two minutes
_WHEEL = PowerLaw(((0, 0.04), (1, 0.012), (2, 0.0005)))
_JITTER = 4e-6  # s, the reading error of a light gate; common practice, no source


@dataclass(frozen=True, slots=True)
class TimedLine:
    """What is printed, and when after launch [s]."""

    time: float
    text: bytes


def sensor_lines(
    rng: np.random.Generator,
    *,
    marks: int = 12,
    speed: float = 14.0,
    rate: int = 1_000_000,
    bits: int = 32,
    start: float = 0.0,
    index: bool = False,
) -> tuple[TimedLine, ...]:
    r"""Give what a sensor prints during one run of a made-up wheel.

    Parameters
    ----------
    rng : numpy.random.Generator
    marks : int
        Even marks on the wheel.
    speed : float
        At launch [rad/s].
    rate : int
        Ticks of its counter [1/s].
    bits : int
        After which the counter starts again from 0.
    start : float
        What the clock shows at launch [s].
    index : bool
        Whether each line tells the index mark.

    Returns
    -------
    tuple of TimedLine
        First the remark that tells how it counts.

    Examples
    --------
    >>> lines = sensor_lines(np.random.default_rng(1), marks=2)
    >>> lines[0].text, lines[1].text
    (b'# 1000000 ticks/s, 32 bits\n', b'224951\n')
    """
    rig = Rig(_WHEEL, marks=tuple(2 * math.pi * mark / marks for mark in range(marks)))
    course = simulate_run(rig, Launch(speed), tolerance=1e-9)
    clock = SensorClock(resolution=1 / rate, start=start, wrap=2**bits / rate)
    passes, truth = record_passes(course, rng, dirt=(Jitter(_JITTER),), clock=clock)
    ticks = np.rint(passes.times * rate).astype(np.int64)
    remark = TimedLine(0.0, f"# {rate} ticks/s, {bits} bits\n".encode())
    return (remark, *_printed(truth.times, ticks, truth.places % marks == 0 if index else None))


def hand_lines(marks: int) -> tuple[TimedLine, ...]:
    r"""Give what a sensor prints while somebody checks it: a magnet passed thrice, then one slow turn by hand.

    Parameters
    ----------
    marks : int
        On the wheel.

    Returns
    -------
    tuple of TimedLine

    Examples
    --------
    >>> [line.text for line in hand_lines(2)[2:]]
    [b'1500000\n', b'2000000\n', b'7000000\n', b'9500000\n']
    """
    magnet = [1.0, 1.5, 2.0]
    turn = [7.0 + 5.0 * mark / marks for mark in range(marks)]
    remark = TimedLine(0.0, b"# 1000000 ticks/s, 32 bits\n")
    return (remark, *(TimedLine(time, f"{round(time * 1e6)}\n".encode()) for time in (*magnet, *turn)))


def _printed(
    times: NDArray[np.float64], ticks: NDArray[np.int64], index: NDArray[np.bool_] | None
) -> Iterator[TimedLine]:
    """Print each pass."""
    for number, (time, tick) in enumerate(zip(times.tolist(), ticks.tolist(), strict=True)):
        more = "" if index is None else f" {int(index[number])}"
        yield TimedLine(time, f"{tick}{more}\n".encode())


class MadeUpSensor:
    """A line that a made-up sensor prints to, as if it were plugged in; ``name`` is its port.

    Parameters
    ----------
    lines : tuple of TimedLine
        What it prints, once.
    clock : callable
        Gives the time [s].

    Notes
    -----
    It prints from a thread of its own until it is closed. Lines of this kind (pseudo-terminals) are on Linux and
    macOS only.
    """

    def __init__(self, lines: tuple[TimedLine, ...], clock: Callable[[], float]) -> None:
        if setraw is None:
            raise ValueOutOfRange(
                "The made-up sensor", "not to be had on Windows", "on Linux or macOS", "Plug in a real one."
            )
        self._ours, self._theirs = os.openpty()
        setraw(self._theirs)
        os.set_blocking(self._ours, False)  # a reader that does not read loses lines, as with a real sensor
        self.name = os.ttyname(self._theirs)
        self._lines, self._clock, self._gone = lines, clock, threading.Event()
        self._thread = threading.Thread(target=self._print, daemon=True)
        self._thread.start()

    def _print(self) -> None:
        """Print each line when it is due."""
        begun = self._clock()
        for line in self._lines:
            late = self._clock() - begun - line.time
            if self._gone.wait(max(-late, 0)):
                break
            self.send(line.text)

    def send(self, text: bytes) -> None:
        """Print something out of turn; what nobody reads in time is lost."""
        with suppress(BlockingIOError):
            os.write(self._ours, text)

    def close(self) -> None:
        """Pull the plug."""
        if not self._gone.is_set():
            self._gone.set()
            self._thread.join()
            os.close(self._ours)
            os.close(self._theirs)
