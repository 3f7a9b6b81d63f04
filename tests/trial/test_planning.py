"""Making a plan: refused where it cannot decide, with what would; what it can find; how long it takes."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.trial.constructed import sealed, signs
from truerun.errors import PlanBroken, ValueOutOfRange
from truerun.stats.orders import ORDER_SETS, orders_for, rejecting_orders
from truerun.stats.power import detectable_effect
from truerun.trial.planning import (
    chance_to_find,
    default_adjust,
    prospect,
    require_can_decide,
    runs_that_find,
    schedule,
    upper_spread,
)
from truerun.workflow.planning import plan


class TestAPlanThatCannotDecideIsRefused:
    """Method, section 4: a plan with floor(alpha m / 2) = 0 is refused when it is made."""

    @pytest.mark.parametrize(
        ("name", "runs", "said", "instead"),
        [
            ("complete", 6, "only 20 orders, and 2 of 20", "4 + 4 runs in complete"),
            ("blocks-of-four", 8, "only 36 orders, and 2 of 36", "6 + 6 runs in blocks-of-four"),
            ("abba-blocks", 20, "only 32 orders, and 2 of 32", "12 + 12 runs in abba-blocks"),
            ("pairs", 10, "only 32 orders, and 2 of 32", "6 + 6 runs in pairs"),
            ("restricted", 6, "only", "4 + 4 runs in restricted"),
        ],
    )
    def test_at_five_percent(self, name: str, runs: int, said: str, instead: str) -> None:
        with pytest.raises(PlanBroken) as refused:
            require_can_decide(name, runs, 0.05)
        assert said in str(refused.value)
        assert instead in str(refused.value)

    @pytest.mark.parametrize("name", ORDER_SETS)
    @pytest.mark.parametrize("alpha", [0.05, 0.01, 0.001])
    def test_what_it_names_can_decide(self, name: str, alpha: float) -> None:
        with pytest.raises(PlanBroken) as refused:
            require_can_decide(name, 4, alpha)
        words = str(refused.value).split("Choose ")[1].rstrip(".").split(", or ")
        for each in words:
            half, other = each.split(" + ")[0], each.split(" in ")[1]
            runs = 2 * int(half)
            assert rejecting_orders(orders_for(other, runs).count, alpha) >= 1

    def test_the_default_plan_decides(self) -> None:
        assert require_can_decide("blocks-of-four", 16, 0.05).count == 1296

    def test_the_road_from_a_request_refuses_too(self) -> None:
        with pytest.raises(PlanBroken, match="must be able to decide at 5 %"):
            sealed(runs=8)

    def test_a_look_that_can_never_reject_is_refused(self) -> None:
        # method, section 4: 8+8 in half has 36 orders
        with pytest.raises(PlanBroken, match="the runs before it have 36"):
            sealed(runs=16, look_after=8)

    @pytest.mark.parametrize("more", [{"spare_blocks": 1}, {"look_after": 6}])
    def test_spare_blocks_and_looks_need_blocks(self, more: dict[str, int]) -> None:
        with pytest.raises(PlanBroken, match="complete has none"):
            sealed(orders="complete", **more)

    def test_an_end_that_would_stop_its_own_verdict(self) -> None:
        with pytest.raises(ValueOutOfRange, match="without saying which stop"):
            sealed(end="standstill")
        with pytest.raises(PlanBroken, match="nothing bounds what a magnetic bump does"):
            sealed(end="standstill", stop="lies-still")
        with pytest.raises(PlanBroken, match="how hard a hand pushes is unknown"):
            sealed(end="standstill", stop="lies-still", hill_bound=0.01, launch="hand")
        assert sealed(end="standstill", stop="lies-still", hill_bound=0.01).plan.hill_bound == 0.01

    def test_words_that_are_not_known_get_a_question(self) -> None:
        with pytest.raises(ValueOutOfRange, match="Did you mean margin"):
            sealed(margn=0.02)
        with pytest.raises(PlanBroken, match="A margin is a share below 1; it is 2"):
            sealed(margin=2.0)


class TestWhatAPlanCanFind:
    def test_prospect_of_the_default(self) -> None:
        # method, section 4: 1.55 sd at 8+8; a sd of 1.54 % gives 1 - exp(-1.55 x .0154) = 2.36 %
        ahead = prospect("blocks-of-four", 16, ("run-number",), 0.05, spread=0.0154)
        assert ahead.orders == 1296
        assert ahead.finds == pytest.approx(0.0236, abs=4e-4)  # .02 sd
        assert ahead.false_alarms == pytest.approx(64 / 1296)
        assert ahead.bet_blocks == 3  # 67.630 is the first ceiling above 20
        assert ahead.finds < ahead.finds_surely < 2 * ahead.finds

    def test_on_a_linear_scale_it_is_the_effect_itself(self) -> None:
        linear = prospect("pairs", 16, (), 0.05, spread=2.0, logarithmic=False)
        assert linear.finds == pytest.approx(2.0 * detectable_effect(0.8, "pairs", 16, "none", 0.05))

    @pytest.mark.parametrize(
        ("name", "runs", "blocks"),
        [("pairs", 12, 6), ("pairs", 16, 6), ("restricted", 8, None), ("complete", 12, None)],
    )
    def test_when_the_running_bet_can_decide(self, name: str, runs: int, blocks: int | None) -> None:
        assert prospect(name, runs, (), 0.05, spread=0.01).bet_blocks == blocks

    def test_finds_and_chance_are_one_thing(self) -> None:
        ahead = prospect("blocks-of-four", 12, ("run-number",), 0.05, spread=0.02)
        chance = chance_to_find(ahead.finds, "blocks-of-four", 12, adjust=("run-number",), alpha=0.05, spread=0.02)
        assert chance == pytest.approx(0.8, abs=1e-3)

    def test_a_wheel_that_runs_by_itself_is_found(self) -> None:
        assert chance_to_find(1.0, "pairs", 12, adjust=(), alpha=0.05, spread=0.5) == 1.0

    @pytest.mark.parametrize(("each", "limit"), [(4, 1.398), (6, 1.272), (8, 1.216)])
    def test_upper_limit_of_a_trial_s_spread(self, each: int, limit: float) -> None:
        # method, section 4: upper 80 % limit of a pilot's sd, 4+4 1.398 s; 6+6 1.272; 8+8 1.216
        assert upper_spread(1.0, 2 * each - 2) == pytest.approx(limit, abs=6e-4)

    def test_run_number_is_the_usual_adjustment_but_for_pairs(self) -> None:
        assert {name: default_adjust(name) for name in ORDER_SETS} == {
            name: () if name == "pairs" else ("run-number",) for name in ORDER_SETS
        }


class TestRunsThatFind:
    def test_it_is_the_smallest_plan_that_reaches_the_power(self) -> None:
        # method: 6+6 find 1.92 sd, 8+8 find 1.55
        assert runs_that_find(1 - math.exp(-1.95 * 0.02), "blocks-of-four", 0.05, 0.02) == 12
        assert runs_that_find(1 - math.exp(-1.88 * 0.02), "blocks-of-four", 0.05, 0.02) == 16
        assert runs_that_find(1 - math.exp(-1.52 * 0.02), "blocks-of-four", 0.05, 0.02) == 20

    def test_a_brake_needs_as_many_as_the_drive_of_the_same_factor(self) -> None:
        drive, brake = 1 - math.exp(-0.03), 1 - math.exp(0.03)
        assert runs_that_find(drive, "blocks-of-four", 0.05, 0.02) == runs_that_find(
            brake, "blocks-of-four", 0.05, 0.02
        )

    def test_too_small_to_be_found(self) -> None:
        assert runs_that_find(1e-5, "blocks-of-four", 0.05, 0.02) is None

    def test_what_it_names_can_be_planned(self) -> None:
        found = runs_that_find(1 - math.exp(-0.8 * 0.02), "blocks-of-four", 0.05, 0.02)
        assert found is not None
        assert found <= 60  # the most that a plan takes


class TestSchedule:
    def test_one_sitting_by_hand(self) -> None:
        # 12 runs of 6 + 2 minutes, 3 warm-up launches of 6: 114 minutes
        made = schedule(
            orders_for("blocks-of-four", 12), run_minutes=6, change_minutes=2, warm_up_launches=3, sitting_minutes=None
        )
        assert (made.minutes, made.sittings, made.breaks_after) == (114, 1, ())

    def test_sets_without_blocks_are_not_broken(self) -> None:
        with pytest.raises(ValueOutOfRange, match="for the warm-up and 12 runs"):
            schedule(
                orders_for("complete", 12), run_minutes=6, change_minutes=2, warm_up_launches=3, sitting_minutes=60
            )

    @given(st.integers(1, 15), st.floats(1, 20), st.floats(0, 5), st.integers(0, 5), st.floats(30, 400))
    def test_breaks_come_at_block_ends_and_every_sitting_fits(
        self, blocks: int, run: float, change: float, warm_up: int, sitting: float
    ) -> None:
        chosen = orders_for("blocks-of-four", 4 * blocks)
        try:
            made = schedule(
                chosen, run_minutes=run, change_minutes=change, warm_up_launches=warm_up, sitting_minutes=sitting
            )
        except ValueOutOfRange:
            assert warm_up * run + 4 * (run + change) > sitting * (1 - 1e-9)
            return
        ends = [0, *made.breaks_after, chosen.runs]
        assert len(ends) == made.sittings + 1
        assert ends == sorted(set(ends))
        assert all(end % 4 == 0 for end in ends)
        for first, last in pairwise(ends):
            assert warm_up * run + (last - first) * (run + change) <= sitting * (1 + 1e-9)
        assert made.minutes == pytest.approx(chosen.runs * (run + change) + made.sittings * warm_up * run)


class TestPlansThatAreMade:
    def test_spare_blocks_are_drawn_beforehand_and_belong_to_the_set(self) -> None:
        made = sealed(spare_blocks=2)
        spare = signs(made, spare=True)[12:]
        assert len(spare) == 8
        assert all(sorted(spare[start : start + 4]) == list("++--") for start in (0, 4))
        assert signs(sealed(spare_blocks=2), spare=True) == signs(made, spare=True)

    def test_the_forecast_is_sealed(self) -> None:
        made = sealed()
        assert made.plan.forecast is not None
        assert made.plan.forecast.drive_fraction == made.prospect.finds
        assert made.plan.forecast.spread == 0.01

    def test_trial_runs_give_the_spread_to_plan_with(self) -> None:
        made = plan(claim="It gains.", source="a", control="b", end="speed", runs=12, pilot_spread=0.011, pilot_runs=8)
        assert made.prospect.spread == pytest.approx(0.01538, abs=1e-5)
        assert made.plan.pilot is not None
        assert made.plan.pilot.degrees_of_freedom == 6

    def test_the_sheet_holds_a_line_for_each_run(self) -> None:
        made = sealed(covariates=("temperature",), run_minutes=5.0, sitting_minutes=60.0, spare_blocks=1)
        lines = [line for line in made.run_sheet_csv().splitlines() if not line.startswith("#")]
        assert lines[0] == "run,condition,time [s],attempt,left_out,session,temperature"
        assert [line.split(",")[1] for line in lines[1:]] == list(made.plan.order)
        sessions = [int(line.split(",")[5]) for line in lines[1:]]
        assert sessions == sorted(sessions)
        assert sessions[-1] == len(made.plan.sessions.breaks_after) + 1
        assert made.seal.code in made.run_sheet_csv()

    def test_from_a_bag_no_condition_is_written_beforehand(self) -> None:
        made = sealed(drawn_by="bag")
        lines = [line for line in made.run_sheet_csv().splitlines() if not line.startswith("#")]
        assert {line.split(",")[1] for line in lines[1:]} == {""}
        assert lines[0].endswith(",cartridge")

    def test_two_plans_have_two_identities_and_draws(self) -> None:
        one, other = (plan(claim="x", source="a", control="b", end="speed", spread=0.01) for _ in range(2))
        assert one.plan.id != other.plan.id
        assert one.plan.seed != other.plan.seed
