"""What would find the drive at stake more often: more runs, calmer runs, a fair end, a sensor."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

# scipy.stats takes seconds to import; ndtr is its normal distribution
from scipy.special import ndtr

from truerun.trial.phrases import percent
from truerun.trial.plan import End, Plan
from truerun.trial.planning import chance_to_find
from truerun.trial.rules import HAND_ERROR, rules_of_plan
from truerun.virtual.bench import Bench, Watch

__all__ = ["Improvement", "at_stake", "improvements"]

_CALMER = 0.7
_MOST_RUNS = 60


@dataclass(frozen=True, slots=True)
class Improvement:
    """Something that would help, and how often the drive at stake would then be found."""

    words: str
    found: float


@dataclass(frozen=True, slots=True)
class _Case:
    """A plan on a bench, as far as the chance to find a drive depends on it; ``bound`` is that of a bump, in ln T."""

    runs: int
    spread: float
    reading: float
    reach: float
    bound: float


def at_stake(plan: Plan) -> float | None:
    """Give the claimed drive below 1, else the margin, else what the plan was made to find; None without any."""
    for size in (plan.claimed, plan.margin, plan.forecast.drive_fraction if plan.forecast else None):
        if size is not None and 0 < size < 1:
            return size
    return None


def improvements(plan: Plan, bench: Bench) -> tuple[Improvement, ...]:
    """Say what would find the drive at stake more often.

    Parameters
    ----------
    plan : Plan
        As sealed; it compares times.
    bench : Bench
        Spread, length of a run and watch. Its drifts are not reckoned with.

    Returns
    -------
    tuple of Improvement
        The plan as it is first; empty where no drive is at stake.

    Notes
    -----
    From the orders of the plan, see :mod:`truerun.stats.power`, with the reading error of the watch in the spread. A
    hand that knows the condition must be outdone by what it could make. A time to standstill must differ by more than
    the bump could make of it; that chance is taken from the normal distribution, and the smaller of the two holds.
    """
    size = at_stake(plan)
    if size is None:
        return ()
    as_is = _case(plan, bench)
    cases = [("the plan as it is", as_is)]
    more = plan.runs + max(4, plan.runs // 8 * 4)
    if more <= _MOST_RUNS:
        cases.append((f"{more // 2} + {more // 2} runs", replace(as_is, runs=more)))
    calmer = f"a spread of {percent(_CALMER * bench.spread)} instead of {percent(bench.spread)}"
    cases.append((calmer, replace(as_is, spread=_CALMER * bench.spread)))
    if plan.end is End.STANDSTILL:
        cases.append(("timed between two speeds, not to standstill", replace(as_is, bound=0.0)))
    if as_is.reach:
        cases.append(("timed by a sensor, not by hand", replace(as_is, reach=0.0, reading=0.0)))
    return tuple(Improvement(words, _chance(size, plan, case)) for words, case in cases)


def _case(plan: Plan, bench: Bench) -> _Case:
    """Describe the plan as it is."""
    return _Case(
        runs=plan.runs,
        spread=bench.spread,
        reading=_reading(bench.watch, bench.mean_time),
        reach=HAND_ERROR / bench.mean_time if rules_of_plan(plan).by_hand else 0.0,
        bound=_bump(plan),
    )


def _reading(watch: Watch, seconds: float) -> float:
    """Give the reading error as a spread of ln T."""
    return watch.reading_error / seconds


def _bump(plan: Plan) -> float:
    """Give by how much ln T must differ for more than the bump to be in it; infinite where nothing bounds that."""
    if plan.end is not End.STANDSTILL:
        return 0.0
    return math.inf if plan.hill_bound is None or plan.blinding.launch == "hand" else -math.log1p(-plan.hill_bound)


def _chance(size: float, plan: Plan, case: _Case) -> float:
    """Give the probability that a drive is found."""
    spread = max(math.hypot(case.spread, case.reading), 1e-12)
    alpha = rules_of_plan(plan).alpha
    found = chance_to_find(
        size, plan.orders, case.runs, adjust=plan.adjust, alpha=alpha, spread=spread, reach=case.reach
    )
    if not case.bound:
        return found
    beyond = float(ndtr((-math.log1p(-size) - case.bound) / (2 * spread / math.sqrt(case.runs))))
    return min(found, beyond)
