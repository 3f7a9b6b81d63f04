"""How often the sentence of a verdict contradicts the figures beside it: never, on sheets of every kind."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from truerun.trial.comparison import Comparison
from truerun.trial.plan import Blinding, Measurand
from truerun.virtual.bench import Bench
from truerun.virtual.calibration import Calibration, Recipe
from truerun.virtual.made_tests import BY_HAND, MadeTest, made_plan, made_tests
from truerun.virtual.sentence_reading import contradictions

__all__ = ["RECIPES", "any_result"]

_PLANS = (("blocks-of-four", 12), ("blocks-of-four", 16), ("restricted", 8), ("restricted", 10), ("pairs", 12))
_MEASURANDS = (
    Measurand(),
    Measurand(),
    Measurand(name="mean time", scale="linear", sign=1, unit="s"),
    Measurand(name="lag", scale="linear", sign=-1, unit="s"),
)
_BLINDINGS = (BY_HAND, BY_HAND, Blinding(grade=2, timing="sensor"))
_DRIVES = (0.0, 0.0, 0.0, 0.005, -0.005, 0.02, -0.02, 0.1, -0.1)
_MARGINS = (None, 0.002, 0.01, 0.02, 0.05)
_CLAIMS = (None, None, 0.002, 0.02, 0.1, 1.0, -0.05)
_STEPS = (0.01, 0.01, 0.1, 1.0)


def any_result(rng: np.random.Generator) -> Comparison:
    """Make up one sheet of any kind, by hand or sensor, fine or coarse, complete or spoilt, and judge it."""
    orders, runs = _pick(_PLANS, rng)
    keys = {"margin": _MARGINS, "claimed": _CLAIMS, "measurand": _MEASURANDS, "blinding": _BLINDINGS}
    plan = made_plan(runs, orders, **{key: _pick(choices, rng) for key, choices in keys.items()})
    bench = Bench(_pick((10.0, 60.0), rng), _pick(_DRIVES, rng), _pick((0.001, 0.005, 0.02), rng))
    made = next(made_tests(plan, bench, 1, rng))
    step = _pick(_STEPS, rng)
    test = MadeTest(
        plan.model_copy(update={"order": made.plan.order}), np.maximum(np.rint(made.times / step), 1) * step
    )
    return test.said_of(replace(test.table(_happenings(test, rng)), resolution=step))


def _pick(choices: tuple[Any, ...], rng: np.random.Generator) -> Any:
    """Choose one."""
    return choices[int(rng.random() * len(choices))]


def _happenings(test: MadeTest, rng: np.random.Generator) -> list[dict[str, Any]]:
    """Let one sheet in five have unfinished runs, and one in five a run that was stopped after its time was seen."""
    kind = int(5 * rng.random())
    if kind == 0:
        return _broken_off(test.times, float(np.quantile(test.times, 0.3 + 0.6 * rng.random())))
    gone = int(rng.random() * len(test.times)) if kind == 1 else -1
    return [{"left_out": "string caught", "seen": True} if place == gone else {} for place in range(len(test.times))]


def _broken_off(times: NDArray[np.float64], limit: float) -> list[dict[str, Any]]:
    """Break every run off that reaches a limit [s]."""
    return [{"unfinished": bool(time >= limit), "value": float(min(time, limit))} for time in times]


def sentence_against_figures(name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Count the sentences that contradict their own figures."""
    wrong = 0
    verdicts: Counter[str] = Counter()
    for _ in range(repetitions):
        result = any_result(rng)
        wrong += bool(contradictions(result))
        verdicts[result.verdict.value if result.verdict else "none"] += 1
    counts = ", ".join(f"{count} {verdict}" for verdict, count in verdicts.most_common())
    sentence = f"Sentences that contradict the span and limits printed beside them, on sheets of every kind ({counts})."
    return Calibration(name, sentence, repetitions, wrong, 0, 0)


RECIPES = (Recipe("verdict: sentence against its figures", sentence_against_figures, 6_000, 60),)
"""The calibration of the sentences."""
