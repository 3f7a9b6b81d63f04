"""Which rows of a speed table belong to the free rundown, and what was noticed about the others."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from truerun.errors import FitImpossible
from truerun.findings.catalogue import finding
from truerun.findings.finding import Finding
from truerun.motion.panels import TURN
from truerun.motion.track_rows import require_forward
from truerun.motion.turnings import alternating_extremes, scatter_of
from truerun.series import SpeedTable

__all__ = ["RundownRows", "rundown_rows"]

FEWEST = 3
SIGNIFICANT = 5 * np.sqrt(2)
LAG_RATIO = 4.0
LAG_ROWS = 8
POWER_NEAR = 0.1


@dataclass(frozen=True, slots=True, eq=False)
class RundownRows:
    """The free rundown of a speed table.

    ``rows`` (n,) are places in the table (the first of each stamp), ``times`` [s] increasing, ``speeds`` positive
    [rad/s], ``sigma`` (n,) as stated or None.
    """

    rows: NDArray[np.intp]
    times: NDArray[np.float64]
    speeds: NDArray[np.float64]
    sigma: NDArray[np.float64] | None
    findings: tuple[Finding, ...]

    def part(self, chosen: NDArray[np.bool_], *more: Finding) -> RundownRows:
        """Keep some rows and add findings."""
        sigma = None if self.sigma is None else self.sigma[chosen]
        return RundownRows(self.rows[chosen], self.times[chosen], self.speeds[chosen], sigma, (*self.findings, *more))


def rundown_rows(table: SpeedTable, *, marks: int | None = None) -> RundownRows:
    """Pick the rows of the free rundown.

    Parameters
    ----------
    table : SpeedTable
    marks : int, optional
        Marks a turn of the counter beside the speeds, if it has one.

    Returns
    -------
    RundownRows

    Raises
    ------
    FitImpossible
        If the clock goes back, too few rows are left, or the speed does not fall.

    Notes
    -----
    Repaired, because nothing else can be meant: rows of one time stamp become one row with their mean; a display that
    drops to 0 while the wheel still turns says nothing, so its zeros are left out; what lies before the last rise of
    the speed (a run-up, a push) and after the next one does not belong to the free rundown. Only said: a counter that
    disagrees with the speeds, since either may be wrong.
    """
    sign = -1.0 if float(np.median(table.speeds)) < 0 else 1.0
    start = RundownRows(np.arange(table.times.size), table.times, sign * table.speeds, table.standard_uncertainty, ())
    require_forward(table.times)
    left = _one_row_a_stamp(start.part(np.isfinite(start.times) & np.isfinite(start.speeds)))
    left = _without_zeros(left)
    if left.rows.size < FEWEST:
        raise FitImpossible(
            f"The table has {left.rows.size} usable speeds; it must have at least {FEWEST}. Record longer, or more "
            "often."
        )
    left = _longest_fall(left, _threshold(left, table.speed_resolution))
    return left.part(left.speeds > 0, *_counter_findings(table, left.rows, sign, marks))


def _one_row_a_stamp(rows: RundownRows) -> RundownRows:
    """Join rows that bear the same time."""
    times, first, group, count = np.unique(rows.times, return_index=True, return_inverse=True, return_counts=True)
    if times.size == rows.times.size:
        return rows
    speeds = np.bincount(group, rows.speeds) / count
    sigma = None if rows.sigma is None else np.sqrt(np.bincount(group, rows.sigma**2)) / count
    said = finding("stamps-repeated", rows=rows.times.size, stamps=times.size)
    return RundownRows(rows.rows[first], times, speeds, sigma, (*rows.findings, said))


def _without_zeros(rows: RundownRows) -> RundownRows:
    """Leave out speeds of 0; say so where the wheel cannot have stopped by then."""
    zero = rows.speeds == 0
    moving = np.flatnonzero(~zero)
    if moving.size == 0 or not zero.any():
        return rows
    last = int(moving[-1])
    early = int(np.count_nonzero(zero[:last]))
    tail = rows.speeds.size - 1 - last
    if tail and moving.size >= FEWEST:
        before = int(moving[-FEWEST])
        slope = (rows.speeds[before] - rows.speeds[last]) / (rows.times[last] - rows.times[before])
        ahead = rows.speeds[last] - slope * (rows.times[last + 1] - rows.times[last])
        early += tail if ahead > 0.5 * rows.speeds[last] else 0
    if not early:
        return rows.part(~zero)
    last_speed = f"{rows.speeds[last] * 60 / TURN:.3g} r/min"
    return rows.part(~zero, finding("display-timed-out", count=early, speed=last_speed))


def _threshold(rows: RundownRows, resolution: float | None) -> float:
    """Smallest rise that is more than scatter [rad/s]."""
    scatter = scatter_of(rows.times, rows.speeds)
    stated = 0.0 if rows.sigma is None else float(np.median(rows.sigma))
    return float(max(SIGNIFICANT * max(scatter, stated), 1.5 * (resolution or 0.0)))


def _longest_fall(rows: RundownRows, least: float) -> RundownRows:
    """Keep the longest stretch in which the speed only falls, apart from scatter."""
    speeds = rows.speeds
    extremes = alternating_extremes(speeds, max(least, np.finfo(float).tiny))
    falls = [(a, b) for a, b in pairwise(extremes.tolist()) if speeds[b] < speeds[a]]
    first, last = max(falls, key=lambda fall: fall[1] - fall[0], default=(0, 0))
    if last - first + 1 < FEWEST:
        how = "rises" if speeds[-1] > speeds[0] else "does not fall"
        raise FitImpossible(
            f"The speed {how}: from {speeds[0]:.3g} to {speeds[-1]:.3g} rad/s, with readings that scatter by "
            f"{least / SIGNIFICANT:.2g} rad/s. This is no rundown. Record the wheel while it slows down freely."
        )
    chosen = np.zeros(speeds.size, dtype=bool)
    chosen[first if first != extremes[0] or _rises(speeds, first, least) else 0 : last + 1] = True
    if last == extremes[-1]:
        chosen[last + 1 :] = True  # nothing after it moves by more than the scatter
    said = []
    before, after = int(np.argmax(chosen)), int(np.count_nonzero(~chosen)) - int(np.argmax(chosen))
    if before:
        said.append(finding("before-rundown", rows=before, time=f"{rows.times[before]:.4g} s"))
    if after:
        said.append(finding("after-rundown", rows=after, time=f"{rows.times[-1 - after]:.4g} s"))
    return rows.part(chosen, *said)


def _rises(speeds: NDArray[np.float64], place: int, least: float) -> bool:
    """Tell whether the speed rose to this place by more than the scatter."""
    return bool(speeds[place] - speeds[: place + 1].min() >= least)


def _counter_findings(table: SpeedTable, rows: NDArray[np.intp], sign: float, marks: int | None) -> tuple[Finding, ...]:
    """Compare the speeds with the counter beside them."""
    rows = rows[table.speeds[rows] != 0]
    if table.counts is None or rows.size < LAG_ROWS:
        return ()
    turned = np.abs(np.diff(table.counts[rows])) * TURN / np.diff(table.times[rows])
    shown = sign * table.speeds[rows]
    means = (shown[1:] + shown[:-1]) / 2
    said = []
    left = [_misfit(turned[1:-1], means[1 - lag : means.size - 1 - lag]) for lag in (0, 1)]
    if left[1] * LAG_RATIO < left[0]:
        said.append(finding("counter-lags"))
    if marks is not None:
        doublings = float(np.log2(np.median(turned / means) / marks))
        if abs(doublings) > 0.5 and abs(doublings - round(doublings)) < POWER_NEAR:
            factor = f"{2 ** abs(round(doublings))} times {'lower' if doublings > 0 else 'higher'}"
            said.append(finding("speed-off-by-two", factor=factor, marks=marks))
    return tuple(said)


def _misfit(counted: NDArray[np.float64], shown: NDArray[np.float64]) -> float:
    """Sum of squares that no common factor explains."""
    factor = float(counted @ shown) / float(shown @ shown)
    return float(np.sum((counted - factor * shown) ** 2))
