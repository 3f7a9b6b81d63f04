"""How often people's habits lead to a wrong verdict: leaning hands, slips, spoilt runs, guesses, peeking, picking.

Every sheet goes through :func:`truerun.trial.comparison.compare_runs` with a plan whose order was drawn from a seed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from truerun.series import Run, RunTable
from truerun.stats.orders import attained_level, orders_for
from truerun.stats.rounds import sample_rounds
from truerun.trial.comparison import Comparison
from truerun.trial.guessing import COLUMN
from truerun.trial.plan import End, Stopping
from truerun.trial.pooled import OneOfSeveral, pool_effects
from truerun.trial.rounds import drawn_settings
from truerun.trial.screening import ScreeningPlan, screen_runs, screening_figures
from truerun.trial.verdict import Verdict
from truerun.virtual.bench import Bench
from truerun.virtual.calibration import Calibration, Recipe, share_at_most, share_below, share_near
from truerun.virtual.error_rates import ALPHA, SPREAD, draw_orders
from truerun.virtual.made_tests import BY_HAND, NAMES, MadeTest, differs, drawn_plans, made_plan, made_tests, raised
from truerun.virtual.noise import Autoregressive, standard_normal
from truerun.virtual.people import first_look_below, guess_by_chance, lean_towards, leave_out_bad, set_up_with_slips
from truerun.virtual.stopping_rates import welch_after_each_run
from truerun.virtual.verdict_rates import collected

__all__ = ["RECIPES"]

Array = NDArray[np.float64]

_ATTAINED = attained_level(orders_for("blocks-of-four", 16).count, ALPHA)
_QUIET = Bench(spread=SPREAD)
_RUNS = 16
_ONE_IN = 1 / 16
_FIRST_LOOK = 6
_VARIANTS = 24


def hand_bias(verdict: Verdict, name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure how often a bias by hand of .1 s is called a drive, or a brake."""
    seconds, word = (0.1, "adds") if verdict is Verdict.ADDS else (-0.1, "takes")
    tests = made_tests(made_plan(blinding=BY_HAND), Bench(mean_time=30.0, spread=0.003), repetitions, rng)
    leaning = (MadeTest(test.plan, lean_towards(test.times, test.signs, seconds)) for test in tests)
    happened = collected(test.said().verdict is verdict for test in leaning)
    sentence = f'A hand that knows leans by {seconds:+.1f} s in 30 s: "{word} energy", 8 runs of each, spread .3 %.'
    return share_below(name, sentence, happened, ALPHA)


def wrong_unnoticed(test: MadeTest, rng: np.random.Generator) -> RunTable:
    """Set up one in sixteen wrongly, in a hurry that costs 5 % of the time, and notice nothing."""
    hurried = set_up_with_slips(test.signs, rng, _ONE_IN) != test.signs
    return MadeTest(test.plan, np.where(hurried, 0.95, 1.0) * test.times).table()


def wrong_noticed(test: MadeTest, rng: np.random.Generator) -> RunTable:
    """Set up one in sixteen wrongly, and write down what stood there."""
    return test.table(set_up=set_up_with_slips(test.signs, rng, _ONE_IN))


def spoilt_unseen(test: MadeTest, rng: np.random.Generator) -> RunTable:
    """Spoil one run in sixteen before its time is seen, and repeat it."""
    return _spoilt(test, rng.random(_RUNS) < _ONE_IN, seen=False)


def spoilt_seen(test: MadeTest, rng: np.random.Generator) -> RunTable:
    """Spoil one run in sixteen after its time is seen, and repeat it all the same."""
    return _spoilt(test, rng.random(_RUNS) < _ONE_IN, seen=True)


def spoilt_on_purpose(test: MadeTest, rng: np.random.Generator) -> RunTable:
    """Say of the two runs that speak most against the source that they went wrong, and repeat them with new luck."""
    against = np.isnan(leave_out_bad(test.times[None], test.signs[None], runs=2)[0])
    again = MadeTest(test.plan, test.times.mean() * np.exp(SPREAD * standard_normal(rng, (_RUNS,))))
    return _spoilt(MadeTest(test.plan, np.where(against, again.times, test.times)), against, seen=True)


def left_out(test: MadeTest, rng: np.random.Generator) -> RunTable:
    """Leave out one run in sixteen before its time is seen, for good."""
    fields = {"left_out": "a door was opened", "seen": False, "value": None}
    return test.table([fields if gone else {} for gone in rng.random(_RUNS) < _ONE_IN])


def _spoilt(test: MadeTest, wrong: NDArray[np.bool_], *, seen: bool) -> RunTable:
    """Fill in a sheet on which some runs have two attempts."""
    fields: dict[str, Any] = {"left_out": "string caught", "seen": seen} | ({} if seen else {"value": None})
    first, last = test.table([fields] * _RUNS), test.table([{"attempt": 2} if each else {} for each in wrong])
    pairs = zip(first.runs, last.runs, wrong, strict=True)
    runs = [run for before, after, each in pairs for run in ((before, after) if each else (after,))]
    return replace(last, runs=tuple(runs))


@dataclass(frozen=True, slots=True)
class Mishap:
    """Something that happens to a sheet: a short name, what it is, and how it fills the sheet.

    ``exact`` tells whether false alarms keep the rate that the list attains; else they only stay below 5 %.
    """

    title: str
    what: str
    fill: Callable[[MadeTest, np.random.Generator], RunTable]
    exact: bool = True


_MISHAPS = (
    Mishap("wrong set-up, unnoticed", "One set-up in sixteen is wrong, 5 % short, unnoticed", wrong_unnoticed),
    Mishap("wrong set-up, noticed", "One set-up in sixteen is wrong, and the sheet says so", wrong_noticed),
    Mishap("spoilt unseen", "One run in sixteen goes wrong before its time is seen: repeated", spoilt_unseen),
    Mishap("spoilt after seen", "One run in sixteen goes wrong after its time is seen", spoilt_seen, exact=False),
    Mishap("spoilt on purpose", 'The two runs most against the source "went wrong"', spoilt_on_purpose, exact=False),
    Mishap("left out unseen", "One run in sixteen is left out before its time is seen", left_out, exact=False),
)


def mishap(kind: Mishap, name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure the false alarms where something happens to the sheet."""
    tests = made_tests(made_plan(), _QUIET, repetitions, rng)
    happened = collected(differs(test.said_of(kind.fill(test, rng))) for test in tests)
    sentence = f'{kind.what}; a source that does nothing "adds" or "takes" energy, 8 runs of each.'
    if kind.exact:
        return share_near(name, sentence, happened, _ATTAINED)
    return share_at_most(name, sentence, happened, ALPHA)


def guesses(name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure how often somebody who only guesses is said to know the condition."""
    happened = collected(
        raised("guessed-too-well", test.said_of(test.table(_guessed(guess_by_chance(test.signs, rng)))))
        for test in made_tests(made_plan(12), _QUIET, repetitions, rng)
    )
    sentence = "Of somebody who only guesses it is said that the guesses were too good for luck: 6 runs of each."
    return share_at_most(name, sentence, happened, ALPHA)


def _guessed(signs: NDArray[np.int8]) -> list[dict[str, Any]]:
    """Give the guesses as a column of the sheet."""
    return [{"extra": {COLUMN: NAMES.source if sign > 0 else NAMES.control}} for sign in signs]


def _so_far(test: MadeTest, runs: int, *, seal_broken: bool = False) -> Comparison:
    """Give what truerun says after the first runs."""
    table = test.table()
    return test.said_of(replace(table, runs=table.runs[:runs]), seal_broken=seal_broken)


def half_filled(name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Count the half-filled sealed sheets of which any figure that tells the conditions apart is shown."""
    shown = 0
    for test in made_tests(made_plan(), Bench(drive_fraction=0.2, spread=SPREAD), repetitions, rng):
        result = _so_far(test, 1 + int(15 * rng.random()))
        document = result.document()
        figures = ("verdict", "p", "evidence", "evidence_steps", "drive_fraction", "limits", "severity", "spread")
        told = any(document[key] is not None for key in figures) or bool(document["second_opinions"])
        shown += told or "%" in result.headline + result.sentence
    sentence = "Half-filled sheets of a drive of 20 % for which more than counts is shown: 1 to 15 of 16 runs."
    return Calibration(name, sentence, repetitions, shown, 0, 0)


def peeker(name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure the false alarms of somebody who stops at the first p <= .05 of a plain t test and asks truerun then."""
    tests = list(made_tests(made_plan(), _QUIET, repetitions, rng))
    values, signs = np.log([test.times for test in tests]), np.array([test.signs for test in tests])
    looks = first_look_below(welch_after_each_run(values, signs), ALPHA)
    happened = collected(
        differs(_so_far(test, _FIRST_LOOK + look if look >= 0 else _RUNS, seal_broken=look >= 0))
        for test, look in zip(tests, looks.tolist(), strict=True)
    )
    sentence = (
        "Somebody stops at the first p <= .05 of a plain t test of his own "
        f'({100 * (looks >= 0).mean():.0f} % do) and breaks the seal: truerun says "adds" or "takes" energy.'
    )
    return share_below(name, sentence, happened, ALPHA)


def bet_reaches_twenty(name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure how often the running bet decides, or stands at 20, for somebody who breaks the seal at each block."""
    happened = collected(
        any(_bet_decides(_so_far(test, runs, seal_broken=True)) for runs in (12, 16, 20, 24))
        for test in made_tests(made_plan(24), _QUIET, repetitions, rng)
    )
    sentence = "Nothing there, yet the running bet stands at 20 or decides after some block within 24 runs."
    return share_below(name, sentence, happened, ALPHA)


def _bet_decides(result: Comparison) -> bool:
    """Tell whether the bet stands at 20, or the verdict rests on it."""
    document = result.document()
    return bool(document["evidence"] >= 1 / ALPHA) or (result.withdrawn and differs(result))


def two_stages(name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure the false alarms with a planned look after half the runs."""
    plan = made_plan(24, stopping=Stopping(look_after=12))
    happened = collected(
        differs(_so_far(test, 12)) or differs(_so_far(test, 24)) for test in made_tests(plan, _QUIET, repetitions, rng)
    )
    sentence = 'A source that does nothing "adds" or "takes" energy, at the planned look after 12 runs or after 24.'
    return share_at_most(name, sentence, happened, ALPHA)


def variants_then_fresh(name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure how often the best of 24 equal variants "adds energy" in a fresh sealed test; the noise remembers."""
    runs = 2 * _VARIANTS
    noise = Autoregressive(0.8, SPREAD).draw(rng, repetitions, runs + _RUNS)
    noise += SPREAD * standard_normal(rng, noise.shape)
    drawn = sample_rounds("screenings before a fresh sealed test", _VARIANTS, 2, 100)
    looked_better = [
        screening_figures(row[:runs], drawn[number], 2, drawn).means.max()
        for row, number in zip(noise, draw_orders(rng, len(drawn), repetitions), strict=True)
    ]
    tests = map(MadeTest, drawn_plans(made_plan(), repetitions, rng), (60 * np.exp(noise[:, runs:])).round(2))
    happened = collected(test.said().verdict is Verdict.ADDS for test in tests)
    sentence = (
        f"The best of 24 equal variants ({100 * np.mean(looked_better):.1f} % longer by luck, two runs each) "
        '"adds energy" in a fresh sealed test of 8 runs of each.'
    )
    return share_at_most(name, sentence, happened, ALPHA / 2)


def candidate_by_luck(name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure how often a sealed screening of equal variants names a candidate."""
    variants = ("one", "two", "three", "four")
    happened = np.zeros(repetitions, dtype=np.bool_)
    for place in range(repetitions):
        seed = rng.bytes(16).hex()
        order = drawn_settings(seed, variants, 3)
        plan = ScreeningPlan(
            id="made-up",
            variants=variants,
            repeats=3,
            end=End.SPEED,
            seed=seed,
            order=order,
            made="2026-01-01T00:00:00Z",
        )
        times = 60 * np.exp(SPREAD * standard_normal(rng, (len(order),)) + np.linspace(0, 3 * SPREAD, len(order)))
        runs = (Run(slot, each, float(time)) for slot, (each, time) in enumerate(zip(order, times, strict=True), 1))
        happened[place] = screen_runs(RunTable(tuple(runs)), plan).candidate is not None
    sentence = "A sealed screening of four equal variants, three runs each, names a candidate; 20 % are allowed; drift."
    return share_at_most(name, sentence, happened, 0.2)


def _screening(variants: tuple[str, ...], seed: str, order: tuple[str, ...]) -> ScreeningPlan:
    """Seal a screening of three runs of each variant."""
    made = "2026-01-01T00:00:00Z"
    return ScreeningPlan(id="made-up", variants=variants, repeats=3, end=End.SPEED, seed=seed, order=order, made=made)


def pooled_span(count: int, spread: float, name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure how often the span of several sealed tests together holds a truth of 0; precision ratio 5."""
    benches = np.geomspace(1 / np.sqrt(5), np.sqrt(5), count) * SPREAD
    true = spread * SPREAD / 2 * standard_normal(rng, (count, repetitions))  # SPREAD / 2: error from 8 runs of each
    opinions = np.empty((count, repetitions, 2))
    for place, bench in enumerate(benches):
        tests = made_tests(made_plan(), Bench(mean_time=600.0, spread=float(bench)), repetitions, rng)
        for number, test in enumerate(tests):
            factor = np.where(test.signs > 0, np.exp(true[place, number]), 1.0)
            result = MadeTest(test.plan, test.times * factor).said()
            opinions[place, number] = OneOfSeveral("", result, None, None).opinion
    spans = (pool_effects(each[:, 0], each[:, 1] ** 2).mean for each in opinions.swapaxes(0, 1))
    happened = collected(span.low <= 0 <= span.high for span in spans)
    sentence = f"The span of {count} sealed tests together holds the truth; spread {spread:g} s.e., precision ratio 5."
    return Calibration(name, sentence, repetitions, float(happened.mean()), _least(0.92, repetitions), 1.0)


def _least(promise: float, repetitions: int) -> float:
    """Give the lowest share that luck lets a kept promise fall to."""
    return 1 - share_at_most("", "", np.zeros(repetitions, dtype=np.bool_), 1 - promise).high


RECIPES = (
    *(
        Recipe(f"verdict: hand leans to a {word}", partial(hand_bias, verdict), 3_000, 25)
        for verdict, word in ((Verdict.ADDS, "drive"), (Verdict.TAKES, "brake"))
    ),
    *(Recipe(f"verdict: {kind.title}", partial(mishap, kind), 3_000, 25) for kind in _MISHAPS),
    Recipe("verdict: guesses by chance", guesses, 3_000, 25),
    Recipe("verdict: half-filled sheet", half_filled, 2_000, 25),
    Recipe("verdict: peeking", peeker, 3_000, 25),
    Recipe("verdict: bet of 20 within 24 runs", bet_reaches_twenty, 1_000, 6),
    Recipe("verdict: two stages", two_stages, 2_000, 10),
    Recipe("verdict: 24 variants, then a fresh test", variants_then_fresh, 3_000, 25),
    Recipe("verdict: candidate by luck", candidate_by_luck, 3_000, 25),
    *(
        Recipe(f"verdict: pooling {count}, spread {spread:g}", partial(pooled_span, count, spread), 1_000, 6)
        for count in (3, 4, 6)
        for spread in (0.0, 2.0)
    ),
)
"""Every calibration of what habits do to the verdict."""
