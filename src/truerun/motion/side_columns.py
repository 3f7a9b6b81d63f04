"""Columns beside the times of passes, held against the numbers that the times themselves give."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from truerun.findings.catalogue import finding
from truerun.findings.finding import Finding
from truerun.motion.clocks import said_count, said_places
from truerun.series import Passes

__all__ = ["check_columns"]


def check_columns(
    passes: Passes, kept: NDArray[np.intp], counts: NDArray[np.intp], marks: int, *, fixed: bool
) -> tuple[int, tuple[Finding, ...]]:
    """Hold counted passes against a column of marks, a counter and a trigger mark.

    Parameters
    ----------
    passes : Passes
        As recorded.
    kept, counts : array of int, shape (n,)
        Which raw pass each counted pass is, and its number.
    marks : int
        Marks per turn.
    fixed : bool
        Whether the pattern of uneven marks has already told which mark is which.

    Returns
    -------
    shift : int
        What to add to the numbers so that marks are those of the column, or the first after the trigger is mark 0.
    findings : tuple of Finding
    """
    shift, said = 0, []
    if passes.mark is not None:
        shift, more = _by_marks(passes, kept, counts, marks, fixed=fixed)
        said += more
    if passes.triggers is not None and passes.triggers.size > 1:
        turned, more = _by_trigger(passes, kept, counts, marks)
        shift = shift if fixed or passes.mark is not None else turned
        said += more
    if passes.counts is not None:
        said += _by_counter(passes, kept, counts, marks)
    return shift, tuple(said)


def _by_marks(
    passes: Passes, kept: NDArray[np.intp], counts: NDArray[np.intp], marks: int, *, fixed: bool
) -> tuple[int, list[Finding]]:
    """Compare with a column that names the mark; marks may be numbered from 0 or 1."""
    if passes.mark is None:
        return 0, []
    named = passes.mark[kept]
    known = np.flatnonzero(named >= 0)
    if not known.size:
        return 0, []
    first = 1 if int(passes.mark.max()) == marks and not (passes.mark == 0).any() else 0
    away = (named[known] - first - counts[known]) % marks
    shift = int(np.bincount(away, minlength=marks).argmax())
    wrong = known[away != shift]
    said = []
    if wrong.size:
        places = said_places(kept[wrong], passes.times)
        said.append(finding("mark-column-differs", count=wrong.size, all=known.size, places=places))
    if fixed and shift:
        said.append(finding("mark-numbers-differ", shift=said_count(shift, "mark", "marks")))
    return (0 if fixed else shift), said


def _by_trigger(
    passes: Passes, kept: NDArray[np.intp], counts: NDArray[np.intp], marks: int
) -> tuple[int, list[Finding]]:
    """Compare with a trigger that comes once a turn, whose first following pass is mark 0."""
    if passes.triggers is None:
        return 0, []
    recorded = passes.times[kept]
    inside = passes.triggers[(passes.triggers > recorded[0]) & (passes.triggers <= recorded[-1])]
    following = counts[np.searchsorted(recorded, inside)]
    if following.size < 2:
        return 0, []
    phase = (-following) % marks
    shift = int(np.bincount(phase, minlength=marks).argmax())
    wrong = np.flatnonzero(phase != shift)
    if not wrong.size:
        return shift, []
    place = f"{float(inside[wrong[0]]):.7g} s"
    return shift, [finding("trigger-differs", count=wrong.size, all=following.size, place=place, marks=marks)]


def _by_counter(passes: Passes, kept: NDArray[np.intp], counts: NDArray[np.intp], marks: int) -> list[Finding]:
    """Compare with a counter that goes up by one a pass, or by one a turn."""
    if passes.counts is None:
        return []
    read = passes.counts[kept]
    own = counts - counts[0]
    choices = [read - read[0] - own, read - read[0] - own // marks]
    wrong = min((np.flatnonzero(np.diff(choice) != 0) + 1 for choice in choices[: 2 if marks > 1 else 1]), key=len)
    turns = np.flatnonzero(np.abs(choices[1]) > 1)
    if marks > 1 and not turns.size:
        return []
    if not wrong.size:
        return []
    places = said_places(kept[wrong], passes.times)
    return [finding("counter-differs", places=places, count=said_count(wrong.size, "place", "places"))]
