"""Dose series: the trend by the exact list, its sentence, and what stands against it."""

from dataclasses import replace
from datetime import UTC, datetime
from itertools import permutations
from typing import Any

import numpy as np
import pytest
from scipy import stats

from truerun.errors import PlanBroken, ValueOutOfRange
from truerun.series import Run, RunTable
from truerun.trial.dose import Dosed, DosePlan, dose_runs, rules_of_dose_plan
from truerun.workflow.dosing import DosePlanResult, dose, plan_dose

DOSES = (0, 1, 2, 3, 6, 12)
MADE = datetime(2026, 3, 14, 17, 40, tzinfo=UTC)
GIVEN: dict[str, Any] = {"seed": "a seed for the magnets", "identity": "d1", "made": MADE}


def sealed(repeats: int = 1, **more: Any) -> DosePlanResult:
    """Draw a series of six doses from a fixed seed."""
    given: dict[str, Any] = {"end": "speed", "dummies": True} | GIVEN | more
    return plan_dose(DOSES, repeats, **given)


def filled(plan: DosePlan, each: float, *, spread: float = 0.004, drift: float = 0.0, done: int = 99) -> RunTable:
    """Fill in the sheet: what each magnet does to ln T, normal scatter, a line over the runs."""
    noise = np.random.default_rng(11).normal(size=len(plan.order)) * spread
    return RunTable(
        tuple(
            Run(slot, name, 60 * float(np.exp(each * float(name) + extra + drift * slot)) if slot <= done else None)
            for slot, (name, extra) in enumerate(zip(plan.order, noise, strict=True), 1)
        )
    )


def decided(each: float, **more: Any) -> Dosed:
    """Decide a sealed series in one round, with all 720 orders."""
    plan = sealed().plan
    return dose_runs(filled(plan, each, **more), rules_of_dose_plan(plan))


def checks(found: Dosed) -> list[str]:
    """Name what was found."""
    return [each.check for each in found.findings]


class TestTheTrendIsDecidedByTheListOfOrders:
    def test_p_against_scipys_permutations(self) -> None:
        # scipy.stats.permutation_test over all 720 pairings, with the partial correlation given the run number
        plan = sealed().plan
        found = decided(-0.001)
        line = np.arange(6.0) - 2.5
        y = np.array([np.log(run.value or 0) for run in filled(plan, -0.001).runs])

        def partial(doses: Any) -> float:
            rest = [v - v.mean() - (v @ line) / (line @ line) * line for v in (doses, y)]
            return float(stats.pearsonr(*rest).statistic)

        used = np.array([float(name) for name in plan.order])
        each = np.array([partial(np.array(order)) for order in permutations(used)])
        mine = partial(used)
        expected = 2 * min((each >= mine - 1e-9).mean(), (each <= mine + 1e-9).mean())
        assert found.trend is not None
        assert found.trend.orders == 720
        assert found.trend.p == pytest.approx(min(1.0, expected), abs=1e-12)

    def test_slope_is_least_squares_with_the_run_number(self) -> None:
        plan = sealed().plan
        table = filled(plan, -0.0045, drift=0.01)
        columns = np.column_stack([np.ones(6), [float(name) for name in plan.order], np.arange(6.0)])
        y = [np.log(run.value or 0) for run in table.runs]
        found = dose_runs(table, rules_of_dose_plan(plan)).trend
        assert found is not None
        assert found.slope == pytest.approx(np.linalg.lstsq(columns, np.array(y), rcond=None)[0][1], rel=1e-9)

    def test_many_orders_are_drawn_and_the_one_used_is_added(self) -> None:
        plan = sealed(repeats=3).plan
        found = dose_runs(filled(plan, -0.0045), rules_of_dose_plan(plan))
        assert found.trend is not None
        assert (found.trend.orders, found.trend.sampled) == (100_000, True)
        assert "sampled-orders" in checks(found)
        assert "373\N{NO-BREAK SPACE}248\N{NO-BREAK SPACE}000 orders" in next(each.sentence for each in found.findings)
        assert found.trend == dose_runs(filled(plan, -0.0045), rules_of_dose_plan(plan)).trend


class TestTheSentence:
    def test_a_brake_costs(self) -> None:
        found = decided(-0.0045)
        assert found.direction == -1
        assert found.headline == "The more magnets, the more it brakes."
        assert found.sentence.startswith("Each magnet costs 0.39\N{NO-BREAK SPACE}%, between 0.30")
        assert found.sentence.endswith("A trend says that the magnets do it, not how.")

    def test_a_drive_pays_back(self) -> None:
        found = decided(0.0045)
        assert found.direction == 1
        assert "Each magnet pays back 0." in found.sentence

    def test_the_figures_are_those_of_the_document(self) -> None:
        found = decided(-0.0045)
        assert found.trend is not None
        document = found.document()["drive_fraction_per_unit"]
        assert document["value"] == pytest.approx(1 - np.exp(-found.trend.slope), rel=1e-12)
        assert document["low"] <= document["value"] <= document["high"]

    def test_nothing_is_no_trend(self) -> None:
        found = decided(0.0)
        assert (found.direction, found.headline) == (0, "No trend found.")
        assert "no difference inside" in found.sentence

    def test_a_linear_scale_says_what_changes(self) -> None:
        plan = sealed(measure="turns", scale="linear", measured_in=None, unit="weight").plan
        runs = tuple(
            Run(slot, name, 100.0 - 2 * float(name) + 0.1 * (slot % 3)) for slot, name in enumerate(plan.order, 1)
        )
        found = dose_runs(RunTable(runs, "turns", None), rules_of_dose_plan(plan))
        assert found.headline == "The more weights, the lower the turns."
        assert "Each weight changes the turns by \N{MINUS SIGN}" in found.sentence


class TestSealed:
    def test_until_the_last_run_there_are_counts_only(self) -> None:
        found = decided(-0.0045, done=5)
        assert (found.direction, found.trend) == (None, None)
        assert found.sentence == "5 of 6 runs are done. What they say stays covered until run 6."

    def test_a_change_is_noticed(self) -> None:
        with pytest.raises(PlanBroken, match="changed after it was sealed"):
            dose({}, sealed().document() | {"dummies": False})


class TestWhatStandsAgainstIt:
    def test_empty_places(self) -> None:
        plan = sealed(dummies=False).plan
        assert checks(dose_runs(filled(plan, -0.0045), rules_of_dose_plan(plan))) == ["empty-places"]

    def test_runs_that_were_broken_off_leave_one_end_open(self) -> None:
        plan = sealed().plan
        table = filled(plan, -0.0045)
        longest = max(run.value or 0 for run in table.runs)
        runs = tuple(Run(r.slot, r.condition, 59.9, unfinished=True) if r.value == longest else r for r in table.runs)
        found = dose_runs(RunTable(runs), rules_of_dose_plan(plan))
        assert found.trend is not None
        assert found.trend.low is None
        assert "unfinished" in checks(found)

    def test_broken_off_and_no_trend_gives_no_span_at_all(self) -> None:
        # what a run that was still going hides may be a drive at many magnets or a brake at few
        plan = sealed().plan
        table = filled(plan, 0.0)
        runs = tuple(replace(run, unfinished=run.slot == 2) for run in table.runs)
        found = dose_runs(replace(table, runs=runs), rules_of_dose_plan(plan))
        assert found.direction == 0
        assert found.trend is not None
        assert (found.trend.low, found.trend.high) == (None, None)
        assert "no span can be given for what each magnet does" in found.sentence

    def test_a_run_stopped_after_its_time_was_seen_counts_at_its_worst_for_both_sides(self) -> None:
        # as in a comparison (method, section 4): a further attempt does not mend it, so its time does not matter
        plan = sealed().plan
        runs = filled(plan, 0.02).runs
        first = replace(runs[2], left_out="knocked")
        said = [
            dose_runs(
                RunTable((*runs[:2], first, replace(runs[2], attempt=2, value=again), *runs[3:])),
                rules_of_dose_plan(plan),
            )
            for again in (50.0, 70.0)
        ]
        assert said[0].document() == said[1].document()
        assert "aborted-seen" in {each.check for each in said[0].findings}
        whole, one = dose_runs(RunTable(runs), rules_of_dose_plan(plan)).trend, said[0].trend
        assert whole is not None
        assert one is not None
        assert whole.p is not None
        assert one.p is not None
        assert one.p > whole.p

    def test_standstill_is_refused_beforehand(self) -> None:
        with pytest.raises(PlanBroken, match="higher bump"):
            sealed(end="standstill")

    @pytest.mark.parametrize(
        ("doses", "repeats", "sentence"),
        [
            ([0, 1], 9, "three doses"),
            ([0, 1, 2], 2, "36 orders"),
            ([0, 0, 1], 3, "twice"),
            ([-1, 0, 1], 3, "0 or more"),
        ],
    )
    def test_too_few_orders_are_refused_beforehand(self, doses: list[float], repeats: int, sentence: str) -> None:
        with pytest.raises((PlanBroken, ValueOutOfRange), match=sentence):
            plan_dose(doses, repeats, end="speed")


class TestWithoutAPlan:
    RUNS = {"run": [1, 2, 3, 4, 5, 6], "condition": ["3 magnets", "12", "0", "1", "6", "2"]}  # noqa: RUF012
    TIMES = {"time [s]": [59.2, 57.0, 60.0, 59.8, 58.5, 59.5]}  # noqa: RUF012

    def test_on_somebody_s_word(self) -> None:
        found = dose(self.RUNS | self.TIMES, orders="rounds", end="speed", dummies=True)
        assert found.dosed.sentence.startswith("If the order was drawn as stated: Each magnet costs")
        assert checks(found.dosed) == ["not-sealed"]
        assert not found.stopped

    def test_any_arrangement(self) -> None:
        found = dose(self.RUNS | self.TIMES, orders="any", end="speed", dummies=True).dosed
        assert found.trend is not None
        assert found.trend.sampled
        assert found.direction == -1

    def test_nobody_said_how_the_order_was_drawn(self) -> None:
        found = dose(self.RUNS | self.TIMES, end="speed", dummies=True)
        assert found.stopped
        assert checks(found.dosed) == ["order-not-drawn"]
        assert (found.document()["p"], found.document()["orders"]) == (None, None)

    def test_an_end_that_nobody_named_stops_it(self) -> None:
        assert "end-not-stated" in checks(dose(self.RUNS | self.TIMES, orders="rounds").dosed)

    def test_rounds_that_are_none_are_refused(self) -> None:
        runs = {"run": [1, 2, 3, 4], "condition": [0, 0, 1, 2], "time [s]": [60.0, 60.1, 59.0, 58.0]}
        with pytest.raises(PlanBroken, match="once a round"):
            dose(runs, orders="rounds", end="speed")

    @pytest.mark.parametrize("condition", ["many", "nan magnets", "inf", "1e400"])
    def test_a_condition_that_is_no_number_is_refused(self, condition: str) -> None:
        with pytest.raises(ValueOutOfRange, match="The condition of run 2"):
            dose(self.RUNS | self.TIMES | {"condition": ["0", condition, "2", "3", "4", "5"]}, orders="rounds")
