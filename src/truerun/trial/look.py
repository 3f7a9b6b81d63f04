"""The quick look: a few runs with and without, before any claim or plan. It never gives a verdict."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from truerun.errors import FitImpossible, PlanBroken
from truerun.findings.catalogue import finding
from truerun.findings.finding import Finding
from truerun.series import RunTable
from truerun.stats.complete import MOST_PER_CONDITION, complete_list
from truerun.stats.exact import exact_list, nuisance_basis, two_sided_p
from truerun.stats.orders import ENUMERATED_AT_MOST
from truerun.trial.context import Context, plain_difference
from truerun.trial.observations import observe
from truerun.trial.plan import End, Pilot
from truerun.trial.planning import prospect, runs_that_find, upper_spread
from truerun.trial.rules import Rules

__all__ = ["Look", "Prospective", "look_at"]

Array = NDArray[np.float64]

_OFFERED_RUNS = (12, 16, 24)
_TIE = 1e-9


@dataclass(frozen=True, slots=True)
class Prospective:
    """A deciding test that could follow: runs in all, the drive it finds in 8 of 10, its minutes (None: not said)."""

    runs: int
    finds: float
    minutes: float | None


@dataclass(frozen=True, slots=True)
class Look:
    """What a few runs show, which is not what the source does.

    ``difference`` is 1 - T_control/T_source of the mean logarithms; ``clean`` of ``divisions`` ways to divide the runs
    split them as far apart. ``spread`` is the run-to-run standard deviation of ln T within the conditions.
    """

    source: str
    control: str
    counts: dict[str, int]
    means: dict[str, float]
    difference: float
    spread: float
    degrees_of_freedom: int
    clean: int
    divisions: int
    ended_by: End | None
    deciding: tuple[Prospective, ...]
    runs_to_find: int | None
    findings: tuple[Finding, ...]

    @property
    def pilot(self) -> Pilot:
        """The same runs as the trial for a plan."""
        upper = upper_spread(self.spread, self.degrees_of_freedom)
        return Pilot(spread=self.spread, degrees_of_freedom=self.degrees_of_freedom, upper_spread=upper)

    @property
    def luck(self) -> str:
        """Say how often luck alone splits the runs as clean, and where it could not be less with so few."""
        count = f"{self.clean} of {self.divisions} ways to divide these runs split as clean"
        easily = self.clean > self.divisions / 20
        fewest = 1 + (
            len(set(self.counts.values())) == 1
        )  # where both have as many runs, the mirror image splits alike
        if easily and self.clean == fewest:
            return f"Luck alone does this: {count}, and with so few runs it cannot be less."
        return f"Luck alone {'easily ' if easily else ''}does this: {count}."

    def document(self) -> dict[str, Any]:
        """Give the look as plain data, schema ``truerun/look/1``."""
        return {
            "schema": "truerun/look/1",
            "source": self.source,
            "control": self.control,
            "counts": self.counts,
            "mean_times": self.means,
            "difference": self.difference,
            "spread": self.spread,
            "degrees_of_freedom": self.degrees_of_freedom,
            "as_clean_by_luck": self.clean,
            "divisions": self.divisions,
            "ended_by": self.ended_by.value if self.ended_by else None,
            "pilot": self.pilot.model_dump(),
            "deciding_tests": [
                {"runs": test.runs, "finds": test.finds, "minutes": test.minutes} for test in self.deciding
            ],
            "runs_to_find_this": self.runs_to_find,
            "findings": [found.document() for found in self.findings],
        }


def look_at(table: RunTable, rules: Rules, *, change_minutes: float | None = None) -> Look:
    """Describe a few runs, and say what a deciding test would need.

    Parameters
    ----------
    table : RunTable
        At least two runs of each condition.
    rules : Rules
        Conditions, measurand and end; nothing else is used.
    change_minutes : float, optional
        Minutes between two runs, for the length of a deciding test; None: 2 minutes are reckoned.

    Returns
    -------
    Look

    Raises
    ------
    FitImpossible
        If a condition has fewer than two runs, or the times do not differ at all.
    """
    seen = observe(table, rules)
    kept = seen.kept & np.isfinite(seen.y)
    source, control = seen.y[kept & (seen.used > 0)], seen.y[kept & (seen.used < 0)]
    if min(len(source), len(control)) < 2:
        raise FitImpossible(
            f"A look needs at least two runs with each condition; there are {len(source)} with "
            f'"{rules.conditions.source}" and {len(control)} with "{rules.conditions.control}". '
            "Make three of each, in turn."
        )
    freedom = len(source) + len(control) - 2
    spread = math.sqrt((((source - source.mean()) ** 2).sum() + ((control - control.mean()) ** 2).sum()) / freedom)
    if spread == 0:
        raise FitImpossible(
            "All times of a condition are the same, so there is no spread to plan with. Read them more finely."
        )
    clean, divisions = _divisions(source, control)
    effect = plain_difference(seen)
    minutes = float(np.nanmean(seen.raw[kept])) / 60 + (2.0 if change_minutes is None else change_minutes)
    upper = upper_spread(spread, freedom)
    drive = -math.expm1(-effect)
    names = rules.conditions
    return Look(
        source=names.source,
        control=names.control,
        counts={names.source: len(source), names.control: len(control)},
        means={
            names.source: float(seen.raw[kept & (seen.used > 0)].mean()),
            names.control: float(seen.raw[kept & (seen.used < 0)].mean()),
        },
        difference=drive,
        spread=spread,
        degrees_of_freedom=freedom,
        clean=clean,
        divisions=divisions,
        ended_by=rules.end,
        deciding=_deciding(upper, minutes, rules.alpha),
        runs_to_find=runs_that_find(drive, "blocks-of-four", rules.alpha, upper) if abs(drive) > 1e-6 else None,
        findings=(*table.findings, *_about_the_end(Context(table, rules, seen, None, {}))),
    )


def _divisions(source: Array, control: Array) -> tuple[int, int]:
    """Count the ways to divide the runs that split them as far apart, of all ways (of at most 20 of each, if many)."""
    runs = len(source) + len(control)
    if len(source) != len(control) and math.comb(runs, len(source)) <= ENUMERATED_AT_MOST:
        ways = np.array(list(combinations(range(runs), len(source))))
        orders = np.full((len(ways), runs), -1, dtype=np.int8)
        np.put_along_axis(orders, ways, np.int8(1), axis=1)
        nothing = nuisance_basis(np.zeros((runs, 0)), (), orders[0].astype(np.float64))
        found = exact_list(np.concatenate([source, control]), orders, orders[0], nothing)
        if found.heap is not None:  # no division has a mirror image here, so both sides are counted as they are
            return int((np.abs(found.heap) >= abs(found.delta) * (1 - _TIE)).sum()), found.orders
    size = min(len(source), len(control), MOST_PER_CONDITION)
    found = complete_list(source[:size], control[:size])
    return round(two_sided_p(found) * found.orders), found.orders


def _deciding(spread: float, minutes: float, alpha: float) -> tuple[Prospective, ...]:
    """Offer deciding tests of three sizes."""
    offers = []
    for runs in _OFFERED_RUNS:
        try:
            ahead = prospect("blocks-of-four", runs, ("run-number",), alpha, spread=spread)
        except PlanBroken:
            continue
        offers.append(Prospective(runs, ahead.finds, runs * minutes))
    return tuple(offers)


def _about_the_end(at: Context) -> tuple[Finding, ...]:
    """Say what a timing to standstill is worth."""
    if at.rules.measurand.name != "time" or at.rules.end in (End.SPEED, End.TURNS):
        return ()
    return (finding("look-standstill"),)
