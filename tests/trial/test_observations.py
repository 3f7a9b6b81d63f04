"""From the lines of a table to one observation a slot: attempts, aborted runs, slips, limits, sessions, covariates."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.trial.constructed import NAMES, ORDER, checks, runs_of, sealed, signs, stated, table, times
from truerun.errors import PlanBroken, RecordingUnreadable, ValueOutOfRange
from truerun.series import Run, RunTable
from truerun.trial.comparison import compare_runs
from truerun.trial.observations import observe
from truerun.trial.plan import Blinding, Measurand
from truerun.trial.rules import rules_of_plan

SENSOR = Blinding(timing="sensor")


class TestOneObservationASlot:
    def test_lines_may_stand_in_any_order(self) -> None:
        rows = runs_of(ORDER, times(ORDER, 1.02))
        straight, turned = (observe(RunTable(tuple(each)), stated()) for each in (rows, rows[::-1]))
        assert [run.slot for run in turned.runs] == list(range(1, 13))
        assert turned.y.tolist() == straight.y.tolist()
        assert turned.used.tolist() == straight.used.tolist()

    def test_the_scale_on_which_an_effect_adds(self) -> None:
        runs = table(ORDER, times(ORDER))
        seconds = np.array([run.value for run in runs.runs], dtype=np.float64)
        assert observe(runs, stated()).y == pytest.approx(np.log(seconds))
        less = Measurand(name="mass", scale="linear", sign=-1, unit="g")
        assert observe(runs, stated(measurand=less)).y == pytest.approx(-seconds)
        assert observe(runs, stated(measurand=Measurand(sign=-1))).y == pytest.approx(-np.log(seconds))

    @pytest.mark.parametrize("value", [0.0, -3.0])
    def test_what_has_no_logarithm_is_refused_with_its_line(self, value: float) -> None:
        values = times(ORDER)
        values[4] = value
        with pytest.raises(RecordingUnreadable, match=f"line 6: the time is {value:g}; it must be above 0"):
            observe(table(ORDER, values), stated())

    def test_an_unknown_condition_is_refused_with_its_line(self) -> None:
        rows = runs_of(ORDER, times(ORDER))
        rows[7] = replace(rows[7], condition="ring")
        with pytest.raises(RecordingUnreadable, match='line 9: the condition is "ring"; it must be "ring on" or'):
            observe(RunTable(tuple(rows)), stated())

    def test_runs_that_were_never_planned_are_refused(self) -> None:
        made = sealed()
        order = signs(made) + "+-"
        with pytest.raises(PlanBroken, match="The plan has 12 runs; the table has a run 14"):
            observe(table(order, times(order)), rules_of_plan(made.plan))

    def test_planned_slots_without_a_line_are_not_run_yet(self) -> None:
        made = sealed()
        order = signs(made)
        seen = observe(RunTable(tuple(runs_of(order, times(order))[:7])), rules_of_plan(made.plan))
        assert seen.missing.tolist() == [False] * 7 + [True] * 5
        assert seen.used.tolist() == [1 if sign == "+" else -1 for sign in order]


class TestAttempts:
    """Method, section 4, "When something goes wrong"."""

    def attempts(self, *, value: float | None = None, seen: bool | None = None) -> RunTable:
        """A table in which slot 3 was tried twice."""
        rows = runs_of(ORDER, times(ORDER, 1.02))
        again = replace(rows[2], attempt=2)
        first = replace(rows[2], value=value, seen=seen, left_out="string caught")
        return RunTable((*rows[:2], again, first, *rows[3:]), resolution=0.01)  # out of order on purpose

    def test_stopped_before_its_time_was_seen_it_is_repeated(self) -> None:
        seen = observe(self.attempts(), stated())
        assert seen.kept.all()
        assert not seen.worst.any()
        assert seen.repeated == (3,)
        assert seen.y.tolist() == observe(table(ORDER, times(ORDER, 1.02)), stated()).y.tolist()

    def test_a_word_that_nothing_was_seen_counts_though_a_number_was_written(self) -> None:
        assert not observe(self.attempts(value=12.0, seen=False), stated()).worst.any()

    @pytest.mark.parametrize(("value", "seen"), [(None, True), (44.0, None), (44.0, True)])
    def test_stopped_after_its_time_was_seen_a_further_attempt_does_not_mend_it(
        self,
        value: float | None,
        seen: bool | None,  # noqa: FBT001 - a row of the table
    ) -> None:
        # else a run could be stopped for being long, and made again
        runs = self.attempts(value=value, seen=seen)
        assert observe(runs, stated()).worst.tolist() == [slot == 3 for slot in range(1, 13)]
        assert {"aborted-seen", "repeated"} <= checks(compare_runs(runs, stated()))


class TestStoppedAfterTheTimeWasSeen:
    def test_both_sides_are_weakened(self) -> None:
        values = times(ORDER, 1.0, spread=0.01)
        whole = compare_runs(table(ORDER, values), stated(blinding=SENSOR)).figures
        reasons = [None] * 5 + ["bumped"] + [None] * 6
        result = compare_runs(table(ORDER, values, left_out=reasons), stated(blinding=SENSOR)).figures
        assert whole is not None
        assert result is not None
        # by hand: a source run is taken as the shortest against a drive, as the longest against a brake
        y = np.log(np.array(values, dtype=np.float64))
        others = np.delete(y, 5)
        for end, worst in ((result.plus, others.min()), (result.minus, others.max())):
            replaced = np.array(values, dtype=np.float64)
            replaced[5] = np.exp(worst)
            by_hand = compare_runs(table(ORDER, [float(each) for each in replaced]), stated(blinding=SENSOR)).figures
            assert by_hand is not None
            assert end.delta == pytest.approx(by_hand.plus.delta, abs=1e-12)
        assert result.low is not None
        assert result.high is not None
        assert result.low < result.high
        assert result.plus.delta < result.effect < result.minus.delta

    def test_the_running_bet_reckons_it_at_its_worst_too(self) -> None:
        made = sealed(spare_blocks=1)
        order = signs(made, spare=True)
        values = times(order, 1.05)
        whole = compare_runs(table(order, values), rules_of_plan(made.plan)).figures
        reasons = [None] * 4 + ["too long"] + [None] * 11
        one = compare_runs(table(order, values, left_out=reasons), rules_of_plan(made.plan)).figures
        for figures in (whole, one):
            assert figures is not None
            assert figures.evidence is not None
        assert one is not None
        assert whole is not None
        assert one.evidence is not None
        assert whole.evidence is not None
        assert one.evidence.last < whole.evidence.last
        assert one.sequence[0] is None or (whole.sequence[0] is not None and one.sequence[0] < whole.sequence[0])


class TestLeftOutBlind:
    def test_the_list_reckons_with_the_remaining_slots_of_all_orders(self) -> None:
        values = times(ORDER, 1.03)
        values[8] = None
        reasons = [None] * 8 + ["door opened"] + [None] * 3
        result = compare_runs(table(ORDER, values, left_out=reasons), stated())
        assert result.figures is not None
        assert result.figures.plus.orders == 216
        assert result.counts == {NAMES.source: 5, NAMES.control: 6}
        assert "left-out-blind" in checks(result)

    def test_a_whole_block_makes_orders_repeat(self) -> None:
        values = times(ORDER * 2, 1.03)
        reasons: list[str | None] = [None] * 24
        for slot in range(4):
            values[slot], reasons[slot] = None, "cold bearing"
        result = compare_runs(table(ORDER * 2, values, left_out=reasons), stated())
        assert result.figures is not None
        assert result.figures.plus.same == 6  # the first block had six arrangements, and none can be told apart now


class TestWrongSetUp:
    def test_it_counts_as_drawn_and_hides_a_part(self) -> None:
        made = sealed(runs=16)
        order = signs(made)
        done = ("-" if order[5] == "+" else "+").join((order[:5], order[6:]))
        values = times(done, 1.05)
        slip, right = (compare_runs(table(each, values), rules_of_plan(made.plan)) for each in (done, order))
        assert slip.at.seen.slips == (6,)
        assert slip.at.effect == right.at.effect  # labels as drawn, not as done
        clean = compare_runs(table(order, times(order, 1.05)), rules_of_plan(made.plan))
        assert slip.at.effect < clean.at.effect
        assert "wrong-set-up" in checks(slip)
        assert slip.counts == clean.counts

    def test_one_slip_in_the_smallest_plan_does_not_void_it(self) -> None:
        made = sealed(orders="restricted", runs=8)
        order = signs(made)
        done = ("-" if order[0] == "+" else "+") + order[1:]
        assert "order-not-kept" not in checks(compare_runs(table(done, times(done, 1.05)), rules_of_plan(made.plan)))


class TestUnfinishedRuns:
    def test_every_time_is_counted_up_to_the_shortest_limit(self) -> None:
        values = [640.0 if sign == "+" else 500.0 + slot for slot, sign in enumerate(ORDER)]
        values[0] = 600.0
        still = [sign == "+" for sign in ORDER]
        seen = observe(table(ORDER, list(values), unfinished=still), stated())
        assert seen.limit == 600.0
        assert seen.capped.tolist() == still
        assert seen.y[~seen.capped] == pytest.approx(np.log([v for v, s in zip(values, still, strict=True) if not s]))
        assert set(seen.y[seen.capped].tolist()) == {np.log(600.0)}

    @pytest.mark.parametrize("sign", [1, -1])
    def test_only_the_end_that_stays_true_is_given(self, sign: int) -> None:
        # long source runs: a drive where more is more, a brake where less is more; part of it is hidden either way
        values = [700.0 if each == "+" else 500.0 + slot for slot, each in enumerate(ORDER)]
        rules = stated(measurand=Measurand(sign=1 if sign > 0 else -1), blinding=SENSOR, margin=0.1)
        result = compare_runs(table(ORDER, list(values), unfinished=[each == "+" for each in ORDER]), rules)
        found, limits = result.document()["log_time_difference"], result.document()["limits"]
        if sign > 0:
            assert found["low"] > 0
            assert found["high"] is limits["adds_less_than"] is None
            assert result.document()["severity"] == []
        else:
            assert found["high"] < 0
            assert found["low"] is limits["takes_less_than"] is None
            assert len(result.document()["severity"]) == 3
        assert "at least" in result.sentence
        assert "unfinished" in checks(result)

    def test_the_running_bet_gives_no_upper_end_either(self) -> None:
        made = sealed(spare_blocks=1)
        order = signs(made, spare=True)
        values = [700.0 if sign == "+" else 500.0 + slot for slot, sign in enumerate(order)]
        runs = table(order, list(values), unfinished=[sign == "+" for sign in order])
        interval = compare_runs(runs, rules_of_plan(made.plan)).document()["evidence_interval"]
        assert interval["low"] > 0
        assert interval["high"] is None

    def test_unfinished_on_both_sides_and_nothing_found_is_inconclusive_about_the_claim(self) -> None:
        values = [600.0 if slot % 3 else 580.0 + slot for slot in range(12)]
        runs = table(ORDER, list(values), unfinished=[bool(slot % 3) for slot in range(12)])
        result = compare_runs(runs, stated(claimed=0.2))
        assert result.verdict is not None
        assert result.verdict.value == "inconclusive"
        assert "an amount that cannot be bounded" in result.sentence


class TestSessionsAndCovariates:
    def sessions(self, *days: str | None) -> list[str | None]:
        """One session a block."""
        return [day for day in days for _ in range(4)]

    def test_a_step_between_days_is_taken_out(self) -> None:
        values = times(ORDER, 1.01, spread=0.002)
        stepped = [v * (1 + 0.1 * (slot >= 8)) for slot, v in enumerate(values) if v is not None]
        runs = table(ORDER, list(stepped), session=self.sessions("Monday", "Monday", "Tuesday"))
        without = compare_runs(runs, stated(blinding=SENSOR)).figures  # the run number takes the step for a slope
        within = compare_runs(runs, stated(adjust=("session",), blinding=SENSOR)).figures
        flat = compare_runs(table(ORDER, values), stated(adjust=(), blinding=SENSOR)).figures
        assert without is not None
        assert within is not None
        assert flat is not None
        assert within.low is not None
        assert within.high is not None
        assert without.low is not None
        assert without.high is not None
        assert within.high - within.low < (without.high - without.low) / 2
        assert within.effect == pytest.approx(flat.effect, abs=1e-9)  # balanced blocks: the step does not bias

    def test_one_session_adjusts_nothing(self) -> None:
        runs = table(ORDER, times(ORDER, 1.01), session=self.sessions("1", "1", "1"))
        one, other = (compare_runs(runs, stated(adjust=adjust)).figures for adjust in (("session",), ()))
        assert one is not None
        assert other is not None
        assert (one.low, one.high, one.p) == pytest.approx((other.low, other.high, other.p), abs=1e-12)

    def test_a_session_that_is_not_written_is_asked_for(self) -> None:
        runs = table(ORDER, times(ORDER), session=self.sessions("1", None, "2"))
        with pytest.raises(ValueOutOfRange, match="The session of run 5 is empty"):
            compare_runs(runs, stated(adjust=("session",)))

    def test_a_session_that_is_the_order_is_refused_by_name(self) -> None:
        runs = table(ORDER, times(ORDER), session=["day" if sign == "+" else "night" for sign in ORDER])
        with pytest.raises(ValueOutOfRange, match="is the same thing as session;"):
            compare_runs(runs, stated(adjust=("session",)))

    def test_a_covariate_is_asked_for_only_where_a_run_counts(self) -> None:
        extra: list[dict[str, float | None]] = [{"temperature": 20.0 + 0.1 * slot} for slot in range(12)]
        values, reasons = times(ORDER, 1.02), [None] * 4 + ["string caught"] + [None] * 7
        values[4], extra[4] = None, {"temperature": None}
        result = compare_runs(table(ORDER, values, left_out=reasons, extra=extra), stated(adjust=("temperature",)))
        assert result.figures is not None
        extra[6] = {"temperature": None}
        with pytest.raises(ValueOutOfRange, match='The column "temperature" in run 7 is empty; it must be a number'):
            compare_runs(table(ORDER, values, left_out=reasons, extra=extra), stated(adjust=("temperature",)))

    def test_a_test_that_stopped_early_needs_no_covariate_of_runs_that_were_not_made(self) -> None:
        made = sealed(runs=16, covariates=("temperature",))
        order = signs(made)
        rows = [
            replace(run, extra={"temperature": 20.0 + (run.slot * 7 % 5)})
            for run in runs_of(order, times(order, 1.05))[:12]
        ]
        result = compare_runs(RunTable(tuple(rows)), rules_of_plan(made.plan, seal_broken=True))
        assert "stopped-early" in checks(result)
        assert result.document()["adjusted_for"] == ["run-number", "temperature"]

    def test_a_covariate_that_explains_the_times_sharpens_the_result(self) -> None:
        warm = [20.0 + (slot * 5 % 7) for slot in range(12)]
        quiet = times(ORDER, 1.005, spread=0.0005)
        values: list[float | None] = [
            time * float(np.exp(0.01 * (degrees - 23))) for time, degrees in zip(quiet, warm, strict=True) if time
        ]
        runs = table(ORDER, values, extra=[{"temperature": degrees} for degrees in warm])
        without = compare_runs(runs, stated(blinding=SENSOR)).figures
        within = compare_runs(runs, stated(blinding=SENSOR, adjust=("run-number", "temperature"))).figures
        assert without is not None
        assert within is not None
        assert within.p < without.p
        assert within.effect == pytest.approx(np.log(1.005), abs=0.001)  # four standard errors of the quiet runs


class TestRun:
    def test_a_line_that_is_nowhere_is_named_by_its_run(self) -> None:
        rows = (*runs_of(ORDER, times(ORDER))[:-1], Run(12, "ring", 60.0))
        with pytest.raises(RecordingUnreadable, match="the table, run 12"):
            observe(RunTable(rows), stated())
