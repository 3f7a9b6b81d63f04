"""How a sensor is, in plain words, for terminal and browser."""

from __future__ import annotations

import math

from truerun.workflow.live import LiveNow, State

__all__ = ["speed_words", "trouble_words", "turning_words"]

_QUIET = 2.0  # s without a pass: the speed is no longer that of the last turn


def speed_words(now: LiveNow) -> str:
    """Say the speed, or why there is none.

    Examples
    --------
    >>> speed_words(LiveNow(State.RUNNING, 9, 0, 10.0, 0.1, 1, (), 0, None, None, False))
    '95.5 r/min (10.00 rad/s)'
    """
    if now.state is State.LOST:
        return "the sensor is gone; plug it in again"
    if now.speed is None:
        return str(now.state.value)
    below = "below " if now.silent is not None and now.silent > _QUIET else ""
    return f"{below}{now.speed * 60 / (2 * math.pi):.1f} r/min ({now.speed:.2f} rad/s)"


def turning_words(now: LiveNow) -> str:
    """Say only whether the wheel turns, as in a run of a sealed plan.

    Examples
    --------
    >>> turning_words(LiveNow(State.RUNNING, 9, 0, 10.0, 0.1, 1, (), 0, None, None, True))
    'the wheel turns'
    """
    if now.state is not State.RUNNING:
        return speed_words(now)
    return "the wheel turns" if now.silent is not None and now.silent <= _QUIET else "no mark passes now"


def trouble_words(now: LiveNow) -> str:
    """Say what broke off, what was left out and what that may mean; empty where all is well.

    Examples
    --------
    >>> trouble_words(LiveNow(State.RUNNING, 9, 0, 10.0, 0.1, 1, (), 3, None, None, False))
    '3 lines could not be read'
    """
    parts = []
    if now.interruptions:
        parts.append(f"part {now.segment} now: {now.interruptions[-1]}")
    if now.unreadable:
        parts.append(f"{now.unreadable} {'line' if now.unreadable == 1 else 'lines'} could not be read")
    if now.doubt is not None:
        parts.append(now.doubt)
    return "; ".join(parts)
