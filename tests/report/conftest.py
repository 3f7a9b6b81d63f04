"""Invented tests of a rim arc with every kind of result, each as a report. No such test took place."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest

from truerun.virtual.bench import Bench, Watch
from truerun.virtual.tables import simulate_times
from truerun.workflow.comparing import ComparisonResult, compare
from truerun.workflow.planning import PlanResult, plan

MADE = datetime(2026, 3, 14, 21, 52, tzinfo=UTC)
KINDS = ("adds", "takes", "none", "within", "open", "unfair", "counts", "broken", "left-out", "linear")

Made = Callable[..., ComparisonResult]


def sealed(**more: Any) -> PlanResult:
    """Seal a plan with a fixed draw."""
    usual: dict[str, Any] = {
        "claim": "With the arc in place the wheel gains on every turn.",
        "claimant": "the builder of the arc",
        "source": "arc in",
        "control": "arc out",
        "end": "speed",
        "window": (12.566370614359172, 4.188790204786391),
        "claimed": 1.0,
        "margin": 0.02,
        "spread": 0.0154,
        "seed": "a seed for the reports of tests",
        "identity": "00000000-0000-4000-8000-000000000001",
        "made": MADE,
    }
    return plan(**(usual | more))


def runs_of(
    made: PlanResult, drive: float, *, spread: float = 0.0125, seed: int = 1, count: int | None = None
) -> dict[str, list[Any]]:
    """Make the runs of a plan on the virtual bench, as columns of a table."""
    bench = Bench(mean_time=159.7, drive_fraction=drive, spread=spread, watch=Watch(0.0, 0.1))
    times = simulate_times(bench, made.plan.signs, np.random.default_rng(seed))[:count]
    rows = len(times)
    return {
        "run": list(range(1, rows + 1)),
        "condition": list(made.plan.order[:rows]),
        "time [s]": [round(float(time), 1) for time in times],
    }


def result_of(kind: str) -> ComparisonResult:
    """Give a result of each kind."""
    usual, open_plan = sealed(), sealed(claimed=0.03, margin=None, blinding=2)
    document = usual.document()
    if kind == "unfair":
        return compare(runs_of(usual, 0.05), control="arc out")
    if kind == "open":
        return compare(runs_of(open_plan, 0.012, spread=0.02, seed=5), open_plan.document())
    if kind == "none":
        small = sealed(claimed=0.05, margin=None)
        return compare(runs_of(small, 0.0, seed=3), small.document())
    if kind == "left-out":
        runs = runs_of(usual, 0.0)
        runs["left_out"] = ["bumped by the cat" if slot == 5 else "" for slot in runs["run"]]
        return compare(runs, document)
    if kind == "linear":
        runs = runs_of(usual, -0.055)
        runs["power [W]"] = [time / 1000 for time in runs.pop("time [s]")]
        return compare(
            runs, control="arc out", orders="blocks-of-four", measure="power", scale="linear", less_is_more=True
        )
    made = {
        "adds": runs_of(usual, 0.055),
        "takes": runs_of(usual, -0.055),
        "within": runs_of(usual, 0.0, spread=0.005),
        "counts": runs_of(usual, 0.05, count=8),
        "broken": runs_of(usual, 0.05, count=12),
    }
    return compare(made[kind], document, break_seal=kind == "broken")


@pytest.fixture(scope="session")
def results() -> dict[str, ComparisonResult]:
    """Every kind of result."""
    return {kind: result_of(kind) for kind in KINDS}


@pytest.fixture(scope="session")
def pages(results: dict[str, ComparisonResult]) -> dict[str, str]:
    """Every kind of result as a report."""
    return {kind: result.report(made=MADE) for kind, result in results.items()}


@pytest.fixture(params=KINDS)
def kind(request: pytest.FixtureRequest) -> str:
    """One kind after the other."""
    return str(request.param)


@pytest.fixture
def result(kind: str, results: dict[str, ComparisonResult]) -> ComparisonResult:
    """The result of the kind."""
    return results[kind]


@pytest.fixture
def page(kind: str, pages: dict[str, str]) -> str:
    """The report of the kind."""
    return pages[kind]


@pytest.fixture(name="sealed")
def sealed_fixture() -> Callable[..., PlanResult]:
    """Give the function that seals a plan."""
    return sealed


@pytest.fixture(name="runs_of")
def runs_of_fixture() -> Callable[..., dict[str, list[Any]]]:
    """Give the function that makes the runs of a plan."""
    return runs_of
