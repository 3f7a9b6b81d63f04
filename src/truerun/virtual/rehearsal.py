"""A plan rehearsed on the virtual bench: how often each verdict comes where the truth is known."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace

import numpy as np

from truerun.series import Run, RunTable
from truerun.stats.orders import orders_for
from truerun.trial.comparison import compare_runs
from truerun.trial.plan import Plan, Window
from truerun.trial.rules import Rules, rules_of_plan
from truerun.trial.seal import drawn_order
from truerun.virtual.bench import Bench
from truerun.virtual.recorded_times import WINDOW, through_files
from truerun.virtual.tables import simulate_table

__all__ = ["Rehearsal", "Truth", "rehearse_part"]


@dataclass(frozen=True, slots=True)
class Truth:
    """What is true on the virtual bench, in a few words, and the bench itself."""

    words: str
    bench: Bench


@dataclass(frozen=True, slots=True)
class Rehearsal:
    """How often each verdict came, of ``tests`` made-up tests of one plan under one truth.

    ``verdicts`` holds a count for each verdict that came; ``seconds`` is the mean time that the wheel turned in one
    test [s].
    """

    truth: Truth
    tests: int
    verdicts: dict[str, int]
    seconds: float

    def __add__(self, other: Rehearsal) -> Rehearsal:
        both = Counter(self.verdicts) + Counter(other.verdicts)
        tests = self.tests + other.tests
        seconds = (self.seconds * self.tests + other.seconds * other.tests) / tests
        return Rehearsal(self.truth, tests, dict(both), seconds)

    def share(self, verdict: str) -> float:
        """Give the share of tests that came to a verdict."""
        return self.verdicts.get(verdict, 0) / self.tests


def rehearse_part(plan: Plan, truth: Truth, tests: int, seed: tuple[int, ...], *, by_file: bool = False) -> Rehearsal:
    """Make up a number of tests of a plan and count their verdicts.

    Parameters
    ----------
    plan : Plan
        Its rules are used as sealed; the order is drawn afresh for every test, as the plan's own was.
    truth : Truth
        What is true.
    tests : int
        How many.
    seed : tuple of int
        Of this part; the same seed gives the same counts.
    by_file : bool
        Whether every run is made as a wheel, written to a file, and read again as a user's is.

    Returns
    -------
    Rehearsal
    """
    rng = np.random.default_rng(seed)
    verdicts: Counter[str] = Counter()
    seconds = 0.0
    allowed = orders_for(plan.orders, plan.runs)
    names = (plan.conditions.source, plan.conditions.control)
    sittings = _sittings(plan)
    for _ in range(tests):
        drawn = drawn_order(allowed, rng.bytes(16).hex())
        order = tuple(names[0] if sign > 0 else names[1] for sign in drawn)
        table = simulate_table(truth.bench, drawn, rng, names, sittings)
        if by_file:
            table = through_files(table, plan.window if isinstance(plan.window, Window) else WINDOW, rng)
        verdict, runs = _decided(table, rules_of_plan(plan.model_copy(update={"order": order})))
        verdicts[verdict] += 1
        seconds += sum(run.value or 0.0 for run in runs)
    return Rehearsal(truth, tests, dict(verdicts), seconds / tests)


def _sittings(plan: Plan) -> list[str]:
    """Name the sitting of each run."""
    return [str(1 + sum(run >= last for last in plan.sessions.breaks_after)) for run in range(plan.runs)]


def _decided(table: RunTable, rules: Rules) -> tuple[str, tuple[Run, ...]]:
    """Give the verdict and the runs that were made for it: at the planned look if it decides there, else at the end."""
    look = rules.plan.stopping.look_after if rules.plan else None
    if look is not None:
        first = replace(table, runs=table.runs[:look])
        early = compare_runs(first, rules).verdict
        if early is not None:
            return early.value, first.runs
    last = compare_runs(table, rules).verdict
    if last is None:
        raise LookupError("no verdict: a complete table has one")
    return last.value, table.runs
