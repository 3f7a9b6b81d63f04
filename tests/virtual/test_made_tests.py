"""Made-up tests are sealed tests: drawn from their own seed, filled in as drawn, judged as anybody's."""

import numpy as np
import pytest

from truerun.trial.comparison import compare_runs
from truerun.trial.plan import Plan
from truerun.trial.rules import rules_of_plan
from truerun.trial.seal import drawn_order
from truerun.trial.verdict import Verdict
from truerun.virtual.bench import Bench
from truerun.virtual.calibration import binomial_band, share_below
from truerun.virtual.made_tests import NAMES, differs, drawn_plans, made_plan, made_tests, raised


def test_each_plan_holds_together_and_its_order_is_the_one_that_its_seed_draws() -> None:
    plans = drawn_plans(made_plan(12), 5, np.random.default_rng(1))
    assert len({plan.seed for plan in plans}) == 5
    for plan in plans:
        assert Plan.model_validate(plan.document()) == plan
        assert plan.signs.tolist() == drawn_order(plan.order_set, plan.seed).tolist()


def test_a_sheet_is_filled_in_as_drawn() -> None:
    test = next(made_tests(made_plan(), Bench(drive_fraction=0.5, spread=0.0), 1, np.random.default_rng(1)))
    runs = test.table().runs
    assert [run.condition for run in runs] == list(test.plan.order)
    # D = .5 makes a minute two: the hand watch of the bench is off by .1 s
    assert all(abs(run.value - (120 if run.condition == NAMES.source else 60)) < 0.5 for run in runs if run.value)
    assert test.said().document() == compare_runs(test.table(), rules_of_plan(test.plan)).document()


def test_what_stood_on_the_bench_can_differ_from_what_was_drawn() -> None:
    test = next(made_tests(made_plan(), Bench(), 1, np.random.default_rng(1)))
    swapped = test.signs.copy()
    swapped[3] *= -1
    result = test.said_of(test.table(set_up=swapped))
    assert raised("wrong-set-up", result)
    assert not raised("wrong-set-up", test.said())


def test_runs_that_reach_the_limit_are_unfinished() -> None:
    test = next(made_tests(made_plan(), Bench(drive_fraction=1.5, time_limit=90.0), 1, np.random.default_rng(1)))
    result = test.said_broken_off(90.0)
    assert result.verdict is Verdict.ADDS
    assert differs(result)
    assert raised("unfinished", result)


@pytest.mark.parametrize(("count", "high"), [(1_000, 0.05), (999, binomial_band(0.05, 999)[1])])
def test_a_promise_is_held_to_the_letter_from_a_thousand_on(count: int, high: float) -> None:
    assert share_below("name", "sentence", np.zeros(count, dtype=np.bool_), 0.05).high == high
