"""Turning points of a series: where it stops rising and begins to fall, or the other way."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Turnings", "alternating_extremes", "scatter_of", "turning_points"]

SHARE = 0.15
FEWEST = 5
ENOUGH_FOR_TWO = 20
JUMP, JUMP_AROUND = 0.4, 7


@dataclass(frozen=True, slots=True, eq=False)
class Turnings:
    """Turning points: ``times`` [s] and ``values`` (n,), alternately high and low, from a parabola through each.

    ``value_uncertainty`` (n,) is how well the parabola gives the value, from its own scatter. ``jumps`` counts the
    jumps to and fro that were left out: two turnings within less than .4 of the half swings around them.
    """

    times: NDArray[np.float64]
    values: NDArray[np.float64]
    value_uncertainty: NDArray[np.float64]
    jumps: int


def scatter_of(times: NDArray[np.float64], values: NDArray[np.float64]) -> float:
    """Estimate the standard deviation of single readings from their scatter.

    Parameters
    ----------
    times : array, shape (n,)
        Increasing.
    values : array, shape (n,)
        At least 3.

    Returns
    -------
    float

    Notes
    -----
    From the distance of each reading to the straight line between its neighbours: median of its size over .6745
    (so that a few jumps do not matter), with the line's own scatter taken out.
    """
    before = (times[2:] - times[1:-1]) / (times[2:] - times[:-2])
    away = values[1:-1] - before * values[:-2] - (1 - before) * values[2:]
    return float(np.median(np.abs(away) / np.sqrt(1 + before**2 + (1 - before) ** 2)) / 0.6745)


def alternating_extremes(values: NDArray[np.float64], least: float) -> NDArray[np.intp]:
    """Places of highs and lows that follow one another, each at least ``least`` away from the one before.

    Parameters
    ----------
    values : array, shape (n,)
    least : float
        Smaller movements are taken for scatter.

    Returns
    -------
    array of int
        The first and the last extreme included; empty where the values never move by ``least``.

    Examples
    --------
    >>> alternating_extremes(np.array([0.0, 2.0, 1.9, 3.0, 1.0, 1.2, 0.0]), 0.5)
    array([0, 3, 6])
    """
    found: list[int] = []
    low = high = 0
    rising: bool | None = None
    for place, value in enumerate(values.tolist()):
        high = place if value > values[high] else high
        low = place if value < values[low] else low
        if rising is not False and values[high] - value >= least:
            found.append(high)
            rising, low = False, place
        elif rising is not True and value - values[low] >= least:
            found.append(low)
            rising, high = True, place
    if rising is not None:
        found.append(high if rising else low)
        if found[0] > 0 and abs(values[found[0]] - values[0]) >= least:
            found.insert(0, 0)
    return np.array(found, dtype=np.intp)


def turning_points(times: NDArray[np.float64], values: NDArray[np.float64], *, least: float | None = None) -> Turnings:
    """Find the turning points of a series that swings to and fro.

    Parameters
    ----------
    times : array, shape (n,)
        Increasing [s].
    values : array, shape (n,)
        Angle, displacement or speed.
    least : float, optional
        Swings smaller than this are taken for scatter; 0: nothing moves. None: a hundredth of the range, and six times
        the scatter.

    Returns
    -------
    Turnings
        Without the first and the last extreme, where the recording may begin or end amid a swing.

    Notes
    -----
    Parabola through the readings within .15 of the neighbouring half swings, five at least. The swing's fourth-order
    part lowers it by less than 1 in 10 000 there.
    """
    if least is None:
        least = max(0.01 * float(np.ptp(values)), 6 * scatter_of(times, values))
    every = alternating_extremes(values, least) if least > 0 else np.array([], dtype=np.intp)
    extremes = _without_jumps(times, every)
    inner = extremes[1:-1]
    found = [
        _parabola(times, values, place, SHARE * min(times[after] - times[place], times[place] - times[before]))
        for before, place, after in zip(extremes, inner, extremes[2:], strict=False)
    ]
    table = np.array(found).reshape(-1, 3)
    return Turnings(table[:, 0], table[:, 1], table[:, 2], (every.size - extremes.size) // 2)


def _without_jumps(times: NDArray[np.float64], extremes: NDArray[np.intp]) -> NDArray[np.intp]:
    """Take out pairs of extremes that follow each other far sooner than those around them."""
    kept = extremes
    while kept.size > JUMP_AROUND:
        halves = np.diff(times[kept])
        around = np.lib.stride_tricks.sliding_window_view(np.pad(halves, JUMP_AROUND // 2, mode="reflect"), JUMP_AROUND)
        share = halves / np.median(around, axis=1)
        worst = int(np.argmin(share))
        if share[worst] > JUMP:
            break
        kept = np.delete(kept, [worst, worst + 1])
    return kept


def _parabola(
    times: NDArray[np.float64], values: NDArray[np.float64], place: int, reach: float
) -> tuple[float, float, float]:
    """Time, value and uncertainty of the value at the vertex of the parabola around a place.

    With many readings each side has its own bend: dry friction turns round with the speed.
    """
    near = np.flatnonzero(np.abs(times - times[place]) <= reach)
    if near.size < FEWEST:
        first = min(max(place - FEWEST // 2, 0), times.size - FEWEST)
        near = np.arange(max(first, 0), min(first + FEWEST, times.size))
    width = float(np.ptp(times[near])) / 2 or 1.0
    since = (times[near] - times[place]) / width
    vertex = 0.0
    for _ in range(1 if near.size < ENOUGH_FOR_TWO else 4):
        columns = _bends(since - vertex, two=near.size >= ENOUGH_FOR_TWO)
        weights = np.linalg.lstsq(columns, values[near], rcond=None)[0]
        bend = float(weights[2:].mean())
        vertex = float(np.clip(vertex - weights[1] / (2 * bend) if bend else 0.0, -1.0, 1.0))
    row = _bends(np.array([vertex if near.size < ENOUGH_FOR_TWO else 0.0]), two=near.size >= ENOUGH_FOR_TWO)[0]
    left = values[near] - columns @ weights
    variance = float(left @ left) / max(near.size - columns.shape[1], 1)
    spread = float(np.sqrt(variance * (row @ np.linalg.pinv(columns.T @ columns) @ row)))
    return times[place] + width * vertex, float(row @ weights), spread


def _bends(since: NDArray[np.float64], *, two: bool) -> NDArray[np.float64]:
    """Constant, slope and bend, or a bend for either side."""
    before = np.minimum(since, 0.0) ** 2
    after = np.maximum(since, 0.0) ** 2
    bends = [before, after] if two else [before + after]
    return np.column_stack([np.ones_like(since), since, *bends])
