"""Work in pieces, in this process or in several, that ends in order when somebody breaks it off."""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from queue import Empty, SimpleQueue
from typing import Any, TypeVar

__all__ = ["never", "worked"]

Result = TypeVar("Result")
Pieces = dict[int, tuple[Any, ...]]

_PATIENCE = 0.2
"""After how long without a result it is asked whether somebody broke off [s]."""


def never() -> bool:
    """Nobody breaks off."""
    return False


def worked(
    work: Callable[..., Result],
    pieces: Sequence[tuple[Any, ...]],
    *,
    workers: int,
    cancelled: Callable[[], bool] = never,
) -> Iterator[tuple[int, Result]]:
    """Do pieces of work and give each result as it comes, with the place of its piece.

    Parameters
    ----------
    work : callable
        A function of a module, so that another process can find it.
    pieces : sequence of tuple
        The arguments of each piece.
    workers : int
        Processes; 1 works in this one.
    cancelled : callable
        Asked again and again; once it gives True the work ends, and pieces that were not finished give nothing.

    Yields
    ------
    tuple of int and Result
        In the order in which they come, which in several processes is another each time.

    Notes
    -----
    No process outlives this one, however it ends. A worker that is killed from outside does not spoil the work: this
    process then does by itself what is left.

    Examples
    --------
    >>> list(worked(pow, [(2, 3), (2, 4)], workers=1))
    [(0, 8), (1, 16)]
    """
    left = dict(enumerate(pieces))
    if min(workers, len(left)) > 1:
        yield from _together(work, left, min(workers, len(left)), cancelled)
    for place, piece in left.items():
        if cancelled():
            return
        yield place, work(*piece)


def _together(
    work: Callable[..., Result], left: Pieces, workers: int, cancelled: Callable[[], bool]
) -> Iterator[tuple[int, Result]]:
    """Do the pieces in several processes; those that gave nothing stay in ``left``."""
    others = set(multiprocessing.active_children())
    ready: SimpleQueue[Future[Result]] = SimpleQueue()
    pool = ProcessPoolExecutor(workers, multiprocessing.get_context("spawn"), initializer=_stay_with_the_parent)
    try:
        with _interrupts_held_back():
            places = {pool.submit(work, *piece): place for place, piece in left.items()}
        for future in places:
            future.add_done_callback(ready.put)
        while left and not cancelled():
            try:
                done = ready.get(timeout=_PATIENCE)
            except Empty:
                continue
            if isinstance(done.exception(), BrokenProcessPool):
                return
            del left[places[done]]
            yield places[done], done.result()
    finally:
        # the results that count are here already, so nobody need wait for the pieces in hand
        for process in set(multiprocessing.active_children()) - others:
            process.terminate()
        pool.shutdown(wait=True, cancel_futures=True)


@contextmanager
def _interrupts_held_back() -> Iterator[None]:
    """Let Ctrl-C come a moment later, so that processes begun meanwhile never hear of it; it is the parent's to act."""
    if sys.platform == "win32":
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _stay_with_the_parent() -> None:
    """Leave Ctrl-C to the parent, and end when the parent ends, even if it was killed."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_after_the_parent, daemon=True).start()


def _end_after_the_parent() -> None:
    """Wait for the parent's end."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
