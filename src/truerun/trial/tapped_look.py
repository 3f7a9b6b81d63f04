"""A look at runs that a hand tapped, compared over speeds that all of them fell through."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from truerun.errors import FitImpossible, TruerunError, ValueOutOfRange
from truerun.motion.fair_window import fair_window
from truerun.motion.rundown import Rundown
from truerun.motion.tapped import tapped_rundown
from truerun.motion.window import fit_window
from truerun.series import Run, RunTable
from truerun.trial.look import Look, look_at
from truerun.trial.plan import End
from truerun.trial.rules import Rules

__all__ = ["TAPS", "TappedLook", "TappedRun", "look_at_taps", "read_taps"]

TAPS = "taps"
"""Heading of the column that holds the times of the taps of a run [s], with spaces between them."""

MOST_TAPS = 1000
_LEAST_RUNS = 2
_LEAST_SPAN = 1.25
"""The window ends at less than its first speed over this, else it is too narrow to be worth a word."""


@dataclass(frozen=True, slots=True)
class TappedRun:
    """One run over the window: its taps in it and before it, its time and what tapping leaves open of it [s]."""

    slot: int
    condition: str
    taps: int
    time: float
    uncertainty: float


@dataclass(frozen=True, slots=True)
class TappedLook:
    """What tapped runs show between two speeds.

    ``look`` is that of the times from ``speed_from`` down to ``speed_to`` [rad/s]. ``scatter`` is that of one tap
    [s], ``tapping`` the spread of a time that tapping alone makes, as a share. ``slowing`` holds for each condition
    how fast the wheel slowed in the window, and the standard uncertainty that tapping leaves [rad/s^2].
    ``to_standstill`` is the look of the same runs, timed until they stopped; None where too few were.
    """

    look: Look
    runs: tuple[TappedRun, ...]
    speed_from: float
    speed_to: float
    scatter: float
    tapping: float
    slowing: dict[str, tuple[float, float]]
    to_standstill: Look | None

    def document(self) -> dict[str, Any]:
        """Give it as plain data."""
        return {
            "window": {"from": self.speed_from, "to": self.speed_to, "defined_by": "turn-time"},
            "tap_scatter": self.scatter,
            "spread_by_tapping": self.tapping,
            "slowing": {name: {"value": value, "uncertainty": open_} for name, (value, open_) in self.slowing.items()},
            "runs": [
                {
                    "run": each.slot,
                    "condition": each.condition,
                    "taps": each.taps,
                    "time": each.time,
                    "uncertainty": each.uncertainty,
                }
                for each in self.runs
            ],
            "to_standstill": None if self.to_standstill is None else self.to_standstill.document(),
        }


def look_at_taps(
    table: RunTable, rules: Rules, *, change_minutes: float | None = None
) -> tuple[TappedLook | None, tuple[str, ...]]:
    """Look at the runs of a table that were tapped, over speeds that all of them fell through.

    Parameters
    ----------
    table : RunTable
        Its further column ``taps`` holds the times of the taps of a run; its time is that to standstill, where there
        is one.
    rules : Rules
        The conditions are taken from it.
    change_minutes : float, optional
        Minutes between two runs; None: 2.

    Returns
    -------
    TappedLook or None
        None where fewer than two runs of each condition can be compared so.
    tuple of str
        A sentence for each run whose taps could not be used, and why nothing could be compared.

    Notes
    -----
    The window is found from all runs together, blind to the conditions: from the slowest launch down to the speed
    below which one of the runs was slow (:func:`truerun.motion.tapped.faster_part`).

    Examples
    --------
    >>> from truerun.trial.plan import Conditions
    >>> look_at_taps(RunTable((Run(1, "in", 50.0),)), Rules(Conditions(source="in", control="out")))
    (None, ())
    """
    tapped = [run for run in table.runs if run.extra.get(TAPS) is not None and run.left_out is None]
    fitted, said = _fitted(tapped)
    names = (rules.conditions.source, rules.conditions.control)
    if min(sum(run.condition == name for run, _ in fitted) for name in names) < _LEAST_RUNS:
        return None, said
    start, end = fair_window([found for _, found in fitted])
    if start < _LEAST_SPAN * end:
        return None, (*said, _NARROW)
    runs = tuple(_timed(run, found, start, end) for run, found in fitted)
    times = {each.slot: each for each in runs}
    within = tuple(replace(run, value=times[run.slot].time, extra={}) for run, _ in fitted)
    between = (2.0 if change_minutes is None else change_minutes) + _outside(fitted, runs) / 60
    seen = look_at(_of(table, within), replace(rules, end=End.SPEED), change_minutes=between)
    shares = np.array([each.uncertainty / each.time for each in runs])
    look = TappedLook(
        look=seen,
        runs=runs,
        speed_from=start,
        speed_to=end,
        scatter=float(np.sqrt(np.mean([found.sigma**2 for _, found in fitted]))),
        tapping=float(np.sqrt(np.mean(shares**2))),
        slowing={name: _slowing([run for run in runs if run.condition == name], start - end) for name in seen.means},
        to_standstill=_to_standstill(table, [run for run, _ in fitted], rules),
    )
    return look, said


_NARROW = (
    "The tapped runs have too few speeds in common: one was launched hardly faster than another was tapped to. Push "
    "harder, and tap until the wheel turns at a third of its first speed."
)


def read_taps(text: object) -> NDArray[np.float64]:
    """Read the times of taps.

    Parameters
    ----------
    text : str
        Seconds with spaces between them.

    Returns
    -------
    array, shape (n,)
        Increasing, the first one 0 [s].

    Raises
    ------
    ValueOutOfRange
        If something is no number, or the times do not rise.

    Examples
    --------
    >>> read_taps("12.00 12.85 13.71").round(2).tolist()
    [0.0, 0.85, 1.71]
    """
    words = str(text).replace(";", " ").split()
    try:
        times = np.array([float(word) for word in words])
    except ValueError:
        raise ValueOutOfRange("The taps", "something that is no number", "seconds with spaces between them") from None
    if not times.size or times.size > MOST_TAPS or not np.isfinite(times).all() or (np.diff(times) <= 0).any():
        raise ValueOutOfRange("The taps", f"{times.size} times", f"1 to {MOST_TAPS} times that rise")
    return np.asarray(times - times[0])


def _fitted(runs: Sequence[Run]) -> tuple[list[tuple[Run, Rundown]], tuple[str, ...]]:
    """Fit every tapped run; one that cannot be fitted is said."""
    found, said = [], []
    for run in runs:
        try:
            found.append((run, tapped_rundown(read_taps(run.extra[TAPS]), stopped=run.value is not None)))
        except TruerunError as error:
            said.append(f'The taps of run {run.slot}, "{run.condition}", are not used. {error}')
    return found, tuple(said)


def _timed(run: Run, found: Rundown, start: float, end: float) -> TappedRun:
    """Give the time of one run over the window."""
    over = fit_window(found, start, end)
    return TappedRun(run.slot, run.condition, found.passes, over.time, over.time_uncertainty)


def _outside(fitted: Sequence[tuple[Run, Rundown]], runs: Sequence[TappedRun]) -> float:
    """Give how much longer a whole run takes than its part in the window, on average [s]."""
    whole = [run.value or float(read_taps(run.extra[TAPS])[-1]) for run, _ in fitted]
    return max(0.0, float(np.mean(whole)) - float(np.mean([each.time for each in runs])))


def _slowing(runs: Sequence[TappedRun], fall: float) -> tuple[float, float]:
    """Give how fast the wheel slowed, on average of some runs, and what tapping leaves open of it."""
    rates = [fall / each.time for each in runs]
    open_ = [rate * each.uncertainty / each.time for rate, each in zip(rates, runs, strict=True)]
    return sum(rates) / len(rates), math.hypot(*open_) / len(rates)


def _to_standstill(table: RunTable, runs: Sequence[Run], rules: Rules) -> Look | None:
    """Look at the same runs by the stopwatch; None where too few of them were timed to their end."""
    try:
        return look_at(_of(table, tuple(replace(run, extra={}) for run in runs)), replace(rules, end=End.STANDSTILL))
    except FitImpossible:
        return None


def _of(table: RunTable, runs: tuple[Run, ...]) -> RunTable:
    """Give a table of some runs."""
    return replace(table, runs=runs, findings=(), resolution=None)
