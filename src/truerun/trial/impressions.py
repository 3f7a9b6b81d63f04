"""The impression that a stopwatch gives, beside what recordings of the same runs say over the agreed speeds."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from truerun.errors import TruerunError
from truerun.findings.catalogue import finding
from truerun.findings.finding import Finding
from truerun.series import Run, RunTable
from truerun.trial.comparison import Comparison, compare_runs
from truerun.trial.context import shown
from truerun.trial.phrases import percent
from truerun.trial.plan import End
from truerun.trial.rules import Rules
from truerun.units.quantity import read_quantity
from truerun.units.unit import Dimension, parse_unit

__all__ = ["STOPWATCH", "Impression", "stopwatch_impression"]

STOPWATCH = "stopwatch"
"""Heading of the column that holds a time to standstill beside a recording of the same run."""

NOTABLE = 0.01
"""Two drive fractions that differ by less are one impression."""


@dataclass(frozen=True, slots=True)
class Impression:
    """What stopwatch times to standstill say of runs whose recordings decide.

    ``comparison`` is that of the stopwatch times: an impression, not a verdict. ``drive`` and ``fair`` are the drive
    fractions of stopwatch and recordings. ``source`` and ``control`` are mean times [s]: by the stopwatch, and over
    the agreed speeds.
    """

    comparison: Comparison
    drive: float
    fair: float
    source: tuple[float, float]
    control: tuple[float, float]

    @property
    def finding(self) -> Finding | None:
        """Say that the two disagree, and why; None where they agree."""
        if abs(self.drive - self.fair) < NOTABLE:
            return None
        names = self.comparison.at.rules.conditions
        words = {
            "source": names.source,
            "control": names.control,
            "watch": _gain(self.drive),
            "fair": _gain(self.fair),
            "with_source": f"{self.source[0] - self.source[1]:.0f}",
            "with_control": f"{self.control[0] - self.control[1]:.0f}",
        }
        return finding("two-impressions", words, size=f"{percent(self.drive, signed=True)} by the stopwatch")

    def document(self) -> dict[str, Any]:
        """Give it as plain data."""
        return {
            "drive_fraction": self.drive,
            "over_the_window": self.fair,
            "seconds": {"source": list(self.source), "control": list(self.control)},
        }


def stopwatch_impression(table: RunTable, rules: Rules) -> Impression | None:
    """Compare the stopwatch times of runs that were measured from recordings.

    Parameters
    ----------
    table : RunTable
        Filled with times over a window; the further column ``stopwatch`` holds times to standstill.
    rules : Rules
        By which the times over the window are compared.

    Returns
    -------
    Impression or None
        None where a run that counts has no stopwatch time, or the recordings share no window.

    Examples
    --------
    >>> from truerun.trial.plan import Conditions
    >>> rows = (("in", 80.0, 186.0), ("out", 84.0, 166.0), ("in", 79.0, 185.0), ("out", 83.0, 165.0))
    >>> runs = tuple(Run(n, name, time, extra={"stopwatch": watch}) for n, (name, time, watch) in enumerate(rows, 1))
    >>> found = stopwatch_impression(RunTable(runs), Rules(Conditions(source="in", control="out"), end=End.SPEED))
    >>> round(found.drive, 3), round(found.fair, 3), found.source
    (0.108, -0.05, (185.5, 79.5))
    """
    counted = [run for run in table.runs if run.left_out is None and run.value is not None]
    seconds = _seconds(counted, table.extra_units.get(STOPWATCH))
    if seconds is None or rules.measurand.scale != "log" or table.unit != "s":
        return None
    watched = {(run.slot, run.attempt): value for run, value in zip(counted, seconds, strict=True)}
    lines = tuple(replace(run, value=watched.get((run.slot, run.attempt), run.value)) for run in table.runs)
    by_watch = replace(rules, end=End.STANDSTILL, stop="lies-still", window=None, plan=None, claimed=None, margin=None)
    try:
        found = compare_runs(replace(table, runs=lines, findings=()), by_watch)
        fair = compare_runs(replace(table, findings=()), replace(rules, plan=None))
    except TruerunError:
        return None
    names = rules.conditions
    source, control = (
        (_mean(watched[run.slot, run.attempt] for run in each), _mean(run.value or 0.0 for run in each))
        for each in ([run for run in counted if run.condition == name] for name in (names.source, names.control))
    )
    return Impression(found, shown(found.at, found.at.effect), shown(fair.at, fair.at.effect), source, control)


def _seconds(runs: Sequence[Run], unit: str | None) -> list[float] | None:
    """Read the stopwatch times [s]; None where one is missing or there are none."""
    factor = parse_unit(unit, Dimension.TIME).factor if unit else 1.0
    values = [_read(run.extra.get(STOPWATCH), factor) for run in runs]
    times = [value for value in values if value is not None and 0 < value < math.inf]
    return times if times and len(times) == len(values) else None


def _read(value: float | str | None, factor: float) -> float | None:
    """Read a number, or the digits of a stopwatch (6:02.6); None where it is neither [s]."""
    if not isinstance(value, str):
        return None if value is None else factor * value
    try:
        return read_quantity(value, Dimension.TIME, name=STOPWATCH).value
    except TruerunError:
        return None


def _mean(values: Iterable[float]) -> float:
    """Give the mean of some numbers."""
    listed = list(values)
    return sum(listed) / len(listed)


def _gain(drive: float) -> str:
    """Write a drive fraction as a drive or a brake."""
    return f"a {'drive' if drive > 0 else 'brake'} of {percent(abs(drive))}"
