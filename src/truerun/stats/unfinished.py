"""Runs that did not reach the end: none is dropped for it.

A run that was still going when it was stopped is the strongest observation there is, so leaving it out would bend
the comparison. Either the end is moved to a speed that every run fell through, or every time is counted up to one
common limit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from truerun.errors import FitImpossible

__all__ = ["CappedTimes", "common_end", "cut_to_common_limit", "honest_ends"]

Array = NDArray[np.float64]


def common_end(speeds: Sequence[Array], times: Sequence[Array], start: float) -> tuple[float, Array]:
    """Move the end to the lowest speed that every run fell through.

    Parameters
    ----------
    speeds : sequence of array, each shape (n_i,)
        Falling speeds of each run [rad/s].
    times : sequence of array, each shape (n_i,)
        When they were reached [s].
    start : float
        Speed at which the window begins [rad/s].

    Returns
    -------
    end : float
        The common end [rad/s].
    window : array, shape (k,)
        Time of each run from ``start`` to ``end`` [s].

    Raises
    ------
    FitImpossible
        If some run never fell below ``start``, so that no common window exists.

    Notes
    -----
    Straight lines between the points given; the points should be close together.

    Examples
    --------
    >>> end, window = common_end([np.array([9.0, 6, 3]), np.array([9.0, 7, 5])],
    ...                          [np.array([0.0, 3, 6]), np.array([0.0, 4, 8])], start=8.0)
    >>> end, [float(t) for t in window]
    (5.0, [3.0, 6.0])
    """
    end = max(float(run.min()) for run in speeds)
    if end >= start or any(float(run.max()) < start for run in speeds):
        raise FitImpossible(
            f"No speed below {start:.3g} rad/s was passed by every run: the slowest end is {end:.3g} rad/s. "
            "Let every run slow down further, or start the window at a speed that all runs pass."
        )

    def reached(speed: float) -> Array:
        return np.array([np.interp(-speed, -run, when) for run, when in zip(speeds, times, strict=True)])

    return end, reached(end) - reached(start)


@dataclass(frozen=True, slots=True)
class CappedTimes:
    """Times counted up to one common limit.

    ``times`` shape (n,) and ``limit`` in seconds; ``capped`` tells which runs stand at the limit.
    """

    times: Array
    limit: float
    capped: NDArray[np.bool_]


def cut_to_common_limit(times: Array, unfinished: NDArray[np.bool_]) -> CappedTimes:
    """Count every time up to the shortest limit at which a run was given up.

    Parameters
    ----------
    times : array, shape (n,)
        Time of each run, or how long it was watched [s].
    unfinished : array of bool, shape (n,)
        Whether the run was still going then.

    Returns
    -------
    CappedTimes

    Notes
    -----
    The same rule for every run, whatever its condition, so the exact list stays exact where there is no effect.
    The effect itself is understated: it is *at least* what the list says; see :func:`honest_ends`.

    Examples
    --------
    >>> cut = cut_to_common_limit(np.array([500.0, 640, 600, 580]), np.array([False, False, True, False]))
    >>> cut.times.tolist(), cut.limit, cut.capped.tolist()
    ([500.0, 600.0, 600.0, 580.0], 600.0, [False, True, True, False])
    """
    if not unfinished.any():
        return CappedTimes(times, float("inf"), np.zeros(len(times), dtype=np.bool_))
    limit = float(times[unfinished].min())
    return CappedTimes(np.minimum(times, limit), limit, times >= limit)


def honest_ends(
    low: float | None, high: float | None, *, source_capped: bool, control_capped: bool
) -> tuple[float | None, float | None]:
    """Keep only those ends of an interval that counting up to a limit leaves true.

    Parameters
    ----------
    low, high : float or None
        Interval of the effect from the capped values.
    source_capped, control_capped : bool
        Whether any run of the condition stands at the limit.

    Returns
    -------
    low, high : float or None
        An end that could be wrong is None (open).

    Notes
    -----
    A capped source run hides part of a drive: the lower end stays true, the upper is open. A capped control run hides
    part of a brake: the upper end stays true, the lower is open. Where both are capped, a lower end above 0 stays true
    all the same, since min(t + d, L) <= min(t, L) + d for d > 0; likewise an upper end below 0.

    Examples
    --------
    >>> honest_ends(0.02, 0.05, source_capped=True, control_capped=True)
    (0.02, None)
    >>> honest_ends(-0.01, 0.05, source_capped=True, control_capped=False)
    (-0.01, None)
    """
    keep_low = low is not None and (not control_capped or low > 0)
    keep_high = high is not None and (not source_capped or high < 0)
    return (low if keep_low else None), (high if keep_high else None)
