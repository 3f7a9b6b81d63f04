"""Long work at a terminal: one line that says how far it is, and Ctrl-C that ends it in order."""

from __future__ import annotations

import signal
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from threading import Event
from types import FrameType

__all__ = ["progress_line", "until_ctrl_c"]

Progress = Callable[[int, int], None]

_EVERY = 0.2
"""Between two writings of the line [s]."""


@contextmanager
def progress_line(what: str, clock: Callable[[], float] = time.monotonic) -> Iterator[Progress | None]:
    """Keep one line on standard error that says how far the work is; it is wiped away at the end.

    Parameters
    ----------
    what : str
        What is counted, such as "made-up tests".
    clock : callable
        Gives the time [s].

    Yields
    ------
    callable or None
        To be called with what is done and with all; None where standard error is no terminal.
    """
    if not sys.stderr.isatty():
        yield None
        return
    begun = shown = clock()
    width = 0

    def show(done: int, total: int) -> None:
        nonlocal shown, width
        now = clock()
        if width and now - shown < _EVERY and done < total:
            return
        line = f"{done} of {total} {what}{_time_left(now - begun, done, total)}"
        _write_over(line.ljust(width))
        shown, width = now, len(line)

    try:
        yield show
    finally:
        _write_over(" " * width + "\r" if width else "")


@contextmanager
def until_ctrl_c() -> Iterator[Callable[[], bool]]:
    """Turn the first Ctrl-C into an answer to the question whether to go on; a second one breaks off at once.

    Yields
    ------
    callable
        True once Ctrl-C was pressed.
    """
    pressed = Event()

    def note(signum: int, frame: FrameType | None) -> None:  # noqa: ARG001  the signature is signal's
        pressed.set()
        signal.signal(signal.SIGINT, signal.default_int_handler)

    before = signal.signal(signal.SIGINT, note)
    try:
        yield pressed.is_set
    finally:
        signal.signal(signal.SIGINT, before)


def _time_left(spent: float, done: int, total: int) -> str:
    """Say about how long it will still take, once that can be told."""
    left = spent * (total - done) / done if done else 0.0
    if left < 1:
        return ""
    return f", about {left:.0f} s left" if left < 90 else f", about {left / 60:.0f} min left"


def _write_over(line: str) -> None:
    """Write over the line on which the cursor stands."""
    if line:
        sys.stderr.write(f"\r{line}")
        sys.stderr.flush()
