"""A look at tapped runs: the loss that was put in is read back, and both impressions are told apart.

Closed form: a wheel under dry friction alone is uniformly retarded, dw = a t (Bansal, Engineering Mechanics, example
13.5, p. 473). The wheels are those of the virtual bench.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import cycle

import numpy as np
import pytest

from truerun.errors import FitImpossible, RecordingUnreadable, ValueOutOfRange
from truerun.report.tapped_words import both_impressions, hand_words, longer_words, tapped_sentences
from truerun.series import Run, RunTable
from truerun.trial.plan import Conditions
from truerun.trial.rules import Rules
from truerun.trial.tapped_look import TappedLook, look_at_taps, read_taps
from truerun.virtual.bench import simulate_taps
from truerun.virtual.course import simulate_run, true_passes
from truerun.virtual.drag_laws import PowerLaw
from truerun.virtual.rig import Launch, Rig
from truerun.workflow.looking import look

R_MIN = np.pi / 30
RULES = Rules(Conditions(source="in", control="out"))
DRAG = {"in": 0.044, "out": 0.040}
"""What is put in [rad/s^2]: with the source the wheel slows by 1.1 times as much."""


def tapped(rng: np.random.Generator, *, scatter: float = 0.07, stopped: bool = True, late: float = 0.0) -> RunTable:
    """Six runs in turn on the virtual bench; ``late`` is added to the standstill of the source's [s]."""
    runs = []
    for slot, name in zip(range(1, 7), cycle(("in", "out")), strict=False):
        launch = Launch(rng.uniform(70, 80) * R_MIN, angle=-rng.uniform(0.1, 6.2))
        course = simulate_run(Rig(PowerLaw(((0, DRAG[name]),))), launch, tolerance=1e-8)
        taps = simulate_taps(true_passes(course).times, rng, scatter, 0.001)
        rest = (course.rest or 0.0) - taps[0] + (late if name == "in" else 0.0)
        text = " ".join(f"{time:.3f}" for time in taps)
        runs.append(Run(slot, name, rest if stopped else None, extra={"taps": text}))
    return RunTable(tuple(runs))


def seen(table: RunTable) -> TappedLook:
    """Look at a table whose taps can be used."""
    found, said = look_at_taps(table, RULES)
    assert found is not None, said
    assert said == ()
    return found


class TestTheLossThatWasPutIn:
    def test_is_read_back_within_its_stated_uncertainty(self) -> None:
        rng = np.random.default_rng(6)
        away = []
        for _ in range(6):
            slowing = seen(tapped(rng)).slowing
            away += [(value - DRAG[name]) / uncertainty for name, (value, uncertainty) in slowing.items()]
        # of 12 unit normals: root mean square .51 to 1.54 in 99 of 100
        assert 0.5 < float(np.sqrt(np.mean(np.square(away)))) < 1.55

    def test_the_drive_is_one_less_the_ratio_of_the_times(self) -> None:
        found = seen(tapped(np.random.default_rng(2), scatter=0.001))
        assert found.look.difference == pytest.approx(1 - 0.044 / 0.040, abs=0.002)  # T_out / T_in = a_in / a_out

    def test_what_the_hand_costs_is_the_scatter_that_was_put_in(self) -> None:
        found = seen(tapped(np.random.default_rng(3), scatter=0.05))
        assert found.scatter == pytest.approx(0.05, rel=0.1)  # of some 400 taps: 3.5 % is one standard deviation
        assert found.tapping < 2 * found.look.spread
        assert f"{found.scatter:.2g} s" in hand_words(found)

    def test_the_window_is_blind_to_the_conditions(self) -> None:
        table = tapped(np.random.default_rng(5))
        turned = RunTable(
            tuple(Run(r.slot, {"in": "out", "out": "in"}[r.condition], r.value, extra=r.extra) for r in table.runs)
        )
        one, other = seen(table), seen(turned)
        assert (one.speed_from, one.speed_to) == (other.speed_from, other.speed_to)


class TestBothImpressions:
    def test_a_wheel_that_rocks_for_longer_looks_like_a_gain_and_is_a_brake(self) -> None:
        found = seen(tapped(np.random.default_rng(7), late=60.0))
        assert found.to_standstill is not None
        assert found.to_standstill.difference > 0 > found.look.difference
        first, why = both_impressions(found)
        assert longer_words(found.look) in first
        assert longer_words(found.to_standstill) in first
        assert "lose nothing by it" in why
        assert not any(word in first + why for word in ("proves", "adds energy", "takes energy"))

    def test_nothing_is_said_of_a_standstill_that_nobody_timed(self) -> None:
        found = seen(tapped(np.random.default_rng(8), stopped=False))
        assert found.to_standstill is None
        assert both_impressions(found) == ()

    def test_one_that_agrees_is_said_to(self) -> None:
        # dry friction from nearly one speed: both times go as 1/a, and launches scatter by a few percent
        found = seen(tapped(np.random.default_rng(9), scatter=0.01))
        assert found.to_standstill is not None
        gap = abs(found.to_standstill.difference - found.look.difference)
        assert ("about the same" in both_impressions(found)[1]) == (gap < 0.01)


class TestTapsThatCannotBeUsed:
    def test_few_are_said_and_the_stopwatch_stands_in(self) -> None:
        table = tapped(np.random.default_rng(10))
        short = {1: "0 1 2 3", 2: "0 0.9 2 3", 3: "0 1"}
        runs = tuple(
            Run(r.slot, r.condition, r.value, extra={"taps": short.get(r.slot, r.extra["taps"])}) for r in table.runs
        )
        result = look(RunTable(runs), control="out")
        assert result.tapped is None
        assert [text.split(",")[0] for text in result.set_aside] == [f"The taps of run {slot}" for slot in (1, 2, 3)]
        assert "4 taps while it still ran fast" in result.set_aside[0]
        assert result.look.means["in"] == pytest.approx(np.mean([r.value for r in runs if r.condition == "in"]))
        assert "these are the times of the stopwatch" in result.summary()
        assert result.document()["taps_set_aside"] == list(result.set_aside)

    def test_one_odd_run_is_left_aside_and_the_others_are_compared(self) -> None:
        table = tapped(np.random.default_rng(11))
        runs = tuple(
            Run(r.slot, r.condition, r.value, extra={"taps": "0 1 2"} if r.slot == 4 else r.extra) for r in table.runs
        )
        result = look(RunTable(runs), control="out")
        assert result.tapped is not None
        assert [each.slot for each in result.tapped.runs] == [1, 2, 3, 5, 6]
        assert len(result.set_aside) == 1

    def test_where_neither_is_there_both_are_said(self) -> None:
        runs = tuple(Run(slot, name, None, extra={"taps": "0 1 2"}) for slot, name in enumerate(("in", "out") * 2, 1))
        with pytest.raises(FitImpossible, match=r"There are 3 taps .* at least two runs"):
            look(RunTable(runs), control="out")

    @pytest.mark.parametrize("text", ["0 1 x", "0 2 1", "0 1 1", "", "0 inf"])
    def test_what_is_no_rising_row_of_seconds_is_refused(self, text: str) -> None:
        with pytest.raises(ValueOutOfRange, match="The taps"):
            read_taps(text)


class TestTheResult:
    def test_it_holds_the_taps_in_its_document_and_its_text(self) -> None:
        result = look(tapped(np.random.default_rng(12)), control="out")
        told = result.document()["tapped"]
        assert told["window"]["from"] > told["window"]["to"] > 0
        assert len(told["runs"]) == 6
        assert told["to_standstill"]["ended_by"] == "standstill"
        assert result.document()["ended_by"] == "speed"
        assert "One tap scatters by" in result.summary()
        assert "a look never gives a verdict" in result.summary()
        assert 0 < result.pilot["pilot_spread"] < 0.1

    def test_a_notebook_page_says_what_the_text_says(self) -> None:
        result = look(tapped(np.random.default_rng(12)), control="out")
        html = result._repr_html_()
        assert result.tapped is not None
        for sentence in tapped_sentences(result.tapped, ()):
            assert sentence in html
        assert "One tap scatters by" in html

    def test_a_run_of_a_table_that_nobody_stopped_may_lack_its_time(self) -> None:
        table = tapped(np.random.default_rng(13))
        columns = {
            "run": [run.slot for run in table.runs],
            "condition": [run.condition for run in table.runs],
            "time": [None if run.slot == 3 else run.value for run in table.runs],
            "taps": [run.extra["taps"] for run in table.runs],
        }
        found = look(columns, control="out").tapped
        assert found is not None
        assert len(found.runs) == 6
        with pytest.raises(RecordingUnreadable, match="run 3 has nothing under"):
            look({name: column for name, column in columns.items() if name != "taps"}, control="out")

    @pytest.mark.parametrize(
        ("spread", "said"),
        [(0.01, "a sensor would need fewer"), (0.016, "would help somewhat"), (0.03, "would help little")],
    )
    def test_whether_a_sensor_would_help_hangs_on_the_share_of_the_hand(self, spread: float, said: str) -> None:
        found = seen(tapped(np.random.default_rng(12)))
        told = hand_words(replace(found, tapping=0.009, look=replace(found.look, spread=spread)))
        assert said in told

    def test_a_table_in_memory_may_hold_the_column(self) -> None:
        table = tapped(np.random.default_rng(13))
        columns = {
            "run": [run.slot for run in table.runs],
            "condition": [run.condition for run in table.runs],
            "time": [run.value for run in table.runs],
            "taps": [run.extra["taps"] for run in table.runs],
        }
        assert look(columns, control="out").tapped is not None
