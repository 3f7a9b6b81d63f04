"""Whole tests made up on the virtual bench: a sealed plan, a filled table, and what truerun says about it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from truerun.series import Run, RunTable
from truerun.stats.orders import orders_for
from truerun.trial.agreement import Claim
from truerun.trial.comparison import Comparison, compare_runs
from truerun.trial.plan import Blinding, Conditions, End, Plan, Window
from truerun.trial.planning import default_adjust
from truerun.trial.rules import rules_of_plan
from truerun.trial.seal import drawn_order
from truerun.trial.verdict import Verdict
from truerun.virtual.bench import Bench
from truerun.virtual.tables import simulate_times

__all__ = ["BY_HAND", "NAMES", "MadeTest", "differs", "drawn_plans", "made_plan", "made_tests", "raised"]

Array = NDArray[np.float64]

NAMES = Conditions(source="ring on", control="ring off")
"""What the conditions are called."""

BY_HAND = Blinding(grade=0, timing="hand")
"""Timed by a hand that knows which is which."""

_SEED = "a seed that every made test replaces"


@dataclass(frozen=True, slots=True)
class MadeTest:
    """A sealed plan and the times that were written down, one a slot [s]."""

    plan: Plan
    times: Array

    @property
    def signs(self) -> NDArray[np.int8]:
        """The order as drawn: +1 source, -1 control."""
        return self.plan.signs

    def table(self, columns: Sequence[Mapping[str, Any]] = (), set_up: NDArray[np.int8] | None = None) -> RunTable:
        """Fill in the sheet.

        Parameters
        ----------
        columns : sequence of mapping, one a slot, optional
            Further fields of each run; may give ``value``.
        set_up : array of +1 and -1, optional
            The condition that the sheet names in each slot; None: as drawn.

        Returns
        -------
        RunTable
            Times to a hundredth of a second.
        """
        signs = self.signs if set_up is None else set_up
        fields: list[dict[str, Any]] = [
            {"slot": slot, "condition": _named(sign), "value": float(time)}
            for slot, (sign, time) in enumerate(zip(signs, self.times, strict=True), 1)
        ]
        more = columns or [{}] * len(fields)
        runs = [Run(**usual | dict(special)) for usual, special in zip(fields, more, strict=True)]
        return RunTable(tuple(runs), resolution=0.01)

    def said_of(self, table: RunTable, *, seal_broken: bool = False) -> Comparison:
        """Give what truerun says about a table of this plan."""
        return compare_runs(table, rules_of_plan(self.plan, seal_broken=seal_broken))

    def said(self) -> Comparison:
        """Give what truerun says where nothing special happened."""
        return self.said_of(self.table())

    def said_broken_off(self, limit: float) -> Comparison:
        """Give what truerun says where runs that reach the limit [s] were broken off there."""
        return self.said_of(self.table([{"unfinished": bool(time >= limit)} for time in self.times]))


def _named(sign: int) -> str:
    """Give the name of a condition."""
    return NAMES.source if sign > 0 else NAMES.control


def made_plan(runs: int = 16, orders: str = "blocks-of-four", **more: Any) -> Plan:
    """Give a plan as a user would have it: timed by a sensor down to a set speed by somebody who does not know.

    Parameters
    ----------
    runs : int
        In all.
    orders : str
        The set that the order is drawn from.
    **more : object
        Any other key of a plan.

    Returns
    -------
    Plan

    Examples
    --------
    >>> plan = made_plan(8, "pairs", margin=0.02)
    >>> plan.runs, plan.adjust, plan.margin
    (8, (), 0.02)
    """
    usual: dict[str, Any] = {
        "id": "made-up",
        "claim": Claim(words="The ring drives the wheel."),
        "conditions": NAMES,
        "end": End.SPEED,
        "window": Window.model_validate({"from": 9.0, "to": 3.0}),
        "adjust": default_adjust(orders),
        "blinding": Blinding(grade=2, timing="sensor"),
        "made": "2026-01-01T00:00:00Z",
    }
    signs = drawn_order(orders_for(orders, runs), _SEED)
    drawn = {"runs": runs, "orders": orders, "seed": _SEED, "order": tuple(map(_named, signs))}
    return Plan.model_validate(usual | drawn | more)


def drawn_plans(plan: Plan, repetitions: int, rng: np.random.Generator) -> list[Plan]:
    """Seal a plan many times, each with a seed and an order of its own."""
    allowed = orders_for(plan.orders, plan.runs)
    seeds = [rng.bytes(16).hex() for _ in range(repetitions)]
    return [
        plan.model_copy(update={"seed": seed, "order": tuple(map(_named, drawn_order(allowed, seed)))})
        for seed in seeds
    ]


def made_tests(plan: Plan, bench: Bench, repetitions: int, rng: np.random.Generator) -> Iterator[MadeTest]:
    """Make up tests of a plan on a bench, times in hundredths of a second.

    Examples
    --------
    >>> test = next(made_tests(made_plan(), Bench(drive_fraction=0.2), 1, np.random.default_rng(1)))
    >>> test.said().headline
    '"ring on" adds energy.'
    """
    plans = drawn_plans(plan, repetitions, rng)
    times = simulate_times(bench, np.array([each.signs for each in plans]), rng)
    return (MadeTest(each, row) for each, row in zip(plans, np.maximum(times, 0.01).round(2), strict=True))


def differs(result: Comparison) -> bool:
    """Tell whether a result says that there is a difference, in either direction."""
    return result.verdict in (Verdict.ADDS, Verdict.TAKES)


def raised(check: str, result: Comparison) -> bool:
    """Tell whether a result holds a finding."""
    return any(found.check == check for found in result.findings)
