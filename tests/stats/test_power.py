"""What a sealed list can find, against the method's figures, the noncentral t and the list itself."""

from __future__ import annotations

import math

import numpy as np
import pytest
from statsmodels.stats.power import TTestIndPower

from truerun.errors import PlanBroken
from truerun.stats.exact import exact_list, interval, nuisance_basis
from truerun.stats.orders import orders_for
from truerun.stats.power import detectable_effect, effects_found, power_of

RUN_NUMBER = "run-number"

PLANS = [
    ("blocks-of-four", 12, RUN_NUMBER, 1.92, 1.796),
    ("blocks-of-four", 16, RUN_NUMBER, 1.55, 1.507),
    ("blocks-of-four", 24, RUN_NUMBER, 1.20, 1.197),
    ("restricted", 8, RUN_NUMBER, 3.0, 2.381),
    ("pairs", 12, "none", 2.55, 1.796),
    ("abba-blocks", 24, RUN_NUMBER, 1.80, 1.197),
]
"""Method, section 4, "Planning": effect found in 8 tests of 10 in run-to-run sd, and that of the noncentral t."""


class TestDetectableEffects:
    @pytest.mark.parametrize(("name", "runs", "adjust", "effect", "_by_t"), PLANS)
    def test_figures_of_the_method(self, name: str, runs: int, adjust: str, effect: float, _by_t: float) -> None:
        # the method's figures come from another simulation, printed with two digits; 4+4 with one. Ten times
        # our simulation gives 1.219 +- .002 at 12+12; the noncentral t with the 17 degrees of freedom in blocks, 1.214
        assert detectable_effect(0.8, name, runs, adjust, 0.05) == pytest.approx(effect, abs=0.02 if runs > 8 else 0.05)

    @pytest.mark.parametrize(("name", "runs", "adjust", "_effect", "by_t"), PLANS)
    def test_a_list_needs_more_than_the_t_test(
        self, name: str, runs: int, adjust: str, _effect: float, by_t: float
    ) -> None:
        theirs = TTestIndPower().solve_power(effect_size=None, nobs1=runs / 2, alpha=0.05, power=0.8)
        assert theirs == pytest.approx(by_t, abs=6e-4)
        # .02: twice the standard error of the simulated quantile
        assert detectable_effect(0.8, name, runs, adjust, 0.05) > theirs - 0.02

    def test_the_t_test_is_reached_from_above_as_orders_grow(self) -> None:
        over = [detectable_effect(0.8, *plan[:3], 0.05) / plan[4] for plan in PLANS[:3]]
        assert over[0] > over[1] > over[2] > 0.99

    def test_levels_and_power_go_together(self) -> None:
        found = [detectable_effect(power, *PLANS[1][:3], 0.05) for power in (0.5, 0.8, 0.95)]
        assert found == sorted(found)
        assert detectable_effect(0.8, *PLANS[1][:3], 0.01) > found[1]
        assert power_of(found[1], *PLANS[1][:3], 0.05) == pytest.approx(0.8, abs=1e-3)  # one simulation, both ways


class TestPower:
    def test_of_no_effect_it_is_the_level(self) -> None:
        # 20 000 values: standard error .0015; 3 of them
        assert power_of(0.0, *PLANS[1][:3], 0.05) == pytest.approx(64 / 1296, abs=0.0046)

    def test_a_brake_is_found_as_readily_as_a_drive(self) -> None:
        for effect in (0.4, 1.0, 1.6):
            assert power_of(effect, *PLANS[0][:3], 0.05) == power_of(-effect, *PLANS[0][:3], 0.05)

    def test_white_noise_at_eight_and_eight(self) -> None:
        # method, section 4: .78 / .77 for X = [1] / [1, run]; the effect there is 1.5 sd, .02 for its unsaid digits
        assert power_of(1.5, "blocks-of-four", 16, "none", 0.05) == pytest.approx(0.78, abs=0.02)
        assert power_of(1.5, "blocks-of-four", 16, RUN_NUMBER, 0.05) == pytest.approx(0.77, abs=0.02)

    def test_rises_with_the_effect(self) -> None:
        values = [power_of(effect, *PLANS[0][:3], 0.05) for effect in np.linspace(0.2, 5, 12)]
        assert values == sorted(values)
        assert values[-1] > 0.99


class TestItIsTheListItself:
    def test_an_effect_is_found_where_the_list_of_that_very_noise_finds_it(self) -> None:
        # the simulation with one repetition at a time, against exact_list on the same noise and order
        chosen, columns = orders_for("blocks-of-four", 12), np.arange(12.0)[:, None]
        for seed in range(12):
            drive, brake = effects_found(chosen, columns, 0.05, np.random.default_rng(seed), 1)[0]
            rng = np.random.default_rng(seed)
            noise, used = rng.standard_normal((1, 12))[0], chosen.order(int(rng.integers(0, 216, 1)[0]))
            found = exact_list(noise, chosen.all(), used, nuisance_basis(columns, (RUN_NUMBER,), used.astype(float)))
            low, high = interval(found, 0.05)
            assert (drive, brake) == pytest.approx((-(low or math.nan), -(high or math.nan)), abs=1e-9)

    def test_with_orders_that_repeat_what_the_columns_leave(self) -> None:
        # two orders that a column makes the same: place of the interval's end moves as in the list
        chosen = orders_for("pairs", 12)
        columns = np.column_stack([np.repeat(np.eye(6)[:, k], 2) * np.tile([1.0, -1], 6) for k in (0, 1)])
        drive, _ = effects_found(chosen, columns, 0.2, np.random.default_rng(7), 1)[0]
        rng = np.random.default_rng(7)
        noise, used = rng.standard_normal((1, 12))[0], chosen.order(int(rng.integers(0, 64, 1)[0]))
        found = exact_list(noise, chosen.all(), used, nuisance_basis(columns, ("a", "b"), used.astype(float)))
        assert found.same == 4
        low, _ = interval(found, 0.2)
        assert drive == pytest.approx(-(low or math.nan), abs=1e-9)


class TestRepeatable:
    def test_the_same_seed_gives_the_same_figures(self) -> None:
        chosen = orders_for("blocks-of-four", 24)  # 46 656 orders, represented by 1 296
        first, again = (effects_found(chosen, np.zeros((24, 0)), 0.05, np.random.default_rng(3), 200) for _ in range(2))
        assert (first == again).all()

    def test_a_set_that_can_never_reject_is_refused(self) -> None:
        chosen = orders_for("blocks-of-four", 8)
        with pytest.raises(PlanBroken, match="has only 36 orders"):
            effects_found(chosen, np.zeros((8, 0)), 0.05, np.random.default_rng(3), 10)

    def test_where_every_order_is_the_same_nothing_is_found(self) -> None:
        chosen = orders_for("pairs", 12)
        columns = np.column_stack([np.repeat(np.eye(6)[:, k], 2) * np.tile([1.0, -1], 6) for k in range(5)])
        # one pair is left to compare: 32 orders each look like the one used or its opposite
        found = effects_found(chosen, columns, 0.05, np.random.default_rng(3), 5)
        assert np.isposinf(found[:, 0]).all()
        assert np.isneginf(found[:, 1]).all()
