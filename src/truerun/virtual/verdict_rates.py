"""How often the verdict that a person reads is wrong, where the truth is known: whole sealed tests, sheet to verdict.

The rates of the bare list stand in :mod:`truerun.virtual.error_rates`; here every sheet goes through
:func:`truerun.trial.comparison.compare_runs` with a plan whose order was drawn from a seed, as a user would have it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

# not scipy.stats: that import takes seconds; fdtr is Fisher's distribution
from scipy.special import fdtr

from truerun.motion.capture import CaptureWheel, Ending, capture_speed, time_to_end, turning_time
from truerun.stats.orders import attained_level, orders_for
from truerun.stats.power import detectable_effect, power_of
from truerun.trial.comparison import Comparison, compare_runs
from truerun.trial.plan import End, Plan
from truerun.trial.rules import Rules
from truerun.trial.verdict import Verdict
from truerun.virtual.bench import Bench
from truerun.virtual.calibration import Calibration, Recipe, share_at_most, share_below, share_near
from truerun.virtual.error_rates import ALPHA, BENCHES, SPREAD
from truerun.virtual.made_tests import NAMES, MadeTest, differs, drawn_plans, made_plan, made_tests, raised
from truerun.virtual.noise import WarmUp, standard_normal

__all__ = ["RECIPES", "collected"]

Array = NDArray[np.float64]
Question = Callable[[Comparison], bool]

_LAUNCH = 10.0
_DRY = 0.005
_HILL = 0.01 * _LAUNCH**2 / 2
_LAWS = ((0.0, 0.0), (3.0, 0.0), (10.0, 0.0), (0.0, 10.0), (0.0, 30.0))  # viscous, quadratic at launch, dry 1
_WORST_SHARE = 0.36
_STOPS = {Ending.FIRST_TURN_BACK: "turns-back", Ending.FINAL_REST: "lies-still"}


def collected(happened: Iterable[bool]) -> NDArray[np.bool_]:
    """Collect what happened in each test."""
    return np.fromiter(happened, dtype=np.bool_)


def asked(plan: Plan, bench: Bench, what: Question, repetitions: int, rng: np.random.Generator) -> NDArray[np.bool_]:
    """Ask the results of many tests of a plan one question."""
    return collected(what(test.said()) for test in made_tests(plan, bench, repetitions, rng))


def false_alarms(kind: str, runs: int, name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure how often a source that does nothing "adds energy" or "takes energy"."""
    happened = asked(made_plan(runs), BENCHES[kind], differs, repetitions, rng)
    sentence = f'A source that does nothing "adds" or "takes" energy: {runs // 2} runs of each, {kind}.'
    return share_near(name, sentence, happened, attained_level(orders_for("blocks-of-four", runs).count, ALPHA))


def printed_interval(kind: str, runs: int, name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure how often the interval that is printed holds a true drive of 5 %."""
    bench = replace(BENCHES[kind], drive_fraction=0.05, mean_time=600.0)
    happened = asked(made_plan(runs), bench, partial(_holds, 0.05), repetitions, rng)
    attained = 1 - attained_level(orders_for("blocks-of-four", runs).count, ALPHA)
    sentence = f"The 95 % span that is printed holds the true drive of 5 %: {runs // 2} runs of each, {kind}."
    return share_near(name, sentence, happened, attained)


def _holds(truth: float, result: Comparison) -> bool:
    """Tell whether the printed interval holds the truth."""
    found = result.document()["drive_fraction"]
    return bool(found["low"] <= truth <= found["high"])


def found_as_forecast(
    verdict: Verdict, runs: int, name: str, repetitions: int, rng: np.random.Generator
) -> Calibration:
    """Measure how often a drive, or a brake, of the size that is found in 80 % is found, less the forecast."""
    effect = detectable_effect(0.8, "blocks-of-four", runs, "run-number", ALPHA)
    kind, word, sign = ("drive", "adds", 1) if verdict is Verdict.ADDS else ("brake", "takes", -1)
    bench = Bench(mean_time=600.0, drive_fraction=-float(np.expm1(-sign * effect * SPREAD)), spread=SPREAD)
    happened = asked(made_plan(runs), bench, lambda result: result.verdict is verdict, repetitions, rng)
    forecast = power_of(effect, "blocks-of-four", runs, "run-number", ALPHA)
    sentence = (
        f'A real {kind} of {effect:.2f} spreads "{word} energy", less the forecast ({forecast:.3f}): '
        f"{runs // 2} runs of each."
    )
    allowed = max(0.01, 3.29 * (0.16 / repetitions) ** 0.5)
    return Calibration(name, sentence, repetitions, float(happened.mean()) - forecast, -allowed, allowed)


def runs_by_itself(name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure how often a wheel that runs by itself is found, where each run is broken off after five minutes."""
    bench = Bench(drive_fraction=1.2, spread=SPREAD, time_limit=300.0)
    happened = collected(
        test.said_broken_off(300.0).verdict is Verdict.ADDS for test in made_tests(made_plan(), bench, repetitions, rng)
    )
    sentence = 'A wheel that runs by itself, each run broken off after 300 s, "adds energy": 8 runs of each.'
    return Calibration(name, sentence, repetitions, float(happened.mean()), 0.99, 1.0)


def turned_round(name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Count the tests whose verdict does not turn round where every long time becomes a short one.

    Some places were set up wrongly and some runs were stopped after their time had been seen.
    """
    exceptions = 0
    turned = {Verdict.ADDS: Verdict.TAKES, Verdict.TAKES: Verdict.ADDS}
    for test in made_tests(made_plan(), Bench(drive_fraction=0.03, spread=SPREAD), repetitions, rng):
        sheets = (test, MadeTest(test.plan, 3600 / test.times))
        set_up = np.where(rng.random(16) < 1 / 16, -test.signs, test.signs).astype(np.int8)
        stopped = [{"left_out": "string caught", "seen": True} if wrong else {} for wrong in rng.random(16) < 1 / 32]
        tables = (replace(sheet.table(stopped, set_up), resolution=None) for sheet in sheets)
        there, back = (test.said_of(table).verdict for table in tables)
        exceptions += there is None or back is not turned.get(there, there)
    sentence = 'Tests whose "adds" does not become "takes", or the other way, where every T is made 3600 s² / T.'
    return Calibration(name, sentence, repetitions, exceptions, 0, 0)


def scatters_more(name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure the false alarms where the source makes runs scatter three times as much."""
    happened = asked(made_plan(12), Bench(spread=SPREAD, spread_ratio=3.0), differs, repetitions, rng)
    sentence = 'A source that only makes runs scatter three times as much "adds" or "takes" energy: 6 runs of each.'
    return share_below(name, sentence, happened, 0.075)


def scatter_noticed(ratio: float, name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure how often the result says that the conditions scatter differently; the rate is Fisher's."""
    bench = Bench(mean_time=600.0, spread=SPREAD, spread_ratio=ratio)
    happened = asked(made_plan(12), bench, partial(raised, "spread-differs"), repetitions, rng)
    more, less = 1 - fdtr(5, 5, 4 / ratio**2), fdtr(5, 5, 1 / (4 * ratio**2))  # sample spreads more than 2 times apart
    truth = "both scatter alike" if ratio == 1 else f"it does so {ratio:g} times"
    sentence = f"The result says that one condition scatters more, where {truth}: 6 runs of each."
    return share_near(name, sentence, happened, float(more + less))


def unfinished_half(name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure the false alarms where half the runs are broken off at a common limit."""
    bench = Bench(spread=SPREAD, time_limit=60.0)
    happened = collected(
        differs(test.said_broken_off(60.0)) for test in made_tests(made_plan(), bench, repetitions, rng)
    )
    sentence = 'A source that does nothing "adds" or "takes" energy, half of all runs unfinished: 8 runs of each.'
    return share_at_most(name, sentence, happened, ALPHA)


def at_the_margin(drive: float, name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure how often an effect exactly as large as the margin is called smaller than it, in whatever words."""
    bench = Bench(mean_time=600.0, drive_fraction=drive, spread=0.015)
    happened = asked(made_plan(margin=abs(drive)), bench, _called_small, repetitions, rng)
    sentence = f"An effect of {100 * drive:+g} % is called smaller than a margin of just as much: 8 runs of each."
    return share_at_most(name, sentence, happened, ALPHA)


def _called_small(result: Comparison) -> bool:
    """Tell whether a result calls the effect smaller than the margin: by its verdict, or as "a little"."""
    return result.verdict is Verdict.WITHIN_MARGIN or "a little" in result.headline


def _wheel(law: tuple[float, float], hill: float) -> CaptureWheel:
    """Make a wheel launched at 10 rad/s; the law gives viscous and quadratic drag at launch, dry drag being 1."""
    return CaptureWheel(_DRY, law[0] * _DRY / _LAUNCH, law[1] * _DRY / _LAUNCH**2, hill)


def _bump_tests(
    plan: Plan, seconds: tuple[Array, Array], spread: float, rng: np.random.Generator
) -> Iterable[MadeTest]:
    """Make tests whose true times with the bump and without are given, shape (repetitions, 1 or runs) [s]."""
    plans = drawn_plans(plan, len(seconds[0]), rng)
    signs = np.array([each.signs for each in plans])
    times = np.where(signs > 0, *seconds) * np.exp(spread * standard_normal(rng, signs.shape))
    return (MadeTest(each, row) for each, row in zip(plans, times.round(2), strict=True))


def bump_to_standstill(
    ending: Ending, bound: float | None, name: str, repetitions: int, rng: np.random.Generator
) -> Calibration:
    """Measure how often a lossless bump timed to standstill is refused as a test."""
    speeds = _LAUNCH * np.exp(0.01 * standard_normal(rng, (repetitions, 16)))
    laws = np.arange(repetitions) % len(_LAWS)
    seconds = tuple(
        np.array([time_to_end(_wheel(_LAWS[law], hill), row, ending) for law, row in zip(laws, speeds, strict=True)])
        for hill in (_HILL, 0.0)
    )
    plan = made_plan(end=End.STANDSTILL, stop=_STOPS[ending], window=None, hill_bound=bound)
    tests = _bump_tests(plan, (seconds[0], seconds[1]), SPREAD, rng)
    happened = collected(test.said().verdict is Verdict.NOT_FAIR for test in tests)
    known = "nobody knows how large" if bound is None else f"known to change a time by {100 * bound:g} % at most"
    sentence = (
        f"A bump without any loss, 1 % of the launch energy, {known}, five kinds of drag, timed to its {ending.value}: "
        '"not a fair test".'
    )
    return Calibration(name, sentence, repetitions, float(happened.mean()), 0.99, 1.0)


def bump_in_fair_window(name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure the false alarms of the same bumps timed down to three capture speeds, on a calm bench."""
    laws = np.arange(repetitions) % len(_LAWS)
    end = 3 * capture_speed(_wheel(_LAWS[0], _HILL))
    lasts = [[float(turning_time(_wheel(law, hill), 9.0, end)) for law in _LAWS] for hill in (_HILL, 0.0)]
    seconds = tuple(np.array(each)[laws][:, None] for each in lasts)
    tests = _bump_tests(made_plan(), (seconds[0], seconds[1]), 0.005, rng)
    happened = collected(differs(test.said()) for test in tests)
    sentence = (
        "The same bumps timed from 9 rad/s down to three capture speeds, spread .5 %: "
        '"adds" or "takes" energy, 8 runs of each.'
    )
    return share_at_most(name, sentence, happened, ALPHA)


def not_drawn(orders: str | None, name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure how often all control runs first and all source runs after, while a bearing runs in, is refused."""
    bench = Bench(spread=SPREAD, drifts=(WarmUp(10 * SPREAD, 3.0),))
    halves = np.repeat(np.array([-1, 1], dtype=np.int8), 8)
    rules = Rules(NAMES, end=End.SPEED, orders=orders, adjust=("run-number",) if orders else ())
    tests = made_tests(made_plan(16, "complete"), bench, repetitions, rng)
    happened = collected(compare_runs(test.table(set_up=halves), rules).verdict is Verdict.NOT_FAIR for test in tests)
    claim = "nothing is said about the order" if orders is None else "the order is said to be drawn in blocks of four"
    sentence = f'All control runs first, on a wheel that runs in, and {claim}: "not a fair test".'
    return Calibration(name, sentence, repetitions, float(happened.mean()), 0.99, 1.0)


_KINDS = (
    ("white noise", 6),
    ("AR .8", 6),
    ("a level step of 5 spreads", 6),
    ("a line of 6 spreads", 8),
    ("a warm-up of 10 spreads", 8),
    ("a random walk", 8),
)
_FOUND = {Verdict.ADDS: "drive", Verdict.TAKES: "brake"}

RECIPES = (
    *(
        Recipe(f"verdict: nothing there, {each}+{each}, {kind}", partial(false_alarms, kind, 2 * each), 3_000, 25)
        for kind, each in _KINDS
    ),
    *(
        Recipe(f"verdict: printed span, {each}+{each}, {kind}", partial(printed_interval, kind, 2 * each), 3_000, 25)
        for kind, each in (_KINDS[1], _KINDS[4])
    ),
    *(
        Recipe(f"verdict: {word} found, {each}+{each}", partial(found_as_forecast, verdict, 2 * each), 5_000, 25)
        for each in (6, 8)
        for verdict, word in _FOUND.items()
    ),
    Recipe("verdict: runs by itself", runs_by_itself, 1_000, 20),
    Recipe("verdict: times turned round", turned_round, 2_000, 15),
    Recipe("verdict: scatter three times", scatters_more, 3_000, 25),
    *(
        Recipe(f"verdict: scatter {ratio:g} to 1 noticed", partial(scatter_noticed, ratio), 3_000, 25)
        for ratio in (1.0, 3.0)
    ),
    Recipe("verdict: half the runs unfinished", unfinished_half, 3_000, 25),
    *(
        Recipe(f"verdict: effect at the margin, {100 * drive:+g} %", partial(at_the_margin, drive), 3_000, 25)
        for drive in (0.03, -0.03)
    ),
    *(
        Recipe(f"verdict: bump to {ending.value}, {word}", partial(bump_to_standstill, ending, bound), 1_000, 15)
        for ending in Ending
        for bound, word in ((None, "size unknown"), (_WORST_SHARE, "size bounded"))
    ),
    Recipe("verdict: bump, window above capture", bump_in_fair_window, 3_000, 25),
    *(
        Recipe(f"verdict: order not drawn, {word}", partial(not_drawn, orders), 1_000, 20)
        for orders, word in ((None, "nothing said"), ("blocks-of-four", "said to be drawn"))
    ),
)
"""Every calibration of the verdict itself."""
