"""From the lines of a table to one observation a slot, ready for the exact list."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from truerun.errors import PlanBroken, RecordingUnreadable
from truerun.series import Run, RunTable
from truerun.stats.keepers import Timekeepers, timekeepers
from truerun.stats.unfinished import cut_to_common_limit
from truerun.trial.rules import Rules

__all__ = ["Observations", "observe"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Observations:
    """One entry a slot, shape (n,).

    ``places`` tells where in the order each slot stands, from 0: in a plan by its number, in a table without one by the
    sequence, whatever numbers a caller gave them.
    ``used`` is +1 for source and -1 for control as *drawn*; ``y`` the observation on the scale on which an effect
    adds, NaN where the slot has none; ``raw`` the value as measured (SI). ``worst`` marks slots in which a run was
    stopped after its time had been seen (a further attempt does not mend that), ``omitted`` those left out blind,
    ``missing`` those not run yet, ``slips`` those in which the other condition was set up. ``limit`` is the common
    limit where runs were unfinished, ``capped`` tells which stand at it. ``planned`` is the number of runs of the
    plan. ``keepers`` tells what each of several timekeepers adds and scatters, in the order of ``keeper_names``.
    """

    runs: tuple[Run, ...]
    places: NDArray[np.int64]
    used: NDArray[np.int8]
    y: Array
    raw: Array
    worst: NDArray[np.bool_]
    omitted: NDArray[np.bool_]
    missing: NDArray[np.bool_]
    slips: tuple[int, ...]
    repeated: tuple[int, ...]
    limit: float | None
    capped: NDArray[np.bool_]
    planned: int
    keepers: Timekeepers | None = None
    keeper_names: tuple[str, ...] = ()

    @property
    def kept(self) -> NDArray[np.bool_]:
        """Slots that enter the list."""
        return ~(self.omitted | self.missing)

    @property
    def sessions(self) -> tuple[str | None, ...]:
        """Session of each slot."""
        return tuple(run.session for run in self.runs)


def observe(table: RunTable, rules: Rules) -> Observations:
    """Read a table by the rules of the comparison.

    Parameters
    ----------
    table : RunTable
        As read.
    rules : Rules
        From the plan, or as stated.

    Returns
    -------
    Observations

    Raises
    ------
    RecordingUnreadable
        If the table has conditions that the rules do not know, or an observation that has no logarithm.
    PlanBroken
        If the table has runs that were never planned.
    """
    last = _not_run_yet(rules) | _last_attempts(table)
    runs = tuple(last[slot] for slot in sorted(last))
    _require_known_conditions(table, rules)
    used, slips = _as_drawn(runs, rules, table)
    keepers, names = _keepers(runs)
    raw = np.array([np.nan if run.value is None else run.value for run in runs], dtype=np.float64)
    if keepers is not None:
        raw = keepers.runs
    unfinished = np.array([run.unfinished for run in runs])
    spoilt = {run.slot for run in table.runs if run.left_out is not None and (run.seen is True or _shown(run))}
    seen = np.array([run.slot in spoilt for run in runs])
    omitted = np.array([run.left_out is not None for run in runs]) & ~seen
    recorded = np.array([run.recording is not None for run in runs])
    missing = np.isnan(raw) & ~seen & ~omitted & ~recorded
    present = ~(missing | omitted | seen)
    values = np.where(present, raw, np.nan)
    capped = np.zeros(len(runs), dtype=np.bool_)
    limit = None
    if (unfinished & present).any():
        cut = cut_to_common_limit(values[present], unfinished[present])
        values[present], capped[present], limit = cut.times, cut.capped, cut.limit
    return Observations(
        runs=runs,
        places=np.array([run.slot - 1 for run in runs]) if rules.plan else np.arange(len(runs)),
        used=used,
        y=_on_adding_scale(values, rules, runs, table),
        raw=raw,
        worst=seen,
        omitted=omitted,
        missing=missing,
        slips=slips,
        repeated=tuple(run.slot for run in runs if run.attempt > 1),
        limit=limit,
        capped=capped,
        planned=rules.plan.runs if rules.plan else len(runs),
        keepers=keepers,
        keeper_names=names,
    )


def _keepers(runs: tuple[Run, ...]) -> tuple[Timekeepers | None, tuple[str, ...]]:
    """Take runs and keepers apart where several keepers timed every run."""
    names = tuple(dict.fromkeys(name for run in runs for name in run.readings))
    if len(names) < 2 or not all(run.readings for run in runs):
        return None, ()
    return timekeepers(np.array([[run.readings.get(name, np.nan) for name in names] for run in runs])), names


def _shown(run: Run) -> bool:
    """Tell whether a time was written down for a run that was left out, so that somebody saw it."""
    return run.seen is None and run.value is not None


def _not_run_yet(rules: Rules) -> dict[int, Run]:
    """Give an empty run for each planned slot, so that a line that is lacking weighs the same as an empty one."""
    order = rules.plan.order if rules.plan else ()
    return {slot: Run(slot, name, None) for slot, name in enumerate(order, 1)}


def _last_attempts(table: RunTable) -> dict[int, Run]:
    """Give the last attempt in each slot."""
    last: dict[int, Run] = {}
    for run in table.runs:
        if run.slot not in last or run.attempt >= last[run.slot].attempt:
            last[run.slot] = run
    return last


def _require_known_conditions(table: RunTable, rules: Rules) -> None:
    """Refuse names that are neither the source nor the control."""
    known = {rules.conditions.source, rules.conditions.control}
    for run in table.runs:
        if run.condition not in known:
            raise RecordingUnreadable(
                table.path or "the table",
                f"line {run.line}" if run.line else f"run {run.slot}",
                f'the condition is "{run.condition}"; it must be "{rules.conditions.source}" or '
                f'"{rules.conditions.control}". Correct the name.',
            )


def _as_drawn(runs: tuple[Run, ...], rules: Rules, table: RunTable) -> tuple[NDArray[np.int8], tuple[int, ...]]:
    """Give the order as it was drawn and the slots in which the other condition was set up."""
    done = np.array([1 if run.condition == rules.conditions.source else -1 for run in runs], dtype=np.int8)
    if rules.plan is None:
        return done, ()
    planned = (*rules.plan.order, *rules.plan.stopping.spare_order)
    slots = [run.slot for run in runs]
    if max(slots) > len(planned):
        raise PlanBroken(
            f"The plan has {len(planned)} runs",
            f"{table.path or 'the table'} has a run {max(slots)}",
            "Take out the runs that were not planned, or plan a new test.",
        )
    if rules.plan.drawn_by == "bag":
        return done, ()
    drawn = np.array([1 if planned[slot - 1] == rules.conditions.source else -1 for slot in slots], dtype=np.int8)
    slips = tuple(slot for slot, was, is_ in zip(slots, drawn, done, strict=True) if was != is_)
    return drawn, slips


def _on_adding_scale(values: Array, rules: Rules, runs: tuple[Run, ...], table: RunTable) -> Array:
    """Put the values on the scale on which an effect adds."""
    if rules.measurand.scale == "linear":
        return rules.measurand.sign * values
    for run, value in zip(runs, values, strict=True):
        if value <= 0:
            raise RecordingUnreadable(
                table.path or "the table",
                f"line {run.line}" if run.line else f"run {run.slot}",
                f"the {rules.measurand.name} is {value:g}; it must be above 0. "
                "Correct it, or compare on a linear scale.",
            )
    return np.asarray(rules.measurand.sign * np.log(values))
