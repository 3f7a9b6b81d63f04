"""From passes as recorded to counted passes of a free rundown, with every repair said."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from truerun.errors import FitImpossible, ValueOutOfRange
from truerun.findings.catalogue import finding
from truerun.findings.finding import Finding
from truerun.motion.clocks import Ordered, ordered_passes, said_places
from truerun.motion.free_part import free_part, turn_rates
from truerun.motion.mark_pattern import check_mark_count, find_start_mark, mark_widths
from truerun.motion.off_place import off_place
from truerun.motion.side_columns import check_columns
from truerun.motion.taps import count_taps
from truerun.motion.tracking import Seed, Tracked, find_seeds, track_passes
from truerun.series import Clock, Passes

__all__ = ["CountedPasses", "count_passes"]

LEAST_TURNS = 3
RIVAL_TAIL = 0.2
MANY_REPAIRS = 0.2
TAP_DOUBT = 0.35
UNSURE_COST = 1.5
CLEAN_PRICE = 30.0
LEFT_PRICE = 2.0
RIVAL_PRICE = 25.0
STEEP_FALL = 0.15
ODD_SEED = 8.0


@dataclass(frozen=True, slots=True, eq=False)
class CountedPasses:
    """Clean, counted passes of a wheel that slows down freely.

    ``times`` (n,) [s] increase. ``counts`` (n,) are the numbers of the passes, mark = count modulo ``marks``; gaps
    are missing passes. ``mark_angles`` (m,) are nominal angles [rad], None for even spacing. ``sigma`` is the standard
    uncertainty of a time [s], None where it must come from the scatter. ``kept`` (n,) says which raw pass each one
    is. ``findings`` say every repair and every doubt.
    """

    times: NDArray[np.float64]
    counts: NDArray[np.intp]
    marks: int
    mark_angles: NDArray[np.float64] | None
    sigma: float | None
    kept: NDArray[np.intp]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Way:
    """One way of numbering: which passes, their numbers, where it is unsure, and what it costs to believe it."""

    index: NDArray[np.intp]
    counts: NDArray[np.intp]
    unsure: tuple[int, ...]
    price: float


def count_passes(passes: Passes, marks: int, *, mark_angles: NDArray[np.float64] | None = None) -> CountedPasses:
    """Give the passes of a recording their numbers, leave out what is no free rundown, and say each repair.

    Parameters
    ----------
    passes : Passes
        As recorded.
    marks : int
        Marks per turn.
    mark_angles : array, shape (m,), optional
        Nominal angles of the marks in the order in which they pass, from 0 up [rad]. None: evenly spaced.

    Returns
    -------
    CountedPasses

    Raises
    ------
    FitImpossible
        If too little is left, or nothing slows down; the sentence says what would be enough.
    ChoiceNeeded
        If the intervals repeat with another number of marks.
    ValueOutOfRange
        If marks or their angles contradict the passes or each other.

    Notes
    -----
    Repaired are: clocks that start again, lines in the wrong order, bounces, passes that are missing or too many.
    Left out are: a run-up or push before the free rundown, rocking and whatever else follows its end. What cannot
    be repaired in one way only is a finding that casts doubt.
    """
    angles = _checked_angles(passes, marks, mark_angles)
    raw = ordered_passes(passes, marks)
    if raw.times.size <= LEAST_TURNS * marks:
        raise FitImpossible(
            f"The recording has {raw.times.size} passes that can be used; {marks} marks a turn need more than "
            f"{LEAST_TURNS * marks}, better {30 * marks}. Record from higher speed, or for longer."
        )
    if passes.timing.clock is Clock.HAND:
        return _free(_counted_taps(raw, passes), passes)
    shorter = check_mark_count(raw.times, marks)
    counted = _tracked(raw, passes, marks)
    if shorter is not None:
        counted = _with(counted, finding("marks-repeat", stated=marks, found=shorter))
    counted = _free(replace(counted, mark_angles=angles), passes)
    counted = counted if angles is None else _aligned(counted, angles)
    return check_sides(counted, passes)


def check_sides(counted: CountedPasses, passes: Passes) -> CountedPasses:
    """Hold the numbers against the columns beside the times."""
    shift, said = check_columns(
        passes, counted.kept, counted.counts, counted.marks, fixed=counted.mark_angles is not None
    )
    return replace(counted, counts=counted.counts + shift, findings=counted.findings + said)


def _checked_angles(passes: Passes, marks: int, mark_angles: NDArray[np.float64] | None) -> NDArray[np.float64] | None:
    """Refuse marks that cannot be."""
    if marks < 1:
        raise ValueOutOfRange("number of marks", marks, "1 or more")
    if passes.timing.clock is Clock.HAND and marks > 1:
        raise ValueOutOfRange("number of marks", marks, "1 for taps by hand", "Tap at one mark only.")
    if mark_angles is None:
        return None
    angles = np.asarray(mark_angles, dtype=float)
    if angles.size != marks:
        raise ValueOutOfRange("number of mark angles", angles.size, f"{marks}, one for each mark")
    return angles


def _with(counted: CountedPasses, *said: Finding) -> CountedPasses:
    """Add findings."""
    return replace(counted, findings=counted.findings + said)


def _counted_taps(raw: Ordered, passes: Passes) -> CountedPasses:
    """Count taps by hand."""
    index, counts, away = count_taps(raw.times)
    counted = CountedPasses(raw.times[index], counts, 1, None, None, raw.kept[index], raw.findings)
    scatter = float(np.std(np.diff(counted.times, n=2))) / 6**0.5 if index.size > 2 else 0.0
    said = [finding("taps", count=index.size, scatter=f"{scatter:.2g} s"), *_repairs(raw, index, counts, passes)]
    unsure = np.flatnonzero(np.abs(away - np.median(away)) > TAP_DOUBT)
    if unsure.size:
        said.append(finding("count-uncertain", place=said_places(counted.kept[unsure], passes.times)))
    return _with(counted, *said)


def _tracked(raw: Ordered, passes: Passes, marks: int) -> CountedPasses:
    """Follow the passes from the cleanest stretches to both ends, and use the most coherent way."""
    ways: list[_Way] = []
    for seed in find_seeds(raw.times, marks):
        ways.append(_way(raw.times, marks, seed))
        if ways[-1].price <= CLEAN_PRICE:
            break
    best = min(ways, key=lambda way: way.price)
    index, counts, unsure = best.index, best.counts, list(best.unsure)
    off = off_place(raw.times[index], counts, marks)
    unsure += _contradicted(best, ways)
    index, counts = index[~off], counts[~off] - counts[~off][0]
    unsure += _steep(raw.times, index, counts, marks)
    said = _repairs(raw, index, counts, passes)
    if unsure:
        said.append(finding("count-uncertain", place=said_places(raw.kept[sorted(set(unsure))], passes.times)))
    said += _left_out(raw, index, passes)
    return CountedPasses(raw.times[index], counts, marks, None, None, raw.kept[index], raw.findings + tuple(said))


def _way(times: NDArray[np.float64], marks: int, seed: Seed) -> _Way:
    """Follow the passes from one seed; what is left out and what is odd has its price."""
    before, after = track_passes(times, marks, seed)
    ends = [_confirmed(side, marks) for side in (before, after)]
    index = np.concatenate([before.index[: ends[0]][:0:-1], after.index[: ends[1]]])
    counts = np.concatenate([before.counts[: ends[0]][:0:-1], after.counts[: ends[1]]])
    costs = seed.cost + float(before.costs[: ends[0]].sum() + after.costs[: ends[1]].sum())
    unsure = [
        int(side.index[side.rival])
        for side, end in zip((before, after), ends, strict=True)
        if side.rival is not None and side.rival < end
    ]
    if seed.cost > ODD_SEED:
        unsure.append(seed.first)
    return _Way(index, counts, tuple(unsure), costs + LEFT_PRICE * (times.size - index.size))


def _steep(times: NDArray[np.float64], index: NDArray[np.intp], counts: NDArray[np.intp], marks: int) -> list[int]:
    """Find passes that are missing or too many where the speed changes too much in a turn to be sure of it."""
    first, last, rates = turn_rates(times[index], counts, marks)
    _, place, rows = np.intersect1d(first, last, return_indices=True)
    fall = np.abs(rates[place] / rates[rows] - 1)
    steep = np.interp(np.arange(index.size), first[place], fall) if place.size else np.ones(index.size)
    odd = (np.diff(counts) > 1) | (np.diff(index) > 1)
    return [int(place) for place in index[:-1][odd & (np.maximum(steep[1:], steep[:-1]) > STEEP_FALL)]]


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


def _repairs(raw: Ordered, index: NDArray[np.intp], counts: NDArray[np.intp], passes: Passes) -> list[Finding]:
    """Say which passes are missing and which were too many."""
    said = []
    gaps = np.flatnonzero(np.diff(counts) > 1)
    if gaps.size:
        missing = int(np.diff(counts).sum() - (counts.size - 1))
        share = missing / (counts[-1] + 1)
        words = {"count": missing, "places": said_places(raw.kept[index[gaps]], passes.times)}
        said.append(finding("passes-missed", words, share=f"{100 * share:.2g} %"))
    inside = np.setdiff1d(np.arange(index[0], index[-1] + 1), index)
    if inside.size:
        places = said_places(raw.kept[inside], passes.times)
        said.append(finding("passes-extra", count=inside.size, places=places))
    return said


def _left_out(raw: Ordered, index: NDArray[np.intp], passes: Passes) -> list[Finding]:
    """Say what lies before and after the passes that follow one another."""
    said = []
    if index[0] > 0:
        place = said_places(raw.kept[index[:1]], passes.times)
        said.append(finding("start-left-out", count=int(index[0]), place=place))
    after = raw.times.size - 1 - int(index[-1])
    if after > 0:
        place = said_places(raw.kept[index[-1:]], passes.times)
        said.append(finding("end-left-out", count=after, place=place))
    return said


def _free(counted: CountedPasses, passes: Passes) -> CountedPasses:
    """Keep the free rundown."""
    start, stop = free_part(counted.times, counted.counts, counted.marks)
    part = slice(start, stop)
    said = []
    if start > 0:
        place = said_places(counted.kept[start : start + 1], passes.times)
        said.append(finding("push-left-out", count=start, place=place))
    if stop < counted.times.size:
        place = said_places(counted.kept[stop - 1 : stop], passes.times)
        said.append(finding("rise-left-out", count=counted.times.size - stop, place=place))
    free = replace(counted, times=counted.times[part], counts=counted.counts[part], kept=counted.kept[part])
    turns = (free.counts[-1] - free.counts[0]) / free.marks
    if turns < LEAST_TURNS:
        raise FitImpossible(
            f"Only {turns:.1f} turns of free rundown are left; at least {LEAST_TURNS} are needed, better 30. Record "
            "from higher speed, or for longer."
        )
    return _with(replace(free, counts=free.counts - free.counts[0]), *said)


def _aligned(counted: CountedPasses, angles: NDArray[np.float64]) -> CountedPasses:
    """Shift the numbers so that mark 0 is the first of the given angles."""
    found = find_start_mark(mark_widths(counted.times, counted.counts, counted.marks), angles)
    moved = replace(counted, counts=counted.counts + found.shift)
    return _with(moved, finding("start-mark-open")) if found.open else moved
