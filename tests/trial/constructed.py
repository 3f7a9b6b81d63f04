"""Constructed tables, rules and plans; all names and times are invented."""

from __future__ import annotations

from typing import Any

import numpy as np

from truerun.series import Run, RunTable
from truerun.trial.comparison import Comparison
from truerun.trial.plan import Conditions, End
from truerun.trial.rules import Rules
from truerun.workflow.planning import PlanResult, plan

NAMES = Conditions(source="ring on", control="ring off")
ORDER = "+--+-++-+-+-"
SEED = "seed of the tests, long enough"


def calm(runs: int, spread: float = 0.001, seed: int = 1) -> list[float]:
    """Times round a minute that scatter by a share, in hundredths of a second."""
    noise = np.random.default_rng(seed).normal(0, spread, runs)
    return [round(60 * float(np.exp(each)), 2) for each in noise]


def times(order: str, factor: float = 1.0, spread: float = 0.001, seed: int = 1) -> list[float | None]:
    """Times that the source changes by a factor."""
    quiet = calm(len(order), spread, seed)
    return [round(time * (factor if sign == "+" else 1), 2) for time, sign in zip(quiet, order, strict=True)]


def runs_of(order: str, values: list[float | None], **columns: list[Any]) -> list[Run]:
    """One run a slot; further columns by the names of the fields of a run."""
    return [
        Run(
            slot,
            NAMES.source if sign == "+" else NAMES.control,
            value,
            line=slot + 1,
            **{name: given[slot - 1] for name, given in columns.items()},
        )
        for slot, (sign, value) in enumerate(zip(order, values, strict=True), 1)
    ]


def table(order: str, values: list[float | None], **columns: list[Any]) -> RunTable:
    """A table of runs in hundredths of a second."""
    return RunTable(tuple(runs_of(order, values, **columns)), resolution=0.01)


def stated(**more: Any) -> Rules:
    """Rules on somebody's word, fair but for the seal."""
    usual: dict[str, Any] = {"end": End.SPEED, "orders": "blocks-of-four", "adjust": ("run-number",)}
    return Rules(NAMES, **(usual | more))


def sealed(**more: Any) -> PlanResult:
    """A sealed plan with a fixed draw."""
    usual: dict[str, Any] = {"claim": "It gains.", "source": NAMES.source, "control": NAMES.control, "end": "speed"}
    return plan(**usual | {"runs": 12, "spread": 0.01, "seed": SEED} | more)


def signs(made: PlanResult, *, spare: bool = False) -> str:
    """The order of a plan as + and -."""
    order = made.plan.order + (made.plan.stopping.spare_order if spare else ())
    return "".join("+" if name == NAMES.source else "-" for name in order)


def checks(result: Comparison) -> set[str]:
    """Identifiers of all findings."""
    return {found.check for found in result.findings}
