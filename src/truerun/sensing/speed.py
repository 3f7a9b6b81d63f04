"""Speed from the passes as they come."""

from __future__ import annotations

import math
from collections import deque

__all__ = ["SpeedNow"]


class SpeedNow:
    """The speed over the last turn of passes, so that uneven marks do not make it flicker.

    Parameters
    ----------
    marks : int
        Marks a turn.

    Examples
    --------
    >>> speed = SpeedNow(2)
    >>> for time in (0.0, 0.5, 1.0):
    ...     speed.note(time)
    >>> round(speed.value(0.1), 4)
    6.2832
    """

    def __init__(self, marks: int) -> None:
        self._marks = marks
        self._times: deque[float] = deque(maxlen=marks + 1)

    def note(self, time: float) -> None:
        """Take a pass [s]."""
        self._times.append(time)

    def forget(self) -> None:
        """Begin anew, on another clock."""
        self._times.clear()

    def value(self, silent: float) -> float | None:
        """Give the speed.

        Parameters
        ----------
        silent : float
            Time since the last pass came in [s]; once that is longer than any interval so far, the speed is below
            what it says.

        Returns
        -------
        float or None
            [rad/s]; None before the second pass.
        """
        if len(self._times) < 2:
            return None
        spaces, seconds = len(self._times) - 1, self._times[-1] - self._times[0]
        if seconds <= 0:
            return None
        longest = 2 * seconds / spaces
        space = seconds / spaces if silent <= longest else silent
        return 2 * math.pi / (self._marks * space)
