"""From passes as recorded to counted passes of a free rundown, with every repair said."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from truerun.errors import FitImpossible, ValueOutOfRange
from truerun.findings.catalogue import finding
from truerun.findings.finding import Finding, Severity
from truerun.motion.clocks import Ordered, ordered_passes, said_count, said_places
from truerun.motion.free_part import free_part
from truerun.motion.mark_pattern import check_mark_count, find_start_mark, mark_widths
from truerun.motion.numbering import Numbered, number_passes
from truerun.motion.side_columns import check_columns
from truerun.motion.taps import count_taps
from truerun.series import Clock, Passes

__all__ = ["CountedPasses", "count_passes"]

LEAST_TURNS = 3
LEAST_PASSES = 8
TAP_DOUBT = 0.35
MANY_REPAIRS = 0.1
MOST_MARKS = 100_000


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
    least = max(LEAST_TURNS * marks + 1, LEAST_PASSES)
    if raw.times.size < least:
        raise FitImpossible(
            f"The recording has {said_count(raw.times.size, 'pass', 'passes')} that can be used; with {marks} a turn "
            f"at least {least} are needed, better {30 * marks}. Record from higher speed, or for longer."
        )
    by_hand = passes.timing.clock is Clock.HAND
    shorter = None if by_hand else check_mark_count(raw.times, marks, passes.timing.resolution or 0.0)
    numbered = _tapped(raw) if by_hand else number_passes(raw.times, marks)
    part, said = _free(raw, numbered, passes, marks)
    times, kept = raw.times[part.index], raw.kept[part.index]
    if by_hand:
        said.insert(0, finding("taps", taps=said_count(kept.size, "tap", "taps"), scatter=f"{_scatter(times):.2g} s"))
    if shorter is not None:
        said.append(finding("marks-repeat", stated=marks, found=shorter))
    counted = CountedPasses(times, part.counts, marks, angles, None, kept, raw.findings + tuple(said))
    return _beside(counted if angles is None else _aligned(counted, angles), passes)


def _checked_angles(passes: Passes, marks: int, mark_angles: NDArray[np.float64] | None) -> NDArray[np.float64] | None:
    """Refuse marks that cannot be."""
    if not 1 <= marks <= MOST_MARKS:
        raise ValueOutOfRange("number of marks", marks, f"1 to {MOST_MARKS}")
    if passes.timing.clock is Clock.HAND and marks > 1:
        raise ValueOutOfRange("number of marks", marks, "1 for taps by hand", "Tap at one mark only.")
    if mark_angles is None:
        return None
    angles = np.asarray(mark_angles, dtype=float)
    if angles.size != marks:
        raise ValueOutOfRange("number of mark angles", angles.size, f"{marks}, one for each mark")
    return angles


def _tapped(raw: Ordered) -> Numbered:
    """Give taps by hand their numbers."""
    index, counts, away = count_taps(raw.times)
    unsure = index[np.abs(away - np.median(away)) > TAP_DOUBT]
    return Numbered(index, counts, tuple(int(place) for place in unsure), clean=True)


def _scatter(times: NDArray[np.float64]) -> float:
    """Give the scatter of one tap, from second differences."""
    return float(np.median(np.abs(np.diff(times, n=2)))) / 0.6745 / 6**0.5


def _free(raw: Ordered, numbered: Numbered, passes: Passes, marks: int) -> tuple[Numbered, list[Finding]]:
    """Keep the free rundown, and say what was left out, mended or unsure."""
    start, stop = free_part(raw.times[numbered.index], numbered.counts, marks)
    part = numbered.part(start, stop)
    turns = part.counts[-1] / marks
    if turns < LEAST_TURNS or part.index.size < LEAST_PASSES:
        raise FitImpossible(
            f"Only {part.index.size} passes in {turns:.1f} turns of free rundown are left; at least {LEAST_PASSES} in "
            f"{LEAST_TURNS} turns are needed, better 30 turns. Record from higher speed, or for longer."
        )
    pushed, risen = start > 0, stop < numbered.index.size
    said = _left_out(raw, part, passes, "push-left-out" if pushed else "start-left-out", risen=risen)
    said += _repairs(raw, part, passes)
    if part.unsure:
        said.append(finding("count-uncertain", place=said_places(raw.kept[list(part.unsure)], passes.times)))
    if not part.clean:
        said.append(finding("count-not-clean"))
    return part, said


def _left_out(raw: Ordered, part: Numbered, passes: Passes, begun: str, *, risen: bool) -> list[Finding]:
    """Say what lies before and after the part that is used."""
    said = []
    before, after = int(part.index[0]), raw.times.size - 1 - int(part.index[-1])
    if before:
        place = said_places(raw.kept[part.index[:1]], passes.times)
        said.append(finding(begun, passes=said_count(before, "pass", "passes"), place=place))
    if after:
        place = said_places(raw.kept[part.index[-1:]], passes.times)
        ended = "rise-left-out" if risen else "end-left-out"
        said.append(finding(ended, passes=said_count(after, "pass", "passes"), place=place))
    return said


def _repairs(raw: Ordered, part: Numbered, passes: Passes) -> list[Finding]:
    """Say which passes are missing and which were too many."""
    said = []
    gaps = np.flatnonzero(np.diff(part.counts) > 1)
    inside = np.setdiff1d(np.arange(part.index[0], part.index[-1] + 1), part.index)
    weight = Severity.DOUBT if gaps.size + inside.size > MANY_REPAIRS * part.index.size else None
    if gaps.size:
        missing = int(part.counts[-1]) + 1 - part.counts.size
        places = said_places(raw.kept[part.index[gaps]], passes.times)
        share = f"{100 * missing / (part.counts[-1] + 1):.2g} %"
        words = {"passes": said_count(missing, "pass is", "passes are"), "places": places}
        said.append(finding("passes-missed", words, severity=weight, share=share))
    if inside.size:
        places = said_places(raw.kept[inside], passes.times)
        words = {"passes": said_count(inside.size, "pass fits", "passes fit"), "places": places}
        said.append(finding("passes-extra", words, severity=weight, share=said_count(inside.size, "pass", "passes")))
    return said


def _aligned(counted: CountedPasses, angles: NDArray[np.float64]) -> CountedPasses:
    """Shift the numbers so that mark 0 is the first of the given angles."""
    found = find_start_mark(mark_widths(counted.times, counted.counts, counted.marks), angles)
    said = (finding("start-mark-open"),) if found.open else ()
    return replace(counted, counts=counted.counts + found.shift, findings=counted.findings + said)


def _beside(counted: CountedPasses, passes: Passes) -> CountedPasses:
    """Hold the numbers against the columns beside the times."""
    fixed = counted.mark_angles is not None
    shift, said = check_columns(passes, counted.kept, counted.counts, counted.marks, fixed=fixed)
    return replace(counted, counts=counted.counts + shift, findings=counted.findings + said)
