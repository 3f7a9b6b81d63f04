"""Rehearsing a plan on the virtual bench before the first run."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial, reduce
from operator import add
from typing import Any

from truerun.errors import ValueOutOfRange
from truerun.report.rehearsal_text import rehearsal_text
from truerun.trial.phrases import listed, percent
from truerun.trial.plan import Plan
from truerun.virtual.bench import HAND_WATCH, SENSOR_WATCH, Bench, Watch
from truerun.virtual.improvements import Improvement, at_stake, improvements
from truerun.virtual.noise import Autoregressive, Drift, LevelStep, Line, RandomWalk, SessionSteps, WarmUp
from truerun.virtual.rehearsal import Rehearsal, Truth, rehearse_part
from truerun.workflow.plan_files import read_plan
from truerun.workflow.planning import SPREAD_WITHOUT_TRIAL
from truerun.workflow.results import Result
from truerun.workflow.versions import versions
from truerun.workflow.workers import never, worked

__all__ = ["DRIFTS", "RehearsalResult", "rehearse"]

DRIFTS = ("line", "warm-up", "knock", "days", "wander", "memory")
"""Kinds of drift; what the size of each means stands at :func:`rehearse`."""

_PART = 25
_PART_BY_FILE = 2
"""Tests in one piece of work; the pieces fix the seeds, so the number of workers changes nothing."""

_MOST_TESTS = 100_000
_WARM_UP_RUNS = 3.0
_MEMORY = 0.7


@dataclass(frozen=True, slots=True, repr=False)
class RehearsalResult(Result):
    """A finished rehearsal that can show itself; ``asked`` is how many made-up tests it was to have."""

    plan: Plan
    rehearsals: tuple[Rehearsal, ...]
    improvements: tuple[Improvement, ...]
    asked: int
    settings: dict[str, Any]

    def __repr__(self) -> str:
        return f"<rehearsal: {self.tests} made-up tests>"

    @property
    def tests(self) -> int:
        """How many made-up tests were done; fewer than asked where somebody broke off."""
        return sum(each.tests for each in self.rehearsals)

    def summary(self) -> str:
        """Give the result as plain text."""
        return rehearsal_text(self.plan, self.rehearsals, [(each.words, each.found) for each in self.improvements])

    def document(self) -> dict[str, Any]:
        """Give the result as plain data, schema ``truerun/rehearsal/1``."""
        return {
            "schema": "truerun/rehearsal/1",
            "plan": self.plan.id,
            "complete": self.tests == self.asked,
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
            "versions": versions(),
            "settings": self.settings,
        }


def rehearse(
    plan: Any,
    *,
    drives: Sequence[float] | None = None,
    spread: float | None = None,
    run_seconds: float = 60.0,
    drifts: Sequence[tuple[str, float]] = (),
    tests: int = 1000,
    seed: int = 1,
    by_file: bool = False,
    workers: int = 1,
    progress: Callable[[int, int], None] | None = None,
    cancelled: Callable[[], bool] = never,
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
    drifts : sequence of (kind, size)
        How the bench drifts, as shares of a time: ``line`` in all from the first run to the last; ``warm-up`` in all,
        most of it in the first three runs; ``knock`` once, after half the runs; ``days`` from sitting to sitting, half
        the runs each where the plan has no break; ``wander`` from one run to the next; ``memory`` the spread of a
        disturbance of which each run keeps seven tenths.
    tests : int
        Made-up tests for each truth.
    seed : int
        The same seed gives the same counts, whatever the number of workers.
    by_file : bool
        Whether every run is made as a wheel, written to a file of passes, and read, counted and fitted again; this
        takes some seconds a test.
    workers : int
        Processes; 1 works in this one. A script of your own that asks for more must stand under
        ``if __name__ == "__main__":``.
    progress : callable, optional
        Called with the tests done and all tests.
    cancelled : callable
        Asked between pieces; once it gives True the rehearsal ends with what is done.

    Returns
    -------
    RehearsalResult
        Truths for which no test was done are left out; broken off, it does not say what would help.

    Raises
    ------
    ValueOutOfRange
        If a value lies outside its range, or the plan compares or adjusts for what the virtual bench cannot make.

    Examples
    --------
    >>> from truerun import plan, rehearse
    >>> sealed = plan(claim="It gains.", source="in", control="out", end="speed", margin=0.03)
    >>> rehearse(sealed.document(), tests=1)
    <rehearsal: 3 made-up tests>
    """
    sealed = read_plan(plan).plan
    _require_can_be_made(sealed)
    _require_counts(tests, seed, workers)
    planned = sealed.forecast.spread if sealed.forecast else SPREAD_WITHOUT_TRIAL
    scatter = spread if spread is not None else planned
    shapes = tuple(_drift(sealed, kind, size) for kind, size in drifts)
    bench = Bench(run_seconds, 0.0, scatter, drifts=shapes, watch=_watch(sealed))
    truths = [Truth(_in_words(drive), replace(bench, drive_fraction=drive)) for drive in _drives(sealed, drives)]
    part_size = _PART_BY_FILE if by_file else _PART
    pieces = [
        (sealed, truth, min(part_size, tests - start), (seed, number, start))
        for start in range(0, tests, part_size)
        for number, truth in enumerate(truths)
    ]
    parts: dict[int, Rehearsal] = {}
    for place, part in worked(partial(rehearse_part, by_file=by_file), pieces, workers=workers, cancelled=cancelled):
        parts[place] = part
        if progress is not None:
            progress(sum(each.tests for each in parts.values()), tests * len(truths))
    in_order = [[part for place, part in sorted(parts.items()) if part.truth == truth] for truth in truths]
    settings = {"drifts": [{"kind": kind, "size": size} for kind, size in drifts]}
    return RehearsalResult(
        sealed,
        tuple(reduce(add, each) for each in in_order if each),
        () if cancelled() else improvements(sealed, bench),
        tests * len(truths),
        settings | {"run_seconds": run_seconds, "tests": tests, "seed": seed, "by_file": by_file},
    )


def _require_can_be_made(plan: Plan) -> None:
    """Refuse a plan for which the virtual bench cannot make tables."""
    if plan.measurand.scale != "log" or plan.measurand.name != "time":
        raise ValueOutOfRange("What the plan compares", plan.measurand.name, "a time, to be rehearsed")
    others = [name for name in plan.adjust if name not in ("run-number", "session")]
    if others:
        raise ValueOutOfRange(
            "What the plan adjusts for", f'"{listed(others)}"', "the run number or the session, to be rehearsed"
        )


def _require_counts(tests: int, seed: int, workers: int) -> None:
    """Refuse counts that make no sense."""
    if not 1 <= tests <= _MOST_TESTS:
        raise ValueOutOfRange("The number of made-up tests", tests, f"1 to {_MOST_TESTS}")
    if seed < 0:
        raise ValueOutOfRange("The seed", seed, "0 or more")
    if workers < 1:
        raise ValueOutOfRange("The number of workers", workers, "1 or more")


def _drives(plan: Plan, drives: Sequence[float] | None) -> Sequence[float]:
    """Give the drives to try: as said, else nothing, what is at stake, and that as a brake."""
    if not drives:
        size = at_stake(plan)
        return (0.0,) if size is None else (0.0, size, -size)
    for drive in drives:
        if not drive < 1:
            raise ValueOutOfRange(
                "The drive to rehearse", f"{100 * drive:g} %", "below 100 %", "Such a wheel never slows down."
            )
    return list(dict.fromkeys(drives))


def _in_words(drive: float) -> str:
    """Describe a truth."""
    return "no difference" if drive == 0 else f"{'adds' if drive > 0 else 'takes'} {percent(abs(drive))}"


def _watch(plan: Plan) -> Watch:
    """Give the watch that the plan speaks of."""
    return HAND_WATCH if plan.blinding.timing == "hand" else SENSOR_WATCH


def _drift(plan: Plan, kind: str, size: float) -> Drift:
    """Give a shape of drift by its name."""
    half = plan.runs // 2
    shapes: dict[str, Drift] = {
        "line": Line(size),
        "warm-up": WarmUp(size, _WARM_UP_RUNS),
        "knock": LevelStep(size, half),
        "days": SessionSteps(size, plan.sessions.breaks_after[0] if plan.sessions.breaks_after else half),
        "wander": RandomWalk(size),
        "memory": Autoregressive(_MEMORY, size),
    }
    if kind not in shapes:
        raise ValueOutOfRange("The kind of drift", f'"{kind}"', f"one of {', '.join(DRIFTS)}")
    return shapes[kind]
