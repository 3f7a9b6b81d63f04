"""What the pattern of intervals says about the marks: how many there are, and which one is the first."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from truerun.errors import ChoiceNeeded, ValueOutOfRange
from truerun.motion.panels import TURN

__all__ = ["StartMark", "check_mark_count", "find_start_mark", "mark_widths"]

MOST_PERIOD = 64
BETTER = 0.25
LEAST_REPEATS = 24
VISIBLE = 3.0
AS_GOOD = 1.5
CLEAR = 0.5
MISMATCH = 0.25


@dataclass(frozen=True, slots=True)
class StartMark:
    """Which mark pass number 0 is, whether others would do as well, and the misfit as a share of a gap."""

    shift: int
    open: bool
    misfit: float


def check_mark_count(times: NDArray[np.float64], marks: int, tick: float = 0.0) -> int | None:
    """Check the number of marks against the period with which intervals repeat.

    Parameters
    ----------
    times : array, shape (n,)
        Increasing [s].
    marks : int
        As stated.
    tick : float
        Smallest step of the clock; intervals that repeat to the tick repeat as well as it can tell [s].

    Returns
    -------
    int or None
        A shorter period that would do as well, a divisor of ``marks``; None where there is none.

    Raises
    ------
    ChoiceNeeded
        If the intervals repeat clearly better with another number.

    Notes
    -----
    S(p) is the median of |ln d[i] - 2 ln d[i+p] + ln d[i+2p]| over intervals d. It is small where p is a multiple of
    the true number; slowing alone makes it grow as p^2, which is allowed for.
    """
    gaps = np.diff(times)
    logs = np.log(gaps)
    most = min(max(2 * marks, 12), MOST_PERIOD, (logs.size - LEAST_REPEATS) // 2)
    if not 1 <= marks <= most:
        return None
    told = 2 * tick / float(np.median(gaps))  # intervals of n and n + 1 ticks in turn bend by two
    repeats = np.array([max(_repeat(logs, period), told) for period in range(1, most + 1)])
    own = repeats[marks - 1]
    allowed = BETTER * own * np.minimum(1.0, (np.arange(1, most + 1) / marks) ** 2)
    better = np.flatnonzero(repeats < allowed) + 1
    if better.size:
        best = int(better[np.argmin(repeats[better - 1])])
        raise ChoiceNeeded(
            "The number of marks",
            (str(marks), str(best)),
            f"The intervals repeat every {best} passes, not every {marks}. Count the marks on the wheel; if each of "
            "them was logged at both edges, give the second edge in a column of its own.",
        )
    for period in range(2, marks):
        others = [repeats[other - 1] for other in range(1, marks) if other % period]
        same = marks % period == 0 and repeats[period - 1] <= AS_GOOD * own
        if same and float(np.median(others)) > VISIBLE * max(own, repeats[period - 1]):
            return period
    return None


def _repeat(logs: NDArray[np.float64], period: int) -> float:
    """How badly intervals repeat with a period."""
    bends = logs[: -2 * period] - 2 * logs[period:-period] + logs[2 * period :]
    return float(np.median(np.abs(bends)))


def mark_widths(times: NDArray[np.float64], counts: NDArray[np.intp], marks: int) -> NDArray[np.float64]:
    """Gaps between marks as shares of a turn, as the passes show them, from the faster half of the run.

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
    array, shape (m,)
        Gap after mark 0, 1, ...; NaN where it was never seen whole.
    """
    speeds = np.interp(counts, counts, times)
    turn = np.interp(counts + 0.5 + marks / 2, counts, times) - np.interp(counts + 0.5 - marks / 2, counts, times)
    whole = (np.diff(counts) == 1) & (counts[:-1] - counts[0] >= marks / 2) & (counts[-1] - counts[:-1] > marks / 2)
    whole[: times.size - 1] &= np.arange(times.size - 1) < max(times.size * 0.6, 3 * marks)
    share = np.diff(speeds) / turn[:-1]
    kinds = counts[:-1] % marks
    seen = [share[whole & (kinds == kind)] for kind in range(marks)]
    return np.array([np.median(part) if part.size else np.nan for part in seen])


def find_start_mark(widths: NDArray[np.float64], mark_angles: NDArray[np.float64]) -> StartMark:
    """Find which mark pass number 0 is, by the pattern of gaps.

    Parameters
    ----------
    widths : array, shape (m,)
        From :func:`mark_widths`.
    mark_angles : array, shape (m,)
        Angles of the marks in the direction of travel, from 0 up [rad].

    Returns
    -------
    StartMark

    Raises
    ------
    ValueOutOfRange
        If the marks pass in the opposite order, or with other gaps than the angles say.

    Examples
    --------
    >>> find_start_mark(np.array([0.5, 0.2, 0.3]), TURN * np.array([0.0, 0.2, 0.5])).shift
    2
    """
    nominal = np.diff(np.append(mark_angles, mark_angles[0] + TURN)) / TURN
    misfits = _misfits(widths, nominal)
    order = np.argsort(misfits)
    best = float(misfits[order[0]])
    uneven = float(np.std(np.log(nominal)))
    if uneven > MISMATCH / 5 and best > MISMATCH:
        back = _misfits(widths, nominal[::-1])
        turned = float(back.min()) < CLEAR * best
        raise ValueOutOfRange(
            "list of mark angles",
            "in the order against the direction of travel" if turned else "unlike the gaps that the passes show",
            "the angles of the marks in the order in which they pass",
            f"The passes show gaps of {_in_degrees(widths)} degrees, from the first pass on.",
        )
    others = misfits[order[1:]]
    is_open = bool(others.size) and best > CLEAR * float(others.min())
    return StartMark(int(order[0]), is_open, best)


def _misfits(widths: NDArray[np.float64], nominal: NDArray[np.float64]) -> NDArray[np.float64]:
    """Root mean square of the log ratio of gaps, for each mark that pass 0 could be."""
    shifted = [np.log(widths / np.roll(nominal, -shift)) for shift in range(nominal.size)]
    return np.array([float(np.sqrt(np.nanmean(row**2))) for row in shifted])


def _in_degrees(widths: NDArray[np.float64]) -> str:
    """List gaps for a person."""
    return ", ".join(f"{360 * width:.0f}" for width in widths)
