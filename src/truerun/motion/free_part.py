"""The part of counted passes in which the wheel runs freely and slows down."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from truerun.errors import FitImpossible

__all__ = ["free_part", "turn_rates"]

LEAST_RISE = 0.003
FINE_RISE = 0.05
RISE_SCATTERS = 8.0
STEADY_LOSS = 0.02
STEADY_SHARE = 0.25


def turn_rates(
    times: NDArray[np.float64], counts: NDArray[np.intp], marks: int
) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.float64]]:
    """Rates of whole turns, 1/time^2, between two passes of the same mark.

    Parameters
    ----------
    times : array, shape (n,)
        Increasing [s].
    counts : array of int, shape (n,)
        Number of each pass.
    marks : int
        Marks per turn.

    Returns
    -------
    first, last : array of int, shape (k,)
        Places of both passes.
    rates : array, shape (k,)
        [1/s^2].
    """
    last = np.searchsorted(counts, counts + marks)
    first = np.flatnonzero((last < counts.size) & (counts[np.minimum(last, counts.size - 1)] == counts + marks))
    last = last[first].astype(np.intp)
    return first, last, (times[last] - times[first]) ** -2.0


def free_part(times: NDArray[np.float64], counts: NDArray[np.intp], marks: int) -> tuple[int, int]:
    """Find the longest stretch of passes in which whole turns only become slower.

    Parameters
    ----------
    times : array, shape (n,)
        Increasing [s].
    counts : array of int, shape (n,)
        Number of each pass.
    marks : int
        Marks per turn.

    Returns
    -------
    start, stop : int
        Passes ``start`` to before ``stop``.

    Raises
    ------
    FitImpossible
        If the speed does not fall over three turns anywhere.

    Notes
    -----
    Speed rises where a later turn beats an earlier one by more than 0.3 % in energy and more than eight times the
    scatter of single turns; where turns scatter much, several are taken together. A steady drive before the
    release shows as a stretch that loses next to nothing.
    """
    span = marks
    first, last, rates = turn_rates(times, counts, span)
    if rates.size < 2:
        raise FitImpossible(
            f"The {times.size} passes that can be used hold fewer than two whole turns. At least 3 turns are "
            "needed, better 30: record from higher speed, or for longer."
        )
    while RISE_SCATTERS * _scatter(rates) > FINE_RISE and 4 * (span + marks) <= counts[-1] - counts[0]:
        span += marks
        first, last, rates = turn_rates(times, counts, span)
    tolerance = max(LEAST_RISE, RISE_SCATTERS * _scatter(rates))
    peak, low = max(_falls(rates, tolerance), key=lambda fall: fall[1] - fall[0])
    fallen = 1 - rates[low] / rates[peak]
    if fallen < tolerance or counts[last[low]] - counts[first[peak]] < 3 * marks:
        speeds = 2 * np.pi * span / marks * np.sqrt(rates[[0, -1]])
        raise FitImpossible(
            f"The speed goes from {speeds[0]:.4g} to {speeds[1]:.4g} rad/s and falls over no three turns: this is no "
            "rundown. Record the wheel while it slows down by itself, from launch to the slowest turns. A wheel that "
            "keeps its speed or gains is compared with its control: name the recordings of both in one table, and "
            "give it to truerun compare."
        )
    peak = _released(rates, peak, low)
    pushed = peak > 0 and rates[:peak].min() < rates[peak] * (1 - tolerance)
    start = int(first[peak]) if peak else 0
    if pushed:
        start = int(np.searchsorted(counts, counts[start] + marks))
    stop = times.size if low == rates.size - 1 else int(last[low]) + 1
    return start, stop


def _scatter(rates: NDArray[np.float64]) -> float:
    """Scatter of single turns as a share, from second differences."""
    if rates.size < 5:
        return 0.0
    return float(np.median(np.abs(np.diff(rates, n=2)) / rates[1:-1])) / 0.6745 / 6**0.5


def _falls(rates: NDArray[np.float64], tolerance: float) -> list[tuple[int, int]]:
    """List peak and bottom of every fall, between rises beyond the tolerance."""
    falls, peak, low, rising = [], 0, 0, False
    for place, rate in enumerate(rates.tolist()):
        if rising:
            if rate > rates[peak]:
                peak = low = place
            elif rate < rates[peak] * (1 - tolerance):
                rising, low = False, place
        elif rate < rates[low]:
            low = place
        elif rate > rates[low] * (1 + tolerance):
            falls.append((peak, low))
            peak, low, rising = place, place, True
    return [*falls, (peak, low)]


def _released(rates: NDArray[np.float64], peak: int, low: int) -> int:
    """Place at which a steady drive ended: where a long stretch had lost next to nothing."""
    lost = rates[peak] - rates[peak : low + 1]
    begun = int(np.argmax(lost > STEADY_LOSS * lost[-1]))
    return peak + begun if begun > STEADY_SHARE * lost.size else peak
