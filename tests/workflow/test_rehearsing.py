"""Rehearsals: the same counts whoever works, rates as forecast, and what would help more.

The rates are held to binomial bands of 99.9 % (scipy.stats.binom) round the forecast, widened by the .0035 that the
forecast may itself be off; the seeds are fixed, so a test that passes once passes always. Before it was first run each
could fail by luck with chance 1 in 1000.
"""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from scipy import stats

from truerun.errors import ValueOutOfRange
from truerun.series import Run, RunTable
from truerun.trial.planning import chance_to_find
from truerun.virtual.bench import HAND_WATCH, SENSOR_WATCH, Bench
from truerun.virtual.improvements import improvements
from truerun.virtual.recorded_times import WINDOW, through_files
from truerun.workflow.planning import PlanResult, plan
from truerun.workflow.rehearsing import DRIFTS, RehearsalResult, rehearse

SEED = "0123456789abcdef0123456789abcdef"


def sealed(**more: Any) -> PlanResult:
    asked = {"claim": "It gains.", "source": "in", "control": "out", "end": "speed", "runs": 12, "timing": "sensor"}
    return plan({"margin": 0.03, "spread": 0.016, **asked, **more}, seed=SEED)


def rehearsed(made: PlanResult, **more: Any) -> RehearsalResult:
    return rehearse(made.document(), **{"tests": 25, **more})


def in_band(count: int, tests: int, rate: float) -> bool:
    low = stats.binom.ppf(0.0005, tests, max(0.0, rate - 0.0035))
    high = stats.binom.ppf(0.9995, tests, min(1.0, rate + 0.0035))
    return bool(low <= count <= high)


class TestTheSameCountsWhoeverWorks:
    def test_in_one_process_or_in_two(self) -> None:
        made = sealed()
        alone, together = (rehearsed(made, tests=30, drives=[0.02], workers=count) for count in (1, 2))
        assert alone.document() == together.document()

    def test_another_seed_gives_other_tests(self) -> None:
        made = sealed()
        first, second = (rehearsed(made, seed=seed).rehearsals for seed in (1, 2))
        assert [each.seconds for each in first] != [each.seconds for each in second]

    def test_a_shorter_rehearsal_is_the_beginning_of_a_longer_one(self) -> None:
        made = sealed()
        told: list[tuple[int, int]] = []
        longer = rehearsed(made, tests=50, drives=[0.0], cancelled=lambda: len(told) > 0, progress=collect(told))
        assert told == [(25, 50)]
        assert longer.improvements == ()
        assert (longer.tests, longer.asked, longer.document()["complete"]) == (25, 50, False)
        assert longer.rehearsals == rehearsed(made, drives=[0.0]).rehearsals

    def test_every_test_has_one_verdict(self) -> None:
        for each in rehearsed(sealed(), tests=30).rehearsals:
            assert sum(each.verdicts.values()) == each.tests == 30


def collect(told: list[tuple[int, int]]) -> Callable[[int, int], None]:
    return lambda done, total: told.append((done, total))


class TestRatesAreAsForecast:
    def test_a_drive_is_found_as_often_as_its_power_says(self) -> None:
        made = sealed()
        (found,) = rehearsed(made, drives=[0.03], tests=200).rehearsals
        power = chance_to_find(0.03, "blocks-of-four", 12, adjust=("run-number",), alpha=0.05, spread=0.016)
        assert 0.5 < power < 0.9
        assert in_band(found.verdicts["adds-energy"], 200, power)

    @pytest.mark.slow
    def test_a_brake_of_the_same_factor_is_found_as_often(self) -> None:
        (found,) = rehearsed(sealed(), drives=[1 - 1 / 0.97], tests=300).rehearsals
        power = chance_to_find(0.03, "blocks-of-four", 12, adjust=("run-number",), alpha=0.05, spread=0.016)
        assert in_band(found.verdicts["takes-energy"], 300, power)

    def test_without_a_difference_the_false_alarms_are_the_attained_level(self) -> None:
        (found,) = rehearsed(sealed(), drives=[0.0], tests=200, drifts=[("line", 0.08)]).rehearsals
        alarms = found.verdicts.get("adds-energy", 0) + found.verdicts.get("takes-energy", 0)
        assert in_band(alarms, 200, 10 / 216)  # the attained level of three blocks of four

    def test_a_hand_that_knows_lowers_the_chance_as_reckoned(self) -> None:
        made = sealed(timing="hand", margin=0.035)
        result = rehearsed(made, drives=[0.035], tests=200, run_seconds=15.0)
        as_it_is, *_, by_sensor = result.improvements
        assert by_sensor.words == "timed by a sensor, not by hand"
        assert as_it_is.found < by_sensor.found - 0.1
        assert in_band(result.rehearsals[0].verdicts["adds-energy"], 200, as_it_is.found)

    def test_a_bound_of_the_bump_lowers_it_as_reckoned(self) -> None:
        made = sealed(end="standstill", stop="lies-still", hill_bound=0.03, margin=0.04)
        result = rehearsed(made, drives=[0.04], tests=200)
        assert in_band(result.rehearsals[0].verdicts["adds-energy"], 200, result.improvements[0].found)


class TestWhatWouldHelpMore:
    def test_runs_spread_end_and_sensor(self) -> None:
        made = sealed(end="standstill", stop="lies-still", hill_bound=0.04, timing="hand")
        first, *offers = improvements(made.plan, Bench(60.0, 0.0, 0.02, watch=HAND_WATCH))
        assert first.words == "the plan as it is"
        assert [each.words for each in offers] == [
            "8 + 8 runs",
            "a spread of 1.4\N{NO-BREAK SPACE}% instead of 2.0\N{NO-BREAK SPACE}%",
            "timed between two speeds, not to standstill",
            "timed by a sensor, not by hand",
        ]

    def test_a_fair_end_helps_most_where_the_bump_may_do_it(self) -> None:
        # D = 3 % with a bump of 4 %: more runs only make it surer that the bump could do it
        made = sealed(end="standstill", stop="lies-still", hill_bound=0.04)
        chances = {each.words: each.found for each in improvements(made.plan, Bench(60.0, 0.0, 0.02))}
        assert max(chances, key=chances.__getitem__) == "timed between two speeds, not to standstill"
        assert chances["8 + 8 runs"] < chances["the plan as it is"] < 0.3

    def test_between_two_speeds_no_other_end_is_offered(self) -> None:
        offers = improvements(sealed().plan, Bench(60.0, 0.0, 0.02, watch=SENSOR_WATCH))
        assert len(offers) == 3
        assert offers[0].found < min(each.found for each in offers[1:])

    def test_without_anything_at_stake_nothing_is_offered(self) -> None:
        bare = sealed().plan.model_copy(update={"margin": None, "forecast": None})
        assert improvements(bare, Bench()) == ()

    @pytest.mark.parametrize(
        ("orders", "runs"),
        [("complete", 8), ("restricted", 8), ("pairs", 12), ("abba-blocks", 24), ("blocks-of-four", 60)],
    )
    def test_every_set_of_orders_can_be_asked(self, orders: str, runs: int) -> None:
        offers = improvements(sealed(orders=orders, runs=runs).plan, Bench(60.0, 0.0, 0.05))
        assert all(0 <= each.found <= 1 for each in offers)


class TestThePlanIsFollowed:
    def test_a_planned_look_ends_a_test_that_it_decides(self) -> None:
        made = sealed(runs=16, look_after=12, spread=0.001)
        large, none = rehearsed(made, drives=[0.3, 0.0], tests=5, spread=0.001).rehearsals
        assert large.verdicts == {"adds-energy": 5}
        # 12 runs, half of them longer by 1/.7; 16 runs where the look decides nothing
        assert large.seconds == pytest.approx(6 * 60 + 6 * 60 / 0.7, rel=0.01)  # the spread is .001
        assert none.seconds == pytest.approx(16 * 60, rel=0.01)  # at this seed no look decides by luck

    def test_sittings_are_those_of_the_plan(self) -> None:
        made = sealed(adjust="session", run_minutes=5, sitting_minutes=75)
        assert made.plan.sessions.breaks_after
        (found,) = rehearsed(made, drives=[0.3], drifts=[("days", 0.2)], tests=5).rehearsals
        assert found.verdicts == {"adds-energy": 5}

    @pytest.mark.parametrize("kind", DRIFTS)
    def test_every_kind_of_drift_can_be_asked(self, kind: str) -> None:
        (found,) = rehearsed(sealed(), drives=[0.9], drifts=[(kind, 0.01)], tests=5).rehearsals
        assert found.verdicts == {"adds-energy": 5}

    @pytest.mark.parametrize(
        ("more", "asked", "part"),
        [
            ({}, {"tests": 0}, "The number of made-up tests is 0; it must be 1 to 100000"),
            ({}, {"workers": 0}, "The number of workers is 0"),
            ({}, {"seed": -1}, "The seed is -1"),
            ({}, {"drives": [1.2]}, "Such a wheel never slows down"),
            ({}, {"drives": [float("nan")]}, "The drive to rehearse"),
            ({}, {"drifts": [("lines", 0.1)]}, "one of line, warm-up, knock"),
            ({}, {"run_seconds": 0.0}, "The mean time is 0 s"),
            ({}, {"spread": -0.1}, "it must be 0 or more"),
            ({"covariates": ("warmth",)}, {}, 'What the plan adjusts for is "warmth"'),
            ({"measure": "weight", "scale": "linear", "spread": 1.0, "unit": "g"}, {}, "a time, to be rehearsed"),
        ],
    )
    def test_what_the_bench_cannot_make_is_refused(
        self, more: dict[str, Any], asked: dict[str, Any], part: str
    ) -> None:
        with pytest.raises(ValueOutOfRange, match=part):
            rehearsed(sealed(**more), **asked)


class TestByFile:
    def test_a_run_read_from_its_file_has_the_time_that_was_put_in(self) -> None:
        """Source: quadrature (scipy.integrate.quad) sets the time; reading, counting and fitting give it back."""
        runs = tuple(Run(slot, "in" if slot % 2 else "out", 30.0 + slot) for slot in range(1, 5))
        read = through_files(RunTable(runs), WINDOW, np.random.default_rng(3))
        for made, found in zip(runs, read.runs, strict=True):
            assert found.value == pytest.approx(made.value, abs=5e-4)  # 20 us of jitter, some 150 passes

    @pytest.mark.slow
    def test_verdicts_come_all_the_same(self) -> None:
        result = rehearsed(sealed(), drives=[0.2], run_seconds=45.0, tests=1, by_file=True)
        assert result.rehearsals[0].verdicts == {"adds-energy": 1}  # a drive of twelve spreads
