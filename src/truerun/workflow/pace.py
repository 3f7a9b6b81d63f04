"""How fast runs follow each other, and what time it will be after some of them."""

from __future__ import annotations

from datetime import datetime, timedelta
from itertools import pairwise
from statistics import median

from truerun.notebook.state import TestState

__all__ = ["pace_of", "time_after"]

_ENOUGH = 3
_SHORTEST, _LONGEST = 0.5, 120.0  # min; shorter is typed in from paper, longer is a break


def pace_of(state: TestState) -> float | None:
    """Give the time from one run to the next: as it went in this sitting, else as planned.

    Parameters
    ----------
    state : TestState
        With a sealed plan.

    Returns
    -------
    float or None
        Minutes; the middle one of the gaps between beginnings, once three runs of the sitting were begun. None where
        neither is known.
    """
    begun = [datetime.fromisoformat(run.begun) for run in state.runs if run.session == state.sessions]
    gaps = [(later - earlier).total_seconds() / 60 for earlier, later in pairwise(begun)]
    held = [gap for gap in gaps if _SHORTEST <= gap <= _LONGEST]
    if len(held) + 1 >= _ENOUGH:
        return median(held)
    minutes = (state.plan or {}).get("sessions", {}).get("minutes")
    return None if minutes is None or not state.order else float(minutes) / len(state.order)


def time_after(state: TestState, now: datetime, runs: int) -> str:
    """Give the time of day after so many further runs, as a clock on the wall shows it; empty where no pace is known.

    Parameters
    ----------
    state : TestState
        With a sealed plan.
    now : datetime
        With the time zone of the wall.
    runs : int
        From the next one on.

    Returns
    -------
    str
        To five minutes, such as ``18:35``; what is past midnight is said.
    """
    pace = pace_of(state)
    if pace is None:
        return ""
    then = now + timedelta(minutes=pace * runs + 2.5)
    said = f"{then.hour:02d}:{then.minute // 5 * 5:02d}"
    return said if then.date() == now.date() else f"{said} the next day"
