"""The most coherent way to number passes: from several clean stretches to both ends, and where it is unsure."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from truerun.motion.free_part import turn_rates
from truerun.motion.off_place import off_place
from truerun.motion.tracking import Seed, Tracked, find_seeds, track_passes

__all__ = ["Numbered", "number_passes"]

RIVAL_TAIL = 0.2
UNSURE_COST = 1.5
CLEAN_PRICE = 30.0
CLEAN_PRICE_EACH = 0.3
LEFT_PRICE = 2.0
RIVAL_PRICE = 25.0
STEEP_FALL = 0.15
ODD_SEED = 5.0
ODD_STEP = 12.0
FEW_PASSES = 12
TAIL = 0.8


@dataclass(frozen=True, slots=True, eq=False)
class Numbered:
    """Which passes are used, (n,), the number of each, and passes at which another way is nearly as good.

    ``clean`` says whether three turns were found in which passes follow one another without fault, to begin from.
    """

    index: NDArray[np.intp]
    counts: NDArray[np.intp]
    unsure: tuple[int, ...]
    clean: bool

    def part(self, start: int, stop: int) -> Numbered:
        """Keep a stretch, numbered from 0, with what is unsure in it."""
        index, counts = self.index[start:stop], self.counts[start:stop]
        unsure = tuple(place for place in self.unsure if index[0] <= place <= index[-1])
        return Numbered(index, counts - counts[0], unsure, self.clean)


@dataclass(frozen=True, slots=True, eq=False)
class _Way:
    """One way of numbering, and what it costs to believe it."""

    index: NDArray[np.intp]
    counts: NDArray[np.intp]
    unsure: tuple[int, ...]
    price: float
    clean: bool


def number_passes(times: NDArray[np.float64], marks: int) -> Numbered:
    """Follow the passes from the cleanest stretches to both ends, and use the most coherent way.

    Parameters
    ----------
    times : array, shape (n,)
        Increasing; more than three turns [s].
    marks : int
        Marks per turn.

    Returns
    -------
    Numbered

    Notes
    -----
    What is unclear in the last fifth is left out. Elsewhere it is unsure: where a second way is nearly as good, and
    where passes are missing or too many while the energy changes by more than 15 % a turn, or in a run of fewer
    than twelve passes.
    """
    ways: list[_Way] = []
    for seed in find_seeds(times, marks):
        ways.append(_way(times, marks, seed))
        if ways[-1].clean and not ways[-1].unsure and ways[-1].price <= CLEAN_PRICE + CLEAN_PRICE_EACH * times.size:
            break
    best = min(ways, key=lambda way: way.price)
    left = ~off_place(times[best.index], best.counts, marks)
    index, counts = best.index[left], best.counts[left]
    unsure = {*best.unsure, *_contradicted(best, ways), *_steep(times, index, counts, marks)}
    found = Numbered(index, counts - counts[0], tuple(sorted(unsure)), best.clean)
    clear = int(np.searchsorted(index, found.unsure[0])) if unsure else index.size
    late = unsure and clear > TAIL * index.size
    return found.part(0, clear) if late else found


def _way(times: NDArray[np.float64], marks: int, seed: Seed) -> _Way:
    """Follow the passes from one seed; what is left out and what is odd has its price."""
    before, after = track_passes(times, marks, seed)
    ends = [_confirmed(side, marks) for side in (before, after)]
    index = np.concatenate([before.index[: ends[0]][:0:-1], after.index[: ends[1]]])
    counts = np.concatenate([before.counts[: ends[0]][:0:-1], after.counts[: ends[1]]])
    costs = seed.cost + float(before.costs[: ends[0]].sum() + after.costs[: ends[1]].sum())
    unsure = [int(place) for side, end in zip((before, after), ends, strict=True) for place in _odd_steps(side, end)]
    unsure += [
        int(side.index[side.rival])
        for side, end in zip((before, after), ends, strict=True)
        if side.rival is not None and side.rival < end
    ]
    price = costs + LEFT_PRICE * (times.size - index.size)
    return _Way(index, counts, tuple(unsure), price, seed.cost <= ODD_SEED)


def _odd_steps(side: Tracked, end: int) -> NDArray[np.intp]:
    """Find passes that lie far from any place where a mark was expected."""
    return side.index[:end][side.costs[:end] > ODD_STEP]


def _steep(times: NDArray[np.float64], index: NDArray[np.intp], counts: NDArray[np.intp], marks: int) -> list[int]:
    """Find passes that are missing or too many where the speed changes too much in a turn to be sure of it."""
    first, last, rates = turn_rates(times[index], counts, marks)
    _, place, rows = np.intersect1d(first, last, return_indices=True)
    fall = np.abs(rates[place] / rates[rows] - 1)
    steep = np.interp(np.arange(index.size), first[place], fall) if place.size else np.ones(index.size)
    odd = (np.diff(counts) > 1) | (np.diff(index) > 1)
    odd &= (np.maximum(steep[1:], steep[:-1]) > STEEP_FALL) | (index.size < FEW_PASSES)
    return [int(place) for place in index[:-1][odd]]


def _contradicted(best: _Way, ways: list[_Way]) -> list[int]:
    """Find where ways that are nearly as good give other numbers than the best one."""
    places = []
    for other in ways:
        if other is not best and other.price < best.price + RIVAL_PRICE:
            _, mine, theirs = np.intersect1d(best.index, other.index, return_indices=True)
            away = best.counts[mine] - other.counts[theirs]
            places += best.index[mine[np.flatnonzero(np.diff(away)) + 1]].tolist()
    return places


def _confirmed(side: Tracked, marks: int) -> int:
    """Count the steps that later passes confirm; what is unclear near the end is not used."""
    confirm = max(2, min(marks, 6))
    end = side.index.size
    if side.lost:
        end -= min(max(1, marks // 2), end - 1)
    if side.rival is not None and side.index.size - side.rival < RIVAL_TAIL * side.index.size:
        end = min(end, side.rival)
    while end > 1 and (late := np.flatnonzero(side.costs[max(0, end - confirm) : end] > UNSURE_COST)).size:
        end = max(0, end - confirm) + int(late[0])
    return max(end, 1)
