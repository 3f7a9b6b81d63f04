"""Invented pools, screenings and dose series, made on the virtual bench or by drawn numbers. None took place."""

from __future__ import annotations

from datetime import UTC, datetime
from functools import cache
from typing import Any

import numpy as np

from truerun.virtual.bench import Bench, Watch
from truerun.virtual.tables import simulate_times
from truerun.workflow.comparing import ComparisonResult, compare
from truerun.workflow.dosing import DoseResult, dose, plan_dose
from truerun.workflow.planning import plan
from truerun.workflow.pooling import PoolResult, pool
from truerun.workflow.screening import ScreeningResult, plan_screening, screen

__all__ = ["MADE", "SEVERAL", "challenge_of", "invented_test", "several_of"]

MADE = datetime(2026, 3, 14, 21, 52, tzinfo=UTC)
SEVERAL = (
    "pool", "pool of two", "pool that differs", "screening", "no candidate", "covered screening", "dose", "dose up",
    "dose without a plan", "covered dose",
)  # fmt: skip
POSITIONS = tuple(f"position {number}" for number in range(1, 25))
VARIANTS = ("5 mm", "8 mm with felt under the plate", "11 mm", "14 mm", "no <b>plate</b>")

Several = PoolResult | ScreeningResult | DoseResult


def invented_test(number: int, drive: float, *, count: int | None = None, **more: Any) -> ComparisonResult:
    """Make one sealed test of 8 + 8 runs, or its first runs."""
    made = plan(
        claim="With the arc in place the wheel gains.",
        source="arc in",
        control="arc out",
        end="speed",
        seed=f"a seed for invented test {number}",
        identity=f"00000000-0000-4000-8000-0000000000{number:02d}",
        made=MADE.replace(minute=number),
        timing="sensor",
        **more,
    )
    bench = Bench(mean_time=159.7, drive_fraction=drive, spread=0.0125, watch=Watch(0.0, 0.1))
    times = simulate_times(bench, made.plan.signs, np.random.default_rng(number))[:count]
    runs = {
        "run": list(range(1, len(times) + 1)),
        "condition": list(made.plan.order[: len(times)]),
        "time [s]": [round(float(time), 1) for time in times],
    }
    return compare(runs, made.document())


def challenge_of(number: int, answered: str) -> ComparisonResult:
    """Make a test that answers to another one."""
    return invented_test(number, -0.05, role="challenge", main_test=answered)


@cache
def several_of(kind: str) -> Several:
    """Give one of the results that are more than one test."""
    if kind.startswith("pool"):
        drives = {"pool": (-0.05, -0.04, -0.07), "pool of two": (0.0, 0.01), "pool that differs": (0.05, 0.04, 0.0)}
        tests = [invented_test(number, drive) for number, drive in enumerate(drives[kind], 1)]
        covered = [invented_test(9, 0.05, count=8)] if kind == "pool that differs" else []
        return pool(*tests, *covered)
    return _dose(kind) if "dose" in kind else _screening(kind)


def _screening(kind: str) -> ScreeningResult:
    """Make a screening of five variants with a good one, or of 24 equal ones."""
    names = POSITIONS if kind == "no candidate" else VARIANTS
    made = plan_screening(
        names,
        3,
        end="speed",
        control=names[-1],
        seed="a seed for invented screenings",
        identity="00000000-0000-4000-8000-000000000021",
        made=MADE,
        looking_for="A place at which the wheel loses less.",
    )
    rng = np.random.default_rng(4)
    good = "" if kind == "no candidate" else names[1]
    times = [round(60 * (1 + 0.05 * (name == good) + 0.01 * rng.normal()), 2) for name in made.plan.order]
    runs: dict[str, list[Any]] = {
        "run": list(range(1, len(times) + 1)),
        "condition": list(made.plan.order),
        "time [s]": times,
    }
    if kind == "covered screening":
        return screen({name: cells[:7] for name, cells in runs.items()}, made.document())
    return screen(runs, made.document(), holm=True)


def _dose(kind: str) -> DoseResult:
    """Make a dose series of 18 runs that brakes, or drives."""
    made = plan_dose(
        [0, 1, 2, 3, 6, 12],
        3,
        end="speed",
        dummies=True,
        claim="Every magnet helps.",
        seed="a seed for invented doses",
        identity="00000000-0000-4000-8000-000000000031",
        made=MADE,
    )
    rng = np.random.default_rng(7)
    slope = 0.006 if kind == "dose up" else -0.0045
    doses = [float(name) for name in made.plan.order]
    times = [round(60 * float(np.exp(slope * each + 0.012 * rng.normal())), 2) for each in doses]
    runs: dict[str, list[Any]] = {"run": list(range(1, 19)), "condition": list(made.plan.order), "time [s]": times}
    if kind == "dose without a plan":
        return dose(runs, end="speed")
    if kind == "covered dose":
        return dose({name: cells[:7] for name, cells in runs.items()}, made.document())
    return dose(runs, made.document())
