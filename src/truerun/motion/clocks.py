"""From pass times as recorded to times that increase: edges, clocks that start again, bounces."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from truerun.errors import FitImpossible
from truerun.findings.catalogue import finding
from truerun.findings.finding import Finding
from truerun.series import Passes

__all__ = ["Ordered", "ordered_passes", "said_count", "said_places"]

WRAPS = (
    (2**16 * 1e-6, "a 16-bit counter of microseconds"),
    (2**24 * 1e-6, "a 24-bit counter of microseconds"),
    (2**32 * 1e-6, "a 32-bit counter of microseconds"),
    (2**16 * 1e-3, "a 16-bit counter of milliseconds"),
    (2**32 * 1e-3, "a 32-bit counter of milliseconds"),
    (60.0, "a clock without minutes"),
    (3600.0, "a clock without hours"),
    (43200.0, "a clock of twelve hours"),
    (86400.0, "midnight"),
)
WRAP_INTERVALS = 4.0
BOUNCE_SHARE = 0.04
COARSE_STEPS = 3.0
COARSE_SHARE = 0.1
LEAST_TURNS = 3
MOST_WITHOUT_END = 0.2
SHOWN_PLACES = 5


@dataclass(frozen=True, slots=True)
class Ordered:
    """Times that increase [s], (n,), which raw pass each one is, and what was done to get there."""

    times: NDArray[np.float64]
    kept: NDArray[np.intp]
    findings: tuple[Finding, ...]

    def only(self, which: NDArray[np.bool_], *more: Finding) -> Ordered:
        """Keep some of the passes."""
        return Ordered(self.times[which], self.kept[which], (*self.findings, *more))


def said_count(count: int, one: str, many: str) -> str:
    """Say a number of things.

    Parameters
    ----------
    count : int
    one, many : str
        What they are called.

    Returns
    -------
    str

    Examples
    --------
    >>> said_count(1, "pass", "passes"), said_count(3, "pass", "passes")
    ('1 pass', '3 passes')
    """
    return f"{count} {one if count == 1 else many}"


def said_places(index: Sequence[int] | NDArray[np.intp], times: NDArray[np.float64]) -> str:
    """Name passes by their number in the recording, from 1, and their recorded time; many are cut short.

    Parameters
    ----------
    index : sequence of int
        Which raw passes.
    times : array, shape (n,)
        Of all raw passes [s].

    Returns
    -------
    str

    Examples
    --------
    >>> said_places([0, 2], np.array([0.5, 1.0, 1.5]))
    'pass 1 at 0.5 s, pass 3 at 1.5 s'
    """
    named = [f"pass {int(place) + 1} at {float(times[place]):.7g} s" for place in index[:SHOWN_PLACES]]
    more = len(index) - len(named)
    return ", ".join(named) + (f" and {more} more" if more else "")


def ordered_passes(passes: Passes, marks: int) -> Ordered:
    """Make the times of passes increase, and say what that took.

    Parameters
    ----------
    passes : Passes
        As recorded.
    marks : int
        Marks per turn.

    Returns
    -------
    Ordered

    Raises
    ------
    FitImpossible
        If the clock starts again more often than marks pass.

    Notes
    -----
    Where both edges of a mark were logged, the middle is used: it does not depend on the threshold. A clock that
    starts again is mended only where one known period gives an interval like those beside it; otherwise the
    longest stretch without a start is used. Of passes closer together than 4 % of the intervals around them, the
    first is kept.
    """
    found = _without_gaps(_middles(passes), passes)
    found = _swapped(found, passes)
    found = _unwrapped(found, passes, marks)
    found = _fine_enough(found, passes, marks)
    return _without_bounces(found, passes, marks)


def _middles(passes: Passes) -> Ordered:
    """Middle of both edges; the first edge where too many second ones are missing."""
    kept = np.arange(passes.times.size)
    if passes.ends is None:
        return Ordered(passes.times, kept, ())
    following = np.append(passes.times[1:], np.inf)
    sound = np.isfinite(passes.ends) & (passes.ends >= passes.times)
    sound &= ~((passes.ends > following) & (following > passes.times))
    lacking = int((~sound).sum())
    if lacking > MOST_WITHOUT_END * kept.size:
        return Ordered(passes.times, kept, (finding("first-edges", count=lacking, all=kept.size),))
    said = finding("middles", count=kept.size - lacking, left=lacking)
    return Ordered((passes.times + passes.ends) / 2, kept, ()).only(sound, said)


def _without_gaps(found: Ordered, passes: Passes) -> Ordered:
    """Leave out times that are no numbers."""
    sound = np.isfinite(found.times)
    if sound.all():
        return found
    lost = found.kept[~sound]
    numbers = ", ".join(str(int(place) + 1) for place in lost[:SHOWN_PLACES])
    return found.only(sound, finding("times-missing", count=lost.size, places=numbers, all=passes.times.size))


def _swapped(found: Ordered, passes: Passes) -> Ordered:
    """Exchange two neighbours that were written in the wrong order."""
    times, kept = found.times.copy(), found.kept.copy()
    moved = []
    for place in np.flatnonzero(np.diff(times) < 0).tolist():
        before = times[place - 1] if place else -np.inf
        after = times[place + 2] if place + 2 < times.size else np.inf
        if before < times[place + 1] and times[place] < after and times[place + 1] < times[place]:
            pair = [place, place + 1]
            times[pair], kept[pair] = times[pair[::-1]], kept[pair[::-1]]
            moved.append(int(kept[place]))
    if not moved:
        return found
    said = finding(
        "passes-swapped", pairs=said_count(len(moved), "pair", "pairs"), places=said_places(moved, passes.times)
    )
    return Ordered(times, kept, (*found.findings, said))


def _unwrapped(found: Ordered, passes: Passes, marks: int) -> Ordered:
    """Go on counting time where the clock started again; where that cannot be, keep the longest stretch."""
    steps = np.diff(found.times)
    falls = np.flatnonzero(steps < 0)
    if not falls.size:
        return found
    if falls.size > steps.size / 3:
        raise FitImpossible(
            f"The times fall back {falls.size} times in {found.times.size} passes: the clock starts again more often "
            "than marks pass, or these are no pass times. Use a clock that runs through, or record times in seconds."
        )
    times = found.times.copy()
    mended, breaks, name = [], [0], ""
    for place in falls.tolist():
        period = _period(steps, place, marks, passes.timing.wrap)
        if period is None:
            breaks.append(place + 1)
        else:
            times[place + 1 :] += period[0]
            mended.append(place + 1)
            name = period[1]
    said = []
    if mended:
        where = said_places(found.kept[mended], passes.times)
        said.append(finding("clock-wrapped", places=where, name=name))
    whole = Ordered(times, found.kept, (*found.findings, *said))
    return _longest(whole, breaks, passes) if len(breaks) > 1 else whole


def _period(steps: NDArray[np.float64], place: int, marks: int, known: float | None) -> tuple[float, str] | None:
    """Find the one period of a clock that makes an interval like its neighbours."""
    near = steps[max(0, place - 2 * marks - 2) : place + 2 * marks + 3]
    usual = float(np.median(near[near > 0])) if (near > 0).any() else 0.0
    choices = ((known, f"a clock that starts again every {known:.9g} s"),) if known else WRAPS
    fitting = [(wrap, name) for wrap, name in choices if 0 < steps[place] + wrap < WRAP_INTERVALS * usual]
    return fitting[0] if len(fitting) == 1 else None


def _longest(found: Ordered, breaks: list[int], passes: Passes) -> Ordered:
    """Keep the longest stretch between two breaks."""
    edges = [*breaks, found.times.size]
    sizes = np.diff(edges)
    best = int(np.argmax(sizes))
    which = np.zeros(found.times.size, dtype=np.bool_)
    which[edges[best] : edges[best + 1]] = True
    said = finding(
        "clock-restarted",
        places=said_places(found.kept[breaks[1:]], passes.times),
        used=int(sizes[best]),
        all=found.times.size,
    )
    return found.only(which, said)


def _fine_enough(found: Ordered, passes: Passes, marks: int) -> Ordered:
    """Leave out the fast part in which marks pass more often than the times can tell."""
    step = passes.timing.resolution or _step_of(found.times)
    if step is None or found.times.size < 4:
        return found
    usual = _mean_intervals(found.times, marks)
    coarse = np.flatnonzero(usual < COARSE_STEPS * step)
    which = np.arange(found.times.size) > (coarse[-1] if coarse.size else -1)
    if int(which.sum()) <= (LEAST_TURNS + 1) * marks + 1:
        middle = float(np.median(usual))
        raise FitImpossible(
            f"The times are written in steps of {step:g} s, but a mark passes every {middle:.3g} s: single passes "
            f"cannot be told apart. Record times in steps of {middle / 20:.1g} s or finer."
        )
    share = step / float(usual[which].min())
    if share < COARSE_SHARE:
        return found
    left = int((~which).sum())
    return found.only(
        which,
        finding(
            "times-coarse", step=f"{step:g} s", left=said_count(left, "pass", "passes"), share=f"{100 * share:.2g} %"
        ),
    )


def _step_of(times: NDArray[np.float64]) -> float | None:
    """Recognise times that are all written in milliseconds or coarser."""
    for step in (1.0, 0.1, 0.01, 0.001):
        if bool((np.abs(times / step - np.round(times / step)) < 1e-6).all()):
            return step
    return None


def _mean_intervals(times: NDArray[np.float64], marks: int) -> NDArray[np.float64]:
    """Mean interval over about a turn on either side of each pass."""
    reach = max(marks, 3)
    place = np.arange(times.size)
    first, last = np.maximum(place - reach, 0), np.minimum(place + reach, times.size - 1)
    mean: NDArray[np.float64] = (times[last] - times[first]) / (last - first)
    return mean


def _without_bounces(found: Ordered, passes: Passes, marks: int) -> Ordered:
    """Keep the first of passes that follow one another far too closely."""
    if found.times.size < 3:
        return found
    limit = BOUNCE_SHARE * _usual_intervals(np.diff(found.times), marks)
    which = np.ones(found.times.size, dtype=np.bool_)
    last = 0
    for place in range(1, found.times.size):
        if found.times[place] - found.times[last] <= limit[place - 1]:
            which[place] = False
        else:
            last = place
    lost = found.kept[~which]
    if not lost.size:
        return found
    widest = float(np.diff(found.times)[~which[1:]].max())
    words = {"count": lost.size, "places": said_places(lost, passes.times), "all": found.times.size}
    return found.only(which, finding("bounces", words, apart=f"{1e6 * widest:.3g} us"))


def _usual_intervals(steps: NDArray[np.float64], marks: int) -> NDArray[np.float64]:
    """Upper quartile of the intervals around each one, worked out at places a part of the reach apart."""
    reach = min(2 * marks + 3, (steps.size - 1) // 2)
    apart = max(1, reach // 4)
    padded = np.pad(steps, reach, mode="edge")
    around = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1)[::apart]
    usual: NDArray[np.float64] = np.repeat(np.quantile(around, 0.75, axis=1), apart)[: steps.size]
    return usual
