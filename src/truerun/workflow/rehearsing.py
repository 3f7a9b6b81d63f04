"""Rehearsing a plan on the virtual bench before the first run."""

from __future__ import annotations

import json
import multiprocessing
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from dataclasses import dataclass
from functools import reduce
from operator import add
from typing import Any

from truerun.errors import ValueOutOfRange
from truerun.report.rehearsal_text import rehearsal_text
from truerun.trial.phrases import percent
from truerun.trial.plan import Plan
from truerun.trial.planning import chance_to_find
from truerun.virtual.bench import HAND_WATCH, SENSOR_WATCH, Bench
from truerun.virtual.noise import Drift
from truerun.virtual.rehearsal import Rehearsal, Truth, rehearse_part
from truerun.workflow.plan_files import read_plan
from truerun.workflow.planning import SPREAD_WITHOUT_TRIAL

__all__ = ["Improvement", "RehearsalResult", "rehearse"]

_PART = 50
"""Tests in one piece of work; the pieces fix the seeds, so the number of workers changes nothing."""


@dataclass(frozen=True, slots=True)
class Improvement:
    """Something that would help, and how often the drive at stake would then be found."""

    words: str
    found: float


@dataclass(frozen=True, slots=True, repr=False)
class RehearsalResult:
    """A finished rehearsal that can show itself."""

    plan: Plan
    rehearsals: tuple[Rehearsal, ...]
    improvements: tuple[Improvement, ...]

    def __repr__(self) -> str:
        return f"<rehearsal: {sum(each.tests for each in self.rehearsals)} made-up tests>"

    def summary(self) -> str:
        """Give the result as plain text."""
        return rehearsal_text(self.plan, self.rehearsals, [(each.words, each.found) for each in self.improvements])

    def document(self) -> dict[str, Any]:
        """Give the result as plain data, schema ``truerun/rehearsal/1``."""
        return {
            "schema": "truerun/rehearsal/1",
            "plan": self.plan.id,
            "truths": [
                {
                    "words": each.truth.words,
                    "drive_fraction": each.truth.bench.drive_fraction,
                    "spread": each.truth.bench.spread,
                    "tests": each.tests,
                    "verdicts": each.verdicts,
                    "wheel_seconds": each.seconds,
                }
                for each in self.rehearsals
            ],
            "improvements": [{"words": each.words, "found": each.found} for each in self.improvements],
        }

    def json(self) -> str:
        """Give the result as JSON text."""
        return json.dumps(self.document(), ensure_ascii=False, indent=2, allow_nan=False)


def _never() -> bool:
    """Nobody cancels."""
    return False


def rehearse(
    plan: Any,
    *,
    drives: Sequence[float] | None = None,
    spread: float | None = None,
    run_seconds: float = 60.0,
    drifts: tuple[Drift, ...] = (),
    tests: int = 1000,
    seed: int = 1,
    workers: int = 2,
    progress: Callable[[int, int], None] | None = None,
    cancelled: Callable[[], bool] = _never,
) -> RehearsalResult:
    """Try a plan on the virtual bench: how often each verdict comes, and what would help more.

    Parameters
    ----------
    plan : path, mapping or SealedPlan
        The sealed plan.
    drives : sequence of float, optional
        Drive fractions that are true on the virtual bench; None: nothing, what is at stake, and the same as a brake.
    spread : float, optional
        Run-to-run standard deviation of ln T; None: what the plan reckons with.
    run_seconds : float
        How long a run takes with the control [s].
    drifts : tuple of Drift
        How the bench drifts.
    tests : int
        Made-up tests for each truth.
    seed : int
        The same seed gives the same counts, whatever the number of workers.
    workers : int
        Processes; 0 works in this one.
    progress : callable, optional
        Called with the tests done and all tests.
    cancelled : callable
        Asked between pieces; True ends the rehearsal with what is done.

    Returns
    -------
    RehearsalResult
        Truths for which no test was done are left out.

    Raises
    ------
    ValueOutOfRange
        If the plan compares something other than a time, which the virtual bench cannot make.
    """
    sealed = read_plan(plan).plan
    if sealed.measurand.scale != "log" or sealed.measurand.name != "time":
        raise ValueOutOfRange("What the plan compares", sealed.measurand.name, "a time, to be rehearsed")
    planned = sealed.forecast.spread if sealed.forecast else SPREAD_WITHOUT_TRIAL
    scatter = spread if spread is not None else planned
    truths = [_truth(sealed, drive, scatter, run_seconds, drifts) for drive in _drives(sealed, drives)]
    pieces = [
        (sealed, truth, min(_PART, tests - start), (seed, number, start))
        for start in range(0, tests, _PART)
        for number, truth in enumerate(truths)
    ]
    done: dict[str, list[Rehearsal]] = {truth.words: [] for truth in truths}
    finished = 0
    for part in _worked(pieces, workers, cancelled):
        done[part.truth.words].append(part)
        finished += part.tests
        if progress is not None:
            progress(finished, tests * len(truths))
    rehearsals = tuple(reduce(add, parts) for parts in done.values() if parts)
    return RehearsalResult(sealed, rehearsals, _improvements(sealed, scatter))


def _drives(plan: Plan, drives: Sequence[float] | None) -> Sequence[float]:
    """Give the drives to try: as said, else nothing, what is at stake, and that as a brake."""
    if drives is not None:
        return list(dict.fromkeys(drives))
    size = _at_stake(plan)
    return (0.0,) if size is None else (0.0, size, -size)


def _at_stake(plan: Plan) -> float | None:
    """Give the claimed drive below 1, else the margin, else what the plan was made to find."""
    for size in (plan.claimed, plan.margin, plan.forecast.drive_fraction if plan.forecast else None):
        if size is not None and 0 < size < 1:
            return size
    return None


def _truth(plan: Plan, drive: float, spread: float, run_seconds: float, drifts: tuple[Drift, ...]) -> Truth:
    """Describe a truth."""
    if drive >= 1:
        raise ValueOutOfRange("The drive to rehearse", percent(drive), "below 100 %", "Such a wheel never slows down.")
    words = "no difference" if drive == 0 else f"{'adds' if drive > 0 else 'takes'} {percent(abs(drive))}"
    watch = HAND_WATCH if plan.blinding.timing == "hand" else SENSOR_WATCH
    return Truth(words, Bench(run_seconds, drive, spread, drifts=drifts, watch=watch))


def _worked(
    pieces: Sequence[tuple[Plan, Truth, int, tuple[int, ...]]], workers: int, cancelled: Callable[[], bool]
) -> Iterator[Rehearsal]:
    """Do the pieces, in this process or in several."""
    if workers == 0:
        for piece in pieces:
            if cancelled():
                return
            yield rehearse_part(*piece)
        return
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(workers, mp_context=context, initializer=_leave_interrupts_to_the_parent) as pool:
        waiting: set[Future[Rehearsal]] = {pool.submit(rehearse_part, *piece) for piece in pieces}
        try:
            while waiting and not cancelled():
                ready, waiting = wait(waiting, timeout=0.5, return_when=FIRST_COMPLETED)
                for future in ready:
                    yield future.result()
        finally:
            pool.shutdown(wait=False, cancel_futures=True)


def _leave_interrupts_to_the_parent() -> None:
    """Let Ctrl-C end the parent, which then ends its workers in order."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _improvements(plan: Plan, spread: float) -> tuple[Improvement, ...]:
    """Say what would find the drive at stake more often."""
    size = _at_stake(plan)
    if size is None:
        return ()

    def found(runs: int, scatter: float) -> float:
        return chance_to_find(size, plan.orders, runs, adjust=plan.adjust, alpha=plan.alpha, spread=scatter)

    offers = [Improvement("the plan as it is", found(plan.runs, spread))]
    more = plan.runs + max(4, plan.runs // 2 // 4 * 4)
    if more <= 60:
        offers.append(Improvement(f"{more // 2} + {more // 2} runs", found(more, spread)))
    calmer = f"a spread of {percent(0.7 * spread)} instead of {percent(spread)}"
    return (*offers, Improvement(calmer, found(plan.runs, 0.7 * spread)))
