"""The quick look describes, offers, and never gives a verdict."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import permutation_test

from tests.trial.constructed import NAMES, runs_of, stated, table, times
from truerun.errors import FitImpossible
from truerun.findings.verdict_words import HEADLINES
from truerun.series import RunTable
from truerun.stats.power import detectable_effect
from truerun.trial.look import look_at
from truerun.trial.plan import End
from truerun.workflow.looking import look
from truerun.workflow.planning import plan


class TestFigures:
    def test_by_hand(self) -> None:
        seen = look_at(table("+-+-", [50.0, 60.0, 52.0, 63.0]), stated())
        source, control = np.log([50.0, 52.0]), np.log([60.0, 63.0])
        assert seen.difference == pytest.approx(1 - math.exp(control.mean() - source.mean()))
        assert seen.spread == pytest.approx(math.sqrt((source.var(ddof=1) + control.var(ddof=1)) / 2))
        assert seen.degrees_of_freedom == 2
        assert seen.means == {NAMES.source: 51.0, NAMES.control: 61.5}
        assert (seen.clean, seen.divisions) == (2, 6)  # apart, as one other of C(4, 2)

    @pytest.mark.parametrize(("with_it", "without"), [(3, 3), (3, 4), (5, 2), (6, 3)])
    def test_all_ways_to_divide_the_runs(self, with_it: int, without: int) -> None:
        # scipy.stats.permutation_test, all divisions, counted by the size of the difference; unequal numbers too
        rng = np.random.default_rng(with_it)
        values = [round(float(60 * np.exp(each)), 2) for each in rng.normal(0, 0.05, with_it + without)]
        order = "+" * with_it + "-" * without
        seen = look_at(table(order, list(values)), stated())
        logs = np.log(values)
        logs -= logs.mean()  # the library's own allowance for rounding is small beside the size of the values
        source, control = logs[:with_it], logs[with_it:]
        theirs = permutation_test(
            (source, control),
            lambda one, two, axis: np.abs(one.mean(axis=axis) - two.mean(axis=axis)),
            n_resamples=np.inf,
            alternative="greater",
        )
        assert seen.divisions == math.comb(with_it + without, with_it)
        assert seen.clean == round(theirs.pvalue * seen.divisions)

    def test_a_perfect_split_of_unequal_numbers_has_no_mirror_image(self) -> None:
        # 3 with and 2 without: of the 10 divisions only the one made puts the three longest together
        seen = look_at(table("+-+-+", [62.0, 60.0, 63.0, 61.0, 64.0]), stated())
        assert (seen.clean, seen.divisions) == (1, 10)
        assert seen.luck.endswith("with so few runs it cannot be less.")

    @settings(max_examples=25, deadline=None)  # the first needs the simulation of several plans
    @given(st.lists(st.integers(550, 650).map(lambda tenths: tenths / 10), min_size=8, max_size=8))
    def test_never_a_verdict(self, values: list[float]) -> None:
        runs = table("+-+-+-+-", list(values))
        try:
            seen = look_at(runs, stated(end=None))
        except FitImpossible:
            assert len(set(values[::2])) == len(set(values[1::2])) == 1
            return
        text = str(seen.document())
        assert "verdict" not in text
        for key in ("adds-energy", "takes-energy", "no-difference-found"):
            assert HEADLINES[key].format(source=f'"{NAMES.source}"') not in text
        assert 1 <= seen.clean <= seen.divisions


class TestWhatADecidingTestNeeds:
    def test_the_upper_limit_of_the_spread_is_planned_with(self) -> None:
        seen = look_at(table("+-" * 4, times("+-" * 4, 1.0, 0.01)), stated(), change_minutes=3.0)
        upper = seen.pilot.upper_spread
        assert upper == pytest.approx(1.398 * seen.spread, rel=1e-3)  # method, section 4: 4+4 1.398 s
        assert [test.runs for test in seen.deciding] == [12, 16, 24]
        for test in seen.deciding:
            effect = detectable_effect(0.8, "blocks-of-four", test.runs, "run-number", 0.05)
            assert test.finds == pytest.approx(1 - math.exp(-effect * upper))
            assert test.minutes == pytest.approx(test.runs * 4.0, rel=0.01)  # a minute's run and three between

    def test_runs_that_find_this(self) -> None:
        small = look_at(table("+-" * 4, times("+-" * 4, 1.001, 0.03)), stated())
        assert small.runs_to_find is None or small.runs_to_find > 24
        large = look_at(table("+-" * 4, times("+-" * 4, 1.5, 0.01)), stated())
        assert large.runs_to_find == 12

    def test_kept_as_the_trial_of_a_plan(self) -> None:
        runs = {"run": list(range(1, 9)), "condition": ["in", "out"] * 4, "time": times("+-" * 4, 1.0, 0.01)}
        seen = look(runs, control="out")
        made = plan({"claim": "x", "source": "in", "control": "out", "end": "speed", "runs": 12} | seen.pilot)
        assert made.plan.pilot == seen.look.pilot
        assert made.prospect.spread == seen.look.pilot.upper_spread
        assert "nothing decided" in repr(seen)


class TestTheEnd:
    @pytest.mark.parametrize(
        ("end", "warned"), [(None, True), (End.STANDSTILL, True), (End.SPEED, False), (End.TURNS, False)]
    )
    def test_standstill_is_warned_of(self, end: End | None, warned: bool) -> None:  # noqa: FBT001 - a row of the table
        found = look_at(table("+-+-", [50.0, 60.0, 52.0, 63.0]), stated(end=end)).findings
        assert [each.check for each in found] == ["look-standstill"] * warned


class TestTooLittle:
    def test_one_run_of_a_condition(self) -> None:
        with pytest.raises(FitImpossible, match='there are 2 with "ring on" and 1 with "ring off"'):
            look_at(table("++-", [60.0, 61.0, 62.0]), stated())

    def test_no_spread_at_all(self) -> None:
        with pytest.raises(FitImpossible, match="Read them more finely"):
            look_at(table("+-+-", [60.0, 61.0, 60.0, 61.0]), stated())

    def test_a_run_left_out_is_not_looked_at(self) -> None:
        rows = runs_of("+-+-+-", [50.0, 60.0, 52.0, 63.0, None, 61.0], left_out=[None] * 4 + ["bumped", None])
        assert sum(look_at(RunTable(tuple(rows)), stated()).counts.values()) == 5
