"""Six runs tapped on a terminal: Enter at every pass of one mark."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from typing import TYPE_CHECKING

from truerun.cli.questions import ask
from truerun.cli.screen import say
from truerun.errors import ValueOutOfRange

if TYPE_CHECKING:
    from truerun.series import RunTable

__all__ = ["tapped_runs"]

_RUNS = 6
_HOW = (
    "One mark on the rim, one pointer beside it. Guard closed, eyes protected, nobody in the plane of the wheel.\n"
    "Take your hand off, then press Enter at every pass. s and Enter: it stopped. e and Enter: leave off, it still\n"
    "turns. w and Enter: throw this run away. Ctrl-C leaves, and nothing is written."
)


def tapped_runs(clock: Callable[[], float] = time.monotonic) -> tuple[RunTable, str, str]:
    """Lead through six runs in turn, with the source and without.

    Parameters
    ----------
    clock : callable
        Gives seconds that only go forward.

    Returns
    -------
    RunTable
        With taps, and the time to standstill of each run that stopped.
    str, str
        What the source and the control are called.
    """
    from truerun.series import Run, RunTable

    source = ask("What do you call the wheel with the source in place?", default="magnets on")
    control = ask("And with the source taken away?", lambda text: _other(text, source), default="magnets off")
    say(f"\n{_HOW}")
    runs: list[Run] = []
    while len(runs) < _RUNS:
        name = control if len(runs) % 2 else source
        say(f"\nRun {len(runs) + 1} of {_RUNS}: {name}")
        found = _one_run(clock)
        if found is None:
            say("Thrown away. The same again.")
            continue
        taps, rest = found
        stopped = "" if rest is None else f", it stopped after {rest:.1f} s"
        say(f"{len(taps)} taps{stopped}.")
        text = " ".join(f"{tap:.3f}" for tap in taps)
        runs.append(Run(len(runs) + 1, name, rest, extra={"taps": text}))
    return RunTable(tuple(runs)), source, control


def _one_run(clock: Callable[[], float]) -> tuple[list[float], float | None] | None:
    """Take the taps of one run, and when it stopped if it did [s from the first tap]; None where it does not count."""
    taps: list[float] = []
    while True:
        line = sys.stdin.readline()
        now = clock()
        word = line.strip().casefold()
        if not line:
            raise KeyboardInterrupt
        if word == "w":
            return None
        if not word:
            taps.append(now)
        elif word in ("s", "e") and taps:
            return [tap - taps[0] for tap in taps], now - taps[0] if word == "s" else None
        else:
            say("Enter at a pass; s, e or w and Enter at the end.")


def _other(text: str, source: str) -> str:
    """Refuse the name of the source for the control."""
    if text == source:
        raise ValueOutOfRange("The name", f'"{text}" again', "another name", "Call it magnets off, for example.")
    return text
