"""Where a rising or falling function crosses a level (``scipy.optimize`` takes half a second more to import)."""

from __future__ import annotations

import math
from collections.abc import Callable

from truerun.errors import ValueOutOfRange

__all__ = ["crossing"]


def crossing(function: Callable[[float], float], low: float, high: float) -> float:
    """Give the place between two others at which a monotonic function is 0, to the last digits of a float.

    Parameters
    ----------
    function : callable
        Of one number; it may rise or fall.
    low, high : float
        The function has opposite signs here, or is 0 at one of them.

    Returns
    -------
    float

    Raises
    ------
    ValueOutOfRange
        If the function has the same sign at both ends.

    Examples
    --------
    >>> round(crossing(lambda x: x * x - 2, 0.0, 2.0), 12)
    1.414213562373
    """
    rising = function(high) > 0 or function(low) < 0
    if function(low) * function(high) > 0:
        raise ValueOutOfRange("The function", "of one sign at both ends", "of opposite signs, or 0 at an end")
    while True:
        middle = low + (high - low) / 2
        if middle in (low, high) or high - low <= 4 * math.ulp(max(abs(low), abs(high))):
            return middle
        if (function(middle) < 0) == rising:
            low = middle
        else:
            high = middle
